//! The forecast as a page.

use super::page::Page;
use super::svg::{Axis, Chart};
use crate::forecast::cut::{Quantiles, Spread};
use crate::forecast::sweep::Choice;
use crate::forecast::weights::Weights;
use crate::forecast::{Forecast, bends, limit_sentence};
use crate::units_shown::{Units, duration};
use kerfwatch::job::Job;

/// The page.
pub fn forecast_page(job: &Job, forecast: &Forecast, units: Units) -> String {
    let (depth, force) = (units.depth(), units.force());
    let subtitle = format!(
        "Well {}. Interval {} to {} along hole.",
        forecast.well,
        depth.bare(forecast.interval_m.0),
        depth.show(forecast.interval_m.1)
    );
    let mut page = Page::new(&format!("Forecast: {}", forecast.job), &subtitle);
    page.paragraph(
        "lead",
        &format!(
            "{} {}",
            strokes_sentence(forecast),
            limit_sentence(forecast, units)
        ),
    );
    page.paragraph(
        "caution",
        "Caution. This forecast is an aid, not a safety function. The line maker's limits, the \
         operator's procedures, local rules and licensed practice come first.",
    );
    page.heading("Joints");
    let rows: Vec<Vec<String>> = forecast
        .joints
        .iter()
        .enumerate()
        .map(|(i, j)| {
            let span = format!("{} to {}", depth.bare(j.top_m), depth.bare(j.bottom_m));
            row(
                format!("{}", i + 1),
                span,
                Some(&j.opens),
                &j.strokes,
                &j.hours,
            )
        })
        .chain([row(
            "all".into(),
            String::new(),
            None,
            &forecast.strokes,
            &forecast.hours,
        )])
        .collect();
    let head = [
        "Joint",
        &format!("Depth, {}", depth.unit),
        "Opens after strokes (5 to 95 %)",
        "Split after strokes (5 to 95 %)",
        "Strokes, 90 %",
        "Hours, median",
        "Hours, 90 %",
    ];
    let all = rows.len() - 1;
    page.table(&head, &rows, |i| i == all);
    page.paragraph(
        "note",
        &format!(
            "A joint opens where the wall first gives way, and is split when it has given way over the \
             whole length. In brackets: with 90 % probability between these. Strokes and hours, 90 %: with that \
             probability it takes no more. One stroke takes {} at {}.",
            duration(forecast.stroke_s),
            units.speed().show(forecast.speed_m_s)
        ),
    );
    weights(&mut page, forecast, units);
    page.heading("Drag while cutting");
    let spread = |s: &Spread| {
        format!(
            "{} ({} to {})",
            force.bare(s.mid),
            force.bare(s.low),
            force.bare(s.high)
        )
    };
    let rows: Vec<Vec<String>> = forecast
        .drag
        .iter()
        .map(|d| {
            vec![
                format!("{:.0} % of the wall", 100.0 * d.wall_fraction),
                spread(&d.cutting_n),
                spread(&d.rolling_n),
                spread(&d.surface_up_n),
                spread(&d.down_n),
            ]
        })
        .collect();
    let head = [
        "Groove",
        &format!("Cutting at the tool, up, {}", force.unit),
        &format!("Rolling, up, {}", force.unit),
        &format!("Rise at surface, up, {}", force.unit),
        &format!("Drag at the tool, down, {}", force.unit),
    ];
    page.table(&head, &rows, |_| false);
    let first = &forecast.first;
    page.paragraph(
        "note",
        &format!(
            "Median, and 5 to 95 % in brackets. First stroke up: {} at surface, {} below the tension \
             limit; with {:.0} % probability beyond it. Next stroke down: {} left to drive the tool; \
             with {:.0} % probability it is too light.",
            spread(&first.up_n),
            spread(&first.margin_n),
            100.0 * first.over_limit_probability,
            spread(&first.down_reserve_n),
            100.0 * first.too_light_probability
        ),
    );
    line(&mut page, job, forecast, units);
    sweep(&mut page, forecast, units);
    page.heading("Assumed");
    page.list(&forecast.assumptions);
    page.finish()
}

/// One curve's value in a row.
type Pick = fn(&Weights) -> f64;

fn strokes_sentence(forecast: &Forecast) -> String {
    match (
        forecast.strokes.p50,
        forecast.strokes.p90,
        forecast.hours.p50,
        forecast.hours.p90,
    ) {
        (Some(a), Some(b), Some(c), Some(d)) => format!(
            "About {a:.0} strokes ({c:.1} hours) split all {} joints; with 90 % probability it takes \
             no more than {b:.0} strokes ({d:.1} hours).",
            forecast.joints.len()
        ),
        (Some(a), ..) => format!("About {a:.0} strokes, or it never comes through."),
        _ => "This cutter does not split this tubular.".into(),
    }
}

