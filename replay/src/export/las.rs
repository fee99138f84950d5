//! LAS 2.0 (log ASCII standard): groove against depth.
//!
//! Layout after "LAS Version 2.0: A Digital Standard for Logs", update February 2017, CWLS: index
//! `DEPT` first, unwrapped, ASCII only, `NULL` stated. `DEPT` is the top of each bin; the bin
//! reaches down to the next index. *Precision*: depths to 0.0001 m, groove to 0.0001 mm,
//! probabilities to 0.000001; the rest is lost, and only that.

use super::{Export, Format};
use crate::failure::{Failure, Finding};
use std::fmt::Write as _;
use std::io::Write;

/// The LAS 2.0 format.
#[derive(Debug)]
pub struct Las;

const NULL: &str = "-999.25";

impl Format for Las {
    fn write(&self, export: &Export<'_>, out: &mut dyn Write) -> Result<(), Failure> {
        let text = las_text(export)?;
        out.write_all(text.as_bytes())
            .map_err(|e| Failure::write("LAS file", e))
    }
}

fn las_text(export: &Export<'_>) -> Result<String, Failure> {
    let groove = &export.result.groove;
    let (Some(first), Some(last)) = (groove.first(), groove.last()) else {
        return Err(Finding::new(
            &export.result.run.id,
            "there is no groove bin to write",
            "check interval_top and interval_bottom in the job",
        )
        .into());
    };
    let job = export.job;
    let info = &job.info;
    let mut text = String::new();
    let date = export.start_utc_ns.map(date_text).unwrap_or_default();
    let value = |x: f64| format!("{x:.4}");
    let header = [
        ("STRT", "M", value(first.top_m), "top of the first bin"),
        ("STOP", "M", value(last.top_m), "top of the last bin"),
        (
            "STEP",
            "M",
            step(groove).map_or("0".into(), value),
            "length of a bin; 0 if irregular",
        ),
        ("NULL", "", NULL.into(), "no value"),
        ("COMP", "", String::new(), "company"),
        ("WELL", "", ascii(&info.well), "well"),
        ("FLD", "", String::new(), "field"),
        ("LOC", "", String::new(), "location"),
        ("PROV", "", String::new(), "province"),
        ("SRVC", "", String::new(), "service company"),
        ("DATE", "", date, "start of run, UTC"),
        ("UWI", "", String::new(), "unique well id"),
        ("RUN", "", ascii(&export.result.run.id), "run id"),
        ("JOB", "", ascii(&export.result.run.name), "job name"),
    ];
    text.push_str("~Version\n");
    text.push_str(" VERS.   2.0 : CWLS log ASCII standard, version 2.0\n");
    text.push_str(" WRAP.   NO  : one line per depth step\n");
    text.push_str("~Well\n");
    for (mnemonic, unit, value, description) in header {
        entry(&mut text, mnemonic, unit, &value, description);
    }
    parameters(&mut text, export);
    curves_and_data(&mut text, export);
    Ok(text)
}

fn parameters(text: &mut String, export: &Export<'_>) {
    let job = export.job;
    text.push_str("~Parameter\n");
    let mm = |x: f64| format!("{:.3}", x * 1e3);
    for (mnemonic, unit, value, description) in [
        (
            "OD",
            "MM",
            mm(job.tubular.od.si()),
            "outside diameter of the tubular",
        ),
        (
            "WALL",
            "MM",
            mm(job.tubular.wall.si()),
            "nominal wall thickness",
        ),
        (
            "WHLS",
            "",
            job.cutter.wheels.to_string(),
            "cutter wheels in one groove",
        ),
        (
            "STRK",
            "",
            export.result.strokes.len().to_string(),
            "strokes counted",
        ),
        (
            "CRED",
            "%",
            "90".into(),
            "share of the credible interval GRVL to GRVH",
        ),
        (
            "SOFT",
            "",
            concat!("kerfwatch ", env!("CARGO_PKG_VERSION")).into(),
            "software",
        ),
    ] {
        entry(text, mnemonic, unit, &value, description);
    }
    for (i, change) in export.result.run.what_if.iter().enumerate() {
        let description = "what-if, not the job on record, changed";
        entry(
            text,
            &format!("WIF{}", i + 1),
            "",
            &ascii(change),
            description,
        );
    }
}

