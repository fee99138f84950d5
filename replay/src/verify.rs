//! `verify`: is the recording whole, and if not, where not?

pub use crate::args::VerifyArgs as Args;
use crate::console::Console;
use crate::failure::{Exit, Failure, Finding};
use crate::run_folder::record_failure;
use crate::units_shown::{clock, count, duration};
use crate::wrapped::labelled;
use kerfwatch::recording::{DigestState, RunReader, Verification};
use kerfwatch::time::{nanos, seconds};
use serde_json::json;
use std::fmt::Write as _;

/// Why the count is another than that of `recompute` and the report, for those who lay both side by side.
const FROM_INSTRUMENTS: &str = "counted as they arrived: a piece of what an instrument sent, whole lines or parts of them, or a \
     reading of an imported table. One piece may hold several readings, or none: `recompute` and `report` cut them into \
     readings and count those they used, so that their number is another";

/// Runs it.
///
/// # Errors
/// Not a run folder.
pub fn run(args: &Args, console: &mut Console<'_>) -> Result<Exit, Failure> {
    let silence = nanos(args.silence)
        .filter(|silence| *silence >= 0)
        .ok_or_else(|| {
            Finding::new(
                "--silence",
                "it is no length of time",
                "give seconds, e.g. --silence 2",
            )
        })?;
    let mut reader = RunReader::open(&args.run).map_err(|e| record_failure(&args.run, &e))?;
    let head_fault = reader.head().err().map(str::to_owned);
    let id = reader
        .head()
        .map_or_else(|_| String::new(), |h| h.run_id.clone());
    let bar = console.progress(0, "reading");
    let found = reader.verify(silence);
    bar.finish_and_clear();
    if args.json {
        let text = serde_json::to_string_pretty(&as_json(&id, head_fault.as_deref(), &found))
            .map_err(|e| Failure::write("JSON", e.into()))?;
        console.line(text)?;
    } else {
        console.data(as_text(&id, head_fault.as_deref(), &found).as_bytes())?;
    }
    Ok(if found.is_whole() && head_fault.is_none() {
        Exit::Well
    } else {
        Exit::Damaged
    })
}

/// What keeps the run from being whole, in words.
fn faults(head_fault: Option<&str>, v: &Verification) -> Vec<String> {
    let mut faults = Vec::new();
    if head_fault.is_some() {
        faults.push("run.toml cannot be read".to_owned());
    }
    for (name, state) in v.wrong_files() {
        faults.push(format!("{name} {}", digest_word(state)));
    }
    let losses = v.damage.iter().filter(|d| d.kind.is_loss()).count();
    match losses {
        0 => {}
        1 => faults.push("1 place damaged".to_owned()),
        n => faults.push(format!("{n} places damaged")),
    }
    faults
}

fn digest_word(state: DigestState) -> &'static str {
    match state {
        DigestState::Right => "right",
        DigestState::Changed => "changed",
        DigestState::Missing => "missing",
        DigestState::Added => "added later",
    }
}

