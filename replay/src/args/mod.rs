//! What can be asked on the command line.
//!
//! Long flags only, apart from `--help` and `--version` shorthands. Values are checked where they are
//! used, before anything is written. The build script reads these files too, to write manual pages and
//! completions: they need nothing else of this crate.

mod after_job;
mod before_job;

pub use after_job::{
    BatchArgs, ChainArgs, CompareArgs, ExportArgs, PlanArgs, RecomputeArgs, ReportArgs, VerifyArgs,
};
pub use before_job::{ForecastArgs, ImportArgs, SimulateArgs};

use clap::{Parser, Subcommand};
use std::path::PathBuf;

/// The whole command line.
#[derive(Debug, Parser)]
#[command(
    name = "kerfwatch-replay",
    version,
    about = "Recompute, report, compare, export and forecast longitudinal tubing cuts on slickline",
    after_help = EXIT_CODES,
    max_term_width = 100,
    propagate_version = true
)]
pub struct Arguments {
    /// Print results and errors only: no progress bars, no talk
    #[arg(long, global = true)]
    pub quiet: bool,
    /// What to do.
    #[command(subcommand)]
    pub command: Command,
}

/// Shown at the end of `--help`.
pub const EXIT_CODES: &str = "\
Exit codes:
  0  all well
  1  done, and differences were found (compare)
  2  bad input: command line, job file or data file; or a file could not be written
  3  the recording is damaged; what could be read was used and the result was still written

Results go to standard output, everything else to standard error.
'kerfwatch-replay help COMMAND' shows each command with examples.";

/// Commands.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Simulate an invented well: a record as instruments make it, and the truth beside it
    Simulate(SimulateArgs),
    /// Make a run folder from a calibrated CSV record
    Import(ImportArgs),
    /// Recompute a run: strokes, states, groove, joints, alarms
    Recompute(RecomputeArgs),
    /// Write a self-contained page about a run
    Report(ReportArgs),
    /// Add up several runs of one well in the same groove
    Chain(ChainArgs),
    /// After a run: what is left, and what another one takes with these wheels or with others
    Plan(PlanArgs),
    /// Set recomputations or results side by side
    Compare(CompareArgs),
    /// Recompute an archive of runs into one Parquet dataset
    Batch(BatchArgs),
    /// Write results as LAS, CSV, Parquet, line protocol or HdrHistogram log
    Export(ExportArgs),
    /// Before the job: weights, margins, strokes, hours, line bending, what limits
    Forecast(ForecastArgs),
    /// Check that a recording is whole
    Verify(VerifyArgs),
    /// Print a shell completion script
    Completions(CompletionArgs),
    /// Print the manual page, or write one page per command into a folder
    Man(ManualArgs),
}

/// `completions`
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  kerfwatch-replay completions bash > \
                        ~/.local/share/bash-completion/completions/kerfwatch-replay")]
pub struct CompletionArgs {
    /// bash, zsh, fish, elvish or powershell
    pub shell: clap_complete::Shell,
}

/// `man`
#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:\n  kerfwatch-replay man | man -l -\n  \
                        kerfwatch-replay man --out ~/.local/share/man/man1")]
pub struct ManualArgs {
    /// Folder for one page per command; without it the main page goes to standard output
    #[arg(long, value_name = "FOLDER")]
    pub out: Option<PathBuf>,
}

/// Flags shared by all commands that need a job.
#[derive(Debug, Clone, Default, clap::Args)]
pub struct JobChanges {
    /// Use this job file instead of the one stored in the run folder
    #[arg(long, value_name = "FILE")]
    pub job: Option<PathBuf>,
    /// Change one value of the job, e.g. --set "cutter.contact_pressure=1.1 GPa"; repeatable.
    /// "tally_shift=0.4 m" moves all couplings down the hole
    #[arg(long, value_name = "KEY=VALUE")]
    pub set: Vec<String>,
}

/// Unit system for people.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub enum Units {
    /// Metres, newtons, millimetres.
    Metric,
    /// Feet, pounds-force, inches.
    Field,
}

/// Which list of the result.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub enum TableName {
    /// Groove by depth bin.
    Groove,
    /// Strokes.
    Strokes,
    /// State intervals.
    Intervals,
    /// Joints.
    Joints,
    /// Alarms.
    Alarms,
    /// Bending of the line.
    LineWear,
    /// Tool motion at a fixed step.
    Tool,
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

/// Where the lines go.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub enum PortKind {
    /// Two pseudo terminals, which look like serial ports.
    Pty,
    /// Two TCP listeners on this machine, as serial device servers have.
    Tcp,
}
