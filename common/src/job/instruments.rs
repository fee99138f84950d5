//! Load cell and depth counter of a checked job: port, protocol, calibration.

use super::serial::SerialLine;
use crate::units::{Metres, Newtons, Radians, Seconds};

/// One instrument: where its bytes come from and how they are read.
#[derive(Debug, Clone, PartialEq)]
pub struct Channel {
    /// `serial:/dev/...` or `tcp:host:port`.
    pub port: String,
    /// How a serial port is set.
    pub serial: SerialLine,
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
