//! The overpull path: from bytes to alarm on the instrument thread, before anything else.
//!
//! It has instruments of its own (decoder and calibration of the core), so that it depends neither
//! on the aligner nor on the queue to the pipeline. What it finds goes to horn, relay and programs at
//! once; the pipeline comes to the same finding from the same input a few milliseconds later, and
//! that one is recorded, latched and acknowledged. So nothing that a replay must find again is decided here;
//! the pick-up weight learned by the pipeline may come to this guard a few readings later than to that one.

use arc_swap::ArcSwapOption;
use kerfwatch::alarm::{GuardModel, OverpullGuard, PickUpTable};
use kerfwatch::calibrate::Instruments;
use kerfwatch::input::{ChannelId, Input, MarkKind};
use kerfwatch::job::Job;
use kerfwatch::pipeline::Pipeline;
use kerfwatch::time::seconds;
use std::sync::Arc;

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

/// The pick-up weight that the pipeline has learned, on its way to the guard.
#[derive(Debug, Default)]
pub struct LearnedPickUp {
    newest: ArcSwapOption<PickUpTable>,
}

impl LearnedPickUp {
    /// The pipeline has learned a new one.
    pub fn put(&self, table: &Arc<PickUpTable>) {
        self.newest.store(Some(Arc::clone(table)));
    }

    /// A new one, once. Never waits.
    fn take(&self) -> Option<Arc<PickUpTable>> {
        // The look is cheaper than the exchange.
        if self.newest.load().is_none() {
            return None;
        }
        self.newest.swap(None)
    }
}

/// Judges every load reading.
#[derive(Debug)]
pub struct Guard {
    instruments: Instruments,
    guard: OverpullGuard,
    learned: Arc<LearnedPickUp>,
    overpull: bool,
    approaching: bool,
    judged: u64,
}

impl Guard {
    /// A guard that starts where `pipeline` is: a run that goes on after a crash keeps the depth the crew had
    /// set and the pick-up weight it had learned. Later weights come through `learned`.
    pub fn new(job: &Job, pipeline: &Pipeline, learned: Arc<LearnedPickUp>) -> Self {
        let mut guard = OverpullGuard::new(GuardModel::new(job));
        if let Some(table) = pipeline.pick_up() {
            guard.use_pick_up(table);
        }
        Self {
            instruments: pipeline.instruments().clone(),
            guard,
            learned,
            overpull: false,
            approaching: false,
            judged: 0,
        }
    }

    /// What begins with this input.
    pub fn judge(&mut self, input: &Input) -> Raised {
        if let Some(table) = self.learned.take() {
            self.guard.use_pick_up(&table);
        }
        if let Input::Mark { mark, .. } = input
            && matches!(mark.kind, MarkKind::Zero(_))
        {
            self.guard.new_counter();
        }
        let Self {
            instruments,
            guard,
            overpull,
            approaching,
            judged,
            ..
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
        let mut guard = Guard::new(&job, &Pipeline::new(&job), Arc::default());
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
