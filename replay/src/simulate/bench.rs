//! The bench well: everything composed, one step after the other.

mod draw;
mod holds;

pub use draw::Unknowns;

use super::cut::{Cutter, Pipe};
use super::line::{Chain, Holding, Wire};
use super::rng::Rng;
use super::scenario::Scenario;
use super::sensors::{Row, Sensors, TrueLine};
use super::truth::{Recorder, Sample};
use super::well::Hole;
use super::winch::{Dials, Happened, Trips, Winch};
use holds::Hold;

/// A finished record with its truth.
#[derive(Debug)]
pub struct Outcome {
    /// Rows of both instruments.
    pub rows: Vec<Row>,
    /// Marks.
    pub marks: Vec<(f64, &'static str)>,
    /// True parameters.
    pub unknowns: Unknowns,
    /// True history.
    pub recorder: Recorder,
    /// The pipe at the end.
    pub pipe: Pipe,
}

/// Travel over which packing friction turns over, m.
const PACKING_TRAVEL: f64 = 0.002;

/// Runs a scenario from start to end.
pub fn run(scenario: &Scenario, seed: u64) -> Outcome {
    Bench::new(scenario, seed).run()
}

/// The crew comes back to a groove: same well, line and cutter; another day of winch and instruments.
#[derive(Debug, Clone)]
pub struct Reentry {
    /// The pipe as the run before left it.
    pub pipe: Pipe,
    /// 1 for the first time of coming back.
    pub number: u32,
    /// The depth counter reads this much more than it did in the first run, m.
    pub counter_error: f64,
}

/// Runs a scenario again in the groove that is there.
pub fn run_again(scenario: &Scenario, seed: u64, reentry: Reentry) -> Outcome {
    Bench::reentered(scenario, seed, reentry).run()
}

/// The bench, steppable so that it can also be played live.
#[derive(Debug)]
pub struct Bench {
    scenario: Scenario,
    hole: Hole,
    wire: Wire,
    chain: Chain,
    pipe: Pipe,
    cutter: Cutter,
    winch: Winch,
    sensors: Sensors,
    recorder: Recorder,
    holds: Vec<Hold>,
    hangups: Rng,
    slips: Rng,
    trips: Trips,
    box_friction: f64,
    pressure_force: f64,
    unknowns: Unknowns,
    marks: Vec<(f64, &'static str)>,
    happened: Vec<Happened>,
    /// Packing deflection, -1 pulled to 1 lowered.
    packing: f64,
    counter: f64,
    slip_pending: f64,
    shown: f64,
    time: f64,
    step: f64,
    coupling_behind: usize,
}

impl Bench {
    /// Draws the truth of a scenario and hangs the tool.
    pub fn new(scenario: &Scenario, seed: u64) -> Self {
        Self::entered(scenario, seed, None)
    }

    /// The same well and tool, back in a groove that is there.
    pub fn reentered(scenario: &Scenario, seed: u64, reentry: Reentry) -> Self {
        Self::entered(scenario, seed, Some(reentry))
    }

    /// The pipe and wheels as drawn.
    pub fn into_pipe_and_cutter(self) -> (Pipe, Cutter) {
        (self.pipe, self.cutter)
    }

    /// Time of the bench, s.
    pub fn time(&self) -> f64 {
        self.time
    }

    /// Rows so far; the caller may take them.
    pub fn rows(&mut self) -> &mut Vec<Row> {
        &mut self.sensors.rows
    }

    /// Whether the plan is done (or has run for three days, which no plan does).
    pub fn done(&self) -> bool {
        self.winch.idle() || self.time > 260_000.0
    }

    fn run(mut self) -> Outcome {
        while !self.done() {
            self.advance();
        }
        self.finish()
    }

    /// Ends the record.
    pub fn finish(mut self) -> Outcome {
        self.recorder.finish(self.time, &self.pipe);
        Outcome {
            rows: self.sensors.rows,
            marks: self.marks,
            unknowns: self.unknowns,
            recorder: self.recorder,
            pipe: self.pipe,
        }
    }

