//! Loads that came calibrated, from a table: lone readings that no line made are set aside.
//!
//! *Input*: tensions, N, in order of arrival. *Output*: those fit for estimation, in order; one at most is held back until
//! the next. *Limits*: only what stands out by more than three per cent of the breaking load counts as a spike, since a table
//! may have so few readings in a second that a lone one is the peak of a jar; what lasts two readings is a pull. The
//! overpull path sees every reading, this or not.

use super::spike::{SpikeFilter, Verdict};
use crate::job::Job;
use crate::time::Nanos;

/// Part of the breaking load by which a reading has to stand out: in a hole of 2000 m that much for a tenth of a second
/// moves the tool by decimetres, by the line's stretch.
const FLOOR: f64 = 0.03;
/// Breaking loads beyond which a reading is none of this line, whatever its scale.
pub const IMPOSSIBLE: f64 = 4.0;
/// After a longer silence readings are no neighbours.
const SILENCE: Nanos = 2_000_000_000;

/// What was set aside.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct SetAside {
    /// Lone readings that stood out from both neighbours.
    pub spikes: u64,
    /// Readings beyond [`IMPOSSIBLE`].
    pub out_of_range: u64,
}

/// Follows the loads of a table.
#[derive(Debug, Clone)]
pub struct ImportedLoads {
    filter: SpikeFilter,
    /// N.
    impossible: f64,
    held: Option<(Nanos, f64)>,
    newest: Option<Nanos>,
    set_aside: SetAside,
}

impl ImportedLoads {
    /// At the start of a run.
    pub fn new(job: &Job) -> Self {
        let breaking = job.line.breaking_load.si();
        Self {
            filter: SpikeFilter::new(FLOOR * breaking),
            impossible: IMPOSSIBLE * breaking,
            held: None,
            newest: None,
            set_aside: SetAside::default(),
        }
    }

    /// Takes a tension, N; those that can now be told fit go to `fit`.
    #[inline]
    pub fn push(&mut self, at: Nanos, value: f64, fit: &mut impl FnMut(Nanos, f64)) {
        if value.abs() > self.impossible {
            self.set_aside.out_of_range += 1;
            return;
        }
        if self.newest.is_some_and(|newest| at - newest > SILENCE) {
            self.release(fit);
        }
        self.newest = Some(at);
        match self.filter.push(value) {
            Verdict::Plain => fit(at, value),
            Verdict::Held => self.held = Some((at, value)),
            Verdict::HeldWasSpike => {
                self.set_aside.spikes += 1;
                self.held = None;
                fit(at, value);
            }
            Verdict::HeldWasPlain => {
                self.give(fit);
                fit(at, value);
            }
            Verdict::HeldWasPlainNewestHeld => {
                self.give(fit);
                self.held = Some((at, value));
            }
        }
    }

    /// No more will come, or not for a while: what is held back is given out, and is no neighbour of what comes next.
    pub fn release(&mut self, fit: &mut impl FnMut(Nanos, f64)) {
        self.give(fit);
        self.filter.restart();
    }

    fn give(&mut self, fit: &mut impl FnMut(Nanos, f64)) {
        if let Some((at, value)) = self.held.take() {
            fit(at, value);
        }
    }

    /// Whether any load came calibrated.
    pub fn has_taken(&self) -> bool {
        self.newest.is_some()
    }

    /// What was set aside so far.
    pub fn set_aside(&self) -> SetAside {
        self.set_aside
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::job::{print_default_job, read_job};

    /// Which of these loads, at 20 Hz on a line that breaks at some 9 kN, are fit.
    fn fit(loads: &[f64]) -> (Vec<f64>, SetAside) {
        let read = read_job(print_default_job(), "job.toml");
        let job = read.unwrap_or_else(|f| panic!("{f}")).job;
        assert!((9000.0..10_000.0).contains(&job.line.breaking_load.si()));
        let mut imported = ImportedLoads::new(&job);
        let mut out = Vec::new();
        let mut newest = Nanos::MIN;
        let mut take = |at, value| {
            assert!(at > newest, "in order");
            newest = at;
            out.push(value);
        };
        for (n, load) in (0..).zip(loads) {
            imported.push(n * 50_000_000, *load, &mut take);
        }
        imported.release(&mut take);
        (out, imported.set_aside())
    }

    #[test]
    fn lone_readings_that_no_line_made_are_set_aside() {
        let mut loads: Vec<f64> = (0..60).map(|n| 2000.0 + f64::from(n % 3)).collect();
        let plain = loads.clone();
        for (at, absurd) in [(20, 99_999.0), (30, 0.0), (40, 4000.0)] {
            loads[at] = absurd;
        }
        let (out, set_aside) = fit(&loads);
        assert!(out.iter().all(|load| (2000.0..2003.0).contains(load)));
        assert_eq!((set_aside.out_of_range, set_aside.spikes), (1, 2));
        assert_eq!(fit(&plain), (plain, SetAside::default()));
    }

    #[test]
    fn a_pull_a_fall_and_a_last_reading_are_kept() {
        let mut loads = vec![2000.0; 20];
        loads.extend([3000.0, 3000.0, 3500.0, 1000.0, 1000.0]);
        loads.extend([1000.0; 20]);
        loads.push(2500.0);
        assert_eq!(fit(&loads), (loads.clone(), SetAside::default()));
    }
}
