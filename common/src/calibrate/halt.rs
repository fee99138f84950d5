//! Load and line that stand from one moment on, in full motion: a gateway that hangs, not a winch that stops.
//!
//! A winch takes time to stop, and the tension of the line it stops goes on to change for seconds. A gateway that hangs
//! repeats the newest values of both instruments: the line was at full speed up to its last change, and the load last
//! changed then too, after it had gone up and down with every few readings as cells do.
//!
//! *Input*: raw loads, depths (m). *Output*: whether the load stands since such a halt. *Limits*: the line must have
//! run at a fifth of a metre per second or more; what hangs while the line rests is told by [`super::repeats`].

use crate::align::sudden_stop::Approach;
use crate::time::{NANOS_PER_SECOND, Nanos, seconds};

/// Both have stood for so long.
const LASTS: Nanos = 15 * NANOS_PER_SECOND;
/// Their last changes lie no further apart.
const TOGETHER: Nanos = NANOS_PER_SECOND / 4;
/// Of this many changes of the load, one in so many, at least, turned round: the cell flickers.
const CHANGES: f64 = 20.0;
const TURNS: f64 = 4.0;
/// Older changes count less and less, by this factor for each.
const FADE: f64 = 0.98;
/// Readings of the line that stand: it is not silent.
const STANDING_MIN: u32 = 10;

/// Follows line and load.
#[derive(Debug, Clone, Default)]
pub struct Halt {
    approach: Approach,
    /// Newest depth, when it was new, and readings that have repeated it.
    line: Option<(f64, Nanos, u32)>,
    /// Newest load and when it was new.
    load: Option<(f64, Nanos)>,
    /// Changes of the load, those that turned round, and whether the newest was a rise.
    changes: f64,
    turns: f64,
    rose: bool,
    /// The line stands since it was at full speed.
    is_sudden: bool,
}

impl Halt {
    /// The line paid out is `depth` m.
    pub fn line_reads(&mut self, at: Nanos, depth: f64) {
        match &mut self.line {
            Some((last, since, standing)) if *last == depth => {
                *standing = standing.saturating_add(1);
                if *standing == 1 {
                    self.is_sudden = self.approach.was_at_speed(seconds(*since), depth);
                }
            }
            line => {
                *line = Some((depth, at, 0));
                self.is_sudden = false;
                self.approach.moved(seconds(at), depth);
            }
        }
    }

    /// The load reads `raw`; whether it stands since a halt that no winch makes.
    pub fn load_reads(&mut self, at: Nanos, raw: f64) -> bool {
        let Some((_, since)) = self.load.filter(|load| load.0 == raw) else {
            self.changed(raw);
            self.load = Some((raw, at));
            return false;
        };
        self.is_sudden
            && self.changes >= CHANGES
            && self.turns * TURNS >= self.changes
            && self.line.is_some_and(|(_, stands, readings)| {
                readings >= STANDING_MIN
                    && (since - stands).abs() <= TOGETHER
                    && at - since.max(stands) >= LASTS
            })
    }

    fn changed(&mut self, raw: f64) {
        let rose = self.load.is_some_and(|(before, _)| raw > before);
        let turned = rose != self.rose;
        self.changes = FADE * self.changes + 1.0;
        self.turns = FADE * self.turns + f64::from(u8::from(turned));
        self.rose = rose;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const HZ: i64 = 20;

    /// When a load is found standing, in s since `still_from_s`: line at 0.6 m/s until then, slowed down over `stop_s`;
    /// the load goes on to change for `echo_s`.
    fn found(stop_s: f64, echo_s: f64) -> Option<f64> {
        flickering(stop_s, echo_s, |k| (k * 7919 % 13) as f64)
    }

    /// The same with another flicker.
    fn flickering(stop_s: f64, echo_s: f64, flicker: impl Fn(i64) -> f64) -> Option<f64> {
        let mut halt = Halt::default();
        let mut depth = 2000.0;
        let still_from = 30.0;
        for k in 0..100 * HZ {
            let t = k as f64 / HZ as f64;
            let left = ((still_from - t) / stop_s.max(1e-9)).clamp(0.0, 1.0);
            depth -= 0.6 * left / HZ as f64;
            let at = k * NANOS_PER_SECOND / HZ;
            // A counter with steps of a centimetre.
            halt.line_reads(at, (100.0 * depth).round() / 100.0);
            let load = if t < still_from + echo_s {
                flicker(k)
            } else {
                3.5
            };
            if halt.load_reads(at, 3000.0 + load) {
                return Some(t - still_from);
            }
        }
        None
    }

    #[test]
    fn both_that_stand_at_once_in_full_motion_are_a_hung_gateway() {
        let told = found(0.0, 0.0).unwrap();
        assert!((14.5..15.5).contains(&told), "{told}");
    }

    /// As in a stream made by a formula: whatever it says of stops, it shows no cell that hangs.
    #[test]
    fn a_load_that_only_creeps_shows_nothing_by_standing() {
        assert_eq!(flickering(0.0, 0.0, |k| 0.01 * k as f64), None);
    }

    #[test]
    fn a_winch_that_stops_is_none_and_a_line_that_goes_on_to_swing_neither() {
        assert_eq!(found(0.6, 0.0), None);
        assert_eq!(found(0.0, 2.0), None);
    }
}
