//! Flags of the commands that work on runs.

use super::{FormatName, JobChanges, TableName, Units};
use std::path::PathBuf;

/// `recompute`
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  kerfwatch-replay recompute runs/2026-05-01
  kerfwatch-replay recompute RUN --json result.json
  kerfwatch-replay recompute RUN --json - --quiet | jq '.joints'
  kerfwatch-replay recompute RUN --set \"cutter.contact_pressure=1.1 GPa\" --set tally_shift=0.3m
  kerfwatch-replay recompute RUN --explain \"2451.3 m\"")]
pub struct RecomputeArgs {
    /// Run folder
    pub run: PathBuf,
    /// Write the result as JSON; '-' for standard output (then without the summary)
    #[arg(long, value_name = "FILE")]
    pub json: Option<PathBuf>,
    #[command(flatten)]
    #[allow(missing_docs)]
    pub changes: JobChanges,
    /// Say what the groove estimate at this depth rests on, e.g. "2451.3 m"
    #[arg(long, value_name = "DEPTH")]
    pub explain: Option<String>,
    /// Units of the summary; default: those of the job
    #[arg(long, value_enum)]
    pub units: Option<Units>,
    /// Print how long it took and how many readings per second that is
    #[arg(long)]
    pub timing: bool,
}

/// `report`
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  kerfwatch-replay report RUN --out report.html
  kerfwatch-replay report RUN --out report.html --units field
  chromium --headless --no-pdf-header-footer --print-to-pdf=report.pdf report.html")]
pub struct ReportArgs {
    /// Run folder
    pub run: PathBuf,
    /// Page to write
    #[arg(long, value_name = "FILE")]
    pub out: PathBuf,
    /// Units; default: those of the job
    #[arg(long, value_enum)]
    pub units: Option<Units>,
    #[command(flatten)]
    #[allow(missing_docs)]
    pub changes: JobChanges,
}

/// `chain`
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  kerfwatch-replay chain runs/monday runs/tuesday
  kerfwatch-replay chain RUN1 RUN2 RUN3 --json progress.json
  kerfwatch-replay chain RUN1 RUN2 RUN3 --shift auto --shift \"-0.4 m\"

Give the runs in the order in which they were made. Times of the result count from the start of the \
first run, pauses between runs included. Depths are those of the first run: how much deeper a later run is than its counter says is \
measured by its drag in the groove that was there, with a 90 % interval, and corrected for. Where the \
data are not sure, that is said, and the counter is believed. --shift goes before both. The job of the last run is used \
for all: where other runs have other values, each is named, and another od or wall is refused, unless --job or --set says \
which to use.")]
pub struct ChainArgs {
    /// Run folders of one well, oldest first
    #[arg(required = true, num_args = 2..)]
    pub runs: Vec<PathBuf>,
    /// A later run is so much deeper than counted (negative: shallower; 0: as counted); repeat for each
    /// run after the first, 'auto' lets the data say
    #[arg(long, value_name = "LENGTH", allow_hyphen_values = true)]
    pub shift: Vec<String>,
    /// Write the result as JSON; '-' for standard output (then without the summary)
    #[arg(long, value_name = "FILE")]
    pub json: Option<PathBuf>,
    #[command(flatten)]
    #[allow(missing_docs)]
    pub changes: JobChanges,
    /// Units of the summary; default: those of the job
    #[arg(long, value_enum)]
    pub units: Option<Units>,
}

/// `plan`
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  kerfwatch-replay plan runs/monday
  kerfwatch-replay plan runs/monday runs/tuesday --set cutter.wheels=4
  kerfwatch-replay plan RUN --job next.toml --json plan.json --html plan.html

Give all runs of the groove, in the order in which they were made: they are joined as by 'chain'. The job of the coming run \
is that of the last one, unless --job or --set says otherwise; tool, line and pipe should be the same. Strokes left are until \
the last place is split: even chance, and with 90 % probability.")]
pub struct PlanArgs {
    /// Run folders of one well, oldest first
    #[arg(required = true, num_args = 1..)]
    pub runs: Vec<PathBuf>,
    /// A later run is so much deeper than counted (negative: shallower; 0: as counted); repeat for each
    /// run after the first, 'auto' lets the data say
    #[arg(long, value_name = "LENGTH", allow_hyphen_values = true)]
    pub shift: Vec<String>,
    /// Job file of the coming run
    #[arg(long, value_name = "FILE")]
    pub job: Option<PathBuf>,
    /// Change one value of the job of the coming run; repeatable
    #[arg(long, value_name = "KEY=VALUE")]
    pub set: Vec<String>,
    /// Write JSON; '-' for standard output (then without the text)
    #[arg(long, value_name = "FILE")]
    pub json: Option<PathBuf>,
    /// Write a self-contained page
    #[arg(long, value_name = "FILE")]
    pub html: Option<PathBuf>,
    /// Units of text and page; default: those of the job
    #[arg(long, value_enum)]
    pub units: Option<Units>,
}

