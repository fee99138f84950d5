//! How long to wait before a server is tried again.
//!
//! The wait doubles from [`FIRST`] to the longest, each time with a random part of up to its half, so that
//! several rigs that lost the same link do not come back in step. Seeded by the run id: the same run waits the
//! same, and a test can say how long.

use std::time::Duration;

/// The first wait.
pub(super) const FIRST: Duration = Duration::from_millis(500);

/// Waits, growing.
#[derive(Debug, Clone)]
pub(super) struct Backoff {
    next: Duration,
    first: Duration,
    longest: Duration,
    state: u64,
}

impl Backoff {
    pub(super) fn new(run_id: &str, first: Duration, longest: Duration) -> Self {
        // FNV-1a (public domain): enough to tell runs apart.
        let seed = run_id
            .bytes()
            .fold(0xcbf2_9ce4_8422_2325_u64, |hash, byte| {
                (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3)
            });
        Self {
            next: first,
            first,
            longest,
            state: seed,
        }
    }

    /// How long to wait now: between half and all of a time that doubles with each call.
    pub(super) fn next_wait(&mut self) -> Duration {
        let whole = self.next.min(self.longest);
        self.next = (whole * 2).min(self.longest);
        whole / 2 + (whole / 2).mul_f64(self.random())
    }

    /// The server took something: the next wait is the shortest again.
    pub(super) fn worked(&mut self) {
        self.next = self.first;
    }

    /// Next number in [0, 1): splitmix64 (Steele, Lea, Flood 2014, from memory).
    fn random(&mut self) -> f64 {
        self.state = self.state.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.state;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const LONGEST: Duration = Duration::from_secs(60);

    #[test]
    fn waits_double_up_to_the_longest_and_never_shrink_below_half() {
        let mut backoff = Backoff::new("run", FIRST, LONGEST);
        let mut whole = FIRST;
        for _ in 0..12 {
            let wait = backoff.next_wait();
            assert!(wait >= whole / 2 && wait <= whole, "{wait:?} of {whole:?}");
            whole = (whole * 2).min(LONGEST);
        }
        backoff.worked();
        assert!(backoff.next_wait() <= FIRST);
    }

    #[test]
    fn two_runs_do_not_wait_in_step_and_the_same_run_waits_the_same() {
        let waits = |run: &str| -> Vec<Duration> {
            let mut backoff = Backoff::new(run, FIRST, LONGEST);
            (0..8).map(|_| backoff.next_wait()).collect()
        };
        assert_eq!(waits("a"), waits("a"));
        assert_ne!(waits("a"), waits("b"));
    }
}
