//! How often the line was loaded and unloaded, and by how much: rainflow cycles of its tension.
//!
//! Bending over sheaves wears slickline first; tension cycles are what is left to say of its work at the rope socket
//! and at clamps. Counts only: no life is claimed from them.

use kerfwatch::model::rainflow::{Cycle, Rainflow};

/// Turning points closer than this part of the breaking load are noise.
const GATE: f64 = 0.02;
/// Lower ends of the classes of ranges, parts of the breaking load.
pub(super) const CLASSES: [f64; 6] = [0.02, 0.05, 0.1, 0.2, 0.3, 0.5];

/// Cycles by range.
#[derive(Debug, Clone)]
pub(super) struct TensionCycles {
    counter: Rainflow,
    breaking_n: f64,
    /// Cycles by class; halves are possible.
    pub(super) counts: [f64; CLASSES.len()],
    /// Largest range, N.
    pub(super) largest_n: f64,
}

impl TensionCycles {
    /// For a line that breaks at `breaking_n` N.
    pub(super) fn new(breaking_n: f64) -> Self {
        Self {
            counter: Rainflow::new(GATE * breaking_n),
            breaking_n,
            counts: [0.0; CLASSES.len()],
            largest_n: 0.0,
        }
    }

    /// The next reading of line tension, N.
    pub(super) fn take(&mut self, tension_n: f64) {
        let Self {
            counter,
            breaking_n,
            counts,
            largest_n,
        } = self;
        counter.push(tension_n, |cycle| {
            add(counts, largest_n, cycle, *breaking_n)
        });
    }

    /// The run has ended.
    pub(super) fn finish(&mut self) {
        let Self {
            counter,
            breaking_n,
            counts,
            largest_n,
        } = self;
        counter.finish(|cycle| add(counts, largest_n, cycle, *breaking_n));
    }
}

fn add(counts: &mut [f64; CLASSES.len()], largest_n: &mut f64, cycle: Cycle, breaking_n: f64) {
    *largest_n = largest_n.max(cycle.range);
    let part = cycle.range / breaking_n;
    if let Some(class) = CLASSES.iter().rposition(|low| part >= *low) {
        counts[class] += cycle.count;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // By hand: three whole cycles of 1 kN, two halves of the larger swing of 3.1 kN around them.
    #[test]
    fn cycles_of_a_hand_made_series_fall_into_their_classes() {
        let mut cycles = TensionCycles::new(10_000.0);
        for tension in [
            0.0, 2000.0, 1000.0, 2000.0, 1000.0, 2000.0, 1000.0, 3100.0, 0.0,
        ] {
            // Noise below the gate changes nothing.
            cycles.take(tension);
            cycles.take(tension + if tension == 0.0 { 0.0 } else { -50.0 });
            cycles.take(tension);
        }
        cycles.finish();
        assert_eq!(cycles.counts, [0.0, 0.0, 3.0, 0.0, 1.0, 0.0]);
        assert_eq!(cycles.largest_n, 3100.0);
    }
}
