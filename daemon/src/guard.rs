//! The overpull path: from bytes to alarm on the instrument thread, before anything else.
//!
//! It has instruments of its own (decoder and calibration of the core), so that it depends neither
//! on the aligner nor on the queue to the pipeline. What it finds goes to horn, relay and programs at
//! once; the pipeline comes to the same finding from the same input a few milliseconds later, and
//! that one is recorded, latched and acknowledged. So nothing that a replay must find again is decided here;
//! the pick-up weight learned by the pipeline may come to this guard a few readings later than to that one.

use arc_swap::ArcSwapOption;
use kerfwatch::alarm::{GuardModel, OverpullGuard, PickUpTable};
use kerfwatch::calibrate::{Counter, Instruments};
use kerfwatch::input::{ChannelId, Input, MarkKind};
use kerfwatch::job::Job;
use kerfwatch::pipeline::Pipeline;
use kerfwatch::time::{NANOS_PER_SECOND, Nanos, seconds};
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

/// What the pipeline knows better than the guard, on its way there. Never waits.
#[derive(Debug, Default)]
pub struct Learned {
    pick_up: ArcSwapOption<PickUpTable>,
    counter: ArcSwapOption<Counter>,
}

impl Learned {
    /// The pipeline has learned a new pick-up weight.
    pub fn put_pick_up(&self, table: &Arc<PickUpTable>) {
        self.pick_up.store(Some(Arc::clone(table)));
    }

    /// Where the record of an interrupted run had left the depth counter.
    pub fn put_counter(&self, counter: Counter) {
        self.counter.store(Some(Arc::new(counter)));
    }

    /// A new one, once.
    fn take<T>(slot: &ArcSwapOption<T>) -> Option<Arc<T>> {
        // The look is cheaper than the exchange.
        if slot.load().is_none() {
            return None;
        }
        slot.swap(None)
    }
}

/// Part of the limit from which tension counts as near it. A reading that jumps by more than a quarter of the limit is
/// believed only with the next one ([`OverpullGuard`]), so from below this no single reading raises an overpull.
const NEAR_PART: f64 = 0.7;
/// How long it counts as near after the last such reading: a stroke's ripple dips below.
const NEAR_HOLD: Nanos = NANOS_PER_SECOND;

/// Judges every load reading.
#[derive(Debug)]
pub struct Guard {
    instruments: Instruments,
    guard: OverpullGuard,
    learned: Arc<Learned>,
    /// Depth readings mean something: the counter has not been set in a part of the run that is yet unread.
    knows_depth: bool,
    /// The counter was set under this guard's eyes, which is newer than what any record says.
    was_set_here: bool,
    overpull: bool,
    approaching: bool,
    judged: u64,
    near_at: Option<Nanos>,
}

impl Guard {
    /// A guard at the start of a run, or while an interrupted one is read back: what that had taught comes
    /// through `learned`. `knows_depth`: nobody has set the depth counter; otherwise the least limit of all
    /// depths holds until it is known.
    pub fn new(job: &Job, pipeline: &Pipeline, learned: Arc<Learned>, knows_depth: bool) -> Self {
        Self {
            instruments: pipeline.instruments().clone(),
            guard: OverpullGuard::new(GuardModel::new(job)),
            learned,
            knows_depth,
            was_set_here: false,
            overpull: false,
            approaching: false,
            judged: 0,
            near_at: None,
        }
    }

    /// What begins with this input.
    pub fn judge(&mut self, input: &Input) -> Raised {
        if let Some(table) = Learned::take(&self.learned.pick_up) {
            self.guard.use_pick_up(&table);
        }
        if let Some(counter) = Learned::take(&self.learned.counter)
            && !self.was_set_here
        {
            self.instruments.use_counter(*counter);
            self.guard.new_counter();
            self.knows_depth = true;
        }
        let is_set =
            matches!(input, Input::Mark { mark, .. } if matches!(mark.kind, MarkKind::Zero(_)));
        let before = is_set.then(|| self.instruments.counter());
        if is_set {
            self.guard.new_counter();
        }
        let Self {
            instruments,
            guard,
            knows_depth,
            overpull,
            approaching,
            judged,
            near_at,
            ..
        } = self;
        let mut raised = Raised::default();
        let mut every = |reading: &kerfwatch::calibrate::CalibratedReading| {
            if reading.channel == ChannelId::Depth {
                if *knows_depth && reading.flags.tells_depth() {
                    guard.line(reading.at, reading.value);
                }
                return;
            }
            *judged += 1;
            let verdict = guard.load(reading.at, reading.value);
            let warning = Warning {
                at_s: seconds(reading.at),
                tension_n: verdict.tension_n,
                limit_n: verdict.limit_n,
            };
            if verdict.tension_n >= NEAR_PART * verdict.limit_n {
                *near_at = Some(reading.at);
            }
            if verdict.overpull && !*overpull {
                raised.overpull = Some(warning);
            }
            if verdict.approaching && !*approaching {
                raised.approaching = Some(warning);
            }
            (*overpull, *approaching) = (verdict.overpull, verdict.approaching);
        };
        instruments.push(input, &mut every, &mut |_| {});
        // Before the first depth reading there is nothing to set.
        if before.is_some_and(|before| before != self.instruments.counter()) {
            self.was_set_here = true;
            self.knows_depth = true;
        }
        raised
    }

