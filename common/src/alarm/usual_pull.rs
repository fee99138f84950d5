//! How hard the last strokes up pulled while they ran steadily.
//!
//! *Input*: whether the line goes up, and its tension while that is steady, N. *Output*: the tension up to
//! which a rise is the cutter taking hold, and no stall. *Limits*: three strokes are remembered.

use crate::time::{NANOS_PER_SECOND, Nanos};

/// Tension at which the last strokes up ran steadily.
#[derive(Debug, Clone, Default)]
pub(super) struct UsualPull {
    /// Highest steady tension of the last runs up, latest first.
    runs_n: [Option<f64>; 3],
    /// The run under way: its start, and its highest steady tension.
    start: Option<Nanos>,
    steady_n: Option<f64>,
}

impl UsualPull {
    /// Shorter runs are jogs, s.
    const RUN_S_MIN: Nanos = 3 * NANOS_PER_SECOND;

    pub(super) fn note(&mut self, at: Nanos, is_up: bool, steady_n: Option<f64>) {
        if is_up {
            self.start.get_or_insert(at);
            if let Some(level) = steady_n {
                self.steady_n = Some(self.steady_n.map_or(level, |before| before.max(level)));
            }
        } else if let Some(start) = self.start.take()
            && let Some(steady) = self.steady_n.take()
            && at.saturating_sub(start) >= Self::RUN_S_MIN
        {
            self.runs_n = [Some(steady), self.runs_n[0], self.runs_n[1]];
        }
    }

    /// The least of three runs: one that ended in a stall does not count as usual.
    pub(super) fn level_n(&self) -> Option<f64> {
        self.runs_n.iter().flatten().copied().reduce(f64::min)
    }
}
