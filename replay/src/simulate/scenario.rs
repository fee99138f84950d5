//! A scenario file: one invented well, its crew's job and its instruments.
//!
//! Quantities are quoted with units, ratios are plain numbers, unknown keys are errors. Values are
//! what the crew *believes* (they go to `job.toml`); `[spread]` says how far the truth may lie off.

mod check;
mod drawn_cut;

use super::quantity::*;
use serde::Deserialize;

/// The whole scenario.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
#[allow(missing_docs)]
pub struct Scenario {
    pub name: String,
    #[serde(default)]
    pub title: String,
    pub well: Well,
    #[serde(default)]
    pub line: Line,
    #[serde(default)]
    pub tool: Tool,
    #[serde(default)]
    pub cutter: Cutter,
    #[serde(default)]
    pub pipe: Pipe,
    #[serde(default)]
    pub work: Work,
    #[serde(default)]
    pub hold: Vec<Hold>,
    #[serde(default)]
    pub load: Load,
    #[serde(default)]
    pub depth: Depth,
    #[serde(default)]
    pub record: Record,
    #[serde(default)]
    pub spread: Spread,
    #[serde(default)]
    pub alarm: Alarm,
}

/// One survey station.
#[derive(Debug, Clone, Copy, Deserialize)]
#[serde(deny_unknown_fields)]
#[allow(missing_docs)]
pub struct Station {
    pub md: Length,
    pub inc: Angle,
    pub azi: Angle,
}

/// The hole and what it is filled with.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
#[allow(missing_docs)]
pub struct Well {
    pub name: String,
    pub interval_top: Length,
    pub interval_bottom: Length,
    #[serde(default = "bin")]
    pub bin: Length,
    pub survey: Vec<Station>,
    #[serde(default = "water")]
    pub fluid_density: Density,
    #[serde(default)]
    pub wellhead_pressure: Pressure,
    #[serde(default = "gradient")]
    pub temperature_gradient: Gradient,
}

fn bin() -> Length {
    Length(0.1)
}
fn water() -> Density {
    Density(1000.0)
}
fn gradient() -> Gradient {
    Gradient(0.03)
}

