//! What passes of other wheels count, where some came in mid-job: the factor that makes the drag likeliest.
//!
//! The pauses are asked one after the other, each with all that is known of those before: a factor counts for the set
//! that follows and for all after it, until the next pause asks anew. Each factor takes a search of its own: how the law
//! bends depends on it. So only pauses are asked across which the drag has changed ([`super::super::sudden_change`]).

use super::super::wheel_sets::{WheelSets, ln_prior};
use super::JointFit;

/// Factors that are tried of each set beside that of wheels that are as they were, as logarithms, either way.
const TRIED: [f64; 2] = [0.35, 0.8];
/// Steps by which the best of them is then sought to either side.
const STEPS: [f64; 2] = [0.2, 0.1];

/// The fit with the sets as they are likeliest; `search`: the fit with sets given.
pub(super) fn told(
    possible: WheelSets,
    search: impl Fn(&WheelSets) -> Option<JointFit>,
) -> Option<(JointFit, WheelSets)> {
    let mut sets = possible;
    let mut found = search(&sets)?;
    for set in 1..sets.count() {
        let try_at = |ln_factor: f64| {
            let found = search(&sets.with_change(set, ln_factor))?;
            Some(Tried::new(ln_factor, found))
        };
        let mut best = Tried::new(0.0, found);
        let (more, less) = sets.may_count(set);
        for ln_factor in TRIED {
            if more {
                best = best.or(try_at(ln_factor));
            }
            if less {
                best = best.or(try_at(-ln_factor));
            }
        }
        // Wheels that are as they were need no closer look.
        let closer = if best.ln_factor == 0.0 {
            &[]
        } else {
            &STEPS[..]
        };
        for step in closer {
            let middle = best.ln_factor;
            for ln_factor in [middle - step, middle + step] {
                best = best.or(try_at(ln_factor));
            }
        }
        sets = sets.with_change(set, best.ln_factor);
        found = best.found;
    }
    Some((found, sets))
}

/// A factor with what was found.
struct Tried {
    ln_factor: f64,
    /// Logarithm of evidence and prior.
    ln_p: f64,
    found: JointFit,
}

impl Tried {
    fn new(ln_factor: f64, found: JointFit) -> Self {
        Self {
            ln_factor,
            ln_p: found.ln_evidence + ln_prior(ln_factor),
            found,
        }
    }

    /// The likelier one.
    fn or(self, other: Option<Self>) -> Self {
        match other {
            Some(other) if other.ln_p > self.ln_p => other,
            _ => self,
        }
    }
}
