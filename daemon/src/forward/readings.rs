//! Raw entries made into points: few in quiet times, all of them around an alarm.
//!
//! The entries go through the same calibration as in the core, from the first on, so that which points come
//! out depends on the record alone. After a restart the entries already delivered go through again without
//! a word.

use super::points::{PointMaker, Points};
use kerfwatch::calibrate::{CalibratedReading, Flags, Instruments};
use kerfwatch::decode::SetupError;
use kerfwatch::input::{ChannelId, Input};
use kerfwatch::job::Job;
use kerfwatch::recording::time_of;
use kerfwatch::time::{NANOS_PER_SECOND, Nanos, nanos};

/// Run time sent in full before and after the raising of an alarm.
pub(super) const AROUND_ALARM: Nanos = 10 * NANOS_PER_SECOND;
/// Run time between the places noted for going back.
const PLACE_EVERY: Nanos = 10 * NANOS_PER_SECOND;

/// Stretches of run time to be sent in full, sorted, without overlap.
#[derive(Debug, Clone, Default)]
pub(super) struct Windows(Vec<(Nanos, Nanos)>);

impl Windows {
    /// Adds the time around an alarm raised at `raised_s`; returns its start if it was not yet covered.
    pub(super) fn add(&mut self, raised_s: f64) -> Option<Nanos> {
        let at = nanos(raised_s)?;
        let (mut start, mut end) = (at - AROUND_ALARM, at + AROUND_ALARM);
        if self.0.iter().any(|(s, e)| *s <= start && end <= *e) {
            return None;
        }
        let asked = start;
        self.0.retain(|(s, e)| {
            let apart = *e < start || end < *s;
            if !apart {
                (start, end) = (start.min(*s), end.max(*e));
            }
            apart
        });
        let place = self.0.partition_point(|(s, _)| *s < start);
        self.0.insert(place, (start, end));
        Some(asked)
    }

    fn hold(&self, at: Nanos) -> bool {
        let after = self.0.partition_point(|(start, _)| *start <= at);
        after > 0 && at <= self.0[after - 1].1
    }
}

/// Readings of one channel in the present time step.
#[derive(Debug, Clone, Copy)]
struct Step {
    number: i64,
    sum: f64,
    low: f64,
    high: f64,
    last: f64,
    readings: u32,
}

/// Follows the raw entries.
#[derive(Debug, Clone)]
pub(super) struct Readings {
    instruments: Instruments,
    step_ns: Nanos,
    steps: [Option<Step>; 2],
    judged: Vec<CalibratedReading>,
    /// Number of the next entry to be taken.
    pub(super) next: u64,
    /// Time of the newest entry taken.
    pub(super) at: Nanos,
    /// Times and numbers of entries, some seconds apart.
    places: Vec<(Nanos, u64)>,
}

impl Readings {
    pub(super) fn new(job: &Job, rate_hz: f64) -> Result<Self, SetupError> {
        Ok(Self {
            instruments: Instruments::new(job)?,
            step_ns: nanos(1.0 / rate_hz).unwrap_or(NANOS_PER_SECOND).max(1),
            steps: [None, None],
            judged: Vec::new(),
            next: 0,
            at: Nanos::MIN,
            places: Vec::new(),
        })
    }

    /// Takes an entry. Its points go to `out`, or nowhere when it was delivered before.
    pub(super) fn take(
        &mut self,
        number: u64,
        input: &Input,
        windows: &Windows,
        mut out: Option<&mut Points>,
        maker: &PointMaker,
    ) {
        let at = time_of(input);
        if self
            .places
            .last()
            .is_none_or(|(t, _)| at >= t + PLACE_EVERY)
        {
            self.places.push((at, number));
        }
        self.next = number + 1;
        self.at = self.at.max(at);
        let mut judged = std::mem::take(&mut self.judged);
        self.instruments
            .push(input, &mut |_| (), &mut |reading| judged.push(*reading));
        for reading in judged.drain(..) {
            self.reading(&reading, windows, out.as_deref_mut(), maker);
        }
        self.judged = judged;
    }

    /// The run has ended: what was still pending.
    pub(super) fn finish(&mut self, windows: &Windows, out: &mut Points, maker: &PointMaker) {
        let mut judged = Vec::new();
        self.instruments
            .finish(&mut |reading| judged.push(*reading));
        for reading in judged {
            self.reading(&reading, windows, Some(out), maker);
        }
        for channel in [ChannelId::Load, ChannelId::Depth] {
            self.close(channel, Some(out), maker);
        }
    }

    /// Number of an entry not newer than `at`, with all newer ones after it.
    pub(super) fn place_before(&self, at: Nanos) -> u64 {
        let after = self.places.partition_point(|(t, _)| *t < at);
        after.checked_sub(1).map_or(0, |i| self.places[i].1)
    }

    fn reading(
        &mut self,
        reading: &CalibratedReading,
        windows: &Windows,
        mut out: Option<&mut Points>,
        maker: &PointMaker,
    ) {
        let CalibratedReading {
            channel, at, value, ..
        } = *reading;
        // Around an alarm what is doubtful is sent too; a repeated frame would only be the same point.
        if windows.hold(at)
            && !reading.flags.has(Flags::DUPLICATE)
            && let Some(out) = out.as_deref_mut()
        {
            let field = match channel {
                ChannelId::Load => "tension_n",
                ChannelId::Depth => "depth_m",
            };
            maker.reading(out, at, field, value);
        }
        if !reading.flags.usable() {
            return;
        }
        let number = at.div_euclid(self.step_ns);
        if let Some(step) = self.step(channel)
            && step.number >= number
        {
            step.sum += value;
            step.low = step.low.min(value);
            step.high = step.high.max(value);
            step.last = value;
            step.readings += 1;
            return;
        }
        self.close(channel, out, maker);
        *self.step(channel) = Some(Step {
            number,
            sum: value,
            low: value,
            high: value,
            last: value,
            readings: 1,
        });
    }

    fn step(&mut self, channel: ChannelId) -> &mut Option<Step> {
        &mut self.steps[usize::from(channel == ChannelId::Depth)]
    }

    fn close(&mut self, channel: ChannelId, out: Option<&mut Points>, maker: &PointMaker) {
        let (Some(step), Some(out)) = (self.step(channel).take(), out) else {
            return;
        };
        let at = step.number * self.step_ns;
        match channel {
            ChannelId::Load => {
                let mean = step.sum / f64::from(step.readings);
                maker.tension(out, at, mean, step.low, step.high, step.readings);
            }
            ChannelId::Depth => maker.depth(out, at, step.last),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn windows_merge_and_say_where_a_new_one_begins() {
        let mut windows = Windows::default();
        let s = |x: f64| nanos(x).unwrap();
        assert_eq!(windows.add(100.0), Some(s(90.0)));
        assert_eq!(windows.add(100.0), None);
        assert_eq!(windows.add(50.0), Some(s(40.0)));
        assert_eq!(windows.add(115.0), Some(s(105.0)));
        assert_eq!(windows.0, [(s(40.0), s(60.0)), (s(90.0), s(125.0))]);
        for (at, inside) in [(39.9, false), (40.0, true), (60.1, false), (125.0, true)] {
            assert_eq!(windows.hold(s(at)), inside, "{at}");
        }
    }
}
