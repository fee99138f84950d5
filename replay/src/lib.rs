//! The post-job side of kerfwatch: from a run folder (or a job file alone) to numbers, files and
//! pages that an engineer can check.
//!
//! Reading order: [`args`] (what can be asked), [`console`] (where answers go), [`failure`] (what
//! can go wrong and the exit codes), then one module per command. Every command is
//! `pub fn run(&Args, &mut Console) -> Result<Exit, Failure>`, so tests run
//! it in-process with buffers for stdout and stderr.
//!
//! What is absent: sockets, tokio, and any physics of its own; physics lives in the core.
#![warn(missing_docs)]

pub mod args;
pub mod batch;
pub mod chain;
pub mod compare;
pub mod console;
mod cut_back;
pub mod explain;
pub mod export;
pub mod failure;
pub mod forecast;
mod friction;
pub mod hardly_reached;
mod highest_tension;
pub mod import;
mod instrument_faults;
pub mod job_source;
pub mod manual;
mod missing_readings;
#[cfg(test)]
mod other_job_tests;
mod other_wheels;
pub mod output_file;
pub mod plan;
pub mod readings;
pub mod recompute;
pub mod report;
mod run_doubts;
pub mod run_folder;
pub mod simulate;
pub mod summary;
pub mod table;
mod tool_weight;
pub mod units_shown;
pub mod verify;
mod wrapped;
mod zero_steps;

use args::{Arguments, Command};
use clap::Parser;
use console::Console;
use failure::{Exit, Failure};
use std::ffi::OsString;

/// Parses a command line and runs it. Data goes to the console's `out`, talk to its `err`.
pub fn run_command_line<I, T>(arguments: I, console: &mut Console<'_>) -> Exit
where
    I: IntoIterator<Item = T>,
    T: Into<OsString> + Clone,
{
    let parsed = match Arguments::try_parse_from(arguments) {
        Ok(parsed) => parsed,
        Err(refusal) => return console.show_refusal(&refusal),
    };
    console.set_quiet(parsed.quiet);
    match dispatch(&parsed.command, console) {
        Ok(exit) => exit,
        Err(failure) => console.show_failure(&failure),
    }
}

fn dispatch(command: &Command, console: &mut Console<'_>) -> Result<Exit, Failure> {
    match command {
        Command::Forecast(args) => forecast::run(args, console),
        Command::Import(args) => import::run(args, console),
        Command::Recompute(args) => recompute::run(args, console),
        Command::Export(args) => export::run(args, console),
        Command::Report(args) => report::run(args, console),
        Command::Chain(args) => chain::run(args, console),
        Command::Plan(args) => plan::run(args, console),
        Command::Compare(args) => compare::run(args, console),
        Command::Batch(args) => batch::run(args, console),
        Command::Verify(args) => verify::run(args, console),
        Command::Completions(args) => manual::print_completions(args, console),
        Command::Man(args) => manual::print_manual(args, console),
        Command::Simulate(args) => simulate::run(args, console),
    }
}
