//! The job file: what the crew knows before the cut.
//!
//! Shape: TOML text -> [`Job`] or a list of findings, each with file, line, field, what was found
//! and what to write instead. All quantities SI inside ([`crate::units`]).
//! Reading the text lives in the sibling files; this one holds only the checked result.

mod channel;
mod check;
mod depth;
mod differences;
mod findings;
pub mod fuzz;
mod instruments;
mod load;
mod outputs;
mod quantity;
mod read;
mod report;
mod sample;
mod section;
mod serial;
mod set;
mod summary;
#[cfg(test)]
mod tests;
mod tubular_size;
mod usual;

pub use differences::{Difference, all_differences, differences, listed};
pub use findings::{Finding, Findings};
pub use instruments::{
    CellTemperature, Channel, Counts, DepthChannel, LoadChannel, ModbusRegister, Mount, Protocol,
    RegisterKind, TemperatureUnit,
};
pub use outputs::{AlarmOutput, OutputKind, OutputLine};
pub use quantity::{Dimension, fixed, parse_quantity, significant, unit_factor};
pub use read::{ReadJob, read_job};
pub use sample::print_default_job;
pub use serial::{Framing, Parity, SerialLine};
pub use set::apply_set;
pub use summary::summary;
use tubular_size::{TubularSize, tubular_size};
pub use usual::{in_usual_unit, with_usual_unit};

use crate::units::{
    CubicMetres, KelvinPerMetre, Kilograms, KilogramsPerCubicMetre, Metres, MetresPerSecond,
    Newtons, Pascals, PerKelvin, Radians, Seconds,
};

/// Which units people see. Inside is always SI.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Display {
    /// Metres, newtons, millimetres.
    Metric,
    /// Feet, pounds-force, inches.
    Field,
}

/// A whole, checked job.
#[derive(Debug, Clone, PartialEq)]
pub struct Job {
    /// `[job]`
    pub info: JobInfo,
    /// `[[survey]]`, sorted by measured depth, at least one station.
    pub survey: Vec<SurveyStation>,
    /// `[fluid]`
    pub fluid: Fluid,
    /// `[line]`
    pub line: Line,
    /// `[tool]`
    pub tool: Tool,
    /// `[cutter]`
    pub cutter: Cutter,
    /// `[tubular]`
    pub tubular: Tubular,
    /// `[[joint]]`: coupling centres, increasing measured depth; may be empty.
    pub couplings: Vec<Metres>,
    /// `[load]`; `None` in a job that is only used for import or forecast.
    pub load: Option<LoadChannel>,
    /// `[depth]`; `None` likewise.
    pub depth: Option<DepthChannel>,
    /// How the depth counter counts; kept apart because import needs it without a port.
    pub counts: Counts,
    /// `[alarm]`
    pub alarm: AlarmLimits,
    /// `[record]`
    pub record: Record,
    /// `[forward]`, optional.
    pub forward: Option<Forward>,
    /// `[page]`
    pub page: Page,
}

/// `[job]`
#[derive(Debug, Clone, PartialEq)]
pub struct JobInfo {
    /// Name of the job.
    pub name: String,
    /// Name of the well.
    pub well: String,
    /// Top of the interval to be cut, along hole.
    pub interval_top: Metres,
    /// Bottom of the interval to be cut, along hole.
    pub interval_bottom: Metres,
    /// Units for people.
    pub display: Display,
    /// Length of a groove bin, default 0.1 m.
    pub bin: Metres,
}

/// `[[survey]]`
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SurveyStation {
    /// Measured depth along hole.
    pub md: Metres,
    /// Inclination from vertical.
    pub inc: Radians,
    /// Azimuth from north.
    pub azi: Radians,
}

/// `[fluid]`
#[derive(Debug, Clone, PartialEq)]
pub struct Fluid {
    /// Density of the fluid the line hangs in.
    pub density: KilogramsPerCubicMetre,
    /// Gauge pressure at the wellhead.
    pub wellhead_pressure: Pascals,
    /// Rise of temperature with true vertical depth; `None`: not given.
    pub temperature_gradient: Option<KelvinPerMetre>,
}

/// `[line]`
#[derive(Debug, Clone, PartialEq)]
pub struct Line {
    /// Wire diameter.
    pub diameter: Metres,
    /// Young's modulus of the wire.
    pub modulus: Pascals,
    /// Density of the wire.
    pub density: KilogramsPerCubicMetre,
    /// Breaking load from the wire certificate.
    pub breaking_load: Newtons,
    /// Thermal expansion, default 11.7e-6 1/K.
    pub expansion: PerKelvin,
    /// Length of line on the drum at the start, if known.
    pub length_on_drum: Option<Metres>,
    /// Packing friction, starting value.
    pub stuffing_box_friction: Newtons,
    /// Friction coefficient line on pipe, pulling out, starting value.
    pub friction_up: f64,
    /// Friction coefficient line on pipe, running in, starting value.
    pub friction_down: f64,
    /// Sheaves and wheels between stuffing box and drum.
    pub sheaves: Vec<Sheave>,
    /// Bending life from the owner's own wire tests: stress range against cycles; `None`: count only.
    pub bending_life: Option<BendingLife>,
}

