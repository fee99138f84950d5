//! A run, step by step: the crew moves the winch, the line moves the tool, the tool cuts, the instruments look on.
//!
//! Order within a step: crew, winch, what holds the tool, line and tool, surface and counter, instruments, truth. The counter
//! sees line as stretched by the tension above the packing: `dc = v dt (1 + T / EA) (1 + slip)`.
//!
//! A run has an end: time is bounded, and so is the work of a step as long as the line is in balance. Where it is not (the
//! line without mass does not always settle), the run is given up at once.

use super::crew::{Act, Crew, Seen};
use super::dice::Dice;
use super::given_up::GivenUp;
use super::groove::Groove;
use super::instruments::{Meter, Signals};
use super::run_in::{self, Handed};
use super::snags::{Arrival, Hold, Snags};
use super::surface::Surface;
use super::truth::{Keeper, Moment, strokes};
use super::well::Well;
use super::wire::chain::{Chain, Held, Resistance};
use super::wire::quasi_static;
use anyhow::Result;
use std::f64::consts::TAU;
use std::io::Write;

/// A crew that is not done by then will not be, s: it means to go home half an hour before.
const TIME_MOST: f64 = 5.2 * 3600.0;
/// Time constant of the tension that the crew goes by, s.
const SMOOTHED_OVER: f64 = 0.3;
/// A tool slower than this does not count as moving for the crew, m/s.
const CREEPS: f64 = 0.02;
/// Speed of a tool that only a line out of balance can give it, m/s.
const SPEED_MOST: f64 = 100.0;

/// What a run leaves besides its rows.
#[derive(Debug)]
pub struct Outcome {
    /// Length, s.
    pub duration: f64,
    /// Rows written.
    pub rows: u64,
    /// What the crew did, and when, s.
    pub acts: Vec<(f64, Act)>,
    /// Marks of the crew as it set them, if it does: s, word; by time or nearly.
    pub marks: Vec<(f64, &'static str)>,
    /// Pipe and wheels.
    pub groove: Groove,
    /// What happened.
    pub keeper: Keeper,
    /// Weight of the tool along the hole, N.
    pub tool_weight: f64,
}

impl Outcome {
    /// Strokes that began with the cutter out.
    pub fn strokes_with_cutter_out(&self) -> usize {
        let is_out = |time: f64| {
            let before = self.acts.iter().filter(|(at, _)| *at <= time);
            let last = before
                .map(|(_, act)| *act)
                .rfind(|act| *act != Act::WeightCheck);
            last == Some(Act::CutterOut)
        };
        let strokes = strokes::strokes(&self.keeper.moments);
        strokes.iter().filter(|stroke| is_out(stroke.start)).count()
    }
}

/// The winch.
#[derive(Debug, Clone, Copy)]
struct Winch {
    /// As it is meant to run, m/s, down positive.
    set: f64,
    /// As it runs, with its swing.
    real: f64,
    phase: f64,
}

/// All that is in motion.
struct Bench<'w, W> {
    well: &'w Well,
    dice: Dice,
    step: f64,
    time: f64,
    chain: Chain,
    groove: Groove,
    snags: Snags,
    surface: Surface,
    winch: Winch,
    counter: f64,
    /// Tension that the crew goes by, N.
    smoothed: Option<f64>,
    crew: Crew,
    meter: Meter<W>,
    last_signals: Option<Signals>,
    work: f64,
    keeper: Keeper,
    /// Time and word.
    acts: Vec<(f64, Act)>,
}

/// Runs a well; rows of `samples.csv` go to `out`.
///
/// # Errors
/// [`GivenUp`] when the line comes out of balance or the crew to no end; what writing to `out` gives.
pub fn run<W: Write>(well: &Well, out: W) -> Result<Outcome> {
    let mut bench = Bench::start(well, out)?;
    while bench.crew_goes_on() {
        bench.advance()?;
        if bench.time > TIME_MOST {
            return Err(GivenUp::NoEnd(bench.time).into());
        }
    }
    bench.end()
}

impl<'w, W: Write> Bench<'w, W> {
    /// From surface, or with the tool already at the interval.
    fn start(well: &'w Well, out: W) -> Result<Self> {
        let mut dice = Dice::new(well.seed * 31 + 5);
        let groove = Groove::new(well, &mut dice);
        let mut meter = Meter::new(well, out)?;
        let mut surface = Surface::new();
        let mut keeper = Keeper::default();
        let begin = run_in::begin(well, &mut surface, &mut meter, &mut keeper, &mut dice)?;
        let Handed { time, depth, speed } = begin.handed;
        let at_tool = well.tool_tension(depth, -1.0);
        let chain = Chain::new(well, depth, speed, at_tool, -1.0);
        Ok(Self {
            well,
            dice,
            step: if well.wire.quasi_static {
                quasi_static::STEP
            } else {
                chain.wave_step()
            },
            time,
            chain,
            groove,
            snags: Snags::new(well),
            surface,
            winch: Winch {
                set: speed,
                real: speed,
                phase: 0.0,
            },
            counter: begin.counter,
            smoothed: None,
            crew: Crew::new(well, depth, begin.orders),
            meter,
            last_signals: None,
            work: 0.0,
            keeper,
            acts: Vec::new(),
        })
    }

