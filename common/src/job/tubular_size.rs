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
    Err((
        format!(
            "\"{}\", a size that is not in the table",
            text.chars().take(60).collect::<String>()
        ),
        "a section [tubular] with od and wall".to_owned(),
    ))
}
