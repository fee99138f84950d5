//! What goes into the core and what comes out, live and in replay alike.
//!
//! The daemon records exactly these inputs, in this order, before anything else sees them; replay
//! feeds them back in the same order. Nothing else (clock, thread, chunking) may reach the core.

use crate::result::{AlarmRecord, Interval, Stroke};
use crate::time::Nanos;
use serde::{Deserialize, Serialize};

/// An instrument channel.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum ChannelId {
    /// Line tension.
    Load,
    /// Line paid out.
    Depth,
}

/// Number of a port within the job: `[load]` is 0; `[depth]` is 1, or 0 when it shares the port.
pub type PortNumber = u8;

/// One thing that happened, with its arrival time.
#[derive(Debug, Clone, PartialEq)]
pub enum Input {
    /// Bytes arrived on a port.
    Received {
        /// Which port.
        port: PortNumber,
        /// When the last of them arrived.
        at: Nanos,
        /// The bytes.
        bytes: Vec<u8>,
    },
    /// Bytes were sent on a port (polled protocols: tells which answer belongs to which question).
    Sent {
        /// Which port.
        port: PortNumber,
        /// When.
        at: Nanos,
        /// The bytes.
        bytes: Vec<u8>,
    },
    /// An already calibrated reading (imported runs): newtons or metres.
    Reading {
        /// Which channel.
        channel: ChannelId,
        /// When it was taken.
        at: Nanos,
        /// Newtons or metres.
        value: f64,
    },
    /// The operator said something.
    Mark {
        /// When.
        at: Nanos,
        /// What.
        mark: Mark,
    },
    /// A port was lost or came back.
    Port {
        /// Which port.
        port: PortNumber,
        /// When.
        at: Nanos,
        /// Open now?
        open: bool,
    },
    /// Time passed (so that silence can be noticed); the daemon sends one every 100 ms.
    Tick {
        /// Now.
        at: Nanos,
    },
}

/// What the operator said.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Mark {
    /// What was marked.
    pub kind: MarkKind,
    /// Who, as typed on the page; empty when imported.
    pub author: String,
}

impl Mark {
    /// Made by the daemon itself.
    pub fn of_daemon(kind: MarkKind) -> Self {
        Self {
            kind,
            author: "kerfwatchd".to_owned(),
        }
    }
}

/// Kinds of marks.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum MarkKind {
    /// The cutter wheels were extended.
    CutterOut,
    /// The cutter wheels were retracted.
    CutterIn,
    /// Weight check: the tool is free; hold, pick up, slack off.
    WeightCheck,
    /// Free text.
    Note(String),
    /// The depth counter was set to this line length, m.
    Zero(f64),
    /// The wheels are known to be at this depth, m.
    ReferenceDepth(f64),
    /// An alarm was acknowledged: by kind, or the one that is about something, such as `sensor load`.
    Acknowledge(String),
    /// An alarm was shelved for so many seconds (named likewise).
    Shelve(String, f64),
    /// A latched alarm was reset (named likewise).
    Reset(String),
    /// Alarms of an earlier run that nobody had dealt with when that run broke off: a new run takes them over.
    /// JSON of [`crate::alarm::SavedAlarms`].
    AlarmsBefore(String),
    /// One of the daemon's own alarms (recorder, output, forward) has changed. Kept in the record for the daemon
    /// alone, so that a run that goes on after a crash knows it again; the pipeline passes it over. JSON.
    DaemonAlarm(String),
}

/// What the core decided.
#[derive(Debug, Clone, PartialEq)]
pub enum Event {
    /// A stroke ended.
    Stroke(Stroke),
    /// A spell of one state as told live has ended: provisional, without gaps or overlap, and never taken back. The
    /// intervals of the result are worked out afterwards, by all that is known then.
    Interval(Interval),
    /// An alarm was raised, cleared, acknowledged, shelved, ...
    Alarm {
        /// When.
        at: Nanos,
        /// New state of the alarm, e.g. `unacknowledged`.
        state: &'static str,
        /// The alarm.
        record: AlarmRecord,
    },
}
