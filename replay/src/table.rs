//! The result as flat tables, one for each list of it: what CSV and Parquet hold.
//!
//! Units are in the column names. A missing value is `None`, never NaN.

pub use crate::args::TableName;
use kerfwatch::result::RunResult;

/// Values of a column.
#[derive(Debug, Clone, PartialEq)]
pub enum Values {
    /// Numbers.
    Real(Vec<Option<f64>>),
    /// Counts.
    Whole(Vec<i64>),
    /// Yes or no.
    Flag(Vec<bool>),
    /// Words.
    Word(Vec<String>),
}

impl Values {
    /// Number of rows.
    pub fn len(&self) -> usize {
        match self {
            Self::Real(v) => v.len(),
            Self::Whole(v) => v.len(),
            Self::Flag(v) => v.len(),
            Self::Word(v) => v.len(),
        }
    }

    /// No rows.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }
}

/// A named column.
#[derive(Debug, Clone, PartialEq)]
pub struct Column {
    /// Name with unit, e.g. `top_m`.
    pub name: &'static str,
    /// Values.
    pub values: Values,
}

/// Columns of equal length.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Table {
    /// In order.
    pub columns: Vec<Column>,
}

impl Table {
    /// Rows.
    pub fn rows(&self) -> usize {
        self.columns.first().map_or(0, |c| c.values.len())
    }

    /// All columns of another table of the same length after these.
    #[must_use]
    pub fn join(mut self, other: Self) -> Self {
        self.columns.extend(other.columns);
        self
    }

    /// Adds a column of numbers; what is not finite is missing.
    #[must_use]
    pub fn real(mut self, name: &'static str, values: impl Iterator<Item = Option<f64>>) -> Self {
        let values = values.map(|v| v.filter(|x| x.is_finite())).collect();
        let values = Values::Real(values);
        self.columns.push(Column { name, values });
        self
    }

    fn number(self, name: &'static str, values: impl Iterator<Item = f64>) -> Self {
        self.real(name, values.map(Some))
    }

    /// Adds a column of counts.
    #[must_use]
    pub fn whole(mut self, name: &'static str, values: impl Iterator<Item = i64>) -> Self {
        let values = Values::Whole(values.collect());
        self.columns.push(Column { name, values });
        self
    }

    fn flag(mut self, name: &'static str, values: impl Iterator<Item = bool>) -> Self {
        let values = Values::Flag(values.collect());
        self.columns.push(Column { name, values });
        self
    }

    /// Adds a column of words.
    #[must_use]
    pub fn word(mut self, name: &'static str, values: impl Iterator<Item = String>) -> Self {
        let values = Values::Word(values.collect());
        self.columns.push(Column { name, values });
        self
    }
}

/// The asked list as a table; column names are those of the JSON.
pub fn table(result: &RunResult, name: TableName) -> Table {
    let t = Table::default();
    match name {
        TableName::Groove => {
            let g = &result.groove;
            t.number("top_m", g.iter().map(|b| b.top_m))
                .number("bottom_m", g.iter().map(|b| b.bottom_m))
                .number("depth_mm", g.iter().map(|b| b.depth_mm))
                .number("low_mm", g.iter().map(|b| b.low_mm))
                .number("high_mm", g.iter().map(|b| b.high_mm))
                .number("wall_mm", g.iter().map(|b| b.wall_mm))
                .whole("passes", g.iter().map(|b| i64::from(b.passes)))
                .flag("through", g.iter().map(|b| b.through))
                .number(
                    "through_probability",
                    g.iter().map(|b| b.through_probability),
                )
                .flag("coupling", g.iter().map(|b| b.coupling))
        }
        TableName::Strokes => {
            let s = &result.strokes;
            t.whole("n", s.iter().map(|x| i64::from(x.n)))
                .word("direction", s.iter().map(|x| x.direction.word().into()))
                .number("start_s", s.iter().map(|x| x.start_s))
                .number("end_s", s.iter().map(|x| x.end_s))
                .number("top_m", s.iter().map(|x| x.top_m))
                .number("bottom_m", s.iter().map(|x| x.bottom_m))
                .number("tool_travel_m", s.iter().map(|x| x.tool_travel_m))
                .number("mean_drag_n", s.iter().map(|x| x.mean_drag_n))
                .number("peak_tension_n", s.iter().map(|x| x.peak_tension_n))
                .number("cut_work_j", s.iter().map(|x| x.cut_work_j))
                .number("engaged_m", s.iter().map(|x| x.engaged_m))
        }
        TableName::Intervals => {
            let i = &result.intervals;
            t.word("state", i.iter().map(|x| x.state.word().into()))
                .number("start_s", i.iter().map(|x| x.start_s))
                .number("end_s", i.iter().map(|x| x.end_s))
                .real("depth_m", i.iter().map(|x| x.depth_m))
        }
        TableName::Joints => {
            let j = &result.joints;
            t.number("top_m", j.iter().map(|x| x.top_m))
                .number("bottom_m", j.iter().map(|x| x.bottom_m))
                .number("split_fraction", j.iter().map(|x| x.split_fraction))
                .number("min_depth_mm", j.iter().map(|x| x.min_depth_mm))
                .real("strokes_left_p50", j.iter().map(|x| x.strokes_left_p50))
                .real("strokes_left_p90", j.iter().map(|x| x.strokes_left_p90))
        }
        TableName::Alarms => {
            let a = &result.alarms;
            t.word("kind", a.iter().map(|x| x.kind.clone()))
                .word("level", a.iter().map(|x| x.level.clone()))
                .number("raised_s", a.iter().map(|x| x.raised_s))
                .real("cleared_s", a.iter().map(|x| x.cleared_s))
                .real("peak_n", a.iter().map(|x| x.peak_n))
                .word(
                    "about",
                    a.iter().map(|x| x.about.clone().unwrap_or_default()),
                )
        }
        TableName::LineWear => {
            let w = &result.line_wear;
            t.number("from_m", w.iter().map(|x| x.from_m))
                .number("to_m", w.iter().map(|x| x.to_m))
                .whole("bends", w.iter().map(|x| i64::from(x.bends)))
                .real("life_used", w.iter().map(|x| x.life_used))
        }
        TableName::Tool => {
            let track = &result.tool;
            let n = track.depth_m.len().max(track.speed_m_s.len());
            let get = |list: &[Option<f64>], i: usize| list.get(i).copied().flatten();
            t.number("time_s", (0..n).map(|i| i as f64 * track.every_s))
                .real("depth_m", (0..n).map(|i| get(&track.depth_m, i)))
                .real("speed_m_s", (0..n).map(|i| get(&track.speed_m_s, i)))
        }
    }
}