fn row(
    name: String,
    span: String,
    opens: Option<&Quantiles>,
    strokes: &Quantiles,
    hours: &Quantiles,
) -> Vec<String> {
    let show = |v: Option<f64>, decimals: usize| {
        v.map_or_else(|| "never".to_owned(), |v| format!("{v:.decimals$}"))
    };
    let range = |q: &Quantiles| {
        format!(
            "{} ({} to {})",
            show(q.p50, 0),
            show(q.p05, 0),
            show(q.p95, 0)
        )
    };
    vec![
        name,
        span,
        opens.map_or_else(String::new, range),
        range(strokes),
        show(strokes.p90, 0),
        show(hours.p50, 1),
        show(hours.p90, 1),
    ]
}

fn weights(page: &mut Page, forecast: &Forecast, units: Units) {
    let (depth, force, fine) = (units.depth(), units.force(), units.fine_depth());
    page.heading("Weights and margins by depth");
    let most = forecast
        .weights
        .iter()
        .map(|w| w.limit_n)
        .fold(1.0, f64::max);
    let deepest = forecast.weights.last().map_or(1.0, |w| w.depth_m);
    let mut chart = Chart::new(
        800.0,
        330.0,
        Axis::new(
            format!("line tension, {}", force.unit),
            0.0,
            1.06 * most * force.factor,
        ),
        Axis::new(
            format!("depth of the wheels, {}", depth.unit),
            deepest * depth.factor,
            0.0,
        ),
    );
    let series: [(&str, Pick); 4] = [
        ("main", |w| w.up_n),
        ("third", |w| w.static_n),
        ("second", |w| w.down_n),
        ("limit", |w| w.limit_n),
    ];
    let band = |low: Pick, high: Pick| -> Vec<(f64, f64, f64)> {
        let rows = forecast.weights.iter();
        rows.map(|w| {
            (
                w.depth_m * depth.factor,
                low(w) * force.factor,
                high(w) * force.factor,
            )
        })
        .collect()
    };
    chart.band(true, &band(|w| w.up_low_n, |w| w.up_high_n));
    chart.band(true, &band(|w| w.down_low_n, |w| w.down_high_n));
    for (class, value) in series {
        let points = forecast
            .weights
            .iter()
            .map(|w| (value(w) * force.factor, Some(w.depth_m * depth.factor)));
        chart.line(class, points);
    }
    let svg = chart.finish("Weights against depth");
    page.figure(
        &svg,
        "Line tension with the cutter in. Solid dark: pulling up. Solid grey: without friction. \
         Dashed: running in. Bands: 5 to 95 %. Dash-dot: tension limit.",
    );
    let rows: Vec<Vec<String>> = forecast
        .weights
        .iter()
        .map(|w| {
            vec![
                depth.bare(w.depth_m),
                format!(
                    "{} ({} to {})",
                    force.bare(w.up_n),
                    force.bare(w.up_low_n),
                    force.bare(w.up_high_n)
                ),
                force.bare(w.static_n),
                format!(
                    "{} ({} to {})",
                    force.bare(w.down_n),
                    force.bare(w.down_low_n),
                    force.bare(w.down_high_n)
                ),
                fine.bare(w.stretch_m),
                fine.bare(w.dead_band_m),
                force.bare(w.limit_n),
                w.limited_by.to_owned(),
                force.bare(w.overpull_margin_n),
                force.bare(w.pull_at_tool_n),
            ]
        })
        .collect();
    page.table(
        &[
            &format!("Depth, {}", depth.unit),
            &format!("Up (5 to 95 %), {}", force.unit),
            &format!("Static, {}", force.unit),
            &format!("Down (5 to 95 %), {}", force.unit),
            &format!("Stretch, {}", fine.unit),
            &format!("Dead band, {}", fine.unit),
            &format!("Limit, {}", force.unit),
            "Limited by",
            &format!("Margin over up, {}", force.unit),
            &format!("Pull left at the tool, {}", force.unit),
        ],
        &rows,
        |_| false,
    );
    page.paragraph(
        "note",
        "Up, static, down: line tension while pulling out, at rest without friction, running in; cutter \
         in. Dead band: line that moves at a reversal before the tool does, half-way through the cut. \
         Limit: highest line tension allowed there, and what sets it. Margin over up: limit less tension \
         while pulling out. Pull left at the tool: what of that margin reaches the tool.",
    );
}

