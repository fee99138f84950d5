//! One channel: flags, counts and health of its readings.
//!
//! *Input*: readings in order of arrival, already scaled; time. *Output*: each reading with its
//! flags, at once and again when judged. *Limits*: at most `WAITING_MAX` readings wait for a
//! judgement. Times come from arrival only, so a step of the host's or the instrument's clock
//! changes nothing here.

use super::demands::Demands;
use super::fault_spells::FaultSpells;
use super::flicker::Flicker;
use super::halt::Halt;
use super::leap::LeapFinder;
use super::repeats::Repeats;
use super::sequence::{Order, Sequence};
use super::spike::{SpikeFilter, Verdict};
use super::stillness::Stillness;
use super::{CalibratedReading, ChannelHealth, Fault, Flags};
use crate::input::ChannelId;
use crate::time::{Nanos, seconds};

/// Most readings that wait for a judgement: one that may be a spike, and doubtful ones after it.
const WAITING_MAX: usize = 8;

/// Over which the rate and the share of bad frames are taken.
pub(crate) const WINDOW: Nanos = 2_000_000_000;

/// Tension that is negative for so long is no bounce of the line nor noise.
const NEGATIVE_LASTS: Nanos = 1_000_000_000;

/// One reading on its way in.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Arriving {
    /// When.
    pub at: Nanos,
    /// Instrument units; `None` when the value came calibrated.
    pub raw: Option<f64>,
    /// N or m.
    pub value: f64,
    /// Frame number, if any.
    pub seq: Option<u64>,
}

/// Step of a counter that has not changed yet, m.
const STEP_UNKNOWN: f64 = 1.0;

/// State of one channel.
#[derive(Debug, Clone)]
pub struct Channel {
    demands: Demands,
    health: ChannelHealth,
    spike: SpikeFilter,
    flicker: Flicker,
    /// Of the depth only.
    leap: Option<LeapFinder>,
    sequence: Sequence,
    stillness: Option<Stillness>,
    /// Of the load only, where it may be frozen at all.
    standing: Option<(Repeats, Halt)>,
    /// Smallest change seen so far, N or m.
    step: f64,
    /// The value at the last change, N or m.
    changed_to: f64,
    waiting: Vec<CalibratedReading>,
    /// Newest reading that brought something new (neither duplicate nor re-ordered).
    fresh_at: Option<Nanos>,
    first_input: Option<Nanos>,
    silent: bool,
    silences: FaultSpells,
    frozen_spells: FaultSpells,
    out_of_range: bool,
    negative_since: Option<Nanos>,
    is_negative: bool,
    frozen: bool,
    window_start: Nanos,
    window_readings: u64,
    window_from: Option<Nanos>,
    newest_at: Option<Nanos>,
}

impl Channel {
    /// A channel before its first reading.
    pub fn new(channel: ChannelId, demands: Demands) -> Self {
        Self {
            spike: SpikeFilter::new(demands.spike_floor),
            flicker: Flicker::new(demands.leap_floor, demands.nothing),
            leap: (channel == ChannelId::Depth).then(LeapFinder::default),
            demands,
            health: ChannelHealth {
                channel,
                readings: 0,
                rate_hz: 0.0,
                last_good_at: None,
                bad_frames: 0,
                gaps: 0,
                out_of_range: 0,
                frozen: 0,
                spikes: 0,
                duplicates: 0,
                reordered: 0,
                missing: 0,
                port_losses: 0,
                leaps: 0,
                leapt_m: 0.0,
                fault: Fault::None,
            },
            sequence: Sequence::default(),
            stillness: None,
            standing: (channel == ChannelId::Load && demands.frozen_after > 0)
                .then(Default::default),
            changed_to: f64::NAN,
            step: STEP_UNKNOWN,
            waiting: Vec::with_capacity(WAITING_MAX),
            fresh_at: None,
            first_input: None,
            silent: false,
            silences: FaultSpells::default(),
            frozen_spells: FaultSpells::default(),
            out_of_range: false,
            negative_since: None,
            is_negative: false,
            frozen: false,
            window_start: 0,
            window_readings: 0,
            window_from: None,
            newest_at: None,
        }
    }

