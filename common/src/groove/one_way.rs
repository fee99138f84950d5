//! Whether the cutter still cuts going down.
//!
//! Wheels that are pressed less going down soon find a groove there that the way up has rolled deeper than they can: from
//! then on they only roll. Drag going down then stays where it is, while that going up goes on falling as the groove
//! widens.
//!
//! *Input*: mean drag of each stroke, and the cutting drag that the fit expects of it, N. *Output*: the first stroke down
//! from which on none cuts. *Way*: of the strokes from some stroke on, the slope of drag over expected cutting drag
//! is one where the wheels cut and none where they roll; both ways must tell, and differ by more than their errors.
//! *Limits*: rolling and a cut of a tenth of the expected drag look alike. A cell that drifts feigns it one way and does
//! the opposite the other way, and the first strokes follow no law well: so the way up must follow the law closely.

use super::drag_model::{off_neighbours, sd_by_median};

/// One stroke.
#[derive(Debug, Clone, Copy)]
pub(super) struct StrokeDrag {
    /// Row of the ledger.
    pub(super) row: usize,
    /// Going up.
    pub(super) up: bool,
    /// Mean drag, N.
    pub(super) drag: f64,
    /// Cutting drag expected, N.
    pub(super) expected: f64,
}

/// Strokes each way, at least, that tell: in fewer a cell's drift bends drag as much as the law does.
const STROKES_MIN: usize = 48;
/// Strokes down that are not asked: the first ones follow no law well.
const FIRST: usize = 8;
/// How far the slope may be from none of wheels that roll down, and from one of wheels that cut up.
const NEAR: f64 = 0.25;
/// Difference of both slopes over its standard deviation, at least.
const SURE: f64 = 4.0;
/// Standard deviations of slopes are this much larger than those of independent strokes: neighbours err alike.
const ALIKE: f64 = 2.0;
/// Scatter of a stroke's mean, at least, N.
const SCATTER_MIN: f64 = 4.0;
/// Starts that are tried.
const STARTS: usize = 24;

/// The first row from which on strokes down do not cut; `None` while they do, or while nobody can tell.
pub(super) fn rolls_down_from(strokes: &[StrokeDrag]) -> Option<usize> {
    let (ups, downs): (Vec<StrokeDrag>, Vec<StrokeDrag>) = strokes.iter().partition(|s| s.up);
    let scatters = (scatter(&ups), scatter(&downs));
    let step = (downs.len() / STARTS).max(1);
    (FIRST..downs.len()).step_by(step).find_map(|start| {
        let from = downs[start].row;
        let first_up = ups.partition_point(|s| s.row < from);
        let (up, up_sd) = slope(&ups[first_up..], scatters.0)?;
        let (down, down_sd) = slope(&downs[start..], scatters.1)?;
        let near = down.abs() < NEAR && (up - 1.0).abs() < NEAR;
        (near && up - down > SURE * up_sd.hypot(down_sd)).then_some(from)
    })
}

/// Slope of drag over expected drag and its standard deviation; `None` of too few strokes.
fn slope(strokes: &[StrokeDrag], scatter: f64) -> Option<(f64, f64)> {
    if strokes.len() < STROKES_MIN {
        return None;
    }
    let n = strokes.len() as f64;
    let mean = |of: fn(&StrokeDrag) -> f64| strokes.iter().map(of).sum::<f64>() / n;
    let (x0, y0) = (mean(|s| s.expected), mean(|s| s.drag));
    let (mut xx, mut xy) = (0.0, 0.0);
    for s in strokes {
        xx += (s.expected - x0).powi(2);
        xy += (s.expected - x0) * (s.drag - y0);
    }
    (xx > 0.0).then(|| (xy / xx, ALIKE * scatter / xx.sqrt()))
}

/// Standard deviation of a stroke's drag around that of its neighbours, N.
fn scatter(strokes: &[StrokeDrag]) -> f64 {
    let drags: Vec<f64> = strokes.iter().map(|s| s.drag).collect();
    let mut off: Vec<f64> = off_neighbours(&drags).collect();
    if off.is_empty() {
        return SCATTER_MIN;
    }
    sd_by_median(&mut off).max(SCATTER_MIN)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Invented strokes in turn, expected to fall as the cube root of passes, with ripple, going down with
    /// `part(k)` of the expected drag.
    fn strokes(count: usize, part: impl Fn(usize) -> f64) -> Vec<StrokeDrag> {
        (0..count)
            .map(|row| {
                let up = row % 2 == 0;
                let expected = 300.0 * (row as f64 + 1.0).powf(-1.0 / 3.0);
                let ripple = 3.0 * (1.7 * row as f64).sin();
                let part = if up { 1.0 } else { part(row) };
                StrokeDrag {
                    row,
                    up,
                    drag: 90.0 + part * expected + ripple,
                    expected,
                }
            })
            .collect()
    }

    #[test]
    fn wheels_that_cut_both_ways_are_not_said_to_roll() {
        assert_eq!(rolls_down_from(&strokes(200, |_| 1.0)), None);
        assert_eq!(rolls_down_from(&strokes(200, |_| 0.6)), None);
    }

    #[test]
    fn drag_that_stops_falling_one_way_is_found_where_it_does() {
        let found = rolls_down_from(&strokes(200, |row| if row < 40 { 1.0 } else { 0.0 }));
        assert!(
            found.is_some_and(|row| (29..=60).contains(&row)),
            "{found:?}"
        );
    }

    #[test]
    fn a_few_strokes_say_nothing() {
        assert_eq!(rolls_down_from(&strokes(90, |_| 0.0)), None);
    }

    #[test]
    fn drag_that_falls_neither_way_says_nothing() {
        let mut flat = strokes(200, |_| 0.0);
        for s in &mut flat {
            s.drag = 100.0 + (s.drag - s.expected).clamp(-5.0, 5.0);
        }
        assert_eq!(rolls_down_from(&flat), None);
    }
}
