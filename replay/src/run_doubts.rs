//! What makes one doubt a run as a whole, each with the label that it has in a summary: weight of the tool, zero of the load
//! cell, wheels.

use crate::{other_wheels, tool_weight, zero_steps};
use kerfwatch::pipeline::Pipeline;
use kerfwatch::result::RunResult;

/// A doubt in plain words.
pub(crate) struct Doubt {
    /// Its label in a summary.
    pub(crate) label: &'static str,
    /// What is said after it.
    pub(crate) words: String,
}

impl Doubt {
    /// In a sentence that stands without the label.
    pub(crate) fn alone(&self) -> String {
        match self.label {
            WHEELS => format!("wheels: {}", self.words),
            _ => self.words.clone(),
        }
    }
}

/// Of these the words alone do not say what they are about.
const WHEELS: &str = "Wheels";

/// All of them, from a run that has been fed.
pub(crate) fn told(pipeline: &Pipeline, result: &RunResult) -> Vec<Doubt> {
    let doubt = |label| move |words| Doubt { label, words };
    let weight = tool_weight::told(pipeline.learned().as_ref());
    let zero = zero_steps::told(&result.quality.zero_steps);
    let wheels = other_wheels::told(&result.other_wheels);
    (weight.into_iter().map(doubt("Weight")))
        .chain(zero.map(doubt("Zero")))
        .chain(wheels.map(doubt(WHEELS)))
        .collect()
}
