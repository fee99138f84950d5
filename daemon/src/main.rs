//! `kerfwatchd`: see the library.

use clap::Parser;
use std::process::ExitCode;

fn main() -> ExitCode {
    let cli = kerfwatchd::cli::Cli::parse();
    ExitCode::from(kerfwatchd::commands::dispatch(cli))
}