fn as_text(id: &str, head_fault: Option<&str>, v: &Verification) -> String {
    let mut text = String::new();
    let _ = match head_fault {
        None => writeln!(text, "Run         {id}"),
        Some(fault) => writeln!(text, "Run         run.toml cannot be read: {fault}"),
    };
    let _ = writeln!(
        text,
        "Segments    {} ({} packed), {} bytes",
        v.segments,
        v.packed_segments,
        count(v.bytes)
    );
    let _ = writeln!(
        text,
        "Blocks      {} whole, {} others",
        count(v.blocks),
        v.other_blocks
    );
    let _ = writeln!(
        text,
        "Inputs      {} recorded, of these {} from the instruments; {} decisions",
        count(v.inputs),
        count(v.samples),
        count(v.derived)
    );
    if v.samples > 0 {
        let _ = writeln!(text, "{}", labelled("", FROM_INSTRUMENTS));
    }
    if v.derived_missing > 0 {
        let _ = writeln!(
            text,
            "Missing     {} decisions, which a full disk takes first; `recompute` works them out again",
            count(v.derived_missing)
        );
    }
    if v.samples > 0 {
        let _ = writeln!(
            text,
            "Size        {:.2} bytes of file for each of these",
            v.bytes as f64 / v.samples as f64
        );
    }
    if let Some((first, last)) = v.span {
        let length = seconds(last.saturating_sub(first));
        let _ = writeln!(text, "Span        {} ({length:.3} s)", duration(length));
    }
    for anchor in v.anchors.iter().filter(|a| a.unix_ns != 0) {
        let utc = jiff::Timestamp::from_nanosecond(i128::from(anchor.unix_ns))
            .map_or_else(|_| "?".to_owned(), |t| t.to_string());
        let _ = writeln!(text, "Clock       {:.3} s is {utc}", seconds(anchor.at));
    }
    match v.without_readings.as_slice() {
        [] => text.push_str("Silences    none of both instruments\n"),
        silences => {
            let _ = writeln!(text, "Silences    {} of both instruments", silences.len());
            for (start, length) in silences.iter().take(20) {
                let _ = writeln!(
                    text,
                    "  at {} for {}",
                    clock(seconds(*start)),
                    duration(seconds(*length))
                );
            }
        }
    }
    match &v.digests {
        None => text.push_str("Digests     none: the run was not finished\n"),
        Some(files) => {
            let right = files
                .iter()
                .filter(|(_, s)| *s == DigestState::Right)
                .count();
            let _ = writeln!(
                text,
                "Digests     {right} of {} files as sealed",
                files.len()
            );
            for (name, state) in files.iter().filter(|(_, s)| *s != DigestState::Right) {
                let _ = writeln!(text, "  {name}: {}", digest_word(*state));
            }
        }
    }
    match v.damage.as_slice() {
        [] => text.push_str("Damage      none\n"),
        damage => {
            let _ = writeln!(text, "Damage      {}", damage.len());
            for piece in damage {
                let _ = writeln!(text, "  {piece}");
            }
        }
    }
    let faults = faults(head_fault, v);
    let _ = match faults.as_slice() {
        [] if v.digests.is_none() => writeln!(
            text,
            "Whole       yes, as far as a run can tell that was not finished"
        ),
        [] => writeln!(text, "Whole       yes"),
        faults => writeln!(text, "Whole       no: {}", faults.join(", ")),
    };
    text
}

fn as_json(id: &str, head_fault: Option<&str>, v: &Verification) -> serde_json::Value {
    let damage: Vec<_> = v
        .damage
        .iter()
        .map(|d| {
            json!({"what": d.kind.describe(), "loss": d.kind.is_loss(), "file": d.segment,
                   "offset": d.offset, "bytes": d.bytes,
                   "first_entry": d.first_entry, "entries": d.entries})
        })
        .collect();
    let digests = v.digests.as_ref().map(|files| {
        files
            .iter()
            .map(|(name, state)| json!({"file": name, "state": digest_word(*state)}))
            .collect::<Vec<_>>()
    });
    json!({
        "format": 1,
        "run": id,
        "whole": v.is_whole() && head_fault.is_none(),
        "head_fault": head_fault,
        "segments": v.segments,
        "packed_segments": v.packed_segments,
        "blocks": v.blocks,
        "bytes": v.bytes,
        "inputs": v.inputs,
        "samples": v.samples,
        "decisions": v.derived,
        "decisions_missing": v.derived_missing,
        "first_s": v.span.map(|s| seconds(s.0)),
        "last_s": v.span.map(|s| seconds(s.1)),
        "silences": v.without_readings.iter()
            .map(|(at, length)| json!({"start_s": seconds(*at), "length_s": seconds(*length)}))
            .collect::<Vec<_>>(),
        "anchors": v.anchors.iter()
            .map(|a| json!({"run_s": seconds(a.at), "unix_ns": a.unix_ns}))
            .collect::<Vec<_>>(),
        "damage": damage,
        "digests": digests,
    })
}
