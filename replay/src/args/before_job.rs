//! Flags of the commands used before a job, or that make a run: forecast, simulate, import.

use super::{PortKind, Units};
use std::path::PathBuf;

/// `forecast`
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  kerfwatch-replay forecast job.toml
  kerfwatch-replay forecast job.toml --html forecast.html --json forecast.json
  kerfwatch-replay forecast job.toml --speed \"0.4 m/s\" --turn 15 --sweep
  kerfwatch-replay forecast job.toml --set cutter.wheels=3")]
pub struct ForecastArgs {
    /// Job file
    pub job: PathBuf,
    /// Write JSON; '-' for standard output (then without the text)
    #[arg(long, value_name = "FILE")]
    pub json: Option<PathBuf>,
    /// Write a self-contained page
    #[arg(long, value_name = "FILE")]
    pub html: Option<PathBuf>,
    /// Print the table of wheels by radial force by line size too (JSON and page always hold it)
    #[arg(long)]
    pub sweep: bool,
    /// Line speed while stroking
    #[arg(long, value_name = "SPEED", default_value = "0.3 m/s")]
    pub speed: String,
    /// Seconds lost at each end of a stroke
    #[arg(long, value_name = "SECONDS", default_value_t = 10.0)]
    pub turn: f64,
    /// Change one value of the job; repeatable
    #[arg(long, value_name = "KEY=VALUE")]
    pub set: Vec<String>,
    /// Units of text and page; default: those of the job
    #[arg(long, value_enum)]
    pub units: Option<Units>,
    /// Seed of the random draws
    #[arg(long, default_value_t = 1)]
    pub seed: u64,
}

/// `simulate`
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  kerfwatch-replay simulate fixtures/scenarios/vertical.toml --out vertical --seed 3
  kerfwatch-replay simulate fixtures/scenarios/vertical.toml --out vertical --again \"0.8 m\"
  kerfwatch-replay simulate fixtures/scenarios/vertical.toml --to-ports pty --speed 20

With --again the first run goes to FOLDER/1, the next to FOLDER/2, and so on.")]
pub struct SimulateArgs {
    /// Scenario file of an invented well
    pub scenario: PathBuf,
    /// Folder for samples.csv, marks.csv, job.toml and truth.json
    #[arg(long, value_name = "FOLDER", required_unless_present = "to_ports")]
    pub out: Option<PathBuf>,
    /// Act as live instruments instead: two pseudo terminals, or two TCP listeners
    #[arg(long, value_name = "KIND", conflicts_with = "out")]
    pub to_ports: Option<PortKind>,
    /// How much faster than life, with --to-ports
    #[arg(
        long,
        default_value_t = 1.0,
        value_name = "FACTOR",
        requires = "to_ports"
    )]
    pub speed: f64,
    /// Another seed draws another truth, another operator and other noise
    #[arg(long, default_value_t = 1)]
    pub seed: u64,
    /// Come back to the same groove in another run, with a depth counter that reads so much deeper than
    /// in the first, e.g. "0.8 m"; repeatable
    #[arg(
        long,
        value_name = "LENGTH",
        conflicts_with = "to_ports",
        allow_hyphen_values = true
    )]
    pub again: Vec<String>,
    /// Step of the tool track in truth.json, seconds
    #[arg(long, default_value_t = 0.1, value_name = "S")]
    pub track: f64,
}

/// `import`
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  kerfwatch-replay import --job job.toml samples.csv --out runs/2026-05-01
  kerfwatch-replay import --job job.toml samples.csv --marks marks.csv \\
      --start 2026-05-01T06:12:00Z --out RUN

samples.csv: header time_s,load_n,depth_m; seconds from run start, line tension in newtons, line paid \
out in metres; either value may be empty. marks.csv: header time_s,mark; marks cutter_out (wheels out, \
cutting), cutter_in (wheels in, running free), weight_check, reference_depth:1502.4 m (where the wheels \
are known to be), note:TEXT. Rows that cannot be read are set aside, counted and reported; a table that \
seems to be in other units, or of another well, is used and the doubt is told.")]
pub struct ImportArgs {
    /// Samples: CSV with header time_s,load_n,depth_m
    pub samples: PathBuf,
    /// Job file of the run
    #[arg(long, value_name = "FILE")]
    pub job: PathBuf,
    /// Run folder to be made
    #[arg(long, value_name = "FOLDER")]
    pub out: PathBuf,
    /// Operator's marks: CSV with header time_s,mark
    #[arg(long, value_name = "FILE")]
    pub marks: Option<PathBuf>,
    /// Replace an existing run folder
    #[arg(long)]
    pub force: bool,
    /// Refuse the file if any row or cell would be set aside
    #[arg(long)]
    pub strict: bool,
    /// Universal time of run start, e.g. 2026-05-01T06:12:00Z
    #[arg(long, value_name = "UTC")]
    pub start: Option<String>,
    /// Value of time_s at run start, subtracted from all times (files that count from elsewhere)
    #[arg(
        long,
        value_name = "SECONDS",
        default_value_t = 0.0,
        allow_negative_numbers = true
    )]
    pub time_zero: f64,
}
