//! Steps of the depth counter that no line made: a counter set at the panel, a slipped magnet, a fault.
//!
//! *Input*: counter readings, m, in order of arrival. *Output*: the same with such steps taken out, so that the tool
//! stays where it is. Two signs: more line than a winch could pay out in the time ([`line_within`]), and a line at rest
//! that is elsewhere by the next reading. *Limits*: a step is believed once some readings agree with it, which are kept
//! back; at rest it is told only of counters that have been seen to count in small steps, since one that is read anew
//! once a second leaps at every start.
//!
//! A counter that hung and comes back reads elsewhere too, and is right: the line had gone on. It is told by how the rest
//! began, at full speed as no winch stops ([`super::sudden_stop`]), and by a pull that went up and down meanwhile.

use super::sudden_stop::Approach;
use super::{CONFIRMATIONS, Point, line_within};

/// Line that has not gone further than this is at rest, m.
const REST_M: f64 = 0.02;
/// And has been for so long, s.
const REST_S: f64 = 2.0;
/// A line at rest comes to no more than this speed by the next reading, m/s (common practice, no source: winches take
/// a second and more to their speed).
const START_SPEED_MAX: f64 = 2.0;
/// And a step beyond that, m.
const START_STEP: f64 = 0.1;
/// After a longer silence a line at rest may have moved as any other, s.
const SILENCE_S: f64 = 1.0;
/// Changes of the reading after which it is known how finely it follows the line.
const CHANGES: u32 = 50;

/// A counter that reads the same for so long may hang, s.
const HUNG_S: f64 = 5.0;
/// A line that stops swings for a while: pulls from so long after on, s.
const SETTLED_S: f64 = 3.0;
/// By how much of the greatest the pull of a line at rest does not change (common practice, no source: friction lets a
/// line at rest creep by some per cent; a stroke the other way takes more than this).
const PULL_SWING: f64 = 0.12;

/// What was made of a reading.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Counted {
    /// Line by the counter without its steps, m.
    Line(f64),
    /// The same after readings that had gone astray and came back.
    AfterSpike(f64),
    /// The same at the end of a step, and by how much the counter reads more since, m.
    AfterStep(f64, f64),
    /// Line by a counter that had hung and follows again, m.
    AfterHanging(f64),
    /// Kept back: a spike, or the beginning of a step.
    Waits,
}

/// Follows one counter.
#[derive(Debug, Clone, Default)]
pub(super) struct CounterSteps {
    /// What takes the steps so far out, m.
    offset: f64,
    last: Option<Point>,
    /// Newest reading that is elsewhere, and how many agree with it.
    elsewhere: Option<(Point, u32)>,
    rest: Rest,
}

impl CounterSteps {
    /// Takes a reading, m, at `t` s.
    #[inline]
    pub(super) fn take(&mut self, t: f64, raw: f64) -> Counted {
        let here = Point {
            t,
            v: raw + self.offset,
        };
        let Some(last) = self.last else {
            self.go(here);
            return Counted::Line(here.v);
        };
        let off = (here.v - last.v).abs();
        if self.elsewhere.is_none() && off <= self.rest.within(t, last.t) {
            // Also when its time lies before that of the last one: a clock that was set back catches up with the old
            // time somewhere else.
            self.go(here);
            return Counted::Line(here.v);
        }
        self.astray(here, last, off)
    }

    fn astray(&mut self, here: Point, last: Point, off: f64) -> Counted {
        let t = here.t;
        let seen = match self.elsewhere {
            Some((p, _)) if off <= line_within(t - last.t) && off <= (here.v - p.v).abs() => {
                self.elsewhere = None;
                self.go(here);
                return Counted::AfterSpike(here.v);
            }
            Some((p, n)) if (here.v - p.v).abs() <= line_within(t - p.t) => n + 1,
            _ => 1,
        };
        if seen < CONFIRMATIONS {
            self.elsewhere = Some((here, seen));
            return Counted::Waits;
        }
        self.elsewhere = None;
        if self.rest.was_hung(here) {
            self.go(here);
            return Counted::AfterHanging(here.v);
        }
        let step = here.v - last.v;
        self.offset -= step;
        self.go(Point { t, v: last.v });
        Counted::AfterStep(last.v, step)
    }

