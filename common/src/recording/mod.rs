//! Run folders: nothing recorded is lost.
//!
//! *Input -> output*: what goes into the core, in order, and what it decides -> a folder of files that
//! survives power cuts; and back, with a list of what was damaged. *Units*: times are ns since run start
//! ([`crate::time`]), readings newtons or metres. *Limits*: a block holds at most 2^20 entries and 64 MiB;
//! one writer at a time. *Errors*: [`RecordError`] stops, [`Damage`] is reported and passed over.
//!
//! The folder holds `run.toml` ([`RunHead`]), `notes.toml` ([`Note`]), `raw-NNNNN.kwr`, `derived-NNNNN.kwr` (byte
//! layout in `layout.rs`), `run.lock`, and after a finished run `manifest.sha256`.
//!
//! Reading order: `layout` (bytes of a segment), `column`, `text` (with `template` and `line_image`) and `records`
//! (numbers and frames made small), `batch` and `stored` (inputs as columns), `storage` (file operations), `track` and
//! `writer` (with `room` and `resume`), `pack`, `recover`, `index`, `reader`, `blocks` and `verification`.

mod batch;
mod blocks;
mod column;
mod derived;
mod error;
mod fuzz;
mod head;
mod health;
mod index;
mod layout;
mod line_image;
mod manifest;
mod pack;
mod payload;
mod policy;
mod reader;
mod records;
mod recover;
mod resume;
mod room;
mod storage;
mod stored;
mod template;
mod text;
mod track;
mod verification;
mod writer;

#[cfg(test)]
mod tests;

pub use derived::Derived;
pub use error::{Damage, DamageKind, RecordError};
pub use fuzz::{fuzz_blocks, fuzz_payload, fuzz_segment};
pub use head::{HEAD_FORMAT, NOTES_FILE, Note, RUN_FILE, RunHead};
pub use health::{ClockAnchor, Health, Recovery};
pub use layout::Store;
pub use manifest::{DigestState, MANIFEST_FILE};
pub use policy::Policy;
pub use reader::{Inputs, Run, RunReader, time_of};
pub use storage::{Folder, Storage};
pub use verification::Verification;
pub use writer::{INPUT_MAX, LOCK_FILE, RunWriter};