    /// One step of everything.
    pub fn advance(&mut self) {
        let dt = self.step;
        let stiffness = self.wire.stiffness;
        let before = self.surface_tension();
        // The panel's needle lags.
        self.shown += (before - self.shown) * (dt / 0.3).min(1.0);
        let dials = Dials {
            counter: self.counter,
            tension: self.shown,
        };
        let speed = self.winch.step(dt, dials, self.trips, &mut self.happened);
        self.note_happenings();

        let paid = speed * dt / (1.0 + before.max(0.0) / stiffness);
        let strain = self.chain.top_tension() / stiffness + self.hole.free_strain(0.0);
        let offset = self.scenario.tool.cutter_offset.0;
        let wheels = self.chain.tool_x() + offset;
        let up = self.cutter.drag(&self.pipe, wheels, false);
        let down = self.cutter.drag(&self.pipe, wheels, true);
        let mut holding = Holding {
            up: up.cutting + up.other,
            down: down.cutting + down.other,
        };
        let (mut held_up, mut held_down) = (false, false);
        for hold in self.holds.iter().filter(|hold| hold.engaged) {
            if hold.up {
                holding.up += hold.force;
                held_up = true;
            } else {
                holding.down += hold.force;
                held_down = true;
            }
        }
        let x = self.chain.tool_x();
        self.chain
            .step(&self.hole, dt, paid / dt * (1.0 + strain), paid, holding);
        self.time += dt;
        let moved = self.chain.tool_x() - x;
        let mut drag = if moved < 0.0 { up } else { down };
        if moved != 0.0 {
            self.cutter
                .roll(&mut self.pipe, wheels + moved, moved > 0.0, self.time);
            self.update_holds(wheels, wheels + moved);
        } else {
            drag.plastic = false;
        }
        self.count(speed, paid, dt);
        self.packing = (self.packing + speed * dt / PACKING_TRAVEL).clamp(-1.0, 1.0);
        let tension = self.surface_tension();
        let at_cell = tension * (1.0 - self.scenario.load.sheave_friction * self.packing);
        self.sensors.push(TrueLine {
            time: self.time,
            tension: at_cell,
            counter: self.counter,
        });
        let weight = self.wire.tool_weight * self.hole.at(x).cosine;
        self.recorder.push(&Sample {
            time: self.time,
            dt,
            depth: wheels + moved,
            moved,
            drag,
            tension,
            socket_over_weight: self.chain.socket_tension() / weight,
            held_up,
            held_down,
            out: self.cutter.out,
        });
    }

    fn surface_tension(&self) -> f64 {
        self.chain.top_tension() - self.pressure_force - self.box_friction * self.packing
    }

    fn note_happenings(&mut self) {
        for happened in std::mem::take(&mut self.happened) {
            match happened {
                Happened::Mark(mark) => self.marks.push((self.time, mark)),
                Happened::Cutter(extended) => self.cutter.set_out(extended),
                Happened::StrokeEnd(number) => {
                    self.recorder.stroke_end(number, self.time, &self.pipe);
                    let (_, split, _) = self.recorder.groove_now(self.time, &self.pipe);
                    if split >= self.scenario.work.stop_split {
                        self.winch.stop_cutting();
                    }
                }
                Happened::Worked => {
                    for hold in self.holds.iter_mut().filter(|hold| hold.met && !hold.done) {
                        hold.met = hold.engaged;
                        hold.tries = hold.tries.saturating_sub(1);
                        if hold.tries == 0 {
                            hold.engaged = false;
                            hold.done = true;
                        }
                    }
                }
            }
        }
    }

    fn count(&mut self, speed: f64, paid: f64, dt: f64) {
        let mut counted = if self.scenario.depth.relaxed {
            paid
        } else {
            speed * dt
        };
        if speed < 0.0 {
            counted *= 1.0 - self.scenario.depth.slip_up;
            let chance = self.scenario.depth.slip_jumps.0;
            if chance > 0.0 && self.slips.chance(chance * dt) {
                self.slip_pending += self.scenario.depth.slip_jump.0 * self.slips.between(0.3, 1.7);
            }
            if self.slip_pending > 0.0 {
                let lost = self.slip_pending.min(-counted);
                self.slip_pending -= lost;
                counted += lost;
            }
            self.unknowns.slip_m += counted
                - if self.scenario.depth.relaxed {
                    paid
                } else {
                    speed * dt
                };
        }
        self.counter += counted;
    }
}
