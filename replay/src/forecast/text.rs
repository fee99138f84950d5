//! The forecast in words and tables of 80 columns.

use super::cut::Quantiles;
use super::sweep::words;
use super::{Forecast, Limit};
use crate::units_shown::{Units, duration, times};
use kerfwatch::job::Job;
use std::fmt::Write as _;

/// Strokes as a range for people: median and 90 %.
pub(super) fn range(q: &Quantiles) -> String {
    match (q.p50, q.p90) {
        (Some(a), Some(b)) => format!("{a:.0}, at most {b:.0} with 90 %"),
        (Some(a), None) => format!("{a:.0}, or never"),
        _ => "never".to_owned(),
    }
}

fn cell(value: Option<f64>, decimals: usize) -> String {
    value.map_or_else(|| "never".to_owned(), |v| format!("{v:.decimals$}"))
}

/// Probability from which a danger is named although it is not the likely course.
const WORTH_NAMING: f64 = 0.05;

/// How the lines of the sweep are compared where the job gives a limit.
pub(crate) const GIVEN_LIMIT_SHARED: &str = "The limit that the job gives is that of its own line: the others are held to the \
                                             same share of their breaking load.";

/// What limits, in a sentence or two, each limit with its own cure.
pub(crate) fn limit_sentence(forecast: &Forecast, units: Units) -> String {
    let force = units.force();
    let first = &forecast.first;
    let (margin, reserve) = (&first.margin_n, &first.down_reserve_n);
    let span =
        |s: &super::cut::Spread| format!("90 %: {} to {}", force.bare(s.low), force.show(s.high));
    let dangers = dangers(forecast);
    if forecast.limits.is_empty() {
        let main = format!(
            "{} limits this tool string: on the first stroke {} ({}) are left below the tension \
             limit going up, and {} ({}) drive the tool down afterwards.",
            if dangers.is_empty() {
                "Nothing"
            } else {
                "Most likely nothing"
            },
            force.show(margin.mid),
            span(margin),
            force.show(reserve.mid),
            span(reserve)
        );
        return main + &dangers;
    }
    let one = |limit: &Limit| match limit {
        Limit::None => String::new(),
        Limit::Reach => "The wheels do not reach through the wall: this cutter cannot split this \
                         tubular."
            .to_owned(),
        Limit::Line | Limit::WeakPoint => format!(
            "The {} limits: the first stroke up would pull {} above the tension limit. Start with \
             less radial force, fewer wheels or {}.",
            limit.word(),
            force.show(-margin.mid),
            stronger(*limit)
        ),
        Limit::GoingDown => format!(
            "Tool weight limits{}: after the first stroke up the tool lacks {} ({}) to go down again{}",
            match forecast.limit {
                Limit::GoingDown => "",
                _ => " too",
            },
            force.show(-reserve.mid),
            format_args!(
                "90 %: {} to {}",
                force.bare(-reserve.high),
                force.show(-reserve.low)
            ),
            match forecast.limit {
                Limit::Line | Limit::WeakPoint => format!(
                    ", which {} does not cure: less radial force or fewer wheels cure both, more weight pulls the line \
                     harder.",
                    stronger(forecast.limit)
                ),
                _ => ". Add weight, or start with less radial force.".to_owned(),
            }
        ),
    };
    let all: Vec<String> = forecast.limits.iter().map(one).collect();
    all.join(" ") + &dangers
}

/// What stands more tension than that which limits.
fn stronger(limit: Limit) -> &'static str {
    match limit {
        Limit::WeakPoint => "a stronger weak point",
        _ => "another line",
    }
}

/// What may limit a tool string besides what most likely does.
fn dangers(forecast: &Forecast) -> String {
    let first = &forecast.first;
    let over = "the first stroke up goes beyond the tension limit";
    let light = "the tool is too light to go down after the first stroke up";
    let named: Vec<String> = [
        (first.over_limit_probability, over),
        (first.too_light_probability, light),
    ]
    .into_iter()
    .filter(|(p, _)| (WORTH_NAMING..=0.5).contains(p))
    .map(|(p, what)| format!("with {:.0} % probability {what}", 100.0 * p))
    .collect();
    let but = match forecast.limits.is_empty() {
        true => "But",
        false => "And",
    };
    match named.is_empty() {
        true => String::new(),
        false => format!(" {but} {}.", named.join(", and ")),
    }
}

