//! What crosses the crates: the scoreboard of the inference against the bench well, and tests that
//! need more than one crate.
#![warn(missing_docs)]

#[cfg(feature = "daemon")]
pub mod http;
#[cfg(feature = "daemon")]
pub mod instruments;
pub mod invented_run;
#[cfg(feature = "daemon")]
pub mod lines_on_record;
pub mod mangle;
pub mod other_bench;
pub mod peers;
#[cfg(feature = "daemon")]
pub mod process;
#[cfg(feature = "daemon")]
pub mod programs;
pub mod raw_run;
#[cfg(feature = "daemon")]
pub mod rig;
pub mod score;
pub mod small_disk;
#[cfg(feature = "daemon")]
pub mod soak;
pub mod unit_file;
