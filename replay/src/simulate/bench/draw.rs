//! The truth of a scenario: drawn from what the crew believes and how far off it may be.

use super::holds::Hold;
use super::{Bench, Reentry, Trips};
use crate::simulate::cut::{Cutter, Pipe, Wheel};
use crate::simulate::line::{Chain, Wire, slow_motion};
use crate::simulate::plan::{Stops, plan};
use crate::simulate::rng::Rng;
use crate::simulate::scenario::{Release, Scenario, Start};
use crate::simulate::sensors::Sensors;
use crate::simulate::truth::Recorder;
use crate::simulate::well::{FreeStrain, Hole};
use crate::simulate::winch::Winch;
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
    /// Axial force over that of the plastic work alone.
    pub energy: f64,
    /// Power of groove depth with which contact pressure grows.
    pub hardening: f64,
    /// Part of the contact pressure lost in a thin wall.
    pub thin_wall: f64,
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

impl Bench {
    /// Draws the truth and hangs the tool.
    pub(super) fn entered(scenario: &Scenario, seed: u64, reentry: Option<Reentry>) -> Self {
        // Scenarios do not share their draws.
        let seed = Rng::seed(seed, &scenario.name);
        let scenario = &scenario.with_drawn_cut(&mut Rng::new(seed, "cut"));
        // Nor do the days of one well: another operator's hand, other noise.
        let day = reentry.as_ref().map_or(seed, |again| {
            Rng::seed(seed, &format!("run {}", again.number + 1))
        });
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
        let energy = off(spread.energy);
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
            energy,
            hardening: scenario.pipe.hardening,
            thin_wall: scenario.pipe.thin_wall,
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
        cutter.energy = energy;
        cutter.bite_down = cut.bite_down;
        cutter.slope = cut.force_slope.0;
        cutter.run_out = cut.run_out;
        cutter.rolling = cut.rolling_friction;
        if cut.wheel_lost_at.0 > 0.0 {
            cutter.lost_at = cut.wheel_lost_at.0;
        }

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
        let (pipe, counter_error) = match reentry {
            Some(again) => (again.pipe.at_rest(), again.counter_error),
            None => {
                let rng = &mut Rng::new(seed, "pipe");
                (
                    Pipe::draw(&scenario.pipe, top - 40.0, bottom + 40.0, rng),
                    0.0,
                )
            }
        };
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
        let (paid_out, shown) = match scenario.work.start {
            Start::Surface => (6.0, 6.0),
            Start::Interval => {
                let depth = top - offset - 30.0;
                (surface(depth, false, 0.0).1, run_in(depth))
            }
        };
        // The crew goes by the counter, so that a wrong zero moves the whole job.
        let counter = shown + counter_error;
        let element = line.element.0.min(0.5 * bottom / 10.0).max(bottom / 80.0);
        let chain = Chain::at_rest(wire, &hole, paid_out, element);
        let actions = plan(
            &scenario.work,
            &stops,
            counter,
            &mut Rng::new(day, "operator plan"),
        );
        let winch = Winch::new(
            actions,
            scenario.work.acceleration.0,
            scenario.work.speed_jitter,
            Rng::new(day, "operator"),
        );
        let sensors = Sensors::new(
            &scenario.load,
            &scenario.depth,
            &scenario.record,
            Rng::new(day, "instruments"),
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
            hangups: Rng::new(day, "hang-ups"),
            slips: Rng::new(day, "slip"),
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
}
