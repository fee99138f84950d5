//! The flow of one sample, composed: the one place where all stages meet.
//!
//! reading -> [`Aligner`] -> [`ToolMotion`] -> [`HoldTracker`], [`StrokeFinder`] -> [`Ledger`] ->
//! groove estimate. Everything is a function of the inputs and their order; nothing here reads a
//! clock, so a replay of the recorded inputs gives the same results bit for bit.

use crate::align::Aligner;
use crate::calibrate::{CalibratedReading, Instruments};
use crate::groove::ledger::Ledger;
use crate::groove::{self, GrooveEstimate};
use crate::infer::hold::HoldTracker;
use crate::infer::strokes::{FoundStroke, StrokeFinder};
use crate::infer::track::Track;
use crate::input::{ChannelId, Event, Input, Mark, MarkKind};
use crate::job::Job;
use crate::motion::{Moment, ToolMotion};
use crate::outcome;
use crate::result::{RunResult, Stroke};
use crate::snapshot::Snapshot;
use crate::time::{Nanos, seconds};

/// The whole core: same inputs in the same order give the same outputs, bit for bit.
#[derive(Debug)]
pub struct Pipeline {
    pub(crate) job: Job,
    /// Decoding and calibration; `None` while its readings go through the rest, and for a job whose
    /// instruments cannot be set up (the job reader has said so).
    pub(crate) instruments: Option<Instruments>,
    pub(crate) aligner: Aligner,
    pub(crate) motion: ToolMotion,
    pub(crate) hold: HoldTracker,
    pub(crate) finder: StrokeFinder,
    pub(crate) ledger: Ledger,
    pub(crate) peaks: Vec<f64>,
    pub(crate) track: Track,
    pub(crate) marks: Vec<(f64, Mark)>,
    pub(crate) samples: u64,
    pub(crate) first: Option<f64>,
    pub(crate) last: f64,
    pub(crate) newest: [Option<(f64, f64)>; 2],
    pub(crate) moment: Option<Moment>,
    pub(crate) live: Option<GrooveEstimate>,
}

impl Pipeline {
    /// A pipeline at the start of a run.
    pub fn new(job: &Job) -> Self {
        Self {
            instruments: Instruments::new(job).ok(),
            aligner: Aligner::default(),
            motion: ToolMotion::new(job),
            hold: HoldTracker::default(),
            finder: StrokeFinder::new(job.info.bin.si(), job.info.interval_top.si()),
            ledger: Ledger::new(job),
            peaks: Vec::new(),
            track: Track::default(),
            marks: Vec::new(),
            samples: 0,
            first: None,
            last: 0.0,
            newest: [None; 2],
            moment: None,
            live: None,
            job: job.clone(),
        }
    }

    /// Takes one input; what was decided by it is appended to `events`.
    pub fn push(&mut self, input: &Input, events: &mut Vec<Event>) {
        match input {
            Input::Reading { channel, at, value } => self.reading(*channel, *at, *value, events),
            Input::Mark { at, mark } => {
                self.measured(
                    |instruments, sink| instruments.push(input, &mut |_| {}, &mut |r| sink(r)),
                    events,
                );
                self.mark(*at, mark);
            }
            Input::Received { .. }
            | Input::Sent { .. }
            | Input::Port { .. }
            | Input::Tick { .. } => {
                self.measured(
                    |instruments, sink| instruments.push(input, &mut |_| {}, &mut |r| sink(r)),
                    events,
                );
            }
        }
    }

    /// Takes every usable reading that `act` gets out of the instruments.
    fn measured(
        &mut self,
        act: impl FnOnce(&mut Instruments, &mut dyn FnMut(&CalibratedReading)),
        events: &mut Vec<Event>,
    ) {
        let Some(mut instruments) = self.instruments.take() else {
            return;
        };
        act(&mut instruments, &mut |reading| {
            if reading.flags.usable() {
                self.reading(reading.channel, reading.at, reading.value, events);
            }
        });
        self.instruments = Some(instruments);
    }

