//! The overpull path: from bytes to alarm on the instrument thread, before anything else.
//!
//! It has instruments of its own (decoder and calibration of the core), so that it depends neither
//! on the aligner nor on the queue to the pipeline. What it finds goes to horn, relay and programs at
//! once; the pipeline comes to the same finding from the same input a few milliseconds later, and
//! that one is recorded, latched and acknowledged.

use kerfwatch::alarm::{GuardModel, OverpullGuard};
use kerfwatch::calibrate::Instruments;
use kerfwatch::decode::SetupError;
use kerfwatch::input::{ChannelId, Input};
use kerfwatch::job::Job;
use kerfwatch::time::seconds;

/// A tension at or near the limit, as the guard saw it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Warning {
    /// Run time of the reading, s.
    pub at_s: f64,
    /// Line tension, N.
    pub tension_n: f64,
    /// Limit, N.
    pub limit_n: f64,
}

/// What has begun with one input.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Raised {
    /// The limit is reached.
    pub overpull: Option<Warning>,
    /// It soon will be.
    pub approaching: Option<Warning>,
}

impl Raised {
    /// Nothing has begun.
    pub fn is_nothing(&self) -> bool {
        self.overpull.is_none() && self.approaching.is_none()
    }
}

/// Judges every load reading.
#[derive(Debug)]
pub struct Guard {
    instruments: Instruments,
    guard: OverpullGuard,
    overpull: bool,
    approaching: bool,
    judged: u64,
}

impl Guard {
    /// A guard for one job.
    ///
    /// # Errors
    /// The instruments of the job cannot be set up.
    pub fn new(job: &Job) -> Result<Self, SetupError> {
        Ok(Self {
            instruments: Instruments::new(job)?,
            guard: OverpullGuard::new(GuardModel::new(job)),
            overpull: false,
            approaching: false,
            judged: 0,
        })
    }

    /// What begins with this input.
    pub fn judge(&mut self, input: &Input) -> Raised {
        let Self {
            instruments,
            guard,
            overpull,
            approaching,
            judged,
        } = self;
        let mut raised = Raised::default();
        let mut every = |reading: &kerfwatch::calibrate::CalibratedReading| {
            if reading.channel == ChannelId::Depth {
                guard.line(reading.at, reading.value);
                return;
            }
            *judged += 1;
            let verdict = guard.load(reading.at, reading.value);
            let warning = Warning {
                at_s: seconds(reading.at),
                tension_n: verdict.tension_n,
                limit_n: verdict.limit_n,
            };
            if verdict.overpull && !*overpull {
                raised.overpull = Some(warning);
            }
            if verdict.approaching && !*approaching {
                raised.approaching = Some(warning);
            }
            (*overpull, *approaching) = (verdict.overpull, verdict.approaching);
        };
        instruments.push(input, &mut every, &mut |_| {});
        raised
    }

    /// Load readings judged so far.
    pub fn judged(&self) -> u64 {
        self.judged
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::demo::fixture::{line, with_plain_instruments};
    use kerfwatch::job::{print_default_job, read_job};

    #[test]
    fn bytes_beyond_the_limit_raise_once_until_they_fall_again() {
        let text = with_plain_instruments(print_default_job()).unwrap();
        let job = read_job(&text, "sample").unwrap().job;
        let mut guard = Guard::new(&job).unwrap();
        let mut at = 0;
        let mut overpulls = 0;
        let mut send = |channel, value| {
            at += 20_000_000;
            let frame = line(channel, at, value);
            let input = Input::Received {
                port: frame.port,
                at,
                bytes: frame.bytes,
            };
            overpulls += u32::from(guard.judge(&input).overpull.is_some());
            overpulls
        };
        send(ChannelId::Depth, 2010.0);
        // 50 % of the breaking load or of the weak point is far below 20 kN, 1 kN far below it.
        for (tension, raised) in [(1000.0, 0), (20_000.0, 1), (1000.0, 1), (20_000.0, 2)] {
            let mut seen = 0;
            for _ in 0..5 {
                seen = send(ChannelId::Load, tension);
            }
            assert_eq!(seen, raised, "{tension} N");
        }
    }
}
