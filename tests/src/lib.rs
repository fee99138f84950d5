//! What crosses the crates: the scoreboard of the inference against the bench well, and tests that
//! need more than one crate.
#![warn(missing_docs)]

#[cfg(feature = "daemon")]
pub mod http;
pub mod invented_run;
pub mod mangle;
pub mod outside;
pub mod peers;
pub mod readers;
#[cfg(feature = "daemon")]
pub mod rig;
pub mod score;