    /// Middle of the wheels, m.
    fn wheels(&self) -> f64 {
        self.chain.tool() + self.well.tool.cutter_offset
    }

    fn seen(&self) -> Seen {
        Seen {
            time: self.time,
            tool: self.wheels(),
            counter: self.counter,
            tension: self.smoothed,
            winch: self.winch.set,
            split: self.groove.pipe.split_fraction(),
        }
    }

    /// False when the crew is done.
    fn crew_goes_on(&mut self) -> bool {
        let seen = self.seen();
        let (time, groove, acts) = (self.time, &mut self.groove, &mut self.acts);
        let told = |act| {
            if act == Act::CutterOut {
                groove.let_out();
            }
            acts.push((time, act));
        };
        let (snags, dice) = (&mut self.snags, &mut self.dice);
        self.crew.go_on(self.well, seen, snags, dice, told)
    }

    /// One step of time.
    fn advance(&mut self) -> Result<()> {
        self.run_winch();
        let (cut_up, cut_down, resistance) = self.resistance();
        let before = self.chain.tool();
        let held = self
            .chain
            .step(self.well, self.step, self.winch.real, resistance);
        let moved = self.chain.tool() - before;
        if !moved.is_finite() || moved.abs() > SPEED_MOST * self.step {
            return Err(GivenUp::Diverged(self.time).into());
        }
        if moved.abs() > CREEPS * self.step {
            self.crew.notice_motion(self.counter);
        }
        let cutting = if moved < -1e-7 {
            cut_up
        } else if moved > 1e-7 {
            cut_down
        } else {
            0.0
        };
        self.work += cutting * moved.abs();
        self.read_surface(held, cutting)
    }

    fn run_winch(&mut self) {
        let seen = self.seen();
        let obstructed = self.snags.is_obstructed();
        let wish = self
            .crew
            .drive(self.well, seen, obstructed, self.step, &mut self.dice);
        if wish.keep_groove {
            self.keeper.keep_groove(self.time, &self.groove.pipe);
        }
        let most = wish.acceleration * self.step;
        let winch = &mut self.winch;
        winch.set += (wish.speed - winch.set).clamp(-most, most);
        if wish.speed == 0.0 && winch.set.abs() < 1e-12 {
            winch.set = 0.0;
        }
        let habits = &self.well.habits;
        winch.phase += TAU * habits.ripple_frequency * self.step;
        winch.real = winch.set * (1.0 + habits.ripple * winch.phase.sin());
    }

    /// What holds the tool: force of cutting up and down, N, and all of it together.
    fn resistance(&mut self) -> (f64, f64, Resistance) {
        self.groove.wear = self.crew.wear();
        if !self.crew.cutter_is_out() {
            return (0.0, 0.0, Resistance::default());
        }
        let depth = self.wheels();
        self.groove.follow(self.well, depth, self.time);
        let drag = self.groove.drag();
        let arrival = Arrival {
            depth,
            speed: self.chain.tool_speed(),
            time: self.time,
        };
        let Hold { up, down } = self.snags.hold(self.well, arrival, &mut self.dice);
        let resistance = Resistance {
            cutter_up: drag.cut_up + drag.rolling,
            cutter_down: drag.cut_down + drag.rolling,
            held_up: up,
            held_down: down,
        };
        (drag.cut_up, drag.cut_down, resistance)
    }

    /// Surface, counter, instruments, and what is kept for the truth.
    fn read_surface(&mut self, held: Held, cutting: f64) -> Result<()> {
        let well = self.well;
        let out = self.winch.real * self.step;
        let above = self.surface.moves(well, -out, self.chain.top_tension());
        let slip = if self.winch.real > 0.0 {
            well.instruments.slip_down
        } else {
            well.instruments.slip_up
        };
        self.counter += out * (1.0 + above.line / well.stiffness()) * (1.0 + slip);
        self.smoothed = Some(match self.smoothed {
            Some(before) => before + (above.line - before) * (self.step / SMOOTHED_OVER),
            None => above.line,
        });
        let now = Signals {
            tension: above.cell,
            counter: self.counter,
        };
        let stretch = (self.time, self.time + self.step);
        let before = self.last_signals.unwrap_or(now);
        self.meter.measure(well, stretch, before, now)?;
        self.last_signals = Some(now);
        self.time += self.step;
        self.keeper.watch(self.time, above.line, well.habits.limit);
        self.keeper.keep(Moment {
            time: self.time,
            tool: self.wheels(),
            work: self.work,
            cutting: cutting as f32,
            tension: self.chain.tool_tension() as f32,
            winch: self.winch.real as f32,
            held,
        });
        Ok(())
    }

