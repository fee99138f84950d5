//! What every stroke did to every bin: the memory the groove estimate is a pure function of.
//!
//! Bins cover the interval and a little of the pipe beyond its ends. A row holds the drag at the tool by bin as measured,
//! before anything is decided about it, so that later knowledge can re-read early strokes.

use crate::infer::strokes::FoundStroke;
use crate::job::Job;
use crate::result::Direction;

/// The bins of an interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bins {
    /// Depth where bin 0 begins, m.
    pub top: f64,
    /// Length of a bin, m.
    pub step: f64,
    /// How many.
    pub count: usize,
    /// The interval itself: first bin and one past the last. Strokes run over its ends, and what
    /// they cut there belongs to the same groove.
    pub inside: (usize, usize),
}

/// Cutters do not differ by more than this factor in what a stroke counts (three times the force with twice the wheels:
/// common practice, no source).
const COUNTS_MOST: f64 = 20.0;

/// Pipe beyond either end of the interval that is kept account of, m.
pub const BEYOND_M: f64 = 3.0;

impl Bins {
    /// Bins of the job's interval; the last one may reach a little beyond it.
    pub fn new(job: &Job) -> Self {
        let top = job.info.interval_top.si();
        let step = job.info.bin.si();
        let length = job.info.interval_bottom.si() - top;
        let inside = ((length / step - 1e-6).ceil() as usize).clamp(1, 100_000);
        let beyond = (BEYOND_M / step).ceil() as usize;
        Self {
            top: top - beyond as f64 * step,
            step,
            count: inside + 2 * beyond,
            inside: (beyond, beyond + inside),
        }
    }

    /// Middle of a bin, m.
    pub fn middle(&self, bin: usize) -> f64 {
        self.top + (bin as f64 + 0.5) * self.step
    }
}

/// Drag at the tool by bin, N; NaN where the tool did not move steadily. Its sum is kept with it: whatever looks at the
/// strokes of a long run one after the other asks for that again after each of them.
#[derive(Debug, Clone, Default)]
pub struct DragByBin {
    by_bin: Vec<f32>,
    sum: (f64, u32),
}

impl DragByBin {
    /// The same, by so much more in each bin.
    pub(super) fn raise(&mut self, by: f32) {
        for drag in &mut self.by_bin {
            *drag += by;
        }
        self.sum = sum(&self.by_bin);
    }
}

impl From<Vec<f32>> for DragByBin {
    fn from(by_bin: Vec<f32>) -> Self {
        let sum = sum(&by_bin);
        Self { by_bin, sum }
    }
}

impl std::ops::Deref for DragByBin {
    type Target = [f32];

    fn deref(&self) -> &[f32] {
        &self.by_bin
    }
}

fn sum(drag: &[f32]) -> (f64, u32) {
    let seen = drag.iter().filter(|drag| !drag.is_nan());
    seen.fold((0.0, 0), |(sum, n), &drag| (sum + f64::from(drag), n + 1))
}

/// One stroke over the bins.
#[derive(Debug, Clone)]
pub struct Row {
    /// Going up.
    pub up: bool,
    /// Start and end, s.
    pub start: f64,
    /// End, s.
    pub end: f64,
    /// Shallow end of the wheels' middle, m.
    pub top: f64,
    /// Deep end, m.
    pub bottom: f64,
    /// Mean speed, m/s.
    pub speed: f64,
    /// First bin with data.
    pub first: usize,
    /// Drag at the tool by bin from `first`.
    pub drag: DragByBin,
    /// Cutter out by the operator's marks, if there are any.
    pub marked_out: Option<bool>,
    /// How often marks had said so by then, one after the other.
    pub said: u32,
    /// Part of a weight check by the operator's marks: the tool runs free.
    pub weight_check: bool,
    /// Gain from tool to surface for this direction.
    pub gain: f64,
}

/// What the operator's marks say of a stroke.
#[derive(Debug, Clone, Copy, Default)]
pub struct RowMarks {
    /// Cutter out, if any mark tells.
    pub out: Option<bool>,
    /// How often marks had said so by then.
    pub said: u32,
    /// Part of a weight check.
    pub weight_check: bool,
}

impl Row {
    /// Drag in a bin.
    #[inline]
    pub fn at(&self, bin: usize) -> Option<f64> {
        let v = *self.drag.get(bin.checked_sub(self.first)?)?;
        (!v.is_nan()).then_some(f64::from(v))
    }

    /// Mean drag over all bins that have any, N; 0 where none has.
    pub fn mean_drag(&self) -> f64 {
        let (sum, n) = self.drag_sum();
        if n > 0 { sum / f64::from(n) } else { 0.0 }
    }

