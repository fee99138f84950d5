//! Thin shell around the library: real stdout, stderr and exit code.

use kerfwatch_replay::console::Console;
use std::io::{self, IsTerminal};
use std::process::ExitCode;

fn main() -> ExitCode {
    let terminal = io::stderr().is_terminal();
    let mut out = io::BufWriter::new(io::stdout().lock());
    let mut err = io::stderr();
    let mut console = Console::new(&mut out, &mut err, terminal);
    let exit = kerfwatch_replay::run_command_line(std::env::args_os(), &mut console);
    let exit = console.close(exit);
    ExitCode::from(exit.code())
}
