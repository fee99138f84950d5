//! How hard the last strokes up pulled while they ran steadily.
//!
//! *Input*: whether the line goes up, its tension while that is steady, N, line paid out, m, and expected pick-up
//! weight, N. *Output*: the tension up to which a rise is the cutter taking hold, and no stall; and by how much
//! strokes there exceed the pick-up weight. *Limits*: three strokes are remembered.

use crate::time::{NANOS_PER_SECOND, Nanos};

/// One run up.
#[derive(Debug, Clone, Copy)]
struct Run {
    /// Its highest steady tension, N, and that above expected pick-up weight.
    steady_n: f64,
    above_n: Option<f64>,
    /// Line paid out, from least to most, m.
    line_m: (f64, f64),
}

/// By how much all of the last runs exceed the pick-up weight, N: the least of them; and the line paid out for which
/// they say so, from least to most, m.
#[derive(Debug, Clone, Copy)]
struct Above {
    above_n: f64,
    line_m: (f64, f64),
}

/// How the last strokes up pulled while they ran steadily.
#[derive(Debug, Clone, Default)]
pub(super) struct UsualPull {
    /// The last runs up, latest first.
    runs: [Option<Run>; 3],
    /// What they say together.
    above: Option<Above>,
    /// The run under way: its start, its line, and what it has shown so far.
    start: Option<Nanos>,
    line_m: Option<(f64, f64)>,
    steady: Option<(f64, Option<f64>)>,
}

/// What there is to note at one reading.
#[derive(Debug, Clone, Copy)]
pub(super) struct Noted {
    pub(super) is_up: bool,
    /// Tension, if it is steady, N.
    pub(super) steady_n: Option<f64>,
    pub(super) line_m: Option<f64>,
    pub(super) pick_up_n: Option<f64>,
}

impl UsualPull {
    /// Shorter runs are jogs, s.
    const RUN_S_MIN: Nanos = 3 * NANOS_PER_SECOND;

    /// Beyond the line of the last runs by more than this, they say nothing, m.
    const BESIDE_M: f64 = 3.0;

    /// Whether the run that now ended is one more to go by.
    pub(super) fn note(&mut self, at: Nanos, noted: Noted) -> bool {
        if noted.is_up {
            self.start.get_or_insert(at);
            if let Some(line) = noted.line_m {
                let (least, most) = self.line_m.unwrap_or((line, line));
                self.line_m = Some((least.min(line), most.max(line)));
            }
            if let Some(level) = noted.steady_n
                && self.steady.is_none_or(|(before, _)| level > before)
            {
                self.steady = Some((level, noted.pick_up_n.map(|pick_up| level - pick_up)));
            }
        } else if let Some(start) = self.start.take() {
            let line_m = self.line_m.take();
            if let Some((steady_n, above_n)) = self.steady.take()
                && at.saturating_sub(start) >= Self::RUN_S_MIN
            {
                let run = Run {
                    steady_n,
                    above_n,
                    line_m: line_m.unwrap_or((f64::INFINITY, f64::NEG_INFINITY)),
                };
                self.runs = [Some(run), self.runs[0], self.runs[1]];
                self.above = self.above_of_all();
                return true;
            }
        }
        false
    }

    /// The least of three runs, N: one that ended in a stall does not count as usual.
    pub(super) fn level_n(&self) -> Option<f64> {
        let runs = self.runs.iter().flatten();
        runs.map(|run| run.steady_n).reduce(f64::min)
    }

    /// By how much runs where `line_m` m are paid out exceed the pick-up weight, N: the least of three.
    pub(super) fn above_pick_up_n(&self, line_m: f64) -> Option<f64> {
        let Above {
            above_n,
            line_m: (from, to),
        } = self.above?;
        (from <= line_m && line_m <= to).then_some(above_n)
    }

    fn above_of_all(&self) -> Option<Above> {
        let mut all = Above {
            above_n: f64::INFINITY,
            line_m: (f64::NEG_INFINITY, f64::INFINITY),
        };
        for run in &self.runs {
            let run = run.as_ref()?;
            let (from, to) = run.line_m;
            all.above_n = all.above_n.min(run.above_n?);
            all.line_m.0 = all.line_m.0.max(from - Self::BESIDE_M);
            all.line_m.1 = all.line_m.1.min(to + Self::BESIDE_M);
        }
        Some(all)
    }
}