    /// Takes a reading. Returned: the reading with its flags, for the overpull path; `judged` gets
    /// those whose judgement is complete, in order.
    pub fn push(
        &mut self,
        arriving: Arriving,
        judged: &mut impl FnMut(&CalibratedReading),
    ) -> CalibratedReading {
        let at = arriving.at;
        let mut flags = self.order_flags(arriving.seq);
        if flags == Flags::NONE {
            flags = self.value_flags(&arriving);
        }
        if let Some(leap) = self.leap.as_mut().filter(|_| flags.usable())
            && leap.is_in_doubt(at, arriving.value)
        {
            flags = flags.and(Flags::LEAPT);
        }
        let reading = CalibratedReading {
            channel: self.health.channel,
            at,
            value: arriving.value,
            flags,
        };
        self.health.readings += 1;
        self.window_readings += 1;
        self.newest_at = Some(at);
        if flags.usable() {
            self.health.last_good_at = Some(at);
            self.judge(reading, judged);
        } else if self.waiting.is_empty() {
            judged(&reading);
        } else {
            self.wait(reading, judged);
        }
        self.close_window(at);
        reading
    }

    /// The other channel reads `value`: tells a frozen instrument from a line at rest.
    pub fn other_reads(&mut self, at: Nanos, value: f64) {
        if let Some(still) = &mut self.stillness {
            still.other_reads(at, value);
        }
        if let Some((repeats, halt)) = &mut self.standing {
            repeats.line_reads(at, value);
            halt.line_reads(at, value);
        }
    }

    /// Time has passed.
    pub fn tick(&mut self, at: Nanos, judged: &mut impl FnMut(&CalibratedReading)) {
        let first = *self.first_input.get_or_insert(at);
        let since = self.fresh_at.unwrap_or(first);
        if at - since > self.demands.stale_after {
            self.health.gaps += u64::from(!self.silent);
            self.silent = true;
            self.silences.holds(since, at);
        }
        if (self.waiting.first()).is_some_and(|held| at - held.at > self.demands.stale_after) {
            self.release(judged);
        }
        self.close_window(at);
    }

    /// The instrument sent a temperature that it cannot have: counted with what is out of range.
    pub fn odd_temperature(&mut self) {
        self.health.out_of_range += 1;
    }

    /// The port was opened or lost.
    pub fn port_changed(&mut self, open: bool, judged: &mut impl FnMut(&CalibratedReading)) {
        self.release(judged);
        self.sequence.restart();
        self.health.port_losses += u64::from(!open);
    }

    /// No more will come: what waits is given out.
    pub fn release(&mut self, judged: &mut impl FnMut(&CalibratedReading)) {
        self.spike.release();
        for reading in self.waiting.drain(..) {
            judged(&reading);
        }
    }

    /// The scale was moved: values before and after are no neighbours.
    pub fn rescaled(&mut self, judged: &mut impl FnMut(&CalibratedReading)) {
        if let Some(leap) = &mut self.leap {
            leap.forget();
        }
        self.release(judged);
        self.spike.restart();
        self.flicker.restart();
    }

    /// Health without what only the port knows (`bad_frames`, faults `closed` and `frames`).
    pub fn health(&self, at: Nanos) -> ChannelHealth {
        let since = self.fresh_at.or(self.first_input).unwrap_or(at);
        let (leaps, leapt_m) = (self.leap.as_ref()).map_or((0, 0.0), |l| (l.leaps(), l.leapt_m()));
        let fault = if at - since > self.demands.stale_after {
            Fault::Stale
        } else if self.out_of_range {
            Fault::Range
        } else if self.is_negative {
            Fault::Negative
        } else if self.flicker.is_found() {
            Fault::Leaps
        } else if self.frozen {
            Fault::Frozen
        } else if leapt_m != 0.0 {
            Fault::Leapt
        } else {
            Fault::None
        };
        ChannelHealth {
            fault,
            leaps,
            leapt_m,
            ..self.health
        }
    }

    /// When it was silent.
    pub fn silences(&self) -> &FaultSpells {
        &self.silences
    }

    /// When it repeated a value that should have changed.
    pub fn frozen_spells(&self) -> &FaultSpells {
        &self.frozen_spells
    }

    fn order_flags(&mut self, seq: Option<u64>) -> Flags {
        match seq.map(|number| self.sequence.push(number)) {
            None | Some(Order::Restart) => Flags::NONE,
            Some(Order::Next { missing }) => {
                self.health.missing += missing;
                Flags::NONE
            }
            Some(Order::Duplicate) => {
                self.health.duplicates += 1;
                Flags::DUPLICATE
            }
            Some(Order::Reordered) => {
                self.health.reordered += 1;
                Flags::REORDERED
            }
        }
    }

