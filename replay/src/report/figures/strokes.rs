//! Work and drag of each stroke.

use crate::report::scale::{Gain, mark_beyond, range};
use crate::report::svg::{Axis, Chart};
use crate::units_shown::{Units, clock};
use kerfwatch::result::{Direction, RunResult};

/// Work and mean drag of each stroke.
pub(in crate::report) fn strokes(result: &RunResult, units: Units) -> Option<String> {
    let last = result.strokes.last()?.n;
    let work = units.work();
    let works = || (result.strokes.iter()).map(|s| (f64::from(s.n), 0.0, s.cut_work_j.max(0.0)));
    let kept = range(works().map(|(.., work_j)| work_j), Gain::Eighth)?;
    let most = kept.1.max(1.0);
    let mut chart = Chart::new(
        800.0,
        220.0,
        Axis::new("stroke", 0.0, f64::from(last) + 1.0).whole(),
        Axis::new(
            format!("work on the groove, {}", work.unit),
            0.0,
            most * 1.08 * work.factor,
        ),
    );
    for stroke in &result.strokes {
        let class = match stroke.direction {
            Direction::Up => "bar",
            Direction::Down => "bar2",
        };
        let n = f64::from(stroke.n);
        let value = (stroke.cut_work_j * work.factor).max(0.0);
        let title = format!("stroke {} at {}", stroke.n, clock(stroke.start_s));
        chart.area(
            class,
            Some((n - 0.42, n + 0.42)),
            Some((0.0, value)),
            &title,
        );
    }
    mark_beyond(&mut chart, (0.0, most), work, works());
    Some(chart.finish("Work of each stroke"))
}

/// Drag of each stroke.
pub(in crate::report) fn drag(result: &RunResult, units: Units) -> Option<String> {
    let last = result.strokes.last()?.n;
    let force = units.force();
    let drags = || (result.strokes.iter()).map(|s| (f64::from(s.n), s.mean_drag_n, s.mean_drag_n));
    let kept = range(drags().map(|(.., drag_n)| drag_n), Gain::Half)?;
    let (low, high) = (kept.0.min(0.0), kept.1.max(1.0));
    let mut chart = Chart::new(
        800.0,
        190.0,
        Axis::new("stroke", 0.0, f64::from(last) + 1.0).whole(),
        Axis::new(
            format!("mean drag, {}", force.unit),
            low * 1.1 * force.factor,
            high * 1.1 * force.factor,
        ),
    );
    let held = result.strokes.iter();
    for stroke in held.filter(|s| (low..=high).contains(&s.mean_drag_n)) {
        let class = match stroke.direction {
            Direction::Up => "dot",
            Direction::Down => "ring",
        };
        chart.dot(
            class,
            f64::from(stroke.n),
            stroke.mean_drag_n * force.factor,
            2.6,
        );
    }
    mark_beyond(&mut chart, (low, high), force, drags());
    Some(chart.finish("Mean drag of each stroke"))
}

#[cfg(test)]
mod tests {
    use super::*;
    use kerfwatch::job::{print_default_job, read_job};
    use kerfwatch::pipeline::Pipeline;
    use kerfwatch::result::Stroke;

    /// Invented: free strokes, then drag that falls, and one stroke of a frozen cell.
    fn result() -> RunResult {
        let job = read_job(print_default_job(), "job.toml").unwrap().job;
        let mut result = Pipeline::new(&job).result("run");
        result.strokes = (1..=43_u32)
            .map(|n| {
                let drag = match n {
                    27 => -1592.0,
                    1..=9 => 0.0,
                    n => 700.0 - 12.0 * f64::from(n),
                };
                Stroke {
                    n,
                    direction: if n % 2 == 0 {
                        Direction::Up
                    } else {
                        Direction::Down
                    },
                    start_s: 10.0 * f64::from(n),
                    end_s: 10.0 * f64::from(n) + 8.0,
                    top_m: 580.0,
                    bottom_m: 593.0,
                    tool_travel_m: 13.0,
                    mean_drag_n: drag,
                    peak_tension_n: 2000.0,
                    cut_work_j: if n == 12 {
                        90_000.0
                    } else {
                        drag.max(0.0) * 5.0
                    },
                    engaged_m: 5.0,
                }
            })
            .collect();
        result
    }

    fn numbers(svg: &str) -> Vec<String> {
        let after = |part: &str| part.split('<').next().unwrap_or_default().to_owned();
        svg.split("text-anchor=\"end\">")
            .skip(1)
            .map(after)
            .collect()
    }

    #[test]
    fn one_drag_far_off_is_told_at_the_edge_and_the_scale_is_that_of_the_others() {
        for (units, far) in [(Units::Metric, "-1592 N"), (Units::Field, "-358 lbf")] {
            let svg = drag(&result(), units).unwrap();
            assert!(svg.contains(&format!(">{far}<")), "{svg}");
            assert_eq!(svg.matches("<circle").count(), 42);
            let ticks = numbers(&svg);
            assert!(
                ticks.len() >= 3 && ticks.contains(&"0".to_owned()),
                "{ticks:?}"
            );
        }
    }

    #[test]
    fn work_far_off_likewise() {
        let svg = strokes(&result(), Units::Metric).unwrap();
        assert_eq!(svg.matches("class=\"edge\"").count(), 1);
        assert!(numbers(&svg).len() >= 3, "{svg}");
    }
}
