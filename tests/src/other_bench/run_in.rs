//! How a run begins: with the tool at the interval, or with the way in from surface, where the line slides down as a whole,
//! without waves and cutting.
//!
//! Tension and counter for each depth of the tool come from a table of [`wire::sliding`]; line that is paid out is stretched
//! by the tension above the packing, so the counter shows more than the unstrained length.

use super::crew::Order;
use super::dice::Dice;
use super::instruments::{Meter, Signals};
use super::surface::Surface;
use super::truth::{Keeper, Moment};
use super::well::Well;
use super::wire;
use super::wire::chain::Held;
use anyhow::Result;
use std::io::Write;

/// Steps of the table.
const STEPS: usize = 400;
/// Time step, s.
const STEP: f64 = 0.02;
/// The chain takes over this far above the first stop, m.
const HANDED_OVER: f64 = 60.0;
/// Acceleration, m/s².
const ACCELERATION: f64 = 0.3;

/// Tension below the packing and counter by depth of the rope socket, going down.
#[derive(Debug, Clone)]
pub struct Table {
    step: f64,
    tension: Vec<f64>,
    counter: Vec<f64>,
}

impl Table {
    /// Down to 60 m below `depth`.
    pub fn new(well: &Well, depth: f64) -> Self {
        let step = (depth + 60.0) / STEPS as f64;
        let mut table = Self {
            step,
            tension: Vec::with_capacity(STEPS + 1),
            counter: Vec::with_capacity(STEPS + 1),
        };
        let (mut counter, mut before) = (0.0, 0.0);
        for i in 0..=STEPS {
            let at = i as f64 * step;
            let at_tool = well.tool_tension(at, -1.0);
            let (tension, unstrained) = if i == 0 {
                (at_tool, 0.0)
            } else {
                let slid = wire::sliding(well, at, -1.0, at_tool);
                (slid.tension, slid.unstrained)
            };
            let above = (tension - well.pressure_force() - well.wire.packing).max(0.0);
            counter += (unstrained - before)
                * (1.0 + above / well.stiffness())
                * (1.0 + well.instruments.slip_down);
            before = unstrained;
            table.tension.push(tension);
            table.counter.push(counter);
        }
        table
    }

    fn between(&self, values: &[f64], depth: f64) -> f64 {
        let place = (depth / self.step).clamp(0.0, STEPS as f64 - 1e-9);
        let i = place as usize;
        values[i] + (values[i + 1] - values[i]) * (place - i as f64)
    }

    /// Tension below the packing, N.
    pub fn tension(&self, depth: f64) -> f64 {
        self.between(&self.tension, depth)
    }

    /// Counter, m.
    pub fn counter(&self, depth: f64) -> f64 {
        self.between(&self.counter, depth)
    }
}

/// Where the chain takes over.
#[derive(Debug, Clone, Copy)]
pub struct Handed {
    /// s
    pub time: f64,
    /// Depth of the rope socket, m.
    pub depth: f64,
    /// m/s, down positive.
    pub speed: f64,
}

/// Where a run begins.
#[derive(Debug, Clone)]
pub struct Start {
    /// The tool there.
    pub handed: Handed,
    /// Counter then, m.
    pub counter: f64,
    /// What the crew does first.
    pub orders: Vec<Order>,
}

/// A pause on the way, as for a safety valve.
#[derive(Debug, Clone, Copy)]
struct Pause {
    depth: f64,
    left: f64,
}

/// Runs the tool in to [`HANDED_OVER`] above `stop` (depth of its rope socket, m).
fn run_in<W: Write>(
    well: &Well,
    table: &Table,
    stop: f64,
    surface: &mut Surface,
    meter: &mut Meter<W>,
    keeper: &mut Keeper,
    dice: &mut Dice,
) -> Result<Handed> {
    let full = well.habits.run_in_speed;
    let until = stop - HANDED_OVER;
    let starts = dice.between(10.0, 40.0);
    let mut pause = dice
        .chance(0.5)
        .then(|| dice.between(0.3, 0.8) * until)
        .map(|depth| Pause {
            depth,
            left: dice.between(20.0, 90.0),
        });
    let mut at = Handed {
        time: 0.0,
        depth: 0.8,
        speed: 0.0,
    };
    let mut before: Option<Signals> = None;
    while at.depth < until {
        let mut wanted = if at.time < starts {
            0.0
        } else if at.depth < 30.0 {
            full * 0.4
        } else {
            full
        };
        if let Some(pause) = &mut pause
            && pause.left > 0.0
            && at.depth > pause.depth - at.speed * at.speed / 0.6
        {
            wanted = 0.0;
            if at.speed < 1e-3 {
                pause.left -= STEP;
            }
        }
        at.speed += (wanted - at.speed).clamp(-ACCELERATION * STEP, ACCELERATION * STEP);
        at.depth += at.speed * STEP;
        let above = surface.moves(well, -at.speed * STEP, table.tension(at.depth));
        let now = Signals {
            tension: above.cell,
            counter: table.counter(at.depth),
        };
        let stretch = (at.time, at.time + STEP);
        meter.measure(well, stretch, before.unwrap_or(now), now)?;
        before = Some(now);
        at.time += STEP;
        keeper.keep(Moment {
            time: at.time,
            tool: at.depth + well.tool.cutter_offset,
            work: 0.0,
            cutting: 0.0,
            tension: well.tool_tension(at.depth, -1.0) as f32,
            winch: at.speed as f32,
            held: Held::default(),
        });
    }
    Ok(at)
}

/// Brings the tool to where the crew's first orders begin.
pub fn begin<W: Write>(
    well: &Well,
    surface: &mut Surface,
    meter: &mut Meter<W>,
    keeper: &mut Keeper,
    dice: &mut Dice,
) -> Result<Start> {
    let (hole, habits) = (&well.hole, &well.habits);
    let first_stop = if habits.run_in {
        hole.top - 30.0
    } else if dice.chance(0.5) {
        hole.bottom + dice.between(0.2, 1.0)
    } else {
        hole.top - dice.between(8.0, 30.0)
    };
    let socket = first_stop - well.tool.cutter_offset;
    let table = Table::new(well, socket);
    let mut orders = Vec::new();
    let handed = if habits.run_in {
        orders.push(Order::ToolTo(first_stop, habits.run_in_speed));
        run_in(well, &table, socket, surface, meter, keeper, dice)?
    } else {
        Handed {
            time: 0.0,
            depth: socket,
            speed: 0.0,
        }
    };
    orders.push(Order::Wait(dice.between(8.0, 60.0)));
    Ok(Start {
        counter: table.counter(handed.depth),
        handed,
        orders,
    })
}
