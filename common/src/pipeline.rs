//! The flow of one sample, composed: the one place where all stages meet.
//!
//! reading -> [`Aligner`] -> [`ToolMotion`] -> [`HoldTracker`], [`StrokeFinder`] -> [`Ledger`] ->
//! groove estimate. Everything is a function of the inputs and their order; nothing here reads a
//! clock, so a replay of the recorded inputs gives the same results bit for bit. The rest of it: what marks change in
//! `marks`, what becomes of strokes in `strokes`, friction and weight in `learning`, the state as told in `told_state`,
//! results in `answers`.

mod answers;
mod cutter_marks;
mod learning;
mod marks;
mod strokes;
mod told_state;

use crate::alarm::PickUpTable;
use crate::align::{Aligner, Cell};
use crate::calibrate::{CalibratedReading, ImportedLoads, Instruments};
use crate::groove::coupling_marks::CouplingMarks;
use crate::groove::ledger::{Bins, Ledger};
use crate::groove::mark_sense::MarkSense;
use crate::groove::{self, GrooveEstimate};
use crate::infer::friction::{FreeRuns, Learned};
use crate::infer::hold::HoldTracker;
use crate::infer::second_look::SecondLook;
use crate::infer::spells::Spells;
use crate::infer::standing_load::StandingLoad;
use crate::infer::strokes::StrokeFinder;
use crate::infer::track::Track;
use crate::infer::weight_check::WeightCheck;
use crate::input::{ChannelId, Event, Input, Mark};
use crate::job::Job;
use crate::model::bending::BendCounter;
use crate::motion::{Moment, ToolMotion};
use crate::result::ZeroStep;
use crate::snapshot::MarkDoubt;
use crate::time::{Nanos, seconds};
use crate::watch::Watch;
use std::sync::Arc;

/// The whole core: same inputs in the same order give the same outputs, bit for bit.
#[derive(Debug)]
pub struct Pipeline {
    pub(crate) job: Job,
    pub(crate) aligner: Aligner,
    pub(crate) motion: ToolMotion,
    pub(crate) hold: HoldTracker,
    pub(crate) finder: StrokeFinder,
    second_look: SecondLook,
    pub(crate) coupling_marks: CouplingMarks,
    /// Slip of the counter taken out so far, m.
    pub(crate) slip_m: f64,
    pub(crate) ledger: Ledger,
    pub(crate) peaks: Vec<f64>,
    highest: Option<HighestTension>,
    pub(crate) track: Track,
    pub(crate) marks: Vec<(f64, Mark)>,
    pub(crate) samples: u64,
    pub(crate) first: Option<f64>,
    pub(crate) last: f64,
    pub(crate) newest: [Option<(f64, f64)>; 2],
    pub(crate) moment: Option<Moment>,
    pub(crate) live: Option<GrooveEstimate>,
    pub(crate) live_doubts: Vec<MarkDoubt>,
    pub(crate) free_runs: FreeRuns,
    pub(crate) learned: Option<Learned>,
    pick_up: Option<Arc<PickUpTable>>,
    /// Steps of the load cell's zero, and the first row after the last one.
    pub(crate) zero_steps: Vec<ZeroStep>,
    zero_from: usize,
    pub(crate) free_until: Option<f64>,
    /// What the newest mark says of the cutter.
    cutter_in: Option<bool>,
    /// How the crew means its marks.
    pub(crate) mark_sense: MarkSense,
    /// From when on, s, marks are taken as said after they had been the other way round.
    pub(crate) righted: Option<f64>,
    weight_check: WeightCheck,
    /// The newest stroke was made with the cutter out, as told without the groove estimate.
    pub(crate) engaged_told: Option<bool>,
    spells: Spells,
    /// Start of the phase of the motion at the newest moment, and end of that moment, s.
    told: Option<(f64, f64)>,
    /// Drag of a first pass over a fresh wall, from nominal values, N.
    pub(crate) first_pass_drag: f64,
    pub(crate) instruments: Instruments,
    pub(crate) imported_loads: ImportedLoads,
    standing_load: StandingLoad,
    pub(crate) watch: Watch,
    pub(crate) bends: BendCounter,
    pub(crate) now: Nanos,
    /// Depth before the counter was set or corrected, m.
    moved_counter: Option<f64>,
    /// Lowest and highest load received since the last glance, N.
    span: Option<(f64, f64)>,
    /// Time of the last glance, s.
    glanced_s: f64,
    /// So much deeper are the wheels than counter and stretch say, m.
    correction: f64,
    // Buffers, kept so that a reading allocates nothing.
    every: Vec<CalibratedReading>,
    judged: Vec<CalibratedReading>,
    cells: Vec<Cell>,
    moments: Vec<Moment>,
}

/// The highest line tension of a run, single spikes left out.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HighestTension {
    /// When, s: within the tenth of a second around.
    pub at_s: f64,
    /// Above the stuffing box, N.
    pub tension_n: f64,
    /// Depth of the wheels then, m.
    pub depth_m: f64,
    /// Line paid out then, as counted, m.
    pub line_m: f64,
}

