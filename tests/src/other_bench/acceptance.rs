//! Whether a crew would take a drawn well on, and what is settled once it does: limit, plan, couplings, jams.

use super::cut_laws::Spot;
use super::dice::Dice;
use super::draw::Aim;
use super::kind::Kind;
use super::well::{Jam, Obstruction, Well, to_50_newtons};

/// Rows of a record at most: more takes long to write and teaches nothing more.
const ROWS_MOST: f64 = 1.5e6;

/// Completes the well, or says no. Draws stand in one fixed order.
pub fn accept(well: &mut Well, kind: Kind, aim: Aim, dice: &mut Dice) -> bool {
    let Some(demand) = Demand::of(well, aim) else {
        return false;
    };
    well.habits.strokes_expected = demand.strokes;
    demand.can_go_down(well)
        && demand.hangs_well(well)
        && demand.can_be_pulled(well, dice)
        && is_no_hook(well, dice)
        && takes_hours(well, kind, aim, demand.strokes, dice)
        && {
            settle(well, kind, aim.length, dice);
            true
        }
}

/// What cutting asks of line and tool.
struct Demand {
    /// Strokes until average pipe is split.
    strokes: f64,
    /// Drag of the first stroke up, N.
    first: f64,
    /// Drag of the first stroke down, N.
    second: f64,
    /// Drag when the wheels are let out where nothing is cut yet: each then stands in whole pipe, N.
    all_fresh: f64,
    /// Depth the well was drawn for, m.
    depth: f64,
}

impl Demand {
    /// Nothing when cutting takes too few or too many strokes, or drags too little to be felt or too much to be borne.
    fn of(well: &Well, aim: Aim) -> Option<Self> {
        let told = well.prognosis();
        let strokes = told.strokes as f64;
        let as_wanted =
            (30..=200).contains(&told.strokes) && (0.8..1.25).contains(&(strokes / aim.strokes));
        let bearable =
            (50.0..360.0).contains(&told.half_way) && told.first <= 950.0 && told.second <= 600.0;
        if !as_wanted || !bearable {
            return None;
        }
        let whole = Spot {
            depth: 0.0,
            wall: well.pipe.wall,
            hardness: 1.0,
        };
        let all_fresh = well.cutter.wheels as f64 * well.pass(whole, 0.0, true).force;
        (all_fresh <= 1300.0).then_some(Self {
            strokes,
            first: told.first,
            second: told.second,
            all_fresh,
            depth: aim.depth,
        })
    }

    /// The tool's weight must cut on the way down, with something to spare.
    fn can_go_down(&self, well: &Well) -> bool {
        let (sin, cos) = well.hole.inclination_interval.sin_cos();
        let weight = well.tool.weight;
        let rolling = well.rolling_drag();
        let spare =
            weight * cos - well.tool.friction * well.wire.static_factor * weight * sin - rolling;
        self.second * 1.15 <= spare * 0.72 && rolling <= 450.0
    }

    /// Too light a tool is not seen at surface.
    fn hangs_well(&self, well: &Well) -> bool {
        let cos = well.hole.inclination_interval.cos();
        well.tool.weight * cos + well.wire_weight() * self.depth * 0.9 >= 500.0
    }

    /// Cutting up must stay well below the limit, which is drawn here.
    fn can_be_pulled(&self, well: &mut Well, dice: &mut Dice) -> bool {
        let (sin, cos) = well.hole.inclination_interval.sin_cos();
        let weight = well.tool.weight;
        let limit = to_50_newtons(well.wire.breaking * dice.pick(&[0.5, 0.55, 0.6]));
        // Friction of the hole as of a rope over one bend of its greatest inclination (Euler, Eytelwein).
        let capstan = (well.wire.friction_up * well.hole.inclination_most).exp();
        let at_tool = weight * cos
            + well.tool.friction * weight * sin
            + self.first * 1.2
            + well.rolling_drag();
        let pull = at_tool * capstan + well.wire_weight() * self.depth;
        let more_at_first = (self.all_fresh - self.first).max(0.0) * capstan;
        well.habits.limit = limit.min(well.tool.weak_point);
        pull + more_at_first + 250.0 <= limit * 0.9
    }
}

/// Most holes that build and then drop back to vertical above the interval are passed over: few are real.
fn is_no_hook(well: &Well, dice: &mut Dice) -> bool {
    let hook = well.hole.inclination_most > 0.2 && well.hole.inclination_interval < 0.05;
    !(hook && dice.chance(0.7))
}

/// One to four and a half hours of work, and not too many rows. Draws the plan.
fn takes_hours(well: &mut Well, kind: Kind, aim: Aim, strokes: f64, dice: &mut Dice) -> bool {
    let (habits, instruments) = (&well.habits, &well.instruments);
    let per_stroke = aim.length / (0.5 * (habits.speed_up + habits.speed_down))
        + habits.pause
        + habits.speed_up / habits.acceleration
        + 3.0;
    let planned = kind
        .by_plan
        .then(|| (strokes * dice.between(0.45, 1.1)).max(40.0) as usize);
    let run_in = if kind.run_in {
        aim.depth / habits.run_in_speed
    } else {
        0.0
    };
    let seconds = strokes_reckoned(planned, strokes) * per_stroke * 1.08 + run_in + 400.0;
    let other_rows = if instruments.same_rows {
        0.0
    } else {
        instruments.depth_rate
    };
    let rows = seconds * (instruments.load_rate + other_rows);
    well.habits.strokes_planned = planned;
    (3700.0..16_000.0).contains(&seconds) && rows <= ROWS_MOST
}

fn strokes_reckoned(planned: Option<usize>, expected: f64) -> f64 {
    match planned {
        Some(planned) => planned as f64,
        None => (expected * 1.1).max(40.0),
    }
}

/// Couplings, jams and obstructions of a well that is taken on.
fn settle(well: &mut Well, kind: Kind, length: f64, dice: &mut Dice) {
    let (top, bottom) = (well.hole.top, well.hole.bottom);
    let joint = dice.between(8.9, 12.4);
    let mut coupling = top - dice.between(0.0, joint) - joint;
    while coupling < bottom + 2.0 * joint {
        well.pipe.couplings.push(coupling);
        coupling += joint + dice.normal() * 0.12;
    }
    let strokes = strokes_reckoned(well.habits.strokes_planned, well.habits.strokes_expected);
    let last_stroke = (strokes as usize).max(8) - 3;
    for k in 0..kind.jams {
        let stroke = dice.whole(3, last_stroke);
        let depth = if k == 0 && dice.chance(0.5) {
            let inside = |c: &&f64| **c > top + 0.5 && **c < bottom - 0.8;
            let coupling = well.pipe.couplings.iter().find(inside);
            coupling.copied().unwrap_or(top + length * 0.4)
        } else {
            dice.between(top + 0.2 * length, bottom - 0.25 * length)
        };
        let tries = dice.whole(1, 3);
        let pop_force = dice.chance(0.25).then(|| dice.between(700.0, 1600.0));
        well.troubles.jams.push(Jam {
            stroke,
            depth,
            tries,
            pop_force,
        });
    }
    for _ in 0..kind.obstructions {
        let stroke = dice.whole(3, last_stroke);
        let depth = dice.between(top + 0.3 * length, bottom - 0.2 * length);
        let tries = dice.whole(1, 2);
        well.troubles.obstructions.push(Obstruction {
            stroke,
            depth,
            tries,
        });
    }
}
