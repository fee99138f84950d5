//! One run scored: sums and lists that can be added up over runs.

use super::estimate::Estimate;
use super::forecasts::{Forecast, forecasts};
use super::held;
use super::record::Record;
use super::ten_strokes::{TenStrokes, ten_strokes};
use super::truth::Truth;
use kerfwatch::result::{GrooveBin, State};

/// States in the order of the confusion table.
pub const STATES: [State; 6] = [
    State::Still,
    State::Free,
    State::Cutting,
    State::Stalled,
    State::Slack,
    State::Unknown,
];

/// How the groove did, at one kind of time.
#[derive(Debug, Clone, Default)]
pub struct GrooveScore {
    /// Estimate less truth, in % of nominal wall, by bin and time.
    pub errors: Vec<f64>,
    /// Truth inside `low..high`.
    pub covered: u64,
    /// Sum of interval scores, % of nominal wall: width of `low..high`, and twenty times the distance by
    /// which the truth lies outside (Gneiting and Raftery 2007, *J. Am. Stat. Assoc.* 102, eq. 43, for a
    /// 90 % interval).
    pub interval_score: f64,
    /// Bins asked.
    pub asked: u64,
}

/// Everything counted, for one estimator.
#[derive(Debug, Clone, Default)]
pub struct Tally {
    /// Length of the records, h.
    pub hours: f64,
    /// Strokes there were.
    pub strokes_true: u64,
    /// Strokes claimed.
    pub strokes_said: u64,
    /// Strokes of the two that belong together.
    pub strokes_matched: u64,
    /// Errors of start and end of matched strokes, s.
    pub ends: Vec<f64>,
    /// Seconds by true and claimed state.
    pub confusion: [[f64; 6]; 6],
    /// Delay until a stall was shown, by stall that was due; infinite: not within 15 s.
    pub stall_delay: Vec<f64>,
    /// Line moved until then, m.
    pub stall_line: Vec<f64>,
    /// Delay until slack was shown.
    pub slack_delay: Vec<f64>,
    /// Stalls claimed where there was none.
    pub false_stalls: u64,
    /// Slack claimed where there was none.
    pub false_slacks: u64,
    /// Groove before the first break-through.
    pub before: GrooveScore,
    /// Groove after it, while cutting.
    pub after: GrooveScore,
    /// Groove at the end of the record.
    pub last: GrooveScore,
    /// Probability of being through, and whether it was, at all times.
    pub through: Vec<(f64, bool)>,
    /// Bins rightly called through at the end.
    pub through_right: u64,
    /// Bins wrongly called through.
    pub through_wrong: u64,
    /// Bins that were through and not called.
    pub through_missed: u64,
    /// Strokes left as told, and as it took.
    pub forecasts: Vec<Forecast>,
    /// What ten strokes more bring, as told and as it came.
    pub ten_strokes: Vec<TenStrokes>,
    /// Error of tool depth near the interval, m.
    pub depth: Vec<f64>,
    /// The same less its mean over the stroke, m.
    pub depth_in_stroke: Vec<f64>,
    /// Time between an overpull and its alarm, s, early or late alike: a guard with too low a limit is not quick.
    /// Infinite: missed.
    pub overpull_off: Vec<f64>,
    /// Overpull alarms without one.
    pub false_overpulls: u64,
    /// Readings.
    pub readings: u64,
    /// Time to compute, s.
    pub took: f64,
}

/// Scores one estimate.
pub fn measure(record: &Record, estimate: &Estimate) -> Tally {
    let truth = &record.truth;
    let mut tally = Tally {
        hours: truth.run.duration_s / 3600.0,
        took: estimate.took_s,
        readings: record.rows.len() as u64,
        ..Tally::default()
    };
    strokes(&mut tally, truth, estimate);
    states(&mut tally, truth, estimate);
    held::held(&mut tally, record, estimate);
    groove(&mut tally, record, estimate);
    tally.forecasts = forecasts(truth, &estimate.shown);
    tally.ten_strokes = ten_strokes(truth, &estimate.shown);
    tool_depth(&mut tally, record, estimate);
    overpulls(&mut tally, truth, estimate);
    tally
}

