//! The bench well: everything composed, one step after the other.

use super::cut::{Cutter, Pipe, Wheel};
use super::line::{Chain, Holding, Wire, slow_motion};
use super::plan::{Stops, plan};
use super::rng::Rng;
use super::scenario::{Release, Scenario, Start};
use super::sensors::{Row, Sensors, TrueLine};
use super::truth::{Recorder, Sample};
use super::well::{FreeStrain, Hole};
use super::winch::{Dials, Happened, Trips, Winch};
use kerfwatch::units::GRAVITY;

/// What really is, where it differs from what the crew believes.
#[derive(Debug, Clone, serde::Serialize)]
pub struct Unknowns {
    /// Radial force of a wheel, N.
    pub radial_force_n: f64,
    /// Mean contact pressure, Pa.
    pub contact_pressure_pa: f64,
    /// Radial force going down over up.
    pub bite_down: f64,
    /// Relative change of radial force per millimetre of groove depth.
    pub force_slope_per_mm: f64,
    /// Drag of reaction rollers at full radial force going up, N.
    pub rolling_drag_n: f64,
    /// Radial force of each wheel over nominal.
    pub wheel_factors: Vec<f64>,
    /// Wheels below the middle, m.
    pub wheel_offsets_m: Vec<f64>,
    /// Line friction pulling out.
    pub friction_up: f64,
    /// Line friction running in.
    pub friction_down: f64,
    /// Friction of the tool.
    pub tool_friction: f64,
    /// Tool mass, kg.
    pub tool_mass_kg: f64,
    /// Young's modulus of the wire, Pa.
    pub modulus_pa: f64,
    /// Packing friction, N.
    pub stuffing_box_friction_n: f64,
    /// Fluid density, kg/m3.
    pub fluid_density_kg_m3: f64,
    /// Wellhead pressure, Pa.
    pub wellhead_pressure_pa: f64,
    /// Line lost under the measuring wheel by the end, m.
    pub slip_m: f64,
}

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

#[derive(Debug, Clone)]
struct Hold {
    stroke: u32,
    up: bool,
    depth: f64,
    force: f64,
    tries: u32,
    engaged: bool,
    /// Felt since the line was last worked.
    met: bool,
    done: bool,
}

/// Distance over which a hold acts, m.
const HOLD_LENGTH: f64 = 0.03;
/// Travel over which packing friction turns over, m.
const PACKING_TRAVEL: f64 = 0.002;