fn line(page: &mut Page, job: &Job, forecast: &Forecast, units: Units) {
    let depth = units.depth();
    page.heading("Line bending");
    let Some(worst) = bends::worst(&forecast.line.sections) else {
        page.paragraph("", "The job names no sheaves: bending cannot be foreseen.");
        return;
    };
    let bends = forecast.line.bends_p50.map_or_else(String::new, |b| {
        format!(", {b:.0} times over the median job")
    });
    let cut = match forecast.line.strokes_to_cut_back {
        Some(n) => format!(
            "After {n:.0} strokes {:.0} % of the bending life given is used.",
            100.0 * job.alarm.line_life
        ),
        None => "No bending life is given for this wire, so bends are only counted.".to_owned(),
    };
    page.paragraph(
        "",
        &format!(
            "The section {} to {} above the rope socket is bent {} in each stroke{bends}. {cut}",
            depth.bare(worst.from_m),
            depth.show(worst.to_m),
            times(worst.bends_per_stroke)
        ),
    );
    if let (Some(fresh), Some(off)) = (forecast.line.cut_back_m, forecast.line.take_off_m) {
        page.paragraph(
            "",
            &format!(
                "Where to cut back: {} cut off at the rope socket bring fresh line over the sheaves for \
                 the rest of this interval, with the bent line below them in the hole; to be rid of it \
                 altogether, {} must come off.",
                depth.show(fresh),
                depth.show(off)
            ),
        );
    }
    let rows: Vec<Vec<String>> = forecast
        .line
        .sheaves
        .iter()
        .map(|s| {
            vec![
                s.name.clone(),
                format!("{:.0}", s.ratio),
                units.stress().bare(s.stress_pa),
                s.cycles.map_or_else(|| "-".into(), |n| format!("{n:.0}")),
            ]
        })
        .collect();
    let head = [
        "Sheave",
        "Sheave over wire diameter",
        &format!("Elastic bending stress, {}", units.stress().unit),
        "Cycles to failure",
    ];
    page.table(&head, &rows, |_| false);
}

fn sweep(page: &mut Page, forecast: &Forecast, units: Units) {
    let (force, wire) = (units.force(), units.diameter());
    page.heading("Choice of tool string");
    page.paragraph(
        "before",
        &format!(
            "Median and, in brackets, what it takes at most with 90 % probability. First drag: at the tool, \
             first stroke. Margin: tension limit less surface tension on the first stroke up, {}, for each \
             line size. Too light: probability that the tool does not go down after it. The row of this job \
             stands out; the limit named is that of its line.",
            force.unit
        ),
    );
    let lines = forecast.line_sizes_m();
    let own_line = forecast
        .sweep
        .iter()
        .find(|c| c.of_the_job)
        .map(|c| c.line_m);
    let groups: Vec<&[Choice]> = forecast.sweep.chunks(lines.len().max(1)).collect();
    let show = |v: Option<f64>, decimals: usize| {
        v.map_or_else(|| "never".to_owned(), |v| format!("{v:.decimals$}"))
    };
    let rows: Vec<Vec<String>> = groups
        .iter()
        .filter_map(|group| {
            let c = group.first()?;
            let mut row = vec![
                c.wheels.to_string(),
                force.bare(c.radial_force_n),
                format!("{} ({})", show(c.strokes.p50, 0), show(c.strokes.p90, 0)),
                format!("{} ({})", show(c.hours.p50, 1), show(c.hours.p90, 1)),
                force.bare(c.first_drag_n),
                format!("{:.0} %", 100.0 * c.too_light_probability),
            ];
            row.extend(group.iter().map(|c| force.bare(c.margin_n)));
            let own = group
                .iter()
                .find(|c| Some(c.line_m) == own_line)
                .unwrap_or(c);
            row.push(own.limit.word().to_owned());
            Some(row)
        })
        .collect();
    let mut head: Vec<String> = vec![
        "Wheels".into(),
        format!("Radial force, {}", force.unit),
        "Strokes (90 %)".into(),
        "Hours (90 %)".into(),
        format!("First drag, {}", force.unit),
        "Too light".into(),
    ];
    head.extend(
        lines
            .iter()
            .map(|d| format!("Margin, {}, {} line", force.unit, wire.show(*d))),
    );
    head.push("Limited by".into());
    let head: Vec<&str> = head.iter().map(String::as_str).collect();
    page.table(&head, &rows, |i| groups[i].iter().any(|c| c.of_the_job));
}

/// "3 times", "once"
fn times(n: impl std::fmt::Display) -> String {
    match n.to_string().as_str() {
        "1" => "once".to_owned(),
        n => format!("{n} times"),
    }
}