macro_rules! section {
    ($(#[$doc:meta])* $name:ident { $($(#[$fdoc:meta])* $field:ident : $kind:ty = $value:expr),+ $(,)? }) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Deserialize)]
        #[serde(default, deny_unknown_fields)]
        #[allow(missing_docs)]
        pub struct $name { $($(#[$fdoc])* pub $field: $kind),+ }
        impl Default for $name {
            fn default() -> Self {
                Self { $($field: $value),+ }
            }
        }
    };
}

section!(
    /// The wire.
    Line {
        diameter: Length = Length(3.175e-3),
        modulus: Pressure = Pressure(200e9),
        density: Density = Density(7850.0),
        breaking_load: Force = Force(13_500.0),
        expansion: Expansion = Expansion(11.7e-6),
        friction_up: f64 = 0.22,
        friction_down: f64 = 0.20,
        /// Static over sliding friction; 1 = no stick-slip.
        static_ratio: f64 = 1.05,
        /// Speed over which static friction falls to sliding friction.
        stribeck_speed: Speed = Speed(0.02),
        /// Laminar drag of the fluid.
        viscous: LineDrag = LineDrag(0.004),
        stuffing_box_friction: Force = Force(60.0),
        /// Largest length of one lumped mass.
        element: Length = Length(60.0),
    }
);
section!(
    /// All that hangs below the rope socket.
    Tool {
        mass: Mass = Mass(110.0),
        weak_point: Force = Force(9_000.0),
        cutter_offset: Length = Length(4.5),
        friction: f64 = 0.12,
        static_ratio: f64 = 1.1,
        /// Fluid drag of the tool, per speed.
        speed_drag: SpeedDrag = SpeedDrag(30.0),
    }
);
section!(
    /// Wheels.
    Cutter {
        wheels: u32 = 3,
        radius: Length = Length(0.010),
        edge_angle: Angle = Angle(std::f64::consts::PI / 6.0),
        reach: Length = Length(0.010),
        radial_force: Force = Force(2_000.0),
        /// Median of the true contact pressure.
        contact_pressure: Pressure = Pressure(1.2e9),
        /// Whether the crew knows it (goes to the job file).
        contact_pressure_known: bool = false,
        /// Distance between neighbouring wheels along the tool.
        spacing: Length = Length(0.12),
        /// Relative spread of radial force between wheels.
        wheel_spread: f64 = 0.08,
        /// Relative ripple of radial force once a turn.
        run_out: f64 = 0.03,
        /// Growth of contact pressure with distance rolled, as the edge blunts.
        wear: PerLength = PerLength(0.00002),
        /// Radial force going down over radial force going up.
        bite_down: f64 = 0.85,
        /// Relative change of radial force with groove depth.
        force_slope: PerLength = PerLength(-0.015e3),
        /// Drag of reaction rollers over radial force; never decays.
        rolling_friction: f64 = 0.030,
        /// From then on the first wheel is missing; 0: never.
        wheel_lost_at: Time = Time(0.0),
    }
);

/// A stretch of harder or softer pipe.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
#[allow(missing_docs)]
pub struct Patch {
    pub top: Length,
    pub bottom: Length,
    pub factor: f64,
}

/// A stretch with scale: extra drag that wears off with passes.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
#[allow(missing_docs)]
pub struct Scale {
    pub top: Length,
    pub bottom: Length,
    pub drag: Force,
    /// Fraction lost with each pass.
    pub wear: f64,
}

section!(
    /// The tubing.
    Pipe {
        od: Length = Length(0.1143),
        wall: Length = Length(6.88e-3),
        wall_tolerance: f64 = 0.125,
        yield_strength: Pressure = Pressure(552e6),
        coupling_od: Length = Length(0.1321),
        coupling_length: Length = Length(0.22),
        joint_length: Length = Length(9.4),
        /// Depth of one coupling; the others follow by joint length.
        coupling_at: Length = Length(1000.0),
        /// Mean of true wall over nominal, less one.
        wall_mean: f64 = -0.02,
        /// Spread between joints.
        wall_joint_sd: f64 = 0.02,
        /// Spread within a joint (eccentricity seen along the cut).
        wall_local_sd: f64 = 0.012,
        hardness_sd: f64 = 0.04,
        hardness_length: Length = Length(1.5),
        /// Contact pressure grows as this power of groove depth; nominal at a quarter of the wall.
        hardening: f64 = 0.0,
        /// Part of the contact pressure lost as the second half of the wall is cut and its rest yields.
        thin_wall: f64 = 0.0,
        /// The back wall yields when the groove is between this fraction of the wall and all of it.
        break_low: f64 = 0.85,
        break_length: Length = Length(0.4),
        /// Drag spike of one wheel at each end of a coupling gap.
        coupling_bump: Force = Force(120.0),
        /// Radial force over a coupling, as the wheels bridge it; 0 = no cut.
        coupling_bite: f64 = 0.0,
        /// Chance that the tool hangs up at a coupling on its way up with the cutter out.
        hangup_chance: f64 = 0.0,
        hangup_force: Force = Force(900.0),
        patch: Vec<Patch> = Vec::new(),
        scale: Vec<Scale> = Vec::new(),
    }
);

/// Where the record starts.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Start {
    /// Tool at the wellhead.
    Surface,
    /// Tool hanging 30 m above the interval.
    Interval,
}

/// A later part of the work with its own limits.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
#[allow(missing_docs)]
pub struct Part {
    pub after_strokes: u32,
    pub top: Length,
    pub bottom: Length,
}

section!(
    /// What the crew does.
    Work {
        start: Start = Start::Surface,
        run_speed: Speed = Speed(0.9),
        free_passes: u32 = 2,
        weight_checks: u32 = 1,
        strokes: u32 = 80,
        up_speed: Speed = Speed(0.28),
        down_speed: Speed = Speed(0.35),
        acceleration: Acceleration = Acceleration(0.25),
        /// The stroke goes so far beyond the interval, as the crew believes.
        margin: Length = Length(0.6),
        end_jitter: Length = Length(0.25),
        /// Slow error of the winch speed.
        speed_jitter: f64 = 0.04,
        turn_pause: Time = Time(3.0),
        /// Chance of a stop in mid-stroke.
        stop_chance: f64 = 0.05,
        stop_time: Time = Time(6.0),
        /// Chance of a long quiet time after a stroke.
        rest_chance: f64 = 0.01,
        rest_time: Time = Time(240.0),
        quiet_start: Time = Time(30.0),
        quiet_end: Time = Time(30.0),
        /// The crew stops when this fraction of the bins is split (by luck, it cannot know); above 1:
        /// never before its strokes are done.
        stop_split: f64 = 2.0,
        /// Pull above the usual at which the operator stops.
        stall_trip: Force = Force(1_500.0),
        part: Vec<Part> = Vec::new(),
    }
);

/// How a held tool comes free.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Release {
    /// Pulled free at the given force.
    Force,
    /// Only by slacking off (or, going down, by picking up) so many times.
    Work,
}

/// The tool is held at a place, once.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
#[allow(missing_docs)]
pub struct Hold {
    /// Number of the stroke of cutting, from 1.
    pub stroke: u32,
    pub up: bool,
    /// Below the top of the interval.
    pub below_top: Length,
    pub force: Force,
    pub release: Release,
    #[serde(default = "one")]
    pub tries: u32,
}

fn one() -> u32 {
    1
}

section!(
    /// The load cell.
    Load {
        rate: Rate = Rate(50.0),
        noise: Force = Force(12.0),
        drift: ForcePerTime = ForcePerTime(0.0),
        wander: Force = Force(0.0),
        wander_time: Time = Time(1800.0),
        /// From `zero_step_at` on it reads so much more.
        zero_step: Force = Force(0.0),
        zero_step_at: Time = Time(0.0),
        /// Play of the load path.
        hysteresis: Force = Force(4.0),
        /// Sheave friction at the cell, over line tension.
        sheave_friction: f64 = 0.006,
        step: Force = Force(2.0),
        /// First-order lag of the amplifier.
        lag: Time = Time(0.03),
        spikes: PerTime = PerTime(0.0),
        gain_error: f64 = 0.003,
    }
);
section!(
    /// The depth encoder.
    Depth {
        rate: Rate = Rate(50.0),
        relaxed: bool = false,
        step: Length = Length(0.002),
        /// Line lost under the wheel, over line moved, pulling out only.
        slip_up: f64 = 0.0,
        slip_jumps: PerTime = PerTime(0.0),
        slip_jump: Length = Length(0.1),
    }
);
section!(
    /// How rows reach the file.
    Record {
        /// Both channels on one row (needs equal rates).
        together: bool = false,
        clock_jitter: Time = Time(0.001),
        gaps: PerTime = PerTime(0.0),
        gap_time: Time = Time(2.0),
        dropped: f64 = 0.0,
        duplicated: f64 = 0.0,
        late: f64 = 0.0,
        /// Fraction of lines damaged on their way (live ports only).
        mangled: f64 = 0.0,
        marks: bool = true,
    }
);
section!(
    /// How far the truth may lie off what the crew believes (relative, uniform both ways).
    Spread {
        radial_force: f64 = 0.22,
        contact_pressure: f64 = 0.25,
        friction: f64 = 0.25,
        tool_mass: f64 = 0.03,
        modulus: f64 = 0.02,
        stuffing_box: f64 = 0.20,
        fluid_density: f64 = 0.01,
        pressure: f64 = 0.03,
        /// Of axial force over that of the plastic work alone: friction of the flanks, elastic losses.
        energy: f64 = 0.0,
        /// Of `cutter.wear`.
        wear: f64 = 0.0,
        /// Of `cutter.force_slope`, added.
        force_slope: PerLength = PerLength(0.0),
        /// Of `cutter.bite_down`, added.
        bite_down: f64 = 0.0,
        /// Of `pipe.hardening`, added.
        hardening: f64 = 0.0,
        /// Of `pipe.hardness_sd`, added.
        hardness_sd: f64 = 0.0,
        /// Of `pipe.wall_mean`, added.
        wall: f64 = 0.0,
        /// Of `pipe.break_low`, added.
        break_low: f64 = 0.0,
    }
);
section!(
    /// Limits of the job.
    Alarm {
        tension_limit: Force = Force(6_500.0),
        overpull: Force = Force(2_000.0),
        slack: Force = Force(300.0),
        speed: Speed = Speed(2.0),
    }
);