impl Pipeline {
    /// A pipeline at the start of a run.
    pub fn new(job: &Job) -> Self {
        let bins = Bins::new(job);
        Self {
            aligner: Aligner::default(),
            motion: ToolMotion::new(job),
            hold: HoldTracker::new(
                (job.info.interval_top.si(), job.info.interval_bottom.si()),
                groove::first_pass_drag(job),
            ),
            finder: StrokeFinder::new(bins.step, bins.top),
            second_look: SecondLook::default(),
            coupling_marks: CouplingMarks::new(bins, &job.couplings),
            slip_m: 0.0,
            ledger: Ledger::new(job),
            peaks: Vec::new(),
            highest: None,
            track: Track::default(),
            marks: Vec::new(),
            samples: 0,
            first: None,
            last: 0.0,
            newest: [None; 2],
            moment: None,
            live: None,
            live_doubts: Vec::new(),
            free_runs: FreeRuns::default(),
            learned: None,
            pick_up: None,
            zero_steps: Vec::new(),
            zero_from: 0,
            free_until: None,
            cutter_in: None,
            mark_sense: MarkSense::Untold,
            righted: None,
            weight_check: WeightCheck::default(),
            engaged_told: None,
            spells: Spells::default(),
            told: None,
            first_pass_drag: groove::first_pass_drag(job),
            instruments: instruments(job),
            imported_loads: ImportedLoads::new(job),
            standing_load: StandingLoad::default(),
            watch: Watch::new(job),
            bends: BendCounter::new(&job.line, 1.0),
            now: 0,
            moved_counter: None,
            span: None,
            glanced_s: 0.0,
            correction: 0.0,
            every: Vec::new(),
            judged: Vec::new(),
            cells: Vec::new(),
            moments: Vec::new(),
            job: job.clone(),
        }
    }

    /// Takes one input; what was decided by it is appended to `events`.
    pub fn push(&mut self, input: &Input, events: &mut Vec<Event>) {
        let at = match input {
            Input::Reading { channel, at, value } => {
                return self.reading(*channel, *at, *value, events);
            }
            Input::Received { at, .. }
            | Input::Sent { at, .. }
            | Input::Port { at, .. }
            | Input::Mark { at, .. }
            | Input::Tick { at } => *at,
        };
        self.now = self.now.max(at);
        let Self {
            instruments,
            watch,
            span,
            every,
            judged,
            ..
        } = self;
        instruments.push(input, &mut |r| every.push(*r), &mut |r| judged.push(*r));
        for r in every.drain(..) {
            match r.channel {
                ChannelId::Load => {
                    widen(span, r.value);
                    watch.load(r.at, r.value);
                }
                ChannelId::Depth if r.flags.tells_depth() => watch.depth(r.at, r.value),
                ChannelId::Depth => {}
            }
        }
        self.take_judged(events);
        match input {
            // After what the instruments still held back: a reading from before the counter was set is of the old one.
            Input::Mark { at, mark } => self.mark(*at, mark, events),
            Input::Tick { at } => self.tick(*at),
            _ => {}
        }
        self.watch.engine.drain(events);
    }

    fn take_judged(&mut self, events: &mut Vec<Event>) {
        let judged = std::mem::take(&mut self.judged);
        for r in judged.iter().filter(|r| r.flags.usable()) {
            self.take(r.channel, r.at, r.value, events);
        }
        self.judged = judged;
        self.judged.clear();
    }

    fn tick(&mut self, at: Nanos) {
        for channel in [ChannelId::Load, ChannelId::Depth] {
            let health = self.instruments.health(channel);
            self.watch.health(at, channel, &health);
        }
        self.watch.tick(at);
    }

    /// One calibrated reading: newtons or metres (imported runs).
    #[inline]
    pub fn reading(&mut self, channel: ChannelId, at: Nanos, value: f64, events: &mut Vec<Event>) {
        self.now = self.now.max(at);
        match channel {
            ChannelId::Load => {
                self.watch.load(at, value);
                let mut fit = [None; 2];
                let mut put = |at, value| {
                    let place = usize::from(fit[0].is_some());
                    fit[place] = Some((at, value));
                };
                let before = self.imported_loads.set_aside();
                self.imported_loads.push(at, value, &mut put);
                if self.imported_loads.set_aside() != before {
                    // A reading all the same.
                    self.samples += 1;
                    self.newest[0].get_or_insert((seconds(at), value));
                }
                for (at, value) in fit.into_iter().flatten() {
                    self.take(channel, at, value, events);
                }
            }
            ChannelId::Depth => {
                self.watch.depth(at, value);
                self.take(channel, at, value, events);
            }
        }
    }