    /// One calibrated reading: newtons or metres.
    #[inline]
    pub fn reading(&mut self, channel: ChannelId, at: Nanos, value: f64, events: &mut Vec<Event>) {
        let t = seconds(at);
        self.samples += 1;
        if self.first.is_none() {
            self.first = Some(t);
        }
        let mut cells = [None; 4];
        let mut n = 0;
        let mut overflow = Vec::new();
        let mut sink = |c| {
            if n < cells.len() {
                cells[n] = Some(c);
                n += 1;
            } else {
                overflow.push(c);
            }
        };
        match channel {
            ChannelId::Load => {
                self.newest[0] = Some((t, value));
                self.aligner.load(t, value, &mut sink);
            }
            ChannelId::Depth => {
                self.newest[1] = Some((t, value));
                self.aligner.depth(t, value, &mut sink);
            }
        }
        for cell in cells.iter().flatten().chain(&overflow) {
            self.cell(cell, events);
        }
    }

    fn cell(&mut self, cell: &crate::align::Cell, events: &mut Vec<Event>) {
        self.last = self.last.max(cell.time());
        let mut moments = Vec::new();
        self.motion.push(cell, &mut |m| moments.push(m));
        for m in &moments {
            self.moment(m, events);
        }
    }

    fn moment(&mut self, m: &Moment, events: &mut Vec<Event>) {
        self.hold.push(m);
        self.track.push(m);
        if let Some(found) = self.finder.push(m) {
            self.stroke(&found, events);
        }
        self.moment = Some(*m);
    }

    fn stroke(&mut self, found: &FoundStroke, events: &mut Vec<Event>) {
        let (gain_up, gain_down) = self.motion.gains();
        let gain = if found.direction == crate::result::Direction::Up {
            gain_up
        } else {
            gain_down
        };
        let middle = 0.5 * (found.start + found.end);
        let marked = self.marks.iter().rev().find_map(|(t, m)| match m.kind {
            MarkKind::CutterOut if *t <= middle => Some(true),
            MarkKind::CutterIn if *t <= middle => Some(false),
            _ => None,
        });
        // The first echo after the tool starts still carries the start itself.
        let settle = 0.15 + self.motion.settle_time() * found.profile.mean_speed();
        self.ledger.add(found, settle, marked, gain);
        self.peaks.push(found.peak_tension);
        let n = self.ledger.rows.len() as u32;
        let (top, bottom) = found.range();
        events.push(Event::Stroke(Stroke {
            n,
            direction: found.direction,
            start_s: found.start,
            end_s: found.end,
            top_m: top,
            bottom_m: bottom,
            tool_travel_m: bottom - top,
            mean_drag_n: found.profile.mean_drag(),
            peak_tension_n: found.peak_tension,
            cut_work_j: 0.0,
            engaged_m: 0.0,
        }));
    }

    fn mark(&mut self, at: Nanos, mark: &Mark) {
        self.marks.push((seconds(at), mark.clone()));
    }

    /// The run has ended: decides what was still pending.
    pub fn finish(&mut self, events: &mut Vec<Event>) {
        self.measured(
            |instruments, sink| instruments.finish(&mut |r| sink(r)),
            events,
        );
        let mut cells = Vec::new();
        self.aligner.finish(&mut |c| cells.push(c));
        for cell in &cells {
            self.cell(cell, events);
        }
        let mut moments = Vec::new();
        self.motion.finish(&mut |m| moments.push(m));
        for m in &moments {
            self.moment(m, events);
        }
        if let Some(found) = self.finder.finish() {
            self.stroke(&found, events);
        }
    }

    /// Brings the live groove estimate up to date; call after a stroke has ended.
    pub fn refresh(&mut self) {
        self.live = Some(self.estimate());
    }

    /// The groove estimate from all strokes so far.
    pub fn estimate(&self) -> GrooveEstimate {
        groove::estimate(&self.ledger, &self.job, 250.0)
    }

    /// The present.
    pub fn snapshot(&self) -> Snapshot {
        outcome::snapshot(self)
    }

    /// All results so far. `id` comes from the run folder.
    pub fn result(&self, id: &str) -> RunResult {
        outcome::result(self, id)
    }
}