fn curves_and_data(text: &mut String, export: &Export<'_>) {
    text.push_str("~Curve\n");
    for (mnemonic, unit, description) in [
        ("DEPT", "M", "measured depth along hole, top of bin"),
        ("GRV", "MM", "groove depth, estimate"),
        ("GRVL", "MM", "groove depth, 5 % quantile"),
        ("GRVH", "MM", "groove depth, 95 % quantile"),
        ("WALL", "MM", "wall thickness, nominal"),
        ("PASS", "", "passes with the cutter out"),
        ("THRU", "", "taken as split, 1 yes 0 no"),
        ("PTHR", "", "probability that the wall is split"),
        ("CPLG", "", "bin lies in a coupling, 1 yes 0 no"),
    ] {
        entry(text, mnemonic, unit, "", description);
    }
    text.push_str("~ASCII\n");
    let real = |x: f64, decimals: usize| {
        if x.is_finite() {
            format!("{x:.decimals$}")
        } else {
            NULL.to_owned()
        }
    };
    for bin in &export.result.groove {
        let _ = writeln!(
            text,
            "{:>11} {:>9} {:>9} {:>9} {:>9} {:>6} {} {:>9} {}",
            real(bin.top_m, 4),
            real(bin.depth_mm, 4),
            real(bin.low_mm, 4),
            real(bin.high_mm, 4),
            real(bin.wall_mm, 4),
            bin.passes,
            u8::from(bin.through),
            real(bin.through_probability, 6),
            u8::from(bin.coupling),
        );
    }
}

/// One header line: the unit follows the first dot at once, the description the last colon. A value may hold colons
/// (a time of day does), so a description may not: all before its last one would be read as value.
fn entry(text: &mut String, mnemonic: &str, unit: &str, value: &str, description: &str) {
    let description = description.replace(':', ",");
    let _ = writeln!(text, " {mnemonic:<4}.{unit:<3} {value:<30} : {description}");
}

/// The common step of the bins, or `None` when they differ by more than the depth precision.
fn step(groove: &[kerfwatch::result::GrooveBin]) -> Option<f64> {
    let (first, last) = (groove.first()?, groove.last()?);
    let step = if groove.len() > 1 {
        (last.top_m - first.top_m) / (groove.len() - 1) as f64
    } else {
        first.bottom_m - first.top_m
    };
    let regular = groove
        .iter()
        .enumerate()
        .all(|(i, bin)| (bin.top_m - first.top_m - step * i as f64).abs() < 5e-5);
    regular.then_some(step)
}

/// LAS is ASCII: other characters and line breaks become `?`.
fn ascii(text: &str) -> String {
    text.chars()
        .map(|c| {
            if c.is_ascii_graphic() || c == ' ' {
                c
            } else {
                '?'
            }
        })
        .collect()
}

/// ISO date and time of a moment in ns since 1970.
fn date_text(utc_ns: i64) -> String {
    jiff::Timestamp::from_nanosecond(i128::from(utc_ns))
        .map(|t| t.strftime("%Y-%m-%d %H:%M:%S").to_string())
        .unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::export::TableName;
    use kerfwatch::job::{print_default_job, read_job};
    use kerfwatch::pipeline::Pipeline;
    use kerfwatch::result::GrooveBin;

    /// Value and description of a header line, as a reader parts them.
    fn parts(line: &str) -> (&str, &str) {
        let (before, description) = line.rsplit_once(':').unwrap();
        let (_, value) = before.split_once('.').unwrap();
        // The unit stands at the dot, then a space at least.
        let (_, value) = value.split_once(' ').unwrap();
        (value.trim(), description.trim())
    }

    #[test]
    fn a_description_with_colons_leaves_the_value_what_it_is() {
        let mut text = String::new();
        entry(
            &mut text,
            "DATE",
            "",
            "2026-05-01 06:12:00",
            "start: UTC: run",
        );
        assert_eq!(
            parts(text.trim_end()),
            ("2026-05-01 06:12:00", "start, UTC, run")
        );
    }

    #[test]
    fn what_was_changed_is_read_back_as_it_was_given() {
        let job = read_job(print_default_job(), "job.toml").unwrap().job;
        let mut result = Pipeline::new(&job).result("run");
        result.run.what_if = vec!["cutter.wheels=8".to_owned(), "a=\"6:1\"".to_owned()];
        result.groove = vec![GrooveBin {
            top_m: 600.0,
            bottom_m: 600.1,
            depth_mm: 1.0,
            low_mm: 0.5,
            high_mm: 1.5,
            wall_mm: 5.5,
            passes: 1,
            through: false,
            through_probability: 0.0,
            coupling: false,
        }];
        let text = las_text(&Export {
            job: &job,
            result: &result,
            start_utc_ns: Some(0),
            table: TableName::Groove,
            tension: &[],
        })
        .unwrap();
        let lines = text.lines().filter(|line| line.starts_with(" WIF"));
        let values: Vec<&str> = lines.map(|line| parts(line).0).collect();
        assert_eq!(values, ["cutter.wheels=8", "a=\"6:1\""]);
    }
}