    /// Drag over all bins that have any: sum, N, and their number.
    pub fn drag_sum(&self) -> (f64, u32) {
        self.drag.sum
    }
}

/// All strokes of a run that touched the interval.
#[derive(Debug, Clone)]
pub struct Ledger {
    /// The bins.
    pub bins: Bins,
    /// One row per stroke, in order; strokes that did not touch the interval have no bins.
    pub rows: Vec<Row>,
    /// The cutters of several runs that are taken as one; of a single run none is listed.
    pub cutters: Vec<CutterOfRun>,
}

/// The cutter of one of several runs, against that of the job.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CutterOfRun {
    /// First row of the run.
    pub from: usize,
    /// What a pass of one of the job's wheels would count, by what the run's own job says of its cutter.
    pub counts: f64,
}

impl Ledger {
    /// Empty, for a job.
    pub fn new(job: &Job) -> Self {
        Self {
            bins: Bins::new(job),
            rows: Vec::new(),
            cutters: Vec::new(),
        }
    }

    /// A run begins in which a pass of the job's wheels counts as so many; what no cutter does is taken for a slip of the
    /// pen.
    pub fn take_cutter(&mut self, counts: f64) {
        let from = self.rows.len();
        let counts = if counts.is_finite() {
            counts.clamp(1.0 / COUNTS_MOST, COUNTS_MOST)
        } else {
            1.0
        };
        self.cutters.push(CutterOfRun { from, counts });
    }

    /// Invented: strokes up and down in turn over 20 bins, with their mean drag, N, and what the newest mark says.
    #[cfg(test)]
    pub(super) fn invented(strokes: &[(f32, Option<bool>)]) -> Self {
        let row = |(k, (drag, marked_out)): (usize, &(f32, Option<bool>))| Row {
            up: k.is_multiple_of(2),
            start: 60.0 * k as f64,
            end: 60.0 * k as f64 + 40.0,
            top: 100.0,
            bottom: 102.0,
            speed: 0.3,
            first: 0,
            drag: vec![*drag; 20].into(),
            marked_out: *marked_out,
            said: 1,
            weight_check: false,
            gain: 1.0,
        };
        Self {
            bins: Bins {
                top: 100.0,
                step: 0.1,
                count: 20,
                inside: (0, 20),
            },
            rows: strokes.iter().enumerate().map(row).collect(),
            cutters: Vec::new(),
        }
    }

    /// Reads the drag of all rows again: `drag(up, depth, speed, drag)`.
    pub fn reread(&mut self, drag: impl Fn(bool, f64, f64, f64) -> f64) {
        for row in &mut self.rows {
            let (sum, n) = row.drag_sum();
            if n == 0 {
                continue;
            }
            // Over the bins of one interval it changes by next to nothing.
            let mean = sum / f64::from(n);
            let depth = self.bins.middle(row.first + row.drag.len() / 2);
            row.drag
                .raise((drag(row.up, depth, row.speed, mean) - mean) as f32);
        }
    }

    /// Adds a stroke. Bins within `settle` metres of where it began are left out: there the line
    /// still swings and friction still turns over.
    pub fn add(&mut self, s: &FoundStroke, settle: f64, marks: RowMarks, gain: f64) {
        let (top, bottom) = s.range();
        let count = self.bins.count as i64;
        let (a, b) = s.profile.bins();
        let (a, b) = (a.clamp(0, count), b.clamp(0, count));
        let mut drag: Vec<f32> = Vec::with_capacity((b - a).max(0) as usize);
        for bin in a..b {
            let middle = self.bins.middle(bin as usize);
            let steady = (middle - s.from).abs() >= settle && (middle - s.to).abs() >= 0.05;
            let value = s
                .profile
                .drag(bin)
                .filter(|&(_, metres)| steady && metres >= 0.3 * self.bins.step);
            drag.push(value.map_or(f32::NAN, |(d, _)| d as f32));
        }
        self.rows.push(Row {
            up: s.direction == Direction::Up,
            start: s.start,
            end: s.end,
            top,
            bottom,
            speed: s.profile.mean_speed(),
            first: a as usize,
            drag: drag.into(),
            marked_out: marks.out,
            said: marks.said,
            weight_check: marks.weight_check,
            gain,
        });
    }

    /// Of the newest stroke no drag is known: the load hung meanwhile.
    pub(crate) fn forget_newest_drag(&mut self) {
        if let Some(row) = self.rows.last_mut() {
            row.drag = vec![f32::NAN; row.drag.len()].into();
        }
    }
}
