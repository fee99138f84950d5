//! The job file: what the crew knows before the cut.
//!
//! Shape: TOML text -> [`Job`] or a list of findings, each with file, line, field, what was found
//! and what to write instead. All quantities SI inside ([`crate::units`]).
//! Reading the text lives in the sibling files; this one holds only the checked result.

mod channel;
mod check;
mod depth;
mod findings;
pub mod fuzz;
mod load;
mod outputs;
mod quantity;
mod read;
mod report;
mod sample;
mod section;
mod set;
mod summary;
#[cfg(test)]
mod tests;
mod tubular_size;

pub use findings::{Finding, Findings};
pub use outputs::{AlarmOutput, OutputKind, OutputLine};
pub use quantity::{Dimension, parse_quantity, significant, unit_factor};
pub use read::{ReadJob, read_job};
pub use sample::print_default_job;
pub use set::apply_set;
pub use summary::summary;
use tubular_size::{TubularSize, tubular_size};

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

/// One instrument: where its bytes come from and how they are read.
#[derive(Debug, Clone, PartialEq)]
pub struct Channel {
    /// `serial:/dev/...` or `tcp:host:port`.
    pub port: String,
    /// Line speed of a serial port, default 9600.
    pub baud: u32,
    /// How bytes become readings.
    pub protocol: Protocol,
    /// Silence after which the reading counts as stale, default 2 s.
    pub stale_after: Seconds,
    /// Unchanged raw value for this long while the other channel moves counts as frozen; 0 = never.
    pub frozen_after: Seconds,
    /// Smallest believable raw reading.
    pub raw_min: f64,
    /// Largest believable raw reading.
    pub raw_max: f64,
}

/// `protocol = "pattern" | "modbus-rtu" | "packet"`
#[derive(Debug, Clone, PartialEq)]
pub enum Protocol {
    /// ASCII lines; named captures `load`, `depth`, optional `seq`, `t`, `temperature`.
    Pattern {
        /// The regular expression.
        pattern: String,
    },
    /// Polled registers.
    ModbusRtu(ModbusRegister),
    /// Our own binary frame.
    Packet,
}

/// Where a value sits in a Modbus device.
#[derive(Debug, Clone, PartialEq)]
pub struct ModbusRegister {
    /// Unit address 1 to 247.
    pub unit: u8,
    /// 3 (holding) or 4 (input).
    pub function: u8,
    /// Zero-based register address.
    pub register: u16,
    /// How the words make a number.
    pub kind: RegisterKind,
    /// `true`: least significant word first.
    pub swap_words: bool,
    /// Polls per second.
    pub poll_hz: f64,
}

/// Number type of a Modbus value.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RegisterKind {
    /// One word, signed.
    I16,
    /// One word, unsigned.
    U16,
    /// Two words, signed.
    I32,
    /// Two words, unsigned.
    U32,
    /// Two words, IEEE 754.
    F32,
}

/// `[load]`
#[derive(Debug, Clone, PartialEq)]
pub struct LoadChannel {
    /// Port and protocol.
    pub channel: Channel,
    /// Newtons per raw unit (`unit = "lbf"`, or `span = "0.5 N"` per count).
    pub span: Newtons,
    /// Raw reading at no load.
    pub tare: f64,
    /// Where the cell sits.
    pub mount: Mount,
    /// How the temperature of the cell shifts its reading, if the job says so.
    pub temperature: Option<CellTemperature>,
}

/// Effect of temperature on the load cell, as its data sheet gives it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CellTemperature {
    /// Force that the empty cell shows for each kelvin above the reference.
    pub zero_per_kelvin: Newtons,
    /// Part by which a reading grows for each kelvin above the reference.
    pub span_per_kelvin: f64,
    /// Temperature at which tare and span hold, degrees Celsius; default 20.
    pub reference_c: f64,
    /// Temperature of a cell that does not send it, degrees Celsius.
    pub constant_c: Option<f64>,
    /// Unit in which the instrument sends it.
    pub unit: TemperatureUnit,
}

/// Unit of a temperature that an instrument sends.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TemperatureUnit {
    /// Degrees Celsius.
    Celsius,
    /// Degrees Fahrenheit.
    Fahrenheit,
    /// Kelvin.
    Kelvin,
}

impl TemperatureUnit {
    /// Degrees Celsius; `None` for a temperature that no load cell in use can have (-60 to 150 degrees).
    pub fn celsius(self, value: f64) -> Option<f64> {
        let celsius = match self {
            Self::Celsius => value,
            Self::Fahrenheit => (value - 32.0) / 1.8,
            Self::Kelvin => value - 273.15,
        };
        (-60.0..=150.0).contains(&celsius).then_some(celsius)
    }
}

/// Geometry between cell force and line tension.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Mount {
    /// The cell reads line tension itself.
    Deadline,
    /// The cell carries a sheave; the angle is between the two line parts.
    Sheave {
        /// Angle between the two line parts, 0 = parallel.
        angle: Radians,
    },
}

/// `[depth]`
#[derive(Debug, Clone, PartialEq)]
pub struct DepthChannel {
    /// Port and protocol.
    pub channel: Channel,
    /// Metres of line per raw unit, wheel wear included.
    pub metres_per_unit: Metres,
    /// +1 when the raw value grows as line goes in, else -1.
    pub direction: f64,
    /// Depth shown when the scaled raw value is zero.
    pub zero: Metres,
}

/// What one counted metre means.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Counts {
    /// The wheel rolls on loaded line: each metre counted is already stretched.
    Tensioned,
    /// The reading is unstretched length.
    Relaxed,
}

/// `[alarm]`
#[derive(Debug, Clone, PartialEq)]
pub struct AlarmLimits {
    /// Absolute limit of surface tension, if given.
    pub tension_limit: Option<Newtons>,
    /// Fraction of the weakest link, default 0.5.
    pub tension_fraction: f64,
    /// Pull above expected pick-up weight that is an overpull.
    pub overpull: Newtons,
    /// Surface tension below expected slack-off weight by this much is slack.
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