    /// Whether tension was near the limit a moment before `now`.
    pub fn is_near_limit(&self, now: Nanos) -> bool {
        self.near_at
            .is_some_and(|near_at| now - near_at < NEAR_HOLD)
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
    use kerfwatch::input::Mark;
    use kerfwatch::job::{print_default_job, read_job};

    fn reading(channel: ChannelId, at: Nanos, value: f64) -> Input {
        let frame = line(channel, at, value);
        Input::Received {
            port: frame.port,
            at,
            bytes: frame.bytes,
        }
    }

    #[test]
    fn bytes_beyond_the_limit_raise_once_until_they_fall_again() {
        let text = with_plain_instruments(print_default_job()).unwrap();
        let job = read_job(&text, "sample").unwrap().job;
        let mut guard = Guard::new(&job, &Pipeline::new(&job), Arc::default(), true);
        let mut at = 0;
        let mut overpulls = 0;
        let mut send = |channel, value| {
            at += 20_000_000;
            overpulls += u32::from(guard.judge(&reading(channel, at, value)).overpull.is_some());
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

    #[test]
    fn near_the_limit_from_seven_tenths_of_it_and_for_a_second_more() {
        let text = with_plain_instruments(print_default_job()).unwrap();
        let job = read_job(&text, "sample").unwrap().job;
        let limit = GuardModel::new(&job).limit_n(Some(2010.0));
        let mut guard = Guard::new(&job, &Pipeline::new(&job), Arc::default(), true);
        let mut at = 0;
        let mut send = |channel, value| {
            at += 20_000_000;
            guard.judge(&reading(channel, at, value));
            (guard.is_near_limit(at), guard.is_near_limit(at + NEAR_HOLD))
        };
        send(ChannelId::Depth, 2010.0);
        assert_eq!(send(ChannelId::Load, 0.6 * limit), (false, false));
        assert_eq!(send(ChannelId::Load, 0.75 * limit), (true, false));
        assert_eq!(send(ChannelId::Load, 0.6 * limit), (true, false));
    }

    #[test]
    fn while_the_counter_is_not_known_the_least_limit_holds() {
        let text = with_plain_instruments(print_default_job()).unwrap();
        let job = read_job(&text, "sample").unwrap().job;
        let pipeline = Pipeline::new(&job);
        let model = GuardModel::new(&job);
        // In a deep part of the well more may be pulled at surface: the line's own weight is not on the weak point.
        let (least, here) = (model.limit_n(None), model.limit_n(Some(2010.0)));
        assert!(least + 20.0 < here, "{least} N, {here} N");
        let learned = Arc::<Learned>::default();
        let mut guard = Guard::new(&job, &pipeline, Arc::clone(&learned), false);
        let mut at = 0;
        let mut send = |guard: &mut Guard, channel, value| {
            at += 20_000_000;
            guard.judge(&reading(channel, at, value)).overpull
        };
        let over = 0.5 * (least + here);
        send(&mut guard, ChannelId::Depth, 2010.0);
        let raised = (0..5).find_map(|_| send(&mut guard, ChannelId::Load, over));
        assert_eq!(raised.map(|warning| warning.limit_n), Some(least));
        // The record says where the counter stands: the limit of this depth holds again.
        for _ in 0..5 {
            send(&mut guard, ChannelId::Load, 1000.0);
        }
        learned.put_counter(pipeline.instruments().counter());
        send(&mut guard, ChannelId::Depth, 2010.0);
        let raised = (0..5).find_map(|_| send(&mut guard, ChannelId::Load, over));
        assert_eq!(raised, None);
    }

    #[test]
    fn what_the_record_says_of_the_counter_holds_though_its_notes_were_silent() {
        let text = with_plain_instruments(print_default_job()).unwrap();
        let job = read_job(&text, "sample").unwrap().job;
        let mut pipeline = Pipeline::new(&job);
        let learned = Arc::<Learned>::default();
        let mut guard = Guard::new(&job, &pipeline, Arc::clone(&learned), true);
        let mark = Mark {
            kind: MarkKind::Zero(2010.0),
            author: String::new(),
        };
        // Set while no depth had come: that sets nothing.
        guard.judge(&Input::Mark {
            at: 0,
            mark: mark.clone(),
        });
        // On record: the counter stood at 10 m when it was set to 2010 m.
        let mut events = Vec::new();
        pipeline.push(&reading(ChannelId::Depth, 1, 10.0), &mut events);
        pipeline.push(&Input::Mark { at: 2, mark }, &mut events);
        learned.put_counter(pipeline.instruments().counter());
        let limit_n = GuardModel::new(&job).limit_n(Some(2010.0));
        guard.judge(&reading(ChannelId::Depth, 3, 10.0));
        let over = (0..5).find_map(|k| {
            let at = 20_000_000 * (k + 1);
            guard
                .judge(&reading(ChannelId::Load, at, 20_000.0))
                .overpull
        });
        assert_eq!(over.map(|warning| warning.limit_n), Some(limit_n));
    }
}
