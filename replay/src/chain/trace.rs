//! Drag of one stroke by depth, as the comparison of runs reads it.

use kerfwatch::groove::ledger::Row;

/// After a turn friction and speed still settle; before one the winch slows down. Distance at least, m,
/// and time, s: at full speed what swings reaches further.
const AFTER_TURN: (f64, f64) = (0.8, 3.3);
const BEFORE_TURN: (f64, f64) = (0.3, 1.3);

/// One stroke's drag by depth.
#[derive(Debug, Clone)]
pub(super) struct Trace {
    pub(super) up: bool,
    /// Cutter out.
    pub(super) out: bool,
    /// Shallow and deep end of the middle of the wheels, m.
    pub(super) top: f64,
    pub(super) bottom: f64,
    /// Mean speed, m/s.
    pub(super) speed: f64,
    /// Middle of the first bin, m.
    pub(super) first: f64,
    pub(super) step: f64,
    /// Drag by bin, N; `None` where the stroke does not say it.
    pub(super) drag: Vec<Option<f64>>,
}

impl Trace {
    /// From a row of the ledger whose bins begin at `top`.
    pub(super) fn new(row: &Row, top: f64, step: f64, out: bool) -> Self {
        let bins = row.first..row.first + row.drag.len();
        let speed = row.speed.abs();
        let reach = |(metres, seconds): (f64, f64)| metres.max(seconds * speed);
        let (after, before) = (reach(AFTER_TURN), reach(BEFORE_TURN));
        let (above, below) = if row.up {
            (before, after)
        } else {
            (after, before)
        };
        let drag = bins.map(|bin| {
            let middle = top + (bin as f64 + 0.5) * step;
            let steady = middle - row.top >= above && row.bottom - middle >= below;
            row.at(bin).filter(|_| steady)
        });
        Self {
            up: row.up,
            out,
            top: row.top,
            bottom: row.bottom,
            speed,
            first: top + (row.first as f64 + 0.5) * step,
            step,
            drag: drag.collect(),
        }
    }

    /// The same stroke, so much deeper.
    pub(super) fn deeper(mut self, by_m: f64) -> Self {
        self.top += by_m;
        self.bottom += by_m;
        self.first += by_m;
        self
    }

    /// Depth and drag of every bin that has one.
    pub(super) fn points(&self) -> impl Iterator<Item = (f64, f64)> + '_ {
        self.drag
            .iter()
            .enumerate()
            .filter_map(|(i, drag)| drag.map(|drag| (self.first + i as f64 * self.step, drag)))
    }
}