/// `compare`
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  kerfwatch-replay compare RUN1 RUN2
  kerfwatch-replay compare RUN RUN --set \"cutter.contact_pressure=1.4 GPa\" --html what-if.html
  kerfwatch-replay compare yesterday.json RUN --json -

Each argument is a run folder or a result written by 'recompute --json'. --set and --job apply to every \
run folder but the first. Exit code 0: the results are the same; 1: they differ.")]
pub struct CompareArgs {
    /// Run folders or result files, two or more
    #[arg(required = true, num_args = 2..)]
    pub inputs: Vec<PathBuf>,
    #[command(flatten)]
    #[allow(missing_docs)]
    pub changes: JobChanges,
    /// Write JSON; '-' for standard output (then without the text)
    #[arg(long, value_name = "FILE")]
    pub json: Option<PathBuf>,
    /// Write a self-contained page
    #[arg(long, value_name = "FILE")]
    pub html: Option<PathBuf>,
    /// Units of text and page
    #[arg(long, value_enum, default_value_t = Units::Metric)]
    pub units: Units,
}

/// `export`
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  kerfwatch-replay export RUN --format las --out groove.las
  kerfwatch-replay export RUN --format parquet --table strokes --out strokes.parquet
  kerfwatch-replay export RUN --format csv --table joints --out - | column -s, -t
  kerfwatch-replay export RUN --format line-protocol --start 2026-05-01T06:00:00Z --out run.lp
  kerfwatch-replay export RUN --format hdr --out tension.hlog

LAS holds the groove by depth. CSV and Parquet hold one table. Line protocol holds all of them with \
nanosecond times. HdrHistogram logs hold the tension of each stroke, tagged by class. All in SI units. With --job or --set \
the file says what was changed (CSV cannot; line protocol has the tag what_if, so that no point of the run is overwritten).")]
pub struct ExportArgs {
    /// Run folder
    pub run: PathBuf,
    /// Format of the file
    #[arg(long, value_enum)]
    pub format: FormatName,
    /// File to write; '-' for standard output
    #[arg(long, value_name = "FILE")]
    pub out: PathBuf,
    /// Table for csv and parquet [default: groove]
    #[arg(long, value_enum)]
    pub table: Option<TableName>,
    /// Universal time of run start, for recordings that do not know it
    #[arg(long, value_name = "UTC")]
    pub start: Option<String>,
    #[command(flatten)]
    #[allow(missing_docs)]
    pub changes: JobChanges,
}

/// `batch`
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  kerfwatch-replay batch archive --out joints
  kerfwatch-replay batch archive --out joints --threads 2 --quiet

Then, with any engine that reads partitioned Parquet, e.g. in Python:
  ctx = datafusion.SessionContext()
  ctx.register_parquet('joints', 'joints', table_partition_cols=[('well', 'string'), ('run', 'string')])
  ctx.sql('select well, avg(split_fraction) from joints group by well').show()

Runs whose rows are there already are left alone, so a broken-off batch goes on where it stopped.")]
pub struct BatchArgs {
    /// Folder to search for run folders, at any depth
    pub folder: PathBuf,
    /// Dataset folder
    #[arg(long, value_name = "FOLDER")]
    pub out: PathBuf,
    /// Threads; default: one per core
    #[arg(long, value_name = "N", default_value_t = 0)]
    pub threads: usize,
    /// Recompute all runs, also those whose rows are there
    #[arg(long)]
    pub again: bool,
    /// Print JSON with what became of each run
    #[arg(long)]
    pub json: bool,
}

/// `verify`
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  kerfwatch-replay verify RUN
  kerfwatch-replay verify RUN --json --quiet || echo damaged

Exit code 0: whole; 3: something was lost or changed (listed; files put beside the recording do not \
count); 2: not a run folder.
'sha256sum -c manifest.sha256' inside the folder checks the digests without this program.")]
pub struct VerifyArgs {
    /// Run folder
    pub run: PathBuf,
    /// List silences longer than this, seconds
    #[arg(long, value_name = "SECONDS", default_value_t = 2.0)]
    pub silence: f64,
    /// Print JSON instead of text
    #[arg(long)]
    pub json: bool,
}