pub(super) fn text(job: &Job, forecast: &Forecast, units: Units, sweep: bool) -> String {
    let mut text = String::new();
    let depth = units.depth();
    let _ = writeln!(
        text,
        "Forecast    {}   well {}",
        forecast.job, forecast.well
    );
    let _ = writeln!(
        text,
        "Interval    {} to {}, {} joints",
        depth.bare(forecast.interval_m.0),
        depth.show(forecast.interval_m.1),
        forecast.joints.len()
    );
    let _ = writeln!(
        text,
        "Stroke      {} at {}",
        duration(forecast.stroke_s),
        units.speed().show(forecast.speed_m_s)
    );
    let _ = writeln!(
        text,
        "Strokes     {} until all is split",
        range(&forecast.strokes)
    );
    if let (Some(a), Some(b)) = (forecast.hours.p50, forecast.hours.p90) {
        let _ = writeln!(text, "Hours       {a:.1}, at most {b:.1} with 90 %");
    }
    let _ = writeln!(text, "Limit       {}\n", limit_sentence(forecast, units));
    weights(&mut text, forecast, units);
    joints(&mut text, forecast, units);
    drag(&mut text, forecast, units);
    line(&mut text, job, forecast, units);
    if sweep {
        sweep_table(&mut text, job, forecast, units);
    }
    text.push_str("\nAssumed\n");
    for assumption in &forecast.assumptions {
        let _ = writeln!(text, "  {assumption}");
    }
    text
}

fn weights(text: &mut String, forecast: &Forecast, units: Units) {
    let (depth, force) = (units.depth(), units.force());
    let _ = writeln!(
        text,
        "{:>7} {:>16} {:>7} {:>16} {:>7} {:>9} {:>6} {:>6} {:<10}",
        format!("at {}", depth.unit),
        format!("up {} (90 %)", force.unit),
        "static",
        "down (90 %)",
        "stretch",
        "dead band",
        "limit",
        "margin",
        "by"
    );
    for w in &forecast.weights {
        let _ = writeln!(
            text,
            "{:>7} {:>16} {:>7} {:>16} {:>7} {:>9} {:>6} {:>6} {:<10}",
            depth.bare(w.depth_m),
            format!(
                "{} ({}-{})",
                force.bare(w.up_n),
                force.bare(w.up_low_n),
                force.bare(w.up_high_n)
            ),
            force.bare(w.static_n),
            format!(
                "{} ({}-{})",
                force.bare(w.down_n),
                force.bare(w.down_low_n),
                force.bare(w.down_high_n)
            ),
            units.fine_depth().bare(w.stretch_m),
            units.fine_depth().bare(w.dead_band_m),
            force.bare(w.limit_n),
            force.bare(w.overpull_margin_n),
            w.limited_by
        );
    }
}

fn joints(text: &mut String, forecast: &Forecast, units: Units) {
    let depth = units.depth();
    let _ = writeln!(
        text,
        "\n{:>5} {:>19} {:>9} {:>9} {:>9} {:>9} {:>9}",
        "joint",
        format!("depth {}", depth.unit),
        "opens",
        "split",
        "90 %",
        "hours",
        "90 %"
    );
    for (i, j) in forecast.joints.iter().enumerate() {
        let _ = writeln!(
            text,
            "{:>5} {:>19} {:>9} {:>9} {:>9} {:>9} {:>9}",
            i + 1,
            format!("{}-{}", depth.bare(j.top_m), depth.bare(j.bottom_m)),
            cell(j.opens.p50, 0),
            cell(j.strokes.p50, 0),
            cell(j.strokes.p90, 0),
            cell(j.hours.p50, 1),
            cell(j.hours.p90, 1)
        );
    }
}