    fn value_flags(&mut self, arriving: &Arriving) -> Flags {
        let at = arriving.at;
        let mut flags = Flags::NONE;
        let first = *self.first_input.get_or_insert(at);
        let since = self.fresh_at.unwrap_or(first);
        if at - since > self.demands.stale_after {
            flags = flags.and(Flags::GAP);
            self.health.gaps += u64::from(!self.silent);
            self.silences.holds(since, at);
        }
        self.silences.ends(at);
        self.silent = false;
        self.fresh_at = Some(at);

        self.out_of_range = (arriving.raw)
            .is_some_and(|raw| !self.demands.believes(raw, arriving.value))
            || !arriving.value.is_finite();
        self.negative_since =
            (self.demands.is_negative(arriving.value)).then(|| self.negative_since.unwrap_or(at));
        self.is_negative = (self.negative_since).is_some_and(|since| at - since >= NEGATIVE_LASTS);
        if self.out_of_range || self.is_negative {
            self.health.out_of_range += 1;
            flags = flags.and(Flags::OUT_OF_RANGE);
        }
        self.frozen = self.is_frozen(arriving);
        if self.frozen {
            self.health.frozen += 1;
            flags = flags.and(Flags::FROZEN);
            // It took a while to be told: it has been so since the value last changed.
            let since = self.stillness.as_ref().map_or(at, Stillness::since);
            self.frozen_spells.holds(since, at);
        } else {
            self.frozen_spells.ends(at);
        }
        flags
    }

    fn is_frozen(&mut self, arriving: &Arriving) -> bool {
        let (at, value) = (arriving.at, arriving.value);
        let raw = arriving.raw.unwrap_or(value);
        let Demands {
            frozen_after,
            frozen_when,
            ..
        } = self.demands;
        if frozen_after == 0 {
            return false;
        }
        // Each has to see every reading.
        let stands = (self.standing.as_mut())
            .is_some_and(|(repeats, halt)| repeats.load_reads(at, raw) | halt.load_reads(at, raw));
        if let Some(still) = self.stillness.as_ref().filter(|still| still.value() == raw) {
            return stands || still.is_frozen(at, frozen_after, frozen_when);
        }
        self.step = self.step.min((value - self.changed_to).abs());
        self.changed_to = value;
        let swing = frozen_when.swing(value, self.step);
        self.stillness = Some(Stillness::new(raw, at, swing));
        false
    }

    fn judge(&mut self, reading: CalibratedReading, judged: &mut impl FnMut(&CalibratedReading)) {
        if reading.flags.has(Flags::GAP) {
            self.release(judged);
            self.spike.restart();
            self.flicker.restart();
        }
        self.flicker.push(reading.value);
        match self.spike.push(reading.value) {
            Verdict::Plain => judged(&reading),
            Verdict::Held => self.waiting.push(reading),
            Verdict::HeldWasSpike => {
                self.health.spikes += 1;
                if let Some(held) = self.waiting.first_mut() {
                    self.flicker.spike(held.value - reading.value);
                    held.flags = held.flags.and(Flags::SPIKE);
                }
                self.give_waiting(judged);
                judged(&reading);
            }
            Verdict::HeldWasPlain => {
                self.give_waiting(judged);
                judged(&reading);
            }
            Verdict::HeldWasPlainNewestHeld => {
                self.give_waiting(judged);
                self.waiting.push(reading);
            }
        }
    }

    fn wait(&mut self, reading: CalibratedReading, judged: &mut impl FnMut(&CalibratedReading)) {
        if self.waiting.len() == WAITING_MAX {
            self.release(judged);
            judged(&reading);
        } else {
            self.waiting.push(reading);
        }
    }

    fn give_waiting(&mut self, judged: &mut impl FnMut(&CalibratedReading)) {
        for reading in self.waiting.drain(..) {
            judged(&reading);
        }
    }

    fn close_window(&mut self, at: Nanos) {
        self.flicker.close_window(at);
        if at - self.window_start < WINDOW {
            return;
        }
        self.health.rate_hz = match (self.window_readings, self.window_from, self.newest_at) {
            (0, _, _) => 0.0,
            (count, Some(from), Some(to)) if to > from => count as f64 / seconds(to - from),
            // The first window: its first reading opens the first interval.
            (count, _, _) => (count - 1) as f64 / seconds(at - self.window_start),
        };
        self.window_from = self.newest_at;
        self.window_readings = 0;
        self.window_start = at;
    }
}
