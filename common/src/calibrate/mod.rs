//! Raw readings -> newtons and metres, with what is doubtful about them.
//!
//! *Input*: [`RawReading`](crate::decode::RawReading)s and time. *Output*: [`CalibratedReading`]s,
//! and [`ChannelHealth`] for page, metrics and the sensor alarm. *Units*: N of line tension, m of
//! line paid out. *Limits*: state is a few numbers per channel. *Errors*: none; what is doubtful is
//! flagged and counted, and every reading is handed on.
//!
//! Each reading is given out twice: **every** one at once, for the overpull path; and **judged**,
//! in order, for estimation. A judged reading may come one reading later, because whether a jump is
//! a spike or a step is known only from the next one. A spike is set aside for estimation only:
//! a real overpull that lasts one sample is seen by the overpull path like any other.
//!
//! Reading order: [`scale`] (the arithmetic), [`demands`] (what the job expects), [`channel`] (flags of one channel), [`spike`],
//! [`flicker`], [`leap`], [`stillness`], [`repeats`], [`halt`], [`sequence`], [`fault_spells`], [`instruments`] (both channels with their decoders: what the
//! pipeline uses), [`imported`] (loads of a table, which has none).

pub mod channel;
pub mod demands;
pub mod fault_spells;
pub mod flicker;
pub mod halt;
pub mod imported;
pub mod instruments;
pub mod leap;
pub mod repeats;
pub mod scale;
pub mod sequence;
pub mod spike;
pub mod stillness;

pub use demands::Demands;
pub use imported::ImportedLoads;
pub use instruments::{Counter, Instruments};
pub use scale::{DepthScale, LoadScale};

use crate::input::ChannelId;
use crate::time::Nanos;

/// A reading in newtons (load) or metres (depth).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CalibratedReading {
    /// Which instrument.
    pub channel: ChannelId,
    /// Arrival of the last byte of its frame.
    pub at: Nanos,
    /// N of line tension or m of line paid out; always finite.
    pub value: f64,
    /// What is doubtful about it.
    pub flags: Flags,
}

/// What is doubtful about a reading; several may hold at once.
#[derive(Clone, Copy, PartialEq, Eq, Default, Hash)]
pub struct Flags(u8);

impl Flags {
    /// Nothing is doubtful.
    pub const NONE: Self = Self(0);
    /// First reading after a silence longer than `stale_after`.
    pub const GAP: Self = Self(1);
    /// The raw value is outside `raw_min` to `raw_max`.
    pub const OUT_OF_RANGE: Self = Self(2);
    /// The raw value does not change although the other channel shows that it should.
    pub const FROZEN: Self = Self(4);
    /// One reading that stands out from those before and after it.
    pub const SPIKE: Self = Self(8);
    /// Same frame number as the reading before.
    pub const DUPLICATE: Self = Self(16);
    /// Frame number older than that of the reading before.
    pub const REORDERED: Self = Self(32);

    /// The depth counter has leapt, and nobody has set it since.
    pub const LEAPT: Self = Self(64);

    const NAMES: [(Self, &str); 7] = [
        (Self::GAP, "gap"),
        (Self::OUT_OF_RANGE, "range"),
        (Self::FROZEN, "frozen"),
        (Self::SPIKE, "spike"),
        (Self::DUPLICATE, "duplicate"),
        (Self::REORDERED, "reordered"),
        (Self::LEAPT, "leapt"),
    ];

    /// Whether all of `other` hold.
    pub const fn has(self, other: Self) -> bool {
        self.0 & other.0 == other.0
    }

    /// Both.
    pub const fn and(self, other: Self) -> Self {
        Self(self.0 | other.0)
    }

    /// Whether estimation should take the value: anything sets it aside but a gap before it, and a leap, which
    /// estimation takes out itself.
    pub const fn usable(self) -> bool {
        self.0 & !(Self::GAP.0 | Self::LEAPT.0) == 0
    }

    /// Whether a limit may be looked up by such a depth, without waiting for what the next reading says of it.
    pub const fn tells_depth(self) -> bool {
        self.0 & (Self::OUT_OF_RANGE.0 | Self::FROZEN.0 | Self::LEAPT.0) == 0
    }
}

impl std::fmt::Debug for Flags {
    fn fmt(&self, out: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let names = Self::NAMES.iter().filter(|(flag, _)| self.has(*flag));
        out.debug_list()
            .entries(names.map(|(_, name)| name))
            .finish()
    }
}

/// What is wrong with an instrument now.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Fault {
    /// Nothing.
    #[default]
    None,
    /// The port is lost.
    Closed,
    /// No good reading for longer than `stale_after`, or none yet for as long.
    Stale,
    /// More than a fifth of the frames of the last seconds were garbled, or none could be read.
    Frames,
    /// The newest raw value is out of range.
    Range,
    /// The tension has been clearly negative for a while.
    Negative,
    /// The value does not change although it should.
    Frozen,
    /// Many readings leap away and back, or drop out.
    Leaps,
    /// The depth counter has leapt, and nobody has set it since.
    Leapt,
}

impl Fault {
    /// One word for the page; empty when nothing is wrong.
    pub const fn word(self) -> &'static str {
        match self {
            Self::None => "",
            Self::Closed => "closed",
            Self::Stale => "stale",
            Self::Frames => "frames",
            Self::Range | Self::Negative => "range",
            Self::Frozen => "frozen",
            Self::Leaps => "leaps",
            Self::Leapt => "leapt",
        }
    }

    /// What an operator who knows of one fault also knows of: silent and closed are the same to him.
    pub const fn reason(self) -> usize {
        match self {
            Self::None | Self::Closed | Self::Stale => 0,
            Self::Frames => 1,
            Self::Range => 2,
            Self::Frozen => 3,
            Self::Leaps => 4,
            Self::Negative => 5,
            Self::Leapt => 6,
        }
    }

    /// The same for a sentence to the crew.
    pub const fn in_words(self) -> &'static str {
        match self {
            Self::Closed => "its port is closed",
            Self::Stale => "it is silent",
            Self::Frames => "what it sends is garbled",
            Self::Range => "it is out of range",
            Self::Negative => "it is negative: wires reversed, or the zero wrong?",
            Self::Frozen => "it does not change",
            Self::Leaps => "it drops out and comes back, as with a loose contact",
            Self::Leapt => "its counter leapt",
            Self::None => "",
        }
    }
}

/// Health of one instrument, for page, metrics and the sensor alarm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ChannelHealth {
    /// Which instrument.
    pub channel: ChannelId,
    /// Readings, good or doubtful.
    pub readings: u64,
    /// Readings per second over the last seconds.
    pub rate_hz: f64,
    /// Arrival of the newest reading that was in range; `None` before the first.
    pub last_good_at: Option<Nanos>,
    /// Frames of its port that did not decode.
    pub bad_frames: u64,
    /// Silences longer than `stale_after`, the present one included.
    pub gaps: u64,
    /// Readings out of range.
    pub out_of_range: u64,
    /// Readings that repeated an unchanged value though it should have changed.
    pub frozen: u64,
    /// Readings set aside as spikes.
    pub spikes: u64,
    /// Readings with the frame number of the one before.
    pub duplicates: u64,
    /// Readings with an older frame number than the one before.
    pub reordered: u64,
    /// Frame numbers that were skipped.
    pub missing: u64,
    /// Times the port was lost.
    pub port_losses: u64,
    /// Leaps of the depth counter.
    pub leaps: u64,
    /// How far they have taken it since it was set, m.
    pub leapt_m: f64,
    /// What is wrong now.
    pub fault: Fault,
}
