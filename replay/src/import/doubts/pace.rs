//! Whether line runs faster than it can because times are minutes or hours, which are fewer than the seconds.

use super::Thinned;
use kerfwatch::job::significant;
use kerfwatch::time::{Nanos, seconds};

/// Readings over which speed is taken: over fewer, noise of the counter passes for speed.
const READINGS: u64 = 10;
/// Line in a job that cuts runs no faster, m/s; nine tenths of the time.
const SPEED_MAX: f64 = 5.0;
/// Nor so slowly all the time, m/s.
const SPEED_MIN: f64 = 0.01;
/// A counter that is read oftener than each so many seconds is a fast one.
const STEP_S: f64 = 0.02;
/// Change from reading to reading over that in ten, beyond which it is no motion but noise or another quantity.
const NOISE: f64 = 8.0;

/// Speed of the line over a few readings.
#[derive(Debug, Default)]
pub(super) struct Pace {
    speeds: Thinned,
    from: Option<(Nanos, f64)>,
    since: u64,
}

impl Pace {
    /// A reading of line paid out, m.
    pub(super) fn take(&mut self, at: Nanos, depth_m: f64) {
        self.since += 1;
        let Some((from, before)) = self.from else {
            self.from = Some((at, depth_m));
            return;
        };
        if self.since <= READINGS {
            return;
        }
        let time_s = seconds(at.saturating_sub(from));
        if time_s > 0.0 {
            self.speeds.push(((depth_m - before) / time_s).abs());
        }
        (self.from, self.since) = (Some((at, depth_m)), 1);
    }

    /// Problem and remedy. Readings lie `step_s` apart, and depth changes by `rate` in a second from one to the next.
    pub(super) fn told(&self, step_s: f64, rate: f64) -> Option<(String, String)> {
        let (fast, usual) = (self.speeds.part(0.9)?, self.speeds.part(0.5)?);
        if fast <= SPEED_MAX || step_s > STEP_S || step_s <= 0.0 || rate > NOISE * usual {
            return None;
        }
        let (seconds, unit) = [(60.0, "minutes"), (3600.0, "hours")]
            .into_iter()
            .find(|(factor, _)| (SPEED_MIN..SPEED_MAX).contains(&(fast / factor)))?;
        Some((
            format!(
                "line runs at {} m/s with {} readings in a second, which no winch and no counter does",
                significant(fast),
                significant((1.0 / step_s).round())
            ),
            format!("if times are {unit}, multiply them by {seconds}"),
        ))
    }
}
