//! Seeds that make no record, and why.

use std::error::Error;
use std::fmt::{self, Display, Formatter};

/// Why a seed makes no record. Depends on the seed alone, so every machine leaves out the same ones.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum GivenUp {
    /// No well was drawn that a crew would take on, in so many draws.
    NoWell(usize),
    /// The line came out of balance and did not find it again; time, s.
    Diverged(f64),
    /// The crew had not come to an end; time, s.
    NoEnd(f64),
    /// So few strokes with the cutter out: nothing to score.
    FewStrokes(usize),
}

impl Display for GivenUp {
    fn fmt(&self, f: &mut Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoWell(draws) => {
                write!(f, "none of {draws} wells drawn is one a crew would take on")
            }
            Self::Diverged(time) => write!(f, "the line did not find its balance at {time:.1} s"),
            Self::NoEnd(time) => write!(f, "the crew was not done after {:.1} h", time / 3600.0),
            Self::FewStrokes(strokes) => {
                write!(f, "only {strokes} strokes were made with the cutter out")
            }
        }
    }
}

impl Error for GivenUp {}
