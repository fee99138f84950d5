//! A channel that leaps away and back again and again: a loose contact, or noise on its cable.
//!
//! *Input*: usable readings in order of arrival, and which of them were spikes. *Output*: whether, in the
//! last whole window, more than a fifth of the readings were spikes or the reading dropped out several
//! times. *Limits*: a single spike is none of its business, nor is any leap that a coarse indicator makes
//! at rest. A line that oscillates as fast as it is sampled may look like this too: then half of what
//! the instrument says is lost as well.

use crate::time::Nanos;

/// Over which spikes and drop-outs are counted.
const WINDOW: Nanos = 4_000_000_000;
/// So many of either in a window, at least.
const OFTEN: u64 = 5;
/// One in so many readings may be a spike.
const SPIKES_ONE_IN: u64 = 5;
/// A drop-out falls from, and comes back to, at least this many times what counts as nothing, in one step each.
const FALLS_FROM: f64 = 4.0;

/// Counts of one channel.
#[derive(Debug, Clone)]
pub struct Flicker {
    /// Smaller spikes are not counted, N or m.
    floor: f64,
    /// Readings below count as nothing, N; `None`: nothing is a reading like any other.
    nothing: Option<f64>,
    window_start: Option<Nanos>,
    readings: u64,
    spikes: u64,
    drop_outs: u64,
    before: Option<f64>,
    has_dropped: bool,
    is_found: bool,
}

impl Flicker {
    /// Before the first reading.
    pub fn new(floor: f64, nothing: Option<f64>) -> Self {
        Self {
            floor,
            nothing,
            window_start: None,
            readings: 0,
            spikes: 0,
            drop_outs: 0,
            before: None,
            has_dropped: false,
            is_found: false,
        }
    }

    /// A usable reading.
    pub fn push(&mut self, value: f64) {
        self.readings += 1;
        let before = self.before.replace(value);
        let (Some(nothing), Some(before)) = (self.nothing, before) else {
            return;
        };
        let is_load = |value: f64| value >= FALLS_FROM * nothing;
        let is_nothing = value.abs() <= nothing;
        if self.has_dropped && !is_nothing {
            self.has_dropped = false;
            self.drop_outs += u64::from(is_load(value));
        } else if is_nothing && is_load(before) {
            self.has_dropped = true;
        }
    }

    /// The reading before the newest was a spike of this height.
    pub fn spike(&mut self, height: f64) {
        self.spikes += u64::from(height.abs() > self.floor);
    }

    /// What comes next is no neighbour of what came before.
    pub fn restart(&mut self) {
        self.before = None;
        self.has_dropped = false;
    }

    /// Time has come to `at`.
    pub fn close_window(&mut self, at: Nanos) {
        if at - *self.window_start.get_or_insert(at) < WINDOW {
            return;
        }
        let many_spikes = self.spikes >= OFTEN && self.spikes * SPIKES_ONE_IN > self.readings;
        self.is_found = many_spikes || self.drop_outs >= OFTEN;
        (self.readings, self.spikes, self.drop_outs) = (0, 0, 0);
        self.window_start = Some(at);
    }

    /// Whether the last whole window was full of it.
    pub fn is_found(&self) -> bool {
        self.is_found
    }
}