    /// A reading fit for estimation.
    #[inline]
    fn take(&mut self, channel: ChannelId, at: Nanos, value: f64, events: &mut Vec<Event>) {
        let t = seconds(at);
        self.samples += 1;
        if self.first.is_none() {
            self.first = Some(t);
        }
        let Self { aligner, cells, .. } = self;
        match channel {
            ChannelId::Load => {
                self.newest[0] = Some((t, value));
                aligner.load(t, value, &mut |c| cells.push(c));
            }
            ChannelId::Depth => {
                self.newest[1] = Some((t, value));
                aligner.depth(t, value, &mut |c| cells.push(c));
            }
        }
        if !self.cells.is_empty() {
            self.take_cells(events);
        }
    }

    fn take_cells(&mut self, events: &mut Vec<Event>) {
        let mut cells = std::mem::take(&mut self.cells);
        for cell in cells.drain(..) {
            self.cell(&cell, events);
        }
        self.cells = cells;
    }

    fn cell(&mut self, cell: &Cell, events: &mut Vec<Event>) {
        self.last = self.last.max(cell.time());
        if let (Some(line), Some(tension)) = (cell.line, cell.tension) {
            self.standing_load.push(cell.time(), tension, line);
            self.bends.push(line, tension);
            self.watch.line_life(self.now, self.bends.life_used_max());
        } else {
            self.standing_load.silence();
        }
        let mut moments = std::mem::take(&mut self.moments);
        self.motion.push(cell, &mut |m| moments.push(m));
        for m in moments.drain(..) {
            self.moment(&m, events);
        }
        self.moments = moments;
        self.watch.tick(self.now);
        self.watch.engine.drain(events);
    }

    fn moment(&mut self, m: &Moment, events: &mut Vec<Event>) {
        if let Some(before) = self.moved_counter.take() {
            // The counter was set, or the depth corrected: the tool did not move.
            self.shift_places(m.depth - before);
            self.second_look.forget();
        }
        self.look_again(m, events);
        self.follow(m, events);
        if self.may_run_free() {
            let offset = self.motion.hanging().cutter_offset;
            self.free_runs.push(m, self.motion.settle_time(), offset);
        }
        let tension_n = m.tension_max;
        if self.highest.is_none_or(|h| tension_n > h.tension_n) {
            self.highest = Some(HighestTension {
                at_s: m.t,
                tension_n,
                depth_m: m.depth,
                line_m: m.counted,
            });
        }
        self.watch.moment(self.now, m, self.hold.now());
        self.moment = Some(*m);
        self.tell_state(m, events);
    }

    /// The run has ended: decides what was still pending.
    pub fn finish(&mut self, events: &mut Vec<Event>) {
        let Self {
            instruments,
            judged,
            ..
        } = self;
        instruments.finish(&mut |r| judged.push(*r));
        self.take_judged(events);
        let mut held = None;
        (self.imported_loads).release(&mut |at, value| held = Some((at, value)));
        if let Some((at, value)) = held {
            self.take(ChannelId::Load, at, value, events);
        }
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
        if self.free_until.is_some() {
            self.learn_late(f64::INFINITY);
        }
        self.end_told_state(events);
    }

    /// Several runs are taken as one, and another one begins: what a pass of the job's wheels counts there, by what the
    /// run's own job says of its cutter ([`groove::pass_counts`]). Call it before the first input of each run.
    pub fn take_cutter(&mut self, counts: f64) {
        self.ledger.take_cutter(counts);
    }

    /// Another run of the same well follows: decides what was pending, then starts instruments, counter
    /// and motion anew. Groove, strokes, marks and what was learned of friction stay. `deeper_m`: so
    /// much deeper are the wheels than the counter of the coming run says.
    pub fn next_run(&mut self, deeper_m: f64, events: &mut Vec<Event>) {
        self.finish(events);
        self.instruments = instruments(&self.job);
        // Both have been emptied by `finish`.
        self.aligner.new_counter(&mut |_| {});
        self.motion.new_counter(&mut |_| {});
        self.correct_depth(deeper_m - self.correction);
        // The way from the end of one run to the start of the next is no stroke.
        self.finder = StrokeFinder::new(self.ledger.bins.step, self.ledger.bins.top);
        self.second_look = SecondLook::default();
        self.forget_places();
        self.moved_counter = None;
    }

    /// Places that strokes and holds remember go with the depths that are told.
    fn shift_places(&mut self, by: f64) {
        self.finder.shift(by);
        self.hold.shift(by);
    }

    fn correct_depth(&mut self, by: f64) {
        self.correction += by;
        self.motion.correct_depth(by);
    }
}

fn widen(span: &mut Option<(f64, f64)>, value: f64) {
    *span = Some(span.map_or((value, value), |(low, high)| {
        (low.min(value), high.max(value))
    }));
}

/// The job's instruments. The job file reader has checked their patterns; a job whose instruments
/// cannot be set up all the same takes imported readings only, and its silent channels raise the
/// sensor alarm.
fn instruments(job: &Job) -> Instruments {
    Instruments::new(job).unwrap_or_else(|_| {
        let bare = Job {
            load: None,
            depth: None,
            ..job.clone()
        };
        Instruments::new(&bare)
            .unwrap_or_else(|_| unreachable!("a job without ports needs no set-up"))
    })
}

#[cfg(test)]
mod tests;
