//! A tool that seemed to stand under a slack line, and had gone on all the same.
//!
//! Where drag takes nearly all of the tool's weight, going down looks like standing on something:
//! the line carries next to nothing either way. Which it was shows when the line is taut again: a
//! tool that stood is where it was, one that went on is deeper by the line paid out. Then what was
//! told meanwhile is told again as movement.
//!
//! *Input*: [`Moment`]s. *Output*: the moments to be taken again, and what stood before them.

use crate::align::CELL_S;
use crate::infer::hold::HoldTracker;
use crate::infer::strokes::StrokeFinder;
use crate::motion::Moment;

/// Deeper by this part of the line paid out meanwhile: the tool had gone on.
const WENT_ON_PART: f64 = 0.9;
/// And by so much at least, m.
const WENT_ON_M: f64 = 0.3;
/// Longer than that is not looked at again: ten minutes.
const MOMENTS_MAX: usize = 6000;
/// Half width, in moments, of the difference that gives speed.
const SPEED_MOMENTS: usize = 2;

/// What stood before the tool seemed to stand.
#[derive(Debug)]
pub struct Before {
    /// State of the tool.
    pub hold: HoldTracker,
    /// Strokes.
    pub finder: StrokeFinder,
    /// Points of the track.
    pub track_points: usize,
}

/// Remembers a slack line until it is taut.
#[derive(Debug, Default)]
pub struct SecondLook {
    before: Option<Box<Before>>,
    since: Vec<Moment>,
}

impl SecondLook {
    /// Takes a moment before anything else does. Gives what is to be restored, and the moments to be
    /// taken again, where the tool had gone on.
    pub fn see(
        &mut self,
        m: &Moment,
        now: impl FnOnce() -> Before,
    ) -> Option<(Box<Before>, Vec<Moment>)> {
        if m.unloaded {
            if self.since.is_empty() {
                self.before = Some(Box::new(now()));
            }
            if self.since.len() > MOMENTS_MAX || m.after_gap {
                self.before = None;
                self.since.truncate(1);
            }
            self.since.push(*m);
            return None;
        }
        let since = std::mem::take(&mut self.since);
        let before = self.before.take()?;
        let stood = since.last()?.depth;
        let paid_to = since
            .iter()
            .map(|m| m.line_depth)
            .fold(f64::NEG_INFINITY, f64::max);
        let went_on = m.depth - stood;
        (!m.after_gap && went_on > WENT_ON_M && went_on > WENT_ON_PART * (paid_to - stood))
            .then(|| (before, following(&since)))
    }

    /// A stroke was told, or the depth changed: what was told before stays.
    pub fn forget(&mut self) {
        self.before = None;
    }
}

/// The same moments with the tool where the line put it.
fn following(since: &[Moment]) -> Vec<Moment> {
    let last = since.len() - 1;
    (0..since.len())
        .map(|i| {
            let a = &since[i.saturating_sub(SPEED_MOMENTS)];
            let b = &since[(i + SPEED_MOMENTS).min(last)];
            let seconds = (b.index - a.index) as f64 * CELL_S;
            Moment {
                depth: since[i].line_depth,
                speed: if seconds > 0.0 {
                    (b.line_depth - a.line_depth) / seconds
                } else {
                    0.0
                },
                unloaded: false,
                ..since[i]
            }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn moment(i: i64, depth: f64, line_depth: f64, unloaded: bool) -> Moment {
        Moment {
            index: i,
            t: i as f64 * CELL_S,
            depth,
            line_depth,
            unloaded,
            ..Moment::still(0.0)
        }
    }

    fn before() -> Before {
        Before {
            hold: HoldTracker::new((0.0, 10.0), 100.0),
            finder: StrokeFinder::new(0.1, 0.0),
            track_points: 7,
        }
    }

    /// Two metres of line go in while the tool seems to stand at 5 m; then it is taut at `end`.
    fn slack_then_taut(end: f64) -> Option<(Box<Before>, Vec<Moment>)> {
        let mut look = SecondLook::default();
        for i in 0..20 {
            let m = moment(i, 5.0, 5.0 + 0.1 * i as f64, true);
            assert!(look.see(&m, before).is_none());
        }
        look.see(&moment(20, end, end, false), before)
    }

    #[test]
    fn tool_that_is_where_it_was_had_stood() {
        assert!(slack_then_taut(5.1).is_none());
    }

    #[test]
    fn tool_that_is_deeper_by_the_line_paid_out_had_gone_on() {
        let (restored, again) = slack_then_taut(6.9).unwrap();
        assert_eq!(restored.track_points, 7);
        assert_eq!(again.len(), 20);
        assert!(again.iter().all(|m| !m.unloaded));
        assert!((again[10].depth - 6.0).abs() < 1e-9 && (again[10].speed - 1.0).abs() < 1e-9);
    }

    #[test]
    fn what_was_told_as_a_stroke_meanwhile_stays() {
        let mut look = SecondLook::default();
        for i in 0..20 {
            let _ = look.see(&moment(i, 5.0, 5.0 + 0.1 * i as f64, true), before);
        }
        look.forget();
        assert!(look.see(&moment(20, 6.9, 6.9, false), before).is_none());
    }
}
