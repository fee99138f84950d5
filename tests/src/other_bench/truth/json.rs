//! `truth.json`: the same form as the first bench well writes, so that the scoreboard reads either.

use super::states::Spell;
use super::strokes::Stroke;
use super::{Keeper, states, strokes};
use crate::other_bench::run::Outcome;
use crate::other_bench::well::Well;
use std::fmt::{self, Write};

/// Moments between two depths of the tool that are written.
const TRACK_EVERY: usize = 20;

/// The truth of a run.
pub fn write(well: &Well, outcome: &Outcome) -> Result<String, fmt::Error> {
    let mut out = String::new();
    writeln!(
        out,
        "{{\"format\":1,\"run\":{{\"id\":\"truth\",\"name\":\"other {}\",\"duration_s\":{:.3},\"samples\":{}}},",
        well.seed, outcome.duration, outcome.rows
    )?;
    let keeper = &outcome.keeper;
    list(
        &mut out,
        "strokes",
        ",\n",
        numbered(strokes::strokes(&keeper.moments)),
        stroke,
    )?;
    out += ",\n";
    let spells = states::spells(&keeper.moments, outcome.duration, outcome.tool_weight);
    list(&mut out, "intervals", ",\n", spells, spell)?;
    out += ",\n";
    let bins = 0..outcome.groove.pipe.bins();
    list(&mut out, "groove", ",\n", bins, |out, number| {
        bin(out, well, outcome, number)
    })?;
    out += ",\n";
    list(
        &mut out,
        "groove_history",
        ",\n",
        &keeper.history,
        |out, at| {
            let depths = numbers(at.depth_mm.iter(), |x| format!("{x:.3}"));
            let split = numbers(at.split.iter(), |x| format!("{x:.2}"));
            let time = at.time;
            write!(
                out,
                "{{\"time_s\":{time:.2},\"depth_mm\":[{depths}],\"split\":[{split}]}}"
            )
        },
    )?;
    out += ",\n";
    list(&mut out, "alarms", ",", &keeper.overpulls, |out, pull| {
        let cleared = pull.cleared.map_or("null".into(), |s| format!("{s:.3}"));
        let (raised, peak) = (pull.raised, pull.peak);
        write!(
            out,
            "{{\"raised_s\":{raised:.3},\"cleared_s\":{cleared},\"peak_n\":{peak:.1}}}"
        )
    })?;
    let track = track(keeper);
    writeln!(
        out,
        ",\n\"tool\":{{\"every_s\":1.0,\"depth_m\":[{track}]}}}}"
    )?;
    Ok(out)
}

/// `"name":[...]`, one entry written by `each`.
fn list<T>(
    out: &mut String,
    name: &str,
    between: &str,
    entries: impl IntoIterator<Item = T>,
    mut each: impl FnMut(&mut String, T) -> fmt::Result,
) -> fmt::Result {
    write!(out, "\"{name}\":[")?;
    for (i, entry) in entries.into_iter().enumerate() {
        if i > 0 {
            out.push_str(between);
        }
        each(out, entry)?;
    }
    out.push(']');
    Ok(())
}

fn numbered(strokes: Vec<Stroke>) -> impl Iterator<Item = (usize, Stroke)> {
    (1..).zip(strokes)
}

fn numbers<T>(values: impl Iterator<Item = T>, form: impl Fn(T) -> String) -> String {
    values.map(form).collect::<Vec<_>>().join(",")
}

fn track(keeper: &Keeper) -> String {
    let every = keeper.moments.iter().step_by(TRACK_EVERY);
    numbers(every, |moment| format!("{:.3}", moment.tool))
}

fn stroke(out: &mut String, (number, stroke): (usize, Stroke)) -> fmt::Result {
    let direction = if stroke.up { "up" } else { "down" };
    write!(
        out,
        "{{\"n\":{number},\"direction\":\"{direction}\",\"start_s\":{:.3},\"end_s\":{:.3},\"tool_travel_m\":{:.4},\"cut_work_j\":{:.1}}}",
        stroke.start, stroke.end, stroke.travel, stroke.work
    )
}

fn spell(out: &mut String, spell: Spell) -> fmt::Result {
    let (state, start, end) = (spell.state.name(), spell.start, spell.end);
    write!(
        out,
        "{{\"state\":\"{state}\",\"start_s\":{start:.2},\"end_s\":{end:.2}}}"
    )
}

/// A bin is through when half of it is.
fn bin(out: &mut String, well: &Well, outcome: &Outcome, number: usize) -> fmt::Result {
    let pipe = &outcome.groove.pipe;
    let cells = pipe.cells_of(number);
    let bin = pipe.bin(number);
    let through = !bin.coupling && bin.split >= 0.5;
    let depth = if through { bin.wall_mm } else { bin.depth_mm };
    let first = cells
        .iter()
        .filter_map(|cell| cell.split_at)
        .reduce(f64::min);
    let first = first.map_or("null".into(), |time| format!("{time:.2}"));
    let passes = cells.iter().map(|cell| f64::from(cell.passes)).sum::<f64>() / cells.len() as f64;
    write!(
        out,
        "{{\"top_m\":{:.1},\"bottom_m\":{:.1},\"depth_mm\":{depth:.4},\"wall_mm\":{:.4},\"through\":{through},\"first_through_s\":{first},\"split\":{:.2},\"coupling\":{},\"passes\":{}}}",
        well.hole.top + 0.1 * number as f64,
        well.hole.top + 0.1 * (number + 1) as f64,
        bin.wall_mm,
        bin.split,
        bin.coupling,
        (passes / well.cutter.wheels as f64).round()
    )
}
