//! `tubular = "5-1/2 in 17 lb/ft"`: the sizes a crew names by heart, from the pipe table.

use crate::model::tubular_table::lookup;

/// What a size name stands for, m. NaN where the name was not understood.
#[derive(Debug, Clone, Copy)]
pub(super) struct TubularSize {
    pub(super) od: f64,
    pub(super) wall: f64,
    pub(super) coupling_od: f64,
    pub(super) coupling_length: f64,
}

impl TubularSize {
    /// Stands for a size that was reported as unknown, so that its parts are not asked for, too.
    pub(super) const UNKNOWN: Self = Self {
        od: f64::NAN,
        wall: f64::NAN,
        coupling_od: f64::NAN,
        coupling_length: f64::NAN,
    };
}

/// Looks a size up; the fault is what was found and what to write.
pub(super) fn tubular_size(text: &str) -> Result<TubularSize, (String, String)> {
    match lookup(text) {
        Ok(row) => Ok(TubularSize {
            od: row.od_m(),
            wall: row.wall_m(),
            coupling_od: row.coupling_od_m(),
            coupling_length: row.coupling_length_m(),
        }),
        Err(problem) => Err((
            problem.to_string(),
            "size and weight as in \"5-1/2 in 17 lb/ft\", or [tubular] with od and wall".to_owned(),
        )),
    }
}