fn strokes(tally: &mut Tally, truth: &Truth, estimate: &Estimate) {
    let said = &estimate.result.strokes;
    tally.strokes_true = truth.strokes.len() as u64;
    tally.strokes_said = said.len() as u64;
    let mut from = 0;
    for real in &truth.strokes {
        // Same direction, and more than half of the time of both together in common.
        let found = (from..said.len()).find(|k| {
            let s = &said[*k];
            let common = s.end_s.min(real.end_s) - s.start_s.max(real.start_s);
            let whole = s.end_s.max(real.end_s) - s.start_s.min(real.start_s);
            s.direction == real.direction && common > 0.5 * whole
        });
        if let Some(k) = found {
            from = k + 1;
            tally.strokes_matched += 1;
            tally.ends.push((said[k].start_s - real.start_s).abs());
            tally.ends.push((said[k].end_s - real.end_s).abs());
        }
    }
}

fn state_at(intervals: &[(State, f64, f64)], hint: &mut usize, time: f64) -> State {
    while *hint + 1 < intervals.len() && intervals[*hint].2 <= time {
        *hint += 1;
    }
    match intervals.get(*hint) {
        Some((state, start, end)) if *start <= time && time < *end => *state,
        _ => State::Unknown,
    }
}

fn index(state: State) -> usize {
    STATES.iter().position(|s| *s == state).unwrap_or(5)
}

fn states(tally: &mut Tally, truth: &Truth, estimate: &Estimate) {
    let real: Vec<_> = truth
        .intervals
        .iter()
        .map(|i| (i.state, i.start_s, i.end_s))
        .collect();
    let said: Vec<_> = estimate
        .result
        .intervals
        .iter()
        .map(|i| (i.state, i.start_s, i.end_s))
        .collect();
    let (mut a, mut b) = (0, 0);
    for k in 0..(truth.run.duration_s / 0.1) as u64 {
        let time = (k as f64 + 0.5) * 0.1;
        let real = index(state_at(&real, &mut a, time));
        let said = index(state_at(&said, &mut b, time));
        tally.confusion[real][said] += 0.1;
    }
}

fn groove(tally: &mut Tally, record: &Record, estimate: &Estimate) {
    let truth = &record.truth;
    let wall = record.job.tubular.wall.as_millimetres();
    let first = truth.first_break();
    for (history, shown) in truth.groove_history.iter().zip(&estimate.shown) {
        let score = if history.time_s < first {
            &mut tally.before
        } else {
            &mut tally.after
        };
        let depths = history.depth_mm.iter().zip(&history.split);
        for (k, (depth, split)) in depths.enumerate() {
            if truth.groove[k].coupling {
                continue;
            }
            let middle = 0.5 * (truth.groove[k].top_m + truth.groove[k].bottom_m);
            let said = bin_at(&shown.groove, middle);
            score.add(said, *depth, wall);
            let p = said.map_or(0.0, |bin| bin.through_probability);
            tally.through.push((p, *split >= 0.5));
        }
    }
    for real in truth.groove.iter().filter(|bin| !bin.coupling) {
        let said = bin_at(&estimate.result.groove, 0.5 * (real.top_m + real.bottom_m));
        tally.last.add(said, real.depth_mm, wall);
        let p = said.map_or(0.0, |bin| bin.through_probability);
        tally.through.push((p, real.through));
        match (said.is_some_and(|bin| bin.through), real.through) {
            (true, true) => tally.through_right += 1,
            (true, false) => tally.through_wrong += 1,
            (false, true) => tally.through_missed += 1,
            (false, false) => {}
        }
    }
}

fn bin_at(bins: &[GrooveBin], depth: f64) -> Option<&GrooveBin> {
    let k = bins.partition_point(|bin| bin.bottom_m <= depth);
    bins.get(k).filter(|bin| bin.top_m <= depth)
}

impl GrooveScore {
    /// A bin that the estimator does not show counts as no groove, stated with certainty.
    fn add(&mut self, said: Option<&GrooveBin>, depth: f64, wall: f64) {
        let (best, low, high) = said.map_or((0.0, 0.0, 0.0), |bin| {
            (bin.depth_mm, bin.low_mm, bin.high_mm)
        });
        self.errors.push(100.0 * (best - depth) / wall);
        self.asked += 1;
        let outside = (low - depth).max(depth - high).max(0.0);
        self.interval_score += 100.0 * (high - low + 20.0 * outside) / wall;
        // A hundredth of a millimetre of rounding is nobody's error.
        if low - 0.01 <= depth && depth <= high + 0.01 {
            self.covered += 1;
        }
    }
}