    fn end(mut self) -> Result<Outcome> {
        let mut marks = Vec::new();
        if self.well.habits.marks {
            for (time, act) in &self.acts {
                // Nobody marks to the second; before the record begins there is nothing to mark.
                let late = self.dice.between(-1.5, 1.5).max(-time);
                marks.push((time + late, act.word()));
            }
        }
        let rows = self.meter.rows();
        self.meter.finish()?;
        Ok(Outcome {
            duration: self.time,
            rows,
            acts: self.acts,
            marks,
            groove: self.groove,
            keeper: self.keeper,
            tool_weight: self.well.tool.weight * self.chain.tool_cos(),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::other_bench::sample::well;
    use crate::other_bench::well::Well;

    /// Eight strokes over six metres, instruments as drawn.
    fn short() -> Well {
        let mut well = well();
        well.hole.bottom = well.hole.top + 6.0;
        well.wire.quasi_static = true;
        well.wire.nodes = 14;
        well.habits.run_in = false;
        well.habits.check_before = false;
        well.habits.check_every = None;
        well.habits.strokes_planned = Some(8);
        well.habits.strokes_least = 8;
        well.habits.long_pause_chance = 0.0;
        well.habits.partial_chance = 0.0;
        well.habits.speed_up = 0.5;
        well.habits.speed_down = 0.5;
        well.troubles.jams.clear();
        well.troubles.obstructions.clear();
        well.troubles.hang_chance = 0.0;
        well
    }

    #[test]
    fn a_well_run_twice_is_the_same_byte_for_byte_and_its_strokes_alternate() {
        let well = short();
        let record = || {
            let mut rows = Vec::new();
            let outcome = run(&well, &mut rows).unwrap();
            let truth = crate::other_bench::truth::json::write(&well, &outcome).unwrap();
            (rows, truth, outcome)
        };
        let (rows, truth, outcome) = record();
        let (rows_again, truth_again, _) = record();
        assert!(rows == rows_again && truth == truth_again);

        let strokes = strokes::strokes(&outcome.keeper.moments);
        assert!(strokes.len() >= 8, "{} strokes", strokes.len());
        assert!(strokes.windows(2).all(|pair| pair[0].up != pair[1].up));
        assert_eq!(outcome.strokes_with_cutter_out(), 8);
        let cut: f64 = strokes.iter().map(|stroke| stroke.work).sum();
        assert!(cut > 0.0);
        let truth: serde_json::Value = serde_json::from_str(&truth).unwrap();
        assert_eq!(truth["strokes"].as_array().unwrap().len(), strokes.len());
        let words: Vec<&str> = outcome.marks.iter().map(|mark| mark.1).collect();
        assert_eq!(words.first(), Some(&"cutter_out"));
        assert!(words.contains(&"cutter_in"));
    }

    #[test]
    fn a_line_out_of_balance_is_given_up_at_once() {
        let mut well = short();
        well.tool.weight = f64::NAN;
        let problem = run(&well, Vec::new()).unwrap_err();
        let given_up = problem.downcast_ref::<GivenUp>();
        assert!(matches!(given_up, Some(GivenUp::Diverged(_))), "{problem}");
    }

    #[test]
    fn line_paid_out_and_taken_in_agrees_with_where_the_tool_went() {
        let well = short();
        let mut rows = Vec::new();
        let outcome = run(&well, &mut rows).unwrap();
        let moments = &outcome.keeper.moments;
        let lowest = moments.iter().map(|m| m.tool).fold(f64::MIN, f64::max);
        let highest = moments.iter().map(|m| m.tool).fold(f64::MAX, f64::min);
        assert!(lowest > well.hole.bottom && lowest < well.hole.bottom + 3.0);
        assert!(highest < well.hole.top && highest > well.hole.top - 31.0);
        let text = String::from_utf8(rows).unwrap();
        let counter: Vec<f64> = text
            .lines()
            .skip(1)
            .filter_map(|line| line.rsplit(',').next()?.parse().ok())
            .collect();
        let paid = counter.iter().copied().fold(f64::MIN, f64::max)
            - counter.iter().copied().fold(f64::MAX, f64::min);
        // They differ by the stretch that cutting and friction make.
        assert!((paid - (lowest - highest)).abs() < 5.0, "{paid} m");
    }
}
