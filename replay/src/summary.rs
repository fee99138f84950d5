//! A result in words and small tables that fit a terminal of 80 columns.

use crate::hardly_reached::hardly_reached_sentences;
use crate::units_shown::{Units, clock, count, counted, duration};
use crate::wrapped::sentence;
use kerfwatch::groove::ledger::BEYOND_M;
use kerfwatch::job::Job;
use kerfwatch::pipeline::Pipeline;
use kerfwatch::result::{Direction, RunResult, State, in_interval};
use kerfwatch::snapshot::MarkDoubt;
use std::fmt::Write as _;

mod alarms;
mod data;
mod held;
mod joints;
mod split_length;
pub use held::held_lines;
pub use joints::*;
pub use split_length::*;

/// Seconds spent in each state, in the order of [`STATES`].
pub const STATES: [State; 6] = [
    State::Cutting,
    State::Free,
    State::Still,
    State::Stalled,
    State::Slack,
    State::Unknown,
];

/// What is said where the words of the crew's marks are the other way round.
pub const MARKS_TURNED: &str = "the marks cutter_out and cutter_in are taken the other way round: drag rose after \"in\" \
                                as it does when wheels go into the wall. Out means wheels out, cutting";

/// What the crew can do about marks that are not taken as they were set.
pub const CORRECT_MARKS: &str = "Where that is wrong, correct the marks: import the readings again with a table of marks \
                                 (import --marks; times in seconds from the start of the run).";

/// Time in a state, s.
pub fn time_in(result: &RunResult, state: State) -> f64 {
    result
        .intervals
        .iter()
        .filter(|i| i.state == state)
        .map(|i| i.end_s - i.start_s)
        .sum()
}

/// Number of intervals in a state.
pub fn times_in(result: &RunResult, state: State) -> usize {
    result.intervals.iter().filter(|i| i.state == state).count()
}

/// Mean groove depth of the interval, mm, couplings left out; `None` where there is no bin.
pub fn mean_depth_mm(result: &RunResult) -> Option<f64> {
    let (sum, bins) = tube_bins(result).fold((0.0, 0_u32), |(sum, bins), bin| {
        (sum + bin.depth_mm, bins + 1)
    });
    (bins > 0).then(|| sum / f64::from(bins))
}

/// Groove told beyond the interval: the spans above and below it, m; empty ones where the wheels kept to it.
pub fn spans_beyond(result: &RunResult) -> Option<[(f64, f64); 2]> {
    let inside = in_interval(&result.groove, &result.joints);
    Some([
        (result.groove.first()?.top_m, inside.first()?.top_m),
        (inside.last()?.bottom_m, result.groove.last()?.bottom_m),
    ])
}

/// What the wheels went over beyond the interval, in words; `None` when they kept to it.
pub fn beyond_interval(result: &RunResult, units: Units) -> Option<String> {
    let [above, below] = spans_beyond(result)?.map(|(top, bottom)| bottom - top);
    let words = |length: f64| {
        let more = if length > BEYOND_M - 1e-6 {
            " or more"
        } else {
            ""
        };
        format!("{}{more}", units.depth().show(length))
    };
    let far = above.max(below) > 1e-6;
    far.then(|| format!("{} above and {} below", words(above), words(below)))
}

/// Said where nobody marked the cutter and something was cut.
pub(crate) const NO_MARKS: &str =
    "none of the cutter: when it was out is inferred from the drag alone, which is less sure";

/// Marks of the cutter, and which are not taken as they were set.
#[derive(Debug, Clone, PartialEq)]
pub struct MarksRead {
    /// Something was cut, and no mark says when the cutter was out.
    pub none: bool,
    /// Out and in are taken the other way round.
    pub turned: bool,
    /// Single ones.
    pub doubts: Vec<MarkDoubt>,
}

impl MarksRead {
    /// As the whole run reads them.
    pub fn of(pipeline: &Pipeline) -> Self {
        Self {
            none: pipeline.cuts_unmarked(),
            turned: pipeline.marks_turned(),
            doubts: pipeline.mark_doubts(),
        }
    }
}

/// The whole summary; `missing`: files of the recording that are gone.
pub fn summary(
    job: &Job,
    result: &RunResult,
    missing: &[String],
    marks: &MarksRead,
    units: Units,
) -> String {
    let mut text = String::new();
    let info = &result.run;
    let _ = writeln!(text, "Run {}  {}", info.id, info.name);
    let _ = writeln!(
        text,
        "Well {}   {} of record   {} readings\n",
        job.info.well,
        duration(info.duration_s),
        count(info.samples)
    );
    strokes_and_states(&mut text, result, units);
    groove(&mut text, result, units);
    joints(&mut text, result, units);
    alarms::alarms(&mut text, result, units);
    line(&mut text, result, units);
    data::data(&mut text, result, missing, marks);
    text
}

fn strokes_and_states(text: &mut String, result: &RunResult, units: Units) {
    let strokes = &result.strokes;
    let up = strokes
        .iter()
        .filter(|s| s.direction == Direction::Up)
        .count();
    let _ = writeln!(
        text,
        "Strokes     {} ({up} up, {} down)",
        strokes.len(),
        strokes.len() - up
    );
    let work: f64 = strokes.iter().map(|s| s.cut_work_j).sum();
    let _ = writeln!(
        text,
        "Cutting     {}   work {}",
        duration(time_in(result, State::Cutting)),
        units.work().show(work)
    );
    for state in &STATES[1..] {
        let (time, times) = (time_in(result, *state), times_in(result, *state));
        if times > 0 && *state != State::Stalled && *state != State::Slack {
            let name = state.word();
            let _ = writeln!(text, "{:<11} {}", capital(name), duration(time));
        }
    }
    for (name, state) in [("Stalls", State::Stalled), ("Slack", State::Slack)] {
        let times = times_in(result, state);
        let _ = if times == 0 {
            writeln!(text, "{name:<11} none")
        } else {
            let time = duration(time_in(result, state));
            writeln!(text, "{name:<11} {times}   {time} in all")
        };
    }
    for line in held_lines(result, units) {
        let _ = writeln!(text, "            {line}");
    }
}