    /// The pull on the line, N, at `t` s.
    #[inline]
    pub(super) fn pulls(&mut self, t: f64, tension: f64) {
        self.rest.pulls(t, tension);
    }

    #[inline]
    fn go(&mut self, here: Point) {
        self.rest.push(here);
        self.last = Some(here);
    }
}

/// Whether the line is at rest, and how finely the counter follows it when it is not.
#[derive(Debug, Clone, Default)]
struct Rest {
    /// Where the line last was when it had moved.
    since: Option<Point>,
    /// Longest time between two readings that differ while the line moves, s.
    hold: f64,
    /// Changes seen while the line moved.
    changes: u32,
    approach: Approach,
    /// Least and greatest pull since it rests, N.
    pull: Option<(f64, f64)>,
}

impl Rest {
    /// How far line may have gone by a reading at `t` s, one way or the other, m; `before`: time of the last one.
    #[inline]
    fn within(&self, t: f64, before: f64) -> f64 {
        let dt = t - before;
        match self.since {
            Some(since)
                if t - since.t >= REST_S
                    && self.changes >= CHANGES
                    && (0.0..SILENCE_S).contains(&dt) =>
            {
                (START_STEP + START_SPEED_MAX * dt.max(self.hold)).min(line_within(dt))
            }
            _ => line_within(dt),
        }
    }

    #[inline]
    fn pulls(&mut self, t: f64, tension: f64) {
        if self.since.is_some_and(|since| t >= since.t + SETTLED_S) {
            let (least, most) = self.pull.unwrap_or((tension, tension));
            self.pull = Some((least.min(tension), most.max(tension)));
        }
    }

    /// Whether a counter that now reads `here` hung since the line seemed to rest.
    fn was_hung(&self, here: Point) -> bool {
        let (Some(since), Some((least, most))) = (self.since, self.pull) else {
            return false;
        };
        here.t - since.t >= HUNG_S
            && (here.v - since.v).abs() <= line_within(here.t - since.t)
            && most - least >= PULL_SWING * most.abs()
            && self.approach.was_at_speed(since.t, since.v)
    }

