//! `export`: results of a run as files that other programs read. One file of code per format.

pub mod csv;
pub mod hdr;
pub mod las;
pub mod line_protocol;
pub mod parquet;
pub mod tension_histograms;

use crate::console::Console;
use crate::failure::{Exit, Failure};
use crate::import::read_utc;
use crate::job_source::JobChanges;
use crate::output_file::write_file_with;
use crate::run_folder::RunFolder;
use crate::table::TableName;
use kerfwatch::job::Job;
use kerfwatch::result::RunResult;
use std::io::Write;
use std::path::PathBuf;
use tension_histograms::{StretchTension, tension_histograms};

/// `export`
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  kerfwatch-replay export RUN --format las --out groove.las
  kerfwatch-replay export RUN --format parquet --table strokes --out strokes.parquet
  kerfwatch-replay export RUN --format csv --table joints --out - | column -s, -t
  kerfwatch-replay export RUN --format line-protocol --start 2026-05-01T06:00:00Z --out run.lp
  kerfwatch-replay export RUN --format hdr --out tension.hlog

LAS holds the groove by depth. CSV and Parquet hold one table. Line protocol holds all of them with
nanosecond times. HdrHistogram logs hold the tension of each stroke, tagged by class. All in SI units.")]
pub struct Args {
    /// Run folder
    pub run: PathBuf,
    /// Format of the file
    #[arg(long, value_enum)]
    pub format: FormatName,
    /// File to write; '-' for standard output
    #[arg(long, value_name = "FILE")]
    pub out: PathBuf,
    /// Table for csv and parquet
    #[arg(long, value_enum, default_value_t = TableName::Groove)]
    pub table: TableName,
    /// Universal time of run start, for recordings that do not know it
    #[arg(long, value_name = "UTC")]
    pub start: Option<String>,
    #[command(flatten)]
    #[allow(missing_docs)]
    pub changes: JobChanges,
}

/// Formats that can be asked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub enum FormatName {
    /// LAS 2.0, groove by depth
    Las,
    /// Comma-separated values, one table
    Csv,
    /// Apache Parquet, one table
    Parquet,
    /// InfluxDB line protocol, everything
    LineProtocol,
    /// HdrHistogram interval log, tension by stroke class
    Hdr,
}

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
}

/// Runs it.
///
/// # Errors
/// No run, no usable job, a format that cannot hold the data, or a file that cannot be written.
pub fn run(args: &Args, console: &mut Console<'_>) -> Result<Exit, Failure> {
    let start = args.start.as_deref().map(read_utc).transpose()?;
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
        table: args.table,
        tension: &tension,
    };
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