fn drag(text: &mut String, forecast: &Forecast, units: Units) {
    let force = units.force();
    let spread = |s: &super::cut::Spread| {
        format!(
            "{} ({}-{})",
            force.bare(s.mid),
            force.bare(s.low),
            force.bare(s.high)
        )
    };
    let _ = writeln!(
        text,
        "\n{:>12} {:>18} {:>8} {:>18} {:>18}",
        "groove/wall",
        format!("cutting {} (90 %)", force.unit),
        "rolling",
        "at surface, up",
        "drag down"
    );
    for d in &forecast.drag {
        let _ = writeln!(
            text,
            "{:>10.0} % {:>18} {:>8} {:>18} {:>18}",
            100.0 * d.wall_fraction,
            spread(&d.cutting_n),
            force.bare(d.rolling_n.mid),
            spread(&d.surface_up_n),
            spread(&d.down_n)
        );
    }
}

fn line(text: &mut String, job: &Job, forecast: &Forecast, units: Units) {
    let line = &forecast.line;
    let Some(worst) = super::bends::worst(&line.sections) else {
        text.push_str("\nLine        no sheaves in the job: bending is not counted\n");
        return;
    };
    let depth = units.depth();
    let _ = writeln!(
        text,
        "\nLine        {} to {} above the rope socket is bent {} a stroke",
        depth.bare(worst.from_m),
        depth.show(worst.to_m),
        times(worst.bends_per_stroke)
    );
    match line.strokes_to_cut_back {
        Some(strokes) => {
            let _ = writeln!(
                text,
                "            {:.0} % of its bending life is used after {strokes:.0} strokes",
                100.0 * job.alarm.line_life
            );
        }
        None => text.push_str("            no bending life given: bends are only counted\n"),
    }
    if let (Some(fresh), Some(off)) = (line.cut_back_m, line.take_off_m) {
        let _ = writeln!(
            text,
            "            cut back {} and strokes here bend line that they have not bent; {} to be rid of\n            \
             all bent line: a proposal, the rules of the line's owner apply",
            depth.show(fresh),
            depth.show(off)
        );
    }
    for sheave in &line.sheaves {
        let _ = writeln!(
            text,
            "  {:<18} D/d {:>5.0}   elastic bending stress {:>5}; with tension {} up, {} down",
            sheave.name,
            sheave.ratio,
            units.stress().show(sheave.stress_pa),
            units.stress().bare(sheave.stress_up_pa),
            units.stress().bare(sheave.stress_down_pa)
        );
    }
}

fn sweep_table(text: &mut String, job: &Job, forecast: &Forecast, units: Units) {
    let (force, wire) = (units.force(), units.diameter());
    let lines = forecast.line_sizes_m();
    let _ = writeln!(
        text,
        "\nChoice of tool string, forces in {}; margin below the limit by line size in {}",
        force.unit, wire.unit
    );
    let own_line = forecast
        .sweep
        .iter()
        .find(|c| c.of_the_job)
        .map(|c| c.line_m);
    let sizes: String = lines
        .iter()
        .map(|d| format!(" {:>7}", wire.bare(*d)))
        .collect();
    let _ = writeln!(
        text,
        "{:>6} {:>7} {:>8} {:>7} {:>6} {:>7}{sizes}  limit",
        "wheels", "force", "strokes", "90 %", "hours", "light"
    );
    for group in forecast.sweep.chunks(lines.len().max(1)) {
        let Some(c) = group.first() else { continue };
        let margins: String = group
            .iter()
            .map(|c| format!(" {:>7}", force.bare(c.margin_n)))
            .collect();
        let of_own_line = group.iter().find(|c| Some(c.line_m) == own_line);
        let limits = words(&of_own_line.unwrap_or(c).limits);
        let own = if group.iter().any(|c| c.of_the_job) {
            " *"
        } else {
            ""
        };
        let _ = writeln!(
            text,
            "{:>6} {:>7} {:>8} {:>7} {:>6} {:>5.0} %{margins}  {}{own}",
            c.wheels,
            force.bare(c.radial_force_n),
            cell(c.strokes.p50, 0),
            cell(c.strokes.p90, 0),
            cell(c.hours.p50, 1),
            100.0 * c.too_light_probability,
            limits
        );
    }
    text.push_str(
        "light: probability that the tool is too light to go down after the first stroke up\n\
         * this job; the limit named is that of its line\n",
    );
    if job.alarm.tension_limit.is_some() {
        let _ = writeln!(text, "{GIVEN_LIMIT_SHARED}");
    }
}