fn tool_depth(tally: &mut Tally, record: &Record, estimate: &Estimate) {
    let truth = &record.truth;
    let said = &estimate.result.tool;
    let near = record.job.info.interval_top.si() - 40.0;
    let error = |time: f64| {
        let real = *truth
            .tool
            .depth_m
            .get((time / truth.tool.every_s).round() as usize)?;
        let place = time / said.every_s.max(1e-9);
        let k = place.floor() as usize;
        let (a, b) = ((*said.depth_m.get(k)?)?, (*said.depth_m.get(k + 1)?)?);
        (real > near).then_some(a + (place - k as f64) * (b - a) - real)
    };
    for k in 0..truth.run.duration_s as u64 {
        if let Some(error) = error(k as f64) {
            tally.depth.push(error.abs());
        }
    }
    for stroke in &truth.strokes {
        // At the times the estimate is stated for, whole seconds: between them nothing is claimed.
        let errors: Vec<f64> = (stroke.start_s.ceil() as u64..=stroke.end_s as u64)
            .filter_map(|k| error(k as f64))
            .collect();
        if errors.len() < 4 {
            continue;
        }
        let mean = errors.iter().sum::<f64>() / errors.len() as f64;
        tally
            .depth_in_stroke
            .extend(errors.iter().map(|e| (e - mean).abs()));
    }
}

/// On a slow rise, noise and the cell's own error trip an alarm this much early, s.
const EARLY: f64 = 5.0;

fn overpulls(tally: &mut Tally, truth: &Truth, estimate: &Estimate) {
    for alarm in &truth.alarms {
        let raised = estimate
            .overpulls
            .iter()
            .find(|t| **t >= alarm.raised_s - EARLY && **t <= alarm.raised_s + 5.0);
        tally
            .overpull_off
            .push(raised.map_or(f64::INFINITY, |t| (t - alarm.raised_s).abs()));
    }
    for raised in &estimate.overpulls {
        let real = truth.alarms.iter().any(|alarm| {
            *raised >= alarm.raised_s - EARLY
                && *raised <= alarm.cleared_s.unwrap_or(f64::MAX) + 5.0
        });
        // Truth made elsewhere may know the absolute limit only: pull on a held tool is no false alarm.
        let held = truth
            .intervals
            .iter()
            .any(|i| i.state == State::Stalled && i.start_s < *raised && *raised < i.end_s + 2.0);
        if !real && !held {
            tally.false_overpulls += 1;
        }
    }
}

impl Tally {
    /// Adds another run.
    pub fn add(&mut self, other: &Self) {
        self.hours += other.hours;
        self.strokes_true += other.strokes_true;
        self.strokes_said += other.strokes_said;
        self.strokes_matched += other.strokes_matched;
        self.ends.extend(&other.ends);
        for (row, more) in self.confusion.iter_mut().zip(&other.confusion) {
            for (cell, more) in row.iter_mut().zip(more) {
                *cell += more;
            }
        }
        self.stall_delay.extend(&other.stall_delay);
        self.stall_line.extend(&other.stall_line);
        self.slack_delay.extend(&other.slack_delay);
        self.false_stalls += other.false_stalls;
        self.false_slacks += other.false_slacks;
        for (mine, theirs) in [
            (&mut self.before, &other.before),
            (&mut self.after, &other.after),
            (&mut self.last, &other.last),
        ] {
            mine.errors.extend(&theirs.errors);
            mine.covered += theirs.covered;
            mine.interval_score += theirs.interval_score;
            mine.asked += theirs.asked;
        }
        self.through.extend(&other.through);
        self.through_right += other.through_right;
        self.through_wrong += other.through_wrong;
        self.through_missed += other.through_missed;
        self.forecasts.extend(&other.forecasts);
        self.ten_strokes.extend(&other.ten_strokes);
        self.depth.extend(&other.depth);
        self.depth_in_stroke.extend(&other.depth_in_stroke);
        self.overpull_off.extend(&other.overpull_off);
        self.false_overpulls += other.false_overpulls;
        self.readings += other.readings;
        self.took += other.took;
    }
}
