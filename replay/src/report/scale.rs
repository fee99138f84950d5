//! The scale of a plot that one absurd value must not squeeze: values far from all others lie beyond it, and are marked
//! at the edge with their size.
//!
//! *Input*: the values of a plot. *Output*: lowest and highest that the scale has to hold. *Limits*: at most one value in
//! twenty lies beyond, and only where the scale of the others gains clearly: what is merely high stays in the plot.

use super::svg::Chart;
use crate::units_shown::Scale;

/// One in so many values may lie beyond the scale.
const ONE_IN: usize = 20;
/// Of fewer values none can be told from the others.
const VALUES_MIN: usize = 6;

/// How much the others have to gain before a value is put at the edge.
#[derive(Debug, Clone, Copy)]
pub(super) enum Gain {
    /// Drag of each stroke: one of a frozen instrument is told from the others at once.
    Half,
    /// Readings and work: a peak, or the work of a first pass, is what the plot is looked at for, so only what is
    /// absurd goes to the edge.
    Eighth,
}

/// Lowest and highest value that the scale holds; `None` without any value.
pub(super) fn range(values: impl IntoIterator<Item = f64>, gain: Gain) -> Option<(f64, f64)> {
    let mut sorted: Vec<f64> = values.into_iter().filter(|v| v.is_finite()).collect();
    sorted.sort_by(f64::total_cmp);
    let n = sorted.len();
    let most = if n < VALUES_MIN {
        0
    } else {
        n.div_ceil(ONE_IN)
    };
    // The narrowest range without so many values.
    let without = |left_out: usize| {
        (0..=left_out)
            .filter_map(|from| {
                Some((
                    *sorted.get(from)?,
                    *sorted.get(n.checked_sub(left_out - from + 1)?)?,
                ))
            })
            .min_by(|a, b| (a.1 - a.0).total_cmp(&(b.1 - b.0)))
    };
    let factor = match gain {
        Gain::Half => 0.5,
        Gain::Eighth => 0.125,
    };
    let mut kept = without(0)?;
    for left_out in 1..=most {
        let Some(narrower) = without(left_out) else {
            break;
        };
        // All the same but one: no scale could show both better.
        if narrower.1 > narrower.0 && narrower.1 - narrower.0 < factor * (kept.1 - kept.0) {
            kept = narrower;
        }
    }
    Some(kept)
}

/// Marks what lies beyond `kept`: one arrow for neighbours on the same side, with the farthest of them. `points`: place,
/// lowest and highest value there, in SI.
pub(super) fn mark_beyond(
    chart: &mut Chart,
    kept: (f64, f64),
    scale: Scale,
    points: impl IntoIterator<Item = (f64, f64, f64)>,
) {
    let mut far: [Option<(f64, f64)>; 2] = [None; 2];
    let put = |chart: &mut Chart, found: &mut Option<(f64, f64)>| {
        if let Some((x, value)) = found.take() {
            chart.beyond(x, value * scale.factor, &scale.show(value));
        }
    };
    for (x, low, high) in points {
        for (side, value, is_beyond) in [(0, low, low < kept.0), (1, high, high > kept.1)] {
            let is_farther = |(_, held): &(f64, f64)| match side {
                0 => value < *held,
                _ => value > *held,
            };
            let found = &mut far[side];
            if !is_beyond {
                put(chart, found);
            } else if found.as_ref().is_none_or(is_farther) {
                *found = Some((x, value));
            }
        }
    }
    for found in &mut far {
        put(chart, found);
    }
}

/// The caption of a figure, with what an arrow at the edge means where there is one.
pub(super) fn caption(svg: &str, words: &str) -> String {
    match svg.contains("class=\"edge\"") {
        true => format!("{words} An arrow at the edge: a value beyond the scale, with its size."),
        false => words.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::svg::Axis;
    use crate::units_shown::Units;

    #[test]
    fn one_stroke_of_a_frozen_cell_does_not_squeeze_the_others() {
        // Free, then cutting with drag that falls.
        let usual = (0..9)
            .map(|_| 0.0)
            .chain((0..34).map(|k| 950.0 - 20.0 * f64::from(k)));
        let drags: Vec<f64> = usual.clone().chain([-1592.0]).collect();
        assert_eq!(range(drags, Gain::Half), Some((0.0, 950.0)));
        assert_eq!(range(usual, Gain::Half), Some((0.0, 950.0)));
    }

    #[test]
    fn a_pull_up_to_the_limit_stays_in_the_plot_and_an_absurd_reading_does_not() {
        let usual = || (0..900).map(|k| 1000.0 + f64::from(k % 30) * 100.0);
        assert_eq!(
            range(usual().chain([9314.0]), Gain::Eighth),
            Some((1000.0, 9314.0))
        );
        assert_eq!(
            range(usual().chain([1e9]), Gain::Eighth),
            Some((1000.0, 3900.0))
        );
    }

    #[test]
    fn of_few_values_and_of_many_far_ones_none_is_left_out() {
        assert_eq!(range([0.0, 1.0, 100.0], Gain::Half), Some((0.0, 100.0)));
        let two_heights = (0..40).map(|k| if k % 4 == 0 { 1000.0 } else { f64::from(k) });
        assert_eq!(range(two_heights, Gain::Half), Some((1.0, 1000.0)));
        assert_eq!(range([], Gain::Half), None);
        assert_eq!(range([5.0; 10], Gain::Half), Some((5.0, 5.0)));
    }

    #[test]
    fn neighbours_beyond_the_scale_share_an_arrow_and_none_is_dropped() {
        let axis = |label: &str, to| Axis::new(label, 0.0, to);
        let mut chart = Chart::new(800.0, 200.0, axis("x", 10.0), axis("y", 100.0));
        let points = [
            (1.0, 5.0, 300.0),
            (2.0, 5.0, 400.0),
            (3.0, 5.0, 9.0),
            (4.0, -80.0, 9.0),
            (9.0, 5.0, 200.0),
        ];
        mark_beyond(&mut chart, (0.0, 100.0), Units::Metric.force(), points);
        let svg = chart.finish("test");
        assert_eq!(svg.matches("class=\"edge\"").count(), 3);
        for text in [">400 N<", ">-80 N<", ">200 N<"] {
            assert!(svg.contains(text), "{svg}");
        }
        assert!(caption(&svg, "Drag.").contains("arrow at the edge"));
        assert_eq!(caption("<svg></svg>", "Drag."), "Drag.");
    }
}
