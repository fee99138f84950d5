//! How long to wait before a lost port is tried again.
//!
//! 50 ms, then twice as long each time, up to 2 s: a plug that shook loose is back at once, and a
//! port that is gone for an hour costs nothing. No random part: at most two ports wait here.

use std::time::Duration;

const FIRST: Duration = Duration::from_millis(50);
const LONGEST: Duration = Duration::from_secs(2);

/// A port that stayed open this long was sound; the next loss starts from the shortest wait.
const SOUND: Duration = Duration::from_secs(5);

/// Waits, growing.
#[derive(Debug, Clone)]
pub struct Backoff {
    next: Duration,
}

impl Default for Backoff {
    fn default() -> Self {
        Self { next: FIRST }
    }
}

impl Backoff {
    /// How long to wait now; the next wait is twice as long.
    pub fn next_wait(&mut self) -> Duration {
        let wait = self.next;
        self.next = (wait * 2).min(LONGEST);
        wait
    }

    /// The port was open for `time`.
    pub fn worked_for(&mut self, time: Duration) {
        if time >= SOUND {
            *self = Self::default();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn waits_double_up_to_two_seconds_and_start_afresh_after_sound_work() {
        let mut backoff = Backoff::default();
        let waits: Vec<u128> = (0..8).map(|_| backoff.next_wait().as_millis()).collect();
        assert_eq!(waits, [50, 100, 200, 400, 800, 1600, 2000, 2000]);
        backoff.worked_for(Duration::from_secs(1));
        assert_eq!(backoff.next_wait(), LONGEST);
        backoff.worked_for(Duration::from_secs(6));
        assert_eq!(backoff.next_wait(), FIRST);
    }
}
