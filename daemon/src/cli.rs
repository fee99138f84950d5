//! The command line: what can be asked, and what each ending means.

use clap::{Args, Parser, Subcommand};
use std::path::PathBuf;

/// Exit codes, documented in `--help`.
pub mod exit {
    /// Done, or ended by a signal with everything written.
    pub const OK: u8 = 0;
    /// Something failed while running; what was recorded is safe.
    pub const FAILED: u8 = 1;
    /// Bad input: job file, options, ports.
    pub const BAD_INPUT: u8 = 2;
}

/// Name of the recorded run inside the program. Here and not beside the run, because the build script
/// reads this file to write manual pages and completions.
pub const BUILT_IN_RUN: &str = "brindlemoor-4";

const AFTER: &str = "\
Exit codes:
  0  done, or ended by SIGTERM or SIGINT with everything written; SIGHUP (a closed terminal, a dropped
     session) ends demo and forward, but not run: kill ends that
  1  failed while running; what had been recorded is safe
  2  bad input: job file, options, page address

Log lines go to the journal under systemd, else to standard error. KERFWATCH_LOG sets levels by
module, for instance KERFWATCH_LOG=warn,kerfwatchd::ports=debug.

kerfwatchd is an aid. It is no safety function: the winch operator, the line maker's limits and
the operator's procedures come first.";

/// Watches a longitudinal tubing cut from the surface, live.
#[derive(Debug, Parser)]
#[command(name = "kerfwatchd", version, about, after_help = AFTER, propagate_version = true)]
pub struct Cli {
    /// What to do.
    #[command(subcommand)]
    pub command: Command,
}

/// Commands.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Watch a cut: open the instruments of a job, record, infer, warn, serve the page.
    #[command(
        after_help = "Example:\n  kerfwatchd run job.toml\n  kerfwatchd run job.toml --resume runs/20260412T081500Z-a1b2"
    )]
    Run(RunArgs),
    /// Play a recorded cut through pseudo terminals into the very same program; no hardware needed.
    #[command(
        after_help = "Examples:\n  kerfwatchd demo\n  kerfwatchd demo --speed 600 --once\n  kerfwatchd demo --fixture fixtures/deepwhistle-2 --listen 127.0.0.1:0"
    )]
    Demo(DemoArgs),
    /// Read a job file and print what was understood, or what is wrong; with --ports, ask the instruments.
    #[command(
        after_help = "Examples:\n  kerfwatchd check job.toml\n  kerfwatchd check job.toml --json\n  kerfwatchd check --ports              which serial ports there are\n  kerfwatchd check job.toml --ports     what comes from those of the job"
    )]
    Check(CheckArgs),
    /// Listen to one port for a while and propose the job file lines that would read it.
    #[command(
        after_help = "Example:\n  kerfwatchd learn serial:/dev/ttyUSB0 --baud 9600 --framing 8E1"
    )]
    Learn(LearnArgs),
    /// Send on what a run could not send while it was recorded; goes on where it stopped.
    #[command(after_help = "Example:\n  kerfwatchd forward runs/20260412T081500Z-a1b2")]
    Forward {
        /// Run folder; its job names the server.
        run: PathBuf,
    },
    /// Print a commented sample job file.
    #[command(after_help = "Example:\n  kerfwatchd config > job.toml")]
    Config,
    /// Print completions for a shell.
    #[command(
        after_help = "Example:\n  kerfwatchd completions bash > /etc/bash_completion.d/kerfwatchd"
    )]
    Completions {
        /// Which shell.
        shell: clap_complete::Shell,
    },
    /// Print the manual page (roff).
    #[command(after_help = "Example:\n  kerfwatchd man | man -l -")]
    Man,
}

