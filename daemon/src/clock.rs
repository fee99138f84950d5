//! The run clock: nanoseconds since the run started.
//!
//! *Live* it follows the host's boot-time clock. `CLOCK_MONOTONIC` stands still while a laptop
//! sleeps, wall time jumps when NTP corrects it; boot time does neither, so a suspended host shows
//! as a silence of the right length.
//! *Driven* it shows what the demonstration's player says: the recorded arrival time of the frame
//! being played. So a record played sixty times as fast keeps every arrival time exactly, however
//! busy the machine, and all code behind the clock is the same.

use kerfwatch::time::Nanos;
use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};
use std::time::Duration;

/// Clock of one run. Clones tell the same time.
#[derive(Debug, Clone)]
pub struct RunClock {
    source: Source,
    utc_minus_boot_ns: i128,
}

#[derive(Debug, Clone)]
enum Source {
    Boot { boot_ns: i64, run_ns: Nanos },
    Driven { now: Arc<AtomicI64>, speed: f64 },
}

/// The hand on a driven clock. A new one reads 0.
#[derive(Debug, Clone, Default)]
pub struct Hand {
    now: Arc<AtomicI64>,
}

impl Hand {
    /// Sets the time; it never goes back.
    pub fn set(&self, at: Nanos) {
        self.now.fetch_max(at, Ordering::Release);
    }
}

impl RunClock {
    /// A clock that reads `run_ns` now and follows the host.
    pub fn live(run_ns: Nanos) -> Self {
        Self {
            source: Source::Boot {
                boot_ns: boot_ns(),
                run_ns,
            },
            utc_minus_boot_ns: utc_minus_boot_ns(),
        }
    }

    /// A clock that shows what `hand` says, on the whole `speed` times as fast as the host's.
    pub fn driven(hand: &Hand, speed: f64) -> Self {
        Self {
            source: Source::Driven {
                now: Arc::clone(&hand.now),
                speed,
            },
            utc_minus_boot_ns: utc_minus_boot_ns(),
        }
    }

    /// Now.
    pub fn now(&self) -> Nanos {
        match &self.source {
            Source::Boot {
                boot_ns: start,
                run_ns,
            } => run_ns + boot_ns() - start,
            Source::Driven { now, .. } => now.load(Ordering::Acquire),
        }
    }

    /// It follows the host, and not a player.
    pub fn is_live(&self) -> bool {
        matches!(self.source, Source::Boot { .. })
    }

    /// Wall duration in which about `run_ns` of run time pass.
    pub fn wall(&self, run_ns: Nanos) -> Duration {
        Duration::from_nanos((run_ns.max(0) as f64 / self.speed()) as u64)
    }

    /// How far the host's UTC has stepped against boot time since the run began, s.
    pub fn utc_step_s(&self) -> f64 {
        (utc_minus_boot_ns() - self.utc_minus_boot_ns) as f64 * 1e-9
    }

    /// How many times faster than the host's clock.
    pub fn speed(&self) -> f64 {
        match &self.source {
            Source::Boot { .. } => 1.0,
            Source::Driven { speed, .. } => *speed,
        }
    }
}

/// Which boot of the host this is; `None` where the system does not tell. The service manager tells by a variable,
/// as it hides that part of `/proc` from the daemon.
pub fn boot_id() -> Option<String> {
    let told = std::env::var("KERFWATCH_BOOT_ID").ok();
    let read = || std::fs::read_to_string("/proc/sys/kernel/random/boot_id").ok();
    told.and_then(|text| boot_id_in(&text))
        .or_else(|| boot_id_in(&read()?))
}

/// The id without its dashes: it is written with and without them.
fn boot_id_in(text: &str) -> Option<String> {
    let id = text.trim().replace('-', "");
    (id.len() == 32 && id.bytes().all(|b| b.is_ascii_hexdigit())).then_some(id)
}

/// The host's boot-time clock, ns.
pub fn boot_ns() -> i64 {
    let now = rustix::time::clock_gettime(rustix::time::ClockId::Boottime);
    now.tv_sec * 1_000_000_000 + now.tv_nsec
}

fn utc_minus_boot_ns() -> i128 {
    jiff::Timestamp::now().as_nanosecond() - i128::from(boot_ns())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_live_clock_starts_where_it_is_told() {
        let clock = RunClock::live(5);
        std::thread::sleep(Duration::from_millis(5));
        assert!(clock.now() >= 5_000_005);
    }

    #[test]
    fn the_id_of_a_boot_is_read_with_dashes_and_without() {
        let id = "0123456789abcdef0123456789abcdef";
        assert_eq!(boot_id_in(id).as_deref(), Some(id));
        let dashed = "01234567-89ab-cdef-0123-456789abcdef\n";
        assert_eq!(boot_id_in(dashed).as_deref(), Some(id));
        assert_eq!(boot_id_in("%b"), None);
    }

    #[test]
    fn a_driven_clock_shows_what_the_player_says_and_never_goes_back() {
        let hand = Hand::default();
        let clock = RunClock::driven(&hand, 60.0);
        assert_eq!(clock.now(), 0);
        hand.set(7);
        hand.set(3);
        assert_eq!(clock.now(), 7);
        assert_eq!(clock.wall(60_000_000_000), Duration::from_secs(1));
    }
}
