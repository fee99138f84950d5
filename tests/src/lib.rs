//! What crosses the crates: the scoreboard of the inference against the bench well, and tests that
//! need more than one crate.
#![warn(missing_docs)]

pub mod mangle;
pub mod peers;
pub mod score;
