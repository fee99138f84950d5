//! HdrHistogram interval log, version 1.2 text with V2 deflate histograms: line tension in newtons,
//! one line for each stroke and stall, tagged by its class.
//!
//! *Time*: `StartTime` and `BaseTime` are run start in UTC (1970 when not known), time stamps are
//! seconds from there. *Precision*: newtons whole, three significant digits.

use super::tension_histograms::StretchTension;
use super::{Export, Format};
use crate::failure::Failure;
use hdrhistogram::serialization::V2DeflateSerializer;
use hdrhistogram::serialization::interval_log::{IntervalLogWriterBuilder, Tag};
use std::io::{self, Write};
use std::time::{Duration, SystemTime};

/// The HdrHistogram log format.
#[derive(Debug)]
pub struct Hdr;

impl Format for Hdr {
    fn needs_tension(&self) -> bool {
        true
    }

    fn write(&self, export: &Export<'_>, out: &mut dyn Write) -> Result<(), Failure> {
        write_log(export, out).map_err(|e| Failure::write("HdrHistogram log", e))
    }
}

fn write_log(export: &Export<'_>, mut out: &mut dyn Write) -> io::Result<()> {
    writeln!(out, "#[Histogram log format version 1.2]")?;
    let start_ns = export.start_utc_ns.unwrap_or(0).max(0);
    let start = SystemTime::UNIX_EPOCH + Duration::from_nanos(start_ns as u64);
    let mut serializer = V2DeflateSerializer::new();
    let mut log = IntervalLogWriterBuilder::new()
        .add_comment(&format!(
            "[Line tension in newtons, run {}{}, kerfwatch-replay {}]",
            export.result.run.id,
            what_if(export),
            env!("CARGO_PKG_VERSION")
        ))
        .with_start_time(start)
        .with_base_time(start)
        .begin_log_with(&mut out, &mut serializer)?;
    log.write_comment(
        "\"StartTimestamp\",\"Interval_Length\",\"Interval_Max\",\"Interval_Compressed_Histogram\"",
    )?;
    for stretch in export.tension {
        write_one(stretch, |at, length, tag| {
            log.write_histogram(&stretch.histogram, at, length, tag)
                .map_err(|e| io::Error::other(format!("{e:?}")))
        })?;
    }
    Ok(())
}

/// What was changed against the job on record, on one line.
fn what_if(export: &Export<'_>) -> String {
    match export.result.run.what_if.join("; ") {
        changes if changes.is_empty() => changes,
        changes => format!(", what-if: {}", changes.escape_default()),
    }
}

fn write_one(
    stretch: &StretchTension,
    write: impl FnOnce(Duration, Duration, Option<Tag<'_>>) -> io::Result<()>,
) -> io::Result<()> {
    // A log cannot hold times before its base.
    let at = Duration::try_from_secs_f64(stretch.start_s.max(0.0)).unwrap_or_default();
    let length = Duration::try_from_secs_f64(stretch.length_s.max(0.0)).unwrap_or_default();
    write(at, length, Tag::new(stretch.class))
}
