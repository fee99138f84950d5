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
//! Reading order: `layout` (bytes of a segment), `column`, `text` (with `template` and `line_image`), `polled` and `records`
//! (numbers and frames made small), `batch` and `stored` (inputs as columns), `storage` (file operations), `track` and
//! `writer` (with `room` and `resume`), `pack`, `recover`, `scan`, `index`, `reader`, `blocks`, `readings` and `verification`.
//!
//! ```
//! use kerfwatch::input::Input;
//! use kerfwatch::recording::{Folder, HEAD_FORMAT, Policy, RunHead, RunReader, RunWriter};
//!
//! let folder = std::env::temp_dir().join(format!("kerfwatch-example-{}", std::process::id()));
//! let head = RunHead {
//!     format: HEAD_FORMAT,
//!     run_id: "example".into(),
//!     software: "example".into(),
//!     started_unix_ns: 0,
//!     started_utc: "unknown".into(),
//!     job: String::new(),
//! };
//! let sent = Input::Received { port: 0, at: 1_000_000, bytes: b"L 3000.12\r\n".to_vec() };
//! let mut writer = RunWriter::create(Folder::create(&folder)?, &head, Policy::default())?;
//! writer.append(&sent)?;
//! writer.finish(2_000_000)?;
//!
//! let mut read = Vec::new();
//! RunReader::open(&folder)?.for_each_input(|input| read.push(input.clone()));
//! assert_eq!(read, [sent]);
//! # std::fs::remove_dir_all(&folder)?;
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

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
mod polled;
mod reader;
mod readings;
mod records;
mod recover;
mod resume;
mod room;
mod scan;
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
pub use manifest::{DigestState, FORWARD_CURSOR_FILE, FORWARD_REFUSED_FILE, MANIFEST_FILE};
pub use policy::Policy;
pub use reader::{Inputs, Run, RunReader, time_of};
pub use readings::Readings;
pub use storage::{Folder, Look, ReadOnly, Storage, part_of};
pub use verification::Verification;
pub use writer::{INPUT_MAX, LOCK_FILE, RunWriter};
