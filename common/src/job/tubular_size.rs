//! `tubular = "5-1/2 in 17 lb/ft"`: the sizes a crew names by heart.

/// What a size name stands for, m.
#[derive(Debug, Clone, Copy)]
pub(super) struct TubularSize {
    pub(super) od: f64,
    pub(super) wall: f64,
    pub(super) coupling_od: Option<f64>,
}

impl TubularSize {
    /// Stands for a size that was reported as unknown, so that its parts are not asked for, too.
    pub(super) fn unknown() -> Self {
        Self {
            od: f64::NAN,
            wall: f64::NAN,
            coupling_od: Some(f64::NAN),
        }
    }
}

/// Looks a size up; the fault is (found, write).
pub(super) fn tubular_size(text: &str) -> Result<TubularSize, (String, String)> {
    use crate::model::tubular_table::{LookupError, lookup};
    let shown: String = text.chars().take(60).collect();
    match lookup(text) {
        Ok(row) => Ok(TubularSize {
            od: row.od_m(),
            wall: row.wall_m(),
            coupling_od: Some(row.coupling_od_m()),
        }),
        Err(LookupError::UnknownSize { known, .. }) => Err((
            format!("\"{shown}\", a size that is not in the table"),
            format!("a section [tubular] with od and wall, or one of the sizes {known} in"),
        )),
        Err(LookupError::UnknownWeight { known, size, .. }) => Err((
            format!("\"{shown}\", a weight that is not in the table"),
            format!("a section [tubular] with od and wall, or {size} in with {known} lb/ft"),
        )),
        Err(_) => Err((
            format!("\"{shown}\", which is no size of pipe"),
            "size and weight as \"5-1/2 in 17 lb/ft\", or a section [tubular] with od and wall"
                .to_owned(),
        )),
    }
}
