//! What can be asked on the command line.
//!
//! Long flags only, apart from `--help` and `--version` shorthands. Each command's own flags live
//! beside its code (`Args` in its module) and are checked there before anything is written.

use crate::console::Console;
use crate::failure::{Exit, Failure};
use clap::{CommandFactory, Parser, Subcommand};
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
    Simulate(crate::simulate::Args),
    /// Make a run folder from a calibrated CSV record
    Import(crate::import::Args),
    /// Recompute a run: strokes, states, groove, joints, alarms
    Recompute(crate::recompute::Args),
    /// Write a self-contained page about a run
    Report(crate::report::Args),
    /// Add up several runs of one well in the same groove
    Chain(crate::chain::Args),
    /// Set recomputations or results side by side
    Compare(crate::compare::Args),
    /// Recompute an archive of runs into one Parquet dataset
    Batch(crate::batch::Args),
    /// Write results as LAS, CSV, Parquet, line protocol or HdrHistogram log
    Export(crate::export::Args),
    /// Before the job: weights, margins, strokes, hours, line bending, what limits
    Forecast(crate::forecast::Args),
    /// Check that a recording is whole
    Verify(crate::verify::Args),
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

/// Prints the completion script of a shell.
pub fn print_completions(
    args: &CompletionArgs,
    console: &mut Console<'_>,
) -> Result<Exit, Failure> {
    // Into a buffer first: the generator panics when its writer fails (closed pipe).
    let mut script = Vec::new();
    clap_complete::generate(
        args.shell,
        &mut Arguments::command(),
        "kerfwatch-replay",
        &mut script,
    );
    console.data(&script)?;
    Ok(Exit::Well)
}

/// Prints the manual page, or writes all pages.
pub fn print_manual(args: &ManualArgs, console: &mut Console<'_>) -> Result<Exit, Failure> {
    let command = Arguments::command();
    match &args.out {
        None => {
            let mut page = Vec::new();
            clap_mangen::Man::new(command)
                .render(&mut page)
                .map_err(|source| Failure::write("manual page", source))?;
            console.data(&page)?;
        }
        Some(folder) => {
            std::fs::create_dir_all(folder)
                .and_then(|()| clap_mangen::generate_to(command, folder))
                .map_err(|source| Failure::write(folder.display(), source))?;
            console.talk(format_args!("manual pages written to {}", folder.display()));
        }
    }
    Ok(Exit::Well)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn command_line_definition_is_consistent() {
        Arguments::command().debug_assert();
    }
}