    #[inline]
    fn push(&mut self, here: Point) {
        let Some(since) = self.since else {
            self.since = Some(here);
            return;
        };
        let moved = (here.v - since.v).abs();
        if moved < REST_M {
            return;
        }
        let held = here.t - since.t;
        if (0.0..REST_S).contains(&held) {
            self.changes = self.changes.saturating_add(1);
            if moved >= START_STEP {
                self.hold = self.hold.max(held);
            }
        }
        self.since = Some(here);
        self.pull = None;
        self.approach.moved(here.t, here.v);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Strokes of 4 m at 0.5 m/s read at 10 Hz, ending at rest at 100 m: time after them.
    fn stroked(steps: &mut CounterSteps, held: usize) -> f64 {
        let mut line = 100.0;
        for k in 0..320 {
            if k % held == 0 {
                let into = f64::from(k as u32 % 160);
                line = 100.0 + 0.05 * into.min(160.0 - into);
            }
            assert!(
                matches!(steps.take(0.1 * k as f64, line), Counted::Line(_)),
                "{k}"
            );
        }
        for k in 320..360 {
            steps.take(0.1 * k as f64, 100.0);
        }
        36.0
    }

    #[test]
    fn a_step_at_rest_is_taken_out_and_what_moves_after_it_stays() {
        let mut steps = CounterSteps::default();
        let t = stroked(&mut steps, 1);
        let told: Vec<Counted> = (0..6)
            .map(|k| steps.take(t + 0.1 * f64::from(k), 100.4 + 0.01 * f64::from(k)))
            .collect();
        assert_eq!(told[..3], [Counted::Waits; 3]);
        let Counted::AfterStep(line, by) = told[3] else {
            panic!("{told:?}");
        };
        assert_eq!(line, 100.0);
        assert!((by - 0.43).abs() < 1e-9, "{by}");
        let Counted::Line(line) = told[5] else {
            panic!("{told:?}");
        };
        assert!((line - 100.02).abs() < 1e-9, "{line}");
    }

    #[test]
    fn a_lone_reading_at_rest_is_a_spike() {
        let mut steps = CounterSteps::default();
        let t = stroked(&mut steps, 1);
        assert_eq!(steps.take(t, 100.4), Counted::Waits);
        assert_eq!(steps.take(t + 0.1, 100.0), Counted::AfterSpike(100.0));
        assert_eq!(steps.take(t + 0.2, 100.0), Counted::Line(100.0));
    }

    #[test]
    fn a_winch_that_starts_fast_makes_no_step() {
        let mut steps = CounterSteps::default();
        let t = stroked(&mut steps, 1);
        // To 1.5 m/s at once, as no winch does.
        for k in 1..20 {
            let at = f64::from(k);
            let line = 100.0 - 0.15 * at;
            assert_eq!(steps.take(t + 0.1 * at, line), Counted::Line(line));
        }
    }

    #[test]
    fn a_counter_that_is_read_once_a_second_makes_no_step_at_a_start() {
        let mut steps = CounterSteps::default();
        let t = stroked(&mut steps, 10);
        assert_eq!(steps.take(t, 100.9), Counted::Line(100.9));
    }

    #[test]
    fn nothing_is_said_of_a_counter_that_was_not_seen_to_move_yet() {
        let mut steps = CounterSteps::default();
        for k in 0..100 {
            steps.take(0.1 * f64::from(k), 100.0);
        }
        assert_eq!(steps.take(10.0, 100.6), Counted::Line(100.6));
    }

    #[test]
    fn after_a_silence_line_may_have_moved() {
        let mut steps = CounterSteps::default();
        let t = stroked(&mut steps, 1);
        assert_eq!(steps.take(t + 1.5, 101.9), Counted::Line(101.9));
    }

    /// A line that runs in at 0.5 m/s, 20 readings a second, is braked at `brake` m/s2 from 30 s on and reads the same
    /// until 60 s, while the pull goes by `swing` N; then the counter reads 4 m more. What is made of that.
    fn after_standing(brake: f64, swing: f64) -> Counted {
        let mut steps = CounterSteps::default();
        let (mut line, mut speed) = (1000.0, 0.5_f64);
        for k in 0..1200 {
            let t = 0.05 * f64::from(k);
            if t > 30.0 {
                speed = (speed - 0.05 * brake).max(0.0);
            }
            line += 0.05 * speed;
            let shown = (100.0_f64 * line).round() / 100.0;
            assert_eq!(steps.take(t, shown), Counted::Line(shown));
            let pull = if t > 40.0 { 2000.0 + swing } else { 2000.0 };
            steps.pulls(t, pull);
        }
        let told = (0..4).map(|k| steps.take(60.0 + 0.05 * f64::from(k), line + 4.0));
        told.last().unwrap()
    }

    #[test]
    fn a_counter_that_hung_in_full_motion_is_believed_when_it_comes_back() {
        assert!(matches!(after_standing(1e3, 900.0), Counted::AfterHanging(line) if line > 1015.0));
        // A winch that stopped, and a line that rests.
        for (brake, swing) in [(0.5, 900.0), (1e3, 20.0), (0.5, 20.0)] {
            let told = after_standing(brake, swing);
            assert!(
                matches!(told, Counted::AfterStep(line, by) if line < 1016.0 && by > 3.9),
                "{told:?}"
            );
        }
    }
}