/// `run`
#[derive(Debug, Args)]
pub struct RunArgs {
    /// Job file.
    pub job: PathBuf,
    /// Go on with a run that was cut off, or ended: its record is read first, then continued.
    #[arg(long, value_name = "RUN")]
    pub resume: Option<PathBuf>,
    /// Start a new run, even where the newest one of this job broke off within the last 12 hours, or another kerfwatchd
    /// records one; without this it goes on, so that a restart after a crash loses neither strokes nor alarms
    #[arg(long, conflicts_with = "resume")]
    pub new: bool,
    /// Listen here instead of where the job file says.
    #[arg(long, value_name = "ADDRESS")]
    pub listen: Option<String>,
    /// Serve no page.
    #[arg(long, conflicts_with = "listen")]
    pub no_page: bool,
    /// Change a value of the job file for this run, e.g. --set record.folder=\"runs\"
    #[arg(long, value_name = "SECTION.KEY=VALUE")]
    pub set: Vec<String>,
    /// Host name of a reverse proxy in front of the page; may be repeated.
    #[arg(long = "name", value_name = "HOST")]
    pub names: Vec<String>,
    /// Print no line for each stroke.
    #[arg(long, short)]
    pub quiet: bool,
}

/// `demo`
#[derive(Debug, Args)]
pub struct DemoArgs {
    /// Times as fast as the record.
    #[arg(long, default_value_t = 20.0, value_parser = speed)]
    pub speed: f64,
    /// Name of a built-in record, a run folder, or a folder written by `kerfwatch-replay simulate`.
    #[arg(long, default_value = BUILT_IN_RUN)]
    pub fixture: String,
    /// Where the page listens; port 0 takes any free one.
    #[arg(long, default_value = "127.0.0.1:8760")]
    pub listen: String,
    /// Variable that holds the token for changes from the page.
    #[arg(long, value_name = "VARIABLE")]
    pub token_env: Option<String>,
    /// End when the record has been played.
    #[arg(long)]
    pub once: bool,
    /// Where to record; default: a new folder in the system's temporary folder.
    #[arg(long, value_name = "FOLDER")]
    pub folder: Option<PathBuf>,
}

/// `check`
#[derive(Debug, Args)]
pub struct CheckArgs {
    /// Job file.
    #[arg(required_unless_present = "ports")]
    pub job: Option<PathBuf>,
    /// List the serial ports of this machine; with a job file, open its ports and show what comes.
    #[arg(long)]
    pub ports: bool,
    /// Seconds to listen with --ports.
    #[arg(long, default_value_t = 5.0, value_name = "SECONDS")]
    pub listen_s: f64,
    /// Print JSON.
    #[arg(long)]
    pub json: bool,
    /// Change a value of the job file first.
    #[arg(long, value_name = "SECTION.KEY=VALUE")]
    pub set: Vec<String>,
}

/// `learn`
#[derive(Debug, Args)]
pub struct LearnArgs {
    /// `serial:/dev/...` or `tcp:host:port`.
    pub port: String,
    /// Line speed; without it the usual ones are tried.
    #[arg(long)]
    pub baud: Option<u32>,
    /// Data bits, parity and stop bits of a serial port, e.g. 8E1; without it 8N1, and 7E1 and 7O1 are made out.
    #[arg(long, value_name = "8N1")]
    pub framing: Option<String>,
    /// Seconds to listen.
    #[arg(long, default_value_t = 5.0, value_name = "SECONDS")]
    pub listen_s: f64,
}

fn speed(text: &str) -> Result<f64, String> {
    text.parse::<f64>()
        .ok()
        .filter(|speed| (0.1..=10_000.0).contains(speed))
        .ok_or_else(|| "a number from 0.1 to 10000".to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::CommandFactory;

    #[test]
    fn the_command_line_is_well_formed() {
        Cli::command().debug_assert();
    }

    #[test]
    fn a_speed_must_be_possible() {
        assert!(speed("nan").is_err());
        assert!(speed("0").is_err());
        assert_eq!(speed("60"), Ok(60.0));
    }
}
