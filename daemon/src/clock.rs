//! The run clock: nanoseconds since the run started, from the host's boot-time clock.
//!
//! *Why boot time*: `CLOCK_MONOTONIC` stands still while a laptop sleeps, wall time jumps when NTP
//! corrects it. Boot time does neither, so a suspended host shows as a silence of the right length.
//! *Speed*: in the demonstration the whole clock runs faster, so that arrival times, silences and
//! ticks keep their true proportions and the same code runs as on a rig.

use kerfwatch::time::Nanos;
use std::time::Instant;

/// Clock of one run. Copies tell the same time.
#[derive(Debug, Clone, Copy)]
pub struct RunClock {
    origin_boot_ns: i64,
    origin_run_ns: Nanos,
    speed: f64,
    utc_minus_boot_ns: i128,
}

impl RunClock {
    /// A clock that reads `origin_run_ns` now and runs `speed` times as fast as the wall clock.
    pub fn start(origin_run_ns: Nanos, speed: f64) -> Self {
        Self {
            origin_boot_ns: boot_ns(),
            origin_run_ns,
            speed,
            utc_minus_boot_ns: utc_minus_boot_ns(),
        }
    }

    /// Now.
    pub fn now(&self) -> Nanos {
        self.from_boot(boot_ns())
    }

    /// Run time of an instant not long ago.
    pub fn at(&self, instant: Instant) -> Nanos {
        let ago = i64::try_from(instant.elapsed().as_nanos()).unwrap_or(0);
        self.from_boot(boot_ns() - ago)
    }

    /// Wall duration that passes while `run_ns` of run time pass.
    pub fn wall(&self, run_ns: Nanos) -> std::time::Duration {
        std::time::Duration::from_nanos((run_ns.max(0) as f64 / self.speed) as u64)
    }

    /// How far the host's UTC has stepped against boot time since the run began, s.
    pub fn utc_step_s(&self) -> f64 {
        (utc_minus_boot_ns() - self.utc_minus_boot_ns) as f64 * 1e-9
    }

    /// How many times faster than the wall clock.
    pub fn speed(&self) -> f64 {
        self.speed
    }

    fn from_boot(&self, boot: i64) -> Nanos {
        let since = boot - self.origin_boot_ns;
        let scaled = if self.speed == 1.0 {
            since
        } else {
            (since as f64 * self.speed) as i64
        };
        self.origin_run_ns + scaled
    }
}

fn boot_ns() -> i64 {
    let now = rustix::time::clock_gettime(rustix::time::ClockId::Boottime);
    now.tv_sec * 1_000_000_000 + now.tv_nsec
}

fn utc_minus_boot_ns() -> i128 {
    jiff::Timestamp::now().as_nanosecond() - i128::from(boot_ns())
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::time::Duration;

    #[test]
    fn a_fast_clock_keeps_proportions() {
        let clock = RunClock::start(0, 60.0);
        let before = clock.now();
        std::thread::sleep(Duration::from_millis(20));
        let passed = clock.now() - before;
        assert!(passed >= 1_200_000_000, "{passed}");
        assert_eq!(clock.wall(60_000_000_000), Duration::from_secs(1));
    }

    #[test]
    fn an_instant_in_the_past_is_earlier_than_now() {
        let clock = RunClock::start(5, 1.0);
        let instant = Instant::now();
        std::thread::sleep(Duration::from_millis(5));
        assert!(clock.now() - clock.at(instant) >= 5_000_000);
    }
}