/// Runs a scenario from start to end.
pub fn run(scenario: &Scenario, seed: u64) -> Outcome {
    Bench::new(scenario, seed).run()
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
        // Scenarios do not share their draws.
        let seed = Rng::seed(seed, &scenario.name);
        let mut draw = Rng::new(seed, "truth");
        let mut off = |spread: f64| 1.0 + spread * draw.between(-1.0, 1.0);
        let (line, tool, cut) = (&scenario.line, &scenario.tool, &scenario.cutter);
        let spread = &scenario.spread;
        let density = scenario.well.fluid_density.0 * off(spread.fluid_density);
        let pressure = scenario.well.wellhead_pressure.0 * off(spread.pressure);
        let modulus = line.modulus.0 * off(spread.modulus);
        let mass = tool.mass.0 * off(spread.tool_mass);
        let load = cut.radial_force.0 * off(spread.radial_force);
        let contact = cut.contact_pressure.0 * off(spread.contact_pressure);
        let area = std::f64::consts::PI * 0.25 * line.diameter.0 * line.diameter.0;
        let wire = Wire {
            stiffness: modulus * area,
            mass: line.density.0 * area,
            weight: (line.density.0 - density) * area * GRAVITY,
            area,
            friction_up: line.friction_up * off(spread.friction),
            friction_down: line.friction_down * off(spread.friction),
            static_ratio: line.static_ratio,
            stribeck: line.stribeck_speed.0,
            viscous: line.viscous.0,
            turbulent: 0.5 * density * 0.01 * std::f64::consts::PI * line.diameter.0,
            tool_mass: 1.03 * mass,
            tool_weight: mass * GRAVITY * (1.0 - density / 7850.0),
            tool_friction: tool.friction * off(spread.friction),
            tool_static_ratio: tool.static_ratio,
            tool_viscous: tool.speed_drag.0,
        };
        let box_friction = line.stuffing_box_friction.0 * off(spread.stuffing_box);
        let count = cut.wheels as usize;
        let mut wheel_rng = Rng::new(seed, "wheels");
        let wheels: Vec<Wheel> = (0..count)
            .map(|k| {
                Wheel::new(
                    (k as f64 - 0.5 * (count as f64 - 1.0)) * cut.spacing.0,
                    (1.0 + cut.wheel_spread * wheel_rng.normal()).max(0.3),
                    std::f64::consts::TAU * wheel_rng.unit(),
                    cut.wear.0 * wheel_rng.between(0.4, 1.6),
                )
            })
            .collect();
        let unknowns = Unknowns {
            radial_force_n: load,
            contact_pressure_pa: contact,
            bite_down: cut.bite_down,
            force_slope_per_mm: cut.force_slope.0 * 1e-3,
            rolling_drag_n: cut.rolling_friction
                * load
                * wheels.iter().map(|wheel| wheel.factor).sum::<f64>(),
            wheel_factors: wheels.iter().map(|wheel| wheel.factor).collect(),
            wheel_offsets_m: wheels.iter().map(|wheel| wheel.offset).collect(),
            friction_up: wire.friction_up,
            friction_down: wire.friction_down,
            tool_friction: wire.tool_friction,
            tool_mass_kg: mass,
            modulus_pa: modulus,
            stuffing_box_friction_n: box_friction,
            fluid_density_kg_m3: density,
            wellhead_pressure_pa: pressure,
            slip_m: 0.0,
        };
        let tangent = (0.5 * cut.edge_angle.0).tan();
        let mut cutter = Cutter::new(wheels, load, contact, cut.radius.0, tangent, cut.reach.0);
        cutter.bite_down = cut.bite_down;
        cutter.slope = cut.force_slope.0;
        cutter.run_out = cut.run_out;
        cutter.rolling = cut.rolling_friction;

        let (top, bottom) = (
            scenario.well.interval_top.0,
            scenario.well.interval_bottom.0,
        );
        let free = FreeStrain {
            modulus,
            expansion: line.expansion.0,
            gradient: scenario.well.temperature_gradient.0,
            pressure,
            density,
        };
        let hole = Hole::new(&scenario.well, free, bottom + 60.0);
        let pipe = Pipe::draw(
            &scenario.pipe,
            top - 40.0,
            bottom + 40.0,
            &mut Rng::new(seed, "pipe"),
        );
        let pressure_force = pressure * area;
        let surface = |depth: f64, up: bool, held: f64| {
            let (tension, unstretched) = slow_motion(&wire, &hole, depth, up, held);
            let packing = if up { box_friction } else { -box_friction };
            (tension - pressure_force + packing, unstretched)
        };

        // What the counter shows after running in to a depth.
        let counts = |tension: f64| {
            if scenario.depth.relaxed {
                1.0
            } else {
                1.0 + tension / wire.stiffness
            }
        };
        let run_in = |depth: f64| {
            let steps = (depth / 15.0).ceil() as usize;
            let (mut reading, mut before) = (0.0, 0.0);
            for k in 1..=steps {
                let at = depth * k as f64 / steps as f64;
                let (tension, unstretched) = surface(at, false, 0.0);
                reading += (unstretched - before) * counts(tension);
                before = unstretched;
            }
            reading
        };
        let offset = tool.cutter_offset.0;
        let (bottom_reading, upper_reading) = (run_in(bottom - offset), run_in(top - offset));
        let slope = (bottom_reading - upper_reading) / (bottom - top);
        // The crew knows from experience what the drag of cutting does to the stretch.
        let (low_down, low_up) = (
            surface(bottom - offset, false, 150.0),
            surface(bottom - offset, true, 400.0),
        );
        // Turning round at the bottom takes up line before the tool follows.
        let take_up = (low_down.1 - low_up.1) * counts(0.5 * (low_down.0 + low_up.0));
        let stops = Stops {
            down: (upper_reading - slope * top, slope),
            up: (bottom_reading - take_up - slope * bottom, slope),
            top,
            bottom,
        };
        let middle = 0.5 * (top + bottom) - offset;
        let trips = Trips {
            high: surface(middle, true, 0.0).0 + scenario.work.stall_trip.0,
            low: surface(
                middle,
                false,
                0.85 * wire.tool_weight * hole.at(middle).cosine,
            )
            .0,
        };
        let (paid_out, counter) = match scenario.work.start {
            Start::Surface => (6.0, 6.0),
            Start::Interval => {
                let depth = top - offset - 30.0;
                (surface(depth, false, 0.0).1, run_in(depth))
            }
        };
        let element = line.element.0.min(0.5 * bottom / 10.0).max(bottom / 80.0);
        let chain = Chain::at_rest(wire, &hole, paid_out, element);
        let actions = plan(
            &scenario.work,
            &stops,
            counter,
            &mut Rng::new(seed, "operator plan"),
        );
        let winch = Winch::new(
            actions,
            scenario.work.acceleration.0,
            scenario.work.speed_jitter,
            Rng::new(seed, "operator"),
        );
        let sensors = Sensors::new(
            &scenario.load,
            &scenario.depth,
            &scenario.record,
            Rng::new(seed, "instruments"),
        );
        let pickup: Vec<f64> = (0..=((bottom + 60.0) / 20.0) as usize)
            .map(|k| surface((k as f64 * 20.0).max(1.0), true, 0.0).0)
            .collect();
        let recorder = Recorder::new(scenario, pickup);
        let fastest = scenario.load.rate.0.max(scenario.depth.rate.0);
        let step = chain.longest_step().min(1.0 / fastest).min(0.01);
        let holds = scenario
            .hold
            .iter()
            .map(|hold| Hold {
                stroke: hold.stroke,
                up: hold.up,
                depth: top + hold.below_top.0,
                force: hold.force.0,
                // Working the line frees a tool that the operator will not pull hard enough.
                tries: match hold.release {
                    Release::Work => hold.tries,
                    Release::Force => hold.tries.max(2),
                },
                engaged: false,
                met: false,
                done: false,
            })
            .collect();
        Self {
            scenario: scenario.clone(),
            hole,
            wire,
            chain,
            pipe,
            cutter,
            winch,
            sensors,
            recorder,
            holds,
            hangups: Rng::new(seed, "hang-ups"),
            slips: Rng::new(seed, "slip"),
            trips,
            box_friction,
            pressure_force,
            unknowns,
            marks: Vec::new(),
            happened: Vec::new(),
            packing: 0.0,
            counter,
            slip_pending: 0.0,
            shown: 0.0,
            time: 0.0,
            step,
            coupling_behind: 0,
        }
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

    fn update_holds(&mut self, from: f64, to: f64) {
        let up = to < from;
        let stroke = self.winch.stroke;
        for hold in &mut self.holds {
            if hold.engaged {
                let past = if hold.up {
                    hold.depth - to
                } else {
                    to - hold.depth
                };
                if past > HOLD_LENGTH {
                    hold.engaged = false;
                    hold.done = true;
                } else if past < -0.05 {
                    // Worked away from the place: it will be met again.
                    hold.engaged = false;
                }
                continue;
            }
            let crossed = if up {
                from > hold.depth && to <= hold.depth
            } else {
                from < hold.depth && to >= hold.depth
            };
            if !hold.done && hold.up == up && stroke >= hold.stroke && crossed {
                hold.engaged = true;
                hold.met = true;
            }
        }
        // Hang-ups at couplings on the way up with the wheels out.
        let behind = self.pipe.couplings.partition_point(|centre| *centre < to);
        let pipe = &self.scenario.pipe;
        if up && behind < self.coupling_behind && self.cutter.out && stroke > 0 {
            let chance = self.hangups.chance(pipe.hangup_chance);
            let force = pipe.hangup_force.0 * (0.35 * self.hangups.normal()).exp();
            if chance {
                self.holds.push(Hold {
                    stroke: 0,
                    up: true,
                    depth: to,
                    force,
                    tries: 2,
                    engaged: true,
                    met: true,
                    done: false,
                });
            }
        }
        self.coupling_behind = behind;
        self.holds.retain(|hold| !(hold.done && hold.stroke == 0));
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
