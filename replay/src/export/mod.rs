//! `export`: results of a run as files that other programs read. One file of code per format.

pub mod csv;
pub mod hdr;
pub mod las;
pub mod line_protocol;
pub mod parquet;
pub mod tension_histograms;

pub use crate::args::{ExportArgs as Args, FormatName};
use crate::console::Console;
use crate::failure::{Exit, Failure, Finding};
use crate::import::read_utc;
use crate::output_file::write_file_with;
use crate::run_folder::RunFolder;
use crate::table::TableName;
use kerfwatch::job::Job;
use kerfwatch::result::RunResult;
use std::io::Write;
use tension_histograms::{StretchTension, tension_histograms};

/// What is exported.
#[derive(Debug)]
pub struct Export<'r> {
    /// The job as used.
    pub job: &'r Job,
    /// The result.
    pub result: &'r RunResult,
    /// UTC of run start, ns since 1970, if known.
    pub start_utc_ns: Option<i64>,
    /// Which list, for formats that hold one table.
    pub table: TableName,
    /// Tension by stretch; empty unless the format asked for it.
    pub tension: &'r [StretchTension],
}

/// A file format.
pub trait Format {
    /// Whether [`Export::tension`] must be filled.
    fn needs_tension(&self) -> bool {
        false
    }

    /// Writes the whole file.
    ///
    /// # Errors
    /// [`Failure::Input`] when this format cannot hold the data; [`Failure::Write`] from `out`.
    fn write(&self, export: &Export<'_>, out: &mut dyn Write) -> Result<(), Failure>;
}

impl FormatName {
    /// The writer of this format.
    pub fn writer(self) -> &'static dyn Format {
        match self {
            Self::Las => &las::Las,
            Self::Csv => &csv::Csv,
            Self::Parquet => &parquet::Parquet,
            Self::LineProtocol => &line_protocol::LineProtocol,
            Self::Hdr => &hdr::Hdr,
        }
    }

    /// What it always holds; `None` where that can be chosen.
    fn holds(self) -> Option<&'static str> {
        match self {
            Self::Csv | Self::Parquet => None,
            Self::Las => Some("LAS holds the groove by depth"),
            Self::LineProtocol => {
                Some("line protocol holds strokes, states, alarms, groove, joints and tool motion")
            }
            Self::Hdr => Some("an HdrHistogram log holds tension by stroke class"),
        }
    }
}

/// Runs it.
///
/// # Errors
/// No run, no usable job, a format that cannot hold the data, or a file that cannot be written.
pub fn run(args: &Args, console: &mut Console<'_>) -> Result<Exit, Failure> {
    let start = args.start.as_deref().map(read_utc).transpose()?;
    if let (Some(_), Some(holds)) = (args.table, args.format.holds()) {
        let remedy = "leave it out, or choose --format csv or parquet";
        return Err(Finding::new(
            "--table",
            format!("{holds}, and no table to choose"),
            remedy,
        )
        .into());
    }
    let writer = args.format.writer();
    let mut folder = RunFolder::open(&args.run, &args.changes, console)?;
    let done = folder.recompute(console);
    let tension = if writer.needs_tension() {
        tension_histograms(&mut folder, &done.result)?
    } else {
        Vec::new()
    };
    let export = Export {
        job: &folder.job.job,
        result: &done.result,
        start_utc_ns: start.or(folder.start_utc_ns),
        table: args.table.unwrap_or(TableName::Groove),
        tension: &tension,
    };
    if args.format == FormatName::Csv && !folder.what_if.is_empty() {
        console.warn(format_args!(
            "a CSV table has no place to say that it is a what-if ({}): give it a name that does",
            folder.what_if.join("; ")
        ));
    }
    if args.out.as_os_str() == "-" {
        let mut bytes = Vec::new();
        writer.write(&export, &mut bytes)?;
        console.data(&bytes)?;
    } else {
        write_file_with(&args.out, |out| writer.write(&export, out))?;
        console.talk(format_args!("written: {}", args.out.display()));
    }
    Ok(done.exit)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_table_is_refused_by_formats_that_hold_none_to_choose() {
        for (format, holds) in [
            ("las", "LAS holds the groove"),
            ("hdr", "tension by stroke class"),
            ("line-protocol", "strokes, states"),
        ] {
            let (mut out, mut err) = (Vec::new(), Vec::new());
            let mut console = Console::new(&mut out, &mut err, false);
            let arguments = "kerfwatch-replay export none --out - --table strokes --format";
            let all = arguments.split(' ').chain([format]);
            let exit = crate::run_command_line(all, &mut console);
            assert_eq!(exit, Exit::BadInput);
            let err = String::from_utf8(err).unwrap();
            assert!(err.contains("--table: ") && err.contains(holds), "{err}");
        }
    }
}