fn groove(text: &mut String, result: &RunResult, units: Units) {
    let split = split_length(result);
    if split.whole > 0.0 {
        let depth = units.depth();
        let _ = writeln!(
            text,
            "Split       {} to be expected of {} ({:.0} %), couplings left out: {} surely, {} in doubt",
            depth.show(split.expected),
            depth.show(split.whole),
            100.0 * split.expected / split.whole,
            depth.show(split.sure),
            depth.show(split.doubtful)
        );
    }
    if let Some(beyond) = beyond_interval(result, units) {
        let _ = writeln!(text, "Beyond      {beyond} the interval");
    }
}

fn joints(text: &mut String, result: &RunResult, units: Units) {
    if result.joints.is_empty() {
        return;
    }
    let (depth, mm) = (units.depth(), units.groove());
    let _ = writeln!(
        text,
        "\n{:>4} {:>17} {:>7} {:>9} {:>9} {:>15} {:>20}",
        "joint",
        format!("depth {}", depth.unit),
        "split",
        format!("mean {}", mm.unit),
        format!("least {}", mm.unit),
        "90 % of least",
        "strokes left"
    );
    for (i, joint) in result.joints.iter().enumerate() {
        let span = format!("{}-{}", depth.bare(joint.top_m), depth.bare(joint.bottom_m));
        let split = format!("{:.0} %", 100.0 * joint.split_fraction);
        let (mean, least, interval) = match joint_groove(result, joint) {
            Some(g) => (
                mm.bare(g.mean_mm),
                mm.bare(g.least_mm),
                format!("{}-{}", mm.bare(g.least_low_mm), mm.bare(g.least_high_mm)),
            ),
            None => ("-".into(), "-".into(), "-".into()),
        };
        let left = strokes_left(result, joint);
        let _ = writeln!(
            text,
            "{:>4}  {span:>17} {split:>7} {mean:>9} {least:>9} {interval:>15} {left:>20}",
            i + 1
        );
    }
    if let Some(bin) = result.groove.iter().find(|b| !b.coupling) {
        let _ = writeln!(text, "wall {} nominal", mm.show(bin.wall_mm));
    }
    let _ = writeln!(
        text,
        "split: each place counts by its probability; surely: 90 % and more; in doubt: 10 to 90 %"
    );
    let _ = writeln!(
        text,
        "strokes left: until the last place of a joint is split, even chance to 90 %"
    );
    for told in hardly_reached_sentences(result, units) {
        let _ = writeln!(text, "{}", sentence(&told));
    }
}

fn line(text: &mut String, result: &RunResult, units: Units) {
    if let Some(worst) = result.line_wear.iter().max_by_key(|w| w.bends) {
        let life = worst.life_used.map_or(String::new(), |u| {
            format!(", {:.0} % of bending life used", 100.0 * u)
        });
        let depth = units.depth();
        let _ = writeln!(
            text,
            "\nLine        most bent {} to {} above the rope socket: {}{life}",
            depth.bare(worst.from_m),
            depth.show(worst.to_m),
            counted(worst.bends as usize, "bend", "bends")
        );
    }
    let friction = &result.friction;
    let _ = writeln!(
        text,
        "Friction    {:.3} up, {:.3} down",
        friction.up, friction.down
    );
    let _ = writeln!(text, "Slip        {}", slip_of_counter(result, units));
    if let Some(leaps) = leaps_of_counter(result, units) {
        let _ = writeln!(text, "Counter     leapt and was taken back: {leaps}");
    }
}

/// A mark that is not taken as it was set, with its time.
pub(crate) fn mark_in_doubt(doubt: &MarkDoubt) -> String {
    format!("{}: {}", clock(doubt.mark_s), doubt.message)
}

/// What couplings say about the depth counter.
pub(crate) fn slip_of_counter(result: &RunResult, units: Units) -> String {
    let check = &result.depth_check;
    match (check.couplings, check.slip_m) {
        (0, 0.0) => "not to be told: no coupling shows clearly in the drag".to_owned(),
        (1, 0.0) => "none: the one coupling that shows in the drag stays where it is".to_owned(),
        (n, 0.0) => format!("none: {n} of the couplings show in the drag and stay where they are"),
        (_, slip) => format!(
            "{} taken out over the run, as the places of couplings in the drag show it",
            units.depth().show(slip)
        ),
    }
}

/// Leaps of the depth counter with time and size, the first of many; `None` where there was none.
pub(crate) fn leaps_of_counter(result: &RunResult, units: Units) -> Option<String> {
    const SHOWN: usize = 6;
    let leaps = &result.quality.leaps;
    let depth = units.fine_depth();
    let shown = leaps.iter().take(SHOWN).map(|leap| {
        let sign = if leap.by_m < 0.0 { "" } else { "+" };
        format!("{sign}{} at {}", depth.show(leap.by_m), clock(leap.at_s))
    });
    let more = if result.quality.counter_leaps > leaps.len().min(SHOWN) as u64 {
        ", ..."
    } else {
        ""
    };
    (!leaps.is_empty()).then(|| shown.collect::<Vec<_>>().join(", ") + more)
}

pub(crate) fn capital(word: &str) -> String {
    let mut letters = word.chars();
    letters
        .next()
        .map_or(String::new(), |c| c.to_uppercase().chain(letters).collect())
}
