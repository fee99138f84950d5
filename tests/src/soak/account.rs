//! What was sent and when, and the spells in which a line may be missing from the record.

use std::time::{Duration, Instant};

/// A spell in which lines of a channel may be missing, and why.
#[derive(Debug, Clone)]
pub struct Excuse {
    /// Load 0, depth 1.
    pub channel: usize,
    /// From run of the soak, ms.
    pub from_ms: u32,
    /// To, ms; `u32::MAX` while it lasts.
    pub to_ms: u32,
    /// For the report.
    pub why: &'static str,
}

/// An overpull put on the load instrument.
#[derive(Debug, Clone, Copy)]
pub struct Overpull {
    /// Number of its first line.
    pub first: usize,
    /// Number after its last.
    pub end: usize,
    /// Time from its first byte to the alarm word; `None`: it did not come in time.
    pub seen_after: Option<Duration>,
}

/// The account of one soak.
#[derive(Debug)]
pub struct Account {
    start: Instant,
    /// For each channel, when each line was sent, ms; the place in the list is the line's number.
    pub sent_ms: [Vec<u32>; 2],
    /// Spells in which lines may be missing.
    pub excuses: Vec<Excuse>,
    /// Overpulls while daemon and load instrument were up.
    pub overpulls: Vec<Overpull>,
}

impl Account {
    /// An empty one that begins now.
    pub fn new() -> Self {
        Self {
            start: Instant::now(),
            sent_ms: [Vec::new(), Vec::new()],
            excuses: Vec::new(),
            overpulls: Vec::new(),
        }
    }

    /// A time as ms since the start.
    pub fn ms(&self, at: Instant) -> u32 {
        let since = at.saturating_duration_since(self.start);
        u32::try_from(since.as_millis()).unwrap_or(u32::MAX)
    }

    /// From `from` on, lines of this channel may be missing.
    pub fn excuse(&mut self, channel: usize, from: Instant, why: &'static str) {
        let from_ms = self.ms(from);
        self.excuses.push(Excuse {
            channel,
            from_ms,
            to_ms: u32::MAX,
            why,
        });
    }

    /// From this line on, lines of this channel may be missing.
    pub fn excuse_from_line(&mut self, channel: usize, number: usize, why: &'static str) {
        let sent = self.sent_ms[channel].get(number).copied();
        let from_ms = sent.unwrap_or_else(|| self.ms(Instant::now()));
        self.excuses.push(Excuse {
            channel,
            from_ms,
            to_ms: u32::MAX,
            why,
        });
    }

    /// No longer: ends every spell of this channel that lasts.
    pub fn no_excuse(&mut self, channel: usize, from: Instant) {
        let to_ms = self.ms(from);
        let lasting = self
            .excuses
            .iter_mut()
            .filter(|e| e.channel == channel && e.to_ms == u32::MAX);
        lasting.for_each(|excuse| excuse.to_ms = to_ms);
    }

    /// Why a line sent then may be missing.
    pub fn excuse_for(&self, channel: usize, sent_ms: u32) -> Option<&'static str> {
        self.excuses
            .iter()
            .find(|e| e.channel == channel && (e.from_ms..=e.to_ms).contains(&sent_ms))
            .map(|excuse| excuse.why)
    }
}

impl Default for Account {
    fn default() -> Self {
        Self::new()
    }
}