/// `[[line.sheave]]`
#[derive(Debug, Clone, PartialEq)]
pub struct Sheave {
    /// What the crew calls it.
    pub name: String,
    /// Tread diameter.
    pub diameter: Metres,
    /// Distance along the line from the stuffing box, towards the drum.
    pub path: Metres,
    /// Angle over which the line lies on it; default half a turn.
    pub wrap: Radians,
}

/// `[line.bending_life]`: `cycles` at `stress`, falling with `exponent`:
/// `N = cycles (stress / s)^exponent`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BendingLife {
    /// Reference bending stress `E d / (D + d)`.
    pub stress: Pascals,
    /// Cycles to failure at the reference stress.
    pub cycles: f64,
    /// Slope of the S-N line, positive.
    pub exponent: f64,
}

/// `[tool]`
#[derive(Debug, Clone, PartialEq)]
pub struct Tool {
    /// Mass in air of all that hangs below the rope socket.
    pub mass: Kilograms,
    /// Volume of fluid it displaces; default: steel of the same mass.
    pub displaced_volume: CubicMetres,
    /// Load at which the weak point parts.
    pub weak_point: Newtons,
    /// Distance from rope socket down to the middle of the cutter wheels.
    pub cutter_offset: Metres,
}

/// `[cutter]`
#[derive(Debug, Clone, PartialEq)]
pub struct Cutter {
    /// Number of wheels that run in the same groove.
    pub wheels: u32,
    /// Wheel radius.
    pub radius: Metres,
    /// Included edge angle (both flanks).
    pub edge_angle: Radians,
    /// How deep a wheel can reach below the inner surface of the pipe.
    pub reach: Metres,
    /// Radial force of one wheel.
    pub radial_force: Newtons,
    /// Standard deviation of the radial force, if known.
    pub radial_force_sd: Option<Newtons>,
    /// Nominal contact pressure of wheel on pipe, if known from a test cut.
    pub contact_pressure: Option<Pascals>,
}

/// `[tubular]`
#[derive(Debug, Clone, PartialEq)]
pub struct Tubular {
    /// Outside diameter.
    pub od: Metres,
    /// Nominal wall thickness.
    pub wall: Metres,
    /// Permitted fraction below nominal wall, default 0.125.
    pub wall_tolerance: f64,
    /// Yield strength.
    pub yield_strength: Pascals,
    /// Outside diameter of the coupling.
    pub coupling_od: Metres,
    /// Length of the coupling.
    pub coupling_length: Metres,
}

/// `[alarm]`
#[derive(Debug, Clone, PartialEq)]
pub struct AlarmLimits {
    /// Absolute limit of surface tension, if given.
    pub tension_limit: Option<Newtons>,
    /// Fraction of the weakest link, default 0.5.
    pub tension_fraction: f64,
    /// Pull above expected pick-up weight that is an overpull (where the last strokes took more, half of it
    /// above theirs: [`crate::alarm::OverpullGuard`]).
    pub overpull: Newtons,
    /// Read and kept, used by nothing: wheels in the wall carry more than any such margin on their way down, so the slack
    /// alarm follows the tool instead.
    pub slack: Newtons,
    /// Line speed limit.
    pub speed: MetresPerSecond,
    /// Shallowest tool depth allowed.
    pub upper_stop: Option<Metres>,
    /// Deepest tool depth allowed.
    pub lower_stop: Option<Metres>,
    /// Time to the tension limit below which `approaching` is raised, default 2 s.
    pub approaching: Seconds,
    /// Fraction of the bending life at which `line_life` is raised, default 0.8.
    pub line_life: f64,
    /// `[[alarm.output]]`: horns, relays, programs.
    pub outputs: Vec<AlarmOutput>,
}

/// `[record]`
#[derive(Debug, Clone, PartialEq)]
pub struct Record {
    /// Folder that holds run folders.
    pub folder: String,
    /// Longest time between syncs to disk.
    pub sync: Seconds,
}

/// `[forward]`
#[derive(Debug, Clone, PartialEq)]
pub struct Forward {
    /// Base address of the server.
    pub url: String,
    /// Organisation.
    pub org: String,
    /// Bucket.
    pub bucket: String,
    /// Environment variable that holds the token.
    pub token_env: Option<String>,
    /// File that holds the token.
    pub token_file: Option<String>,
    /// Points per second of tension and depth in quiet times.
    pub rate_hz: f64,
}

/// `[page]`
#[derive(Debug, Clone, PartialEq)]
pub struct Page {
    /// Address to listen on.
    pub listen: String,
    /// Environment variable that holds the token for changes.
    pub token_env: Option<String>,
}
