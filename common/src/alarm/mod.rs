//! Alarms: when to call the crew, and when to be quiet again.
//!
//! *Input -> output*: conditions (from the pipeline and from [`OverpullGuard`]) and the operator's
//! commands go in; alarm events, records and one plain sentence per alarm come out. *Units*: SI,
//! times in ns since run start. *Limits*: an aid to the winch operator, not a safety function.
//!
//! | file | what is inside |
//! |---|---|
//! | `state` | the nine states and every transition between them |
//! | `rule` | per kind: deadband, delays, latching, shelving |
//! | `engine` | [`AlarmEngine`]: delays, chatter, suppression, first-out, records |
//! | `message` | the sentence for each kind |
//! | `guard` | [`OverpullGuard`]: judges every load reading by itself |
//! | `guard_model` | the tables it judges by: limit and pick-up weight by depth |
//! | `usual_pull` | how hard the last strokes pulled |
//! | `slope` | slope of the last second, robust against spikes |
//!
//! *Source*: states and transitions of ANSI/ISA-18.2-2016 and IEC 62682, from memory; deadband and delays as in
//! OPC UA Part 9, B.1.5; "three or more in a minute is chatter" is common practice, from memory.

mod engine;
mod guard;
mod guard_model;
mod message;
mod rule;
mod slope;
mod state;
mod usual_pull;

pub use engine::{AlarmCommand, AlarmEngine, Refused, SHELVE_MAX, SavedAlarms};
pub use guard::{OverpullGuard, Verdict};
pub use guard_model::{GuardModel, PickUpTable, Pull};
pub use message::Detail;
pub use rule::{AlarmKind, Level, Rule, Sense};
pub use slope::RobustSlope;
pub use state::{AlarmState, Stimulus, next_state};
