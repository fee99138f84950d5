//! Where answers go: data to `out`, talk and progress to `err`.

use crate::failure::{Exit, Failure};
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use std::fmt;
use std::io::{self, Write};

/// Output of one command. Progress bars appear only on a terminal and never with `--quiet`.
pub struct Console<'a> {
    out: &'a mut dyn Write,
    err: &'a mut dyn Write,
    terminal: bool,
    quiet: bool,
    closed: bool,
}

impl<'a> Console<'a> {
    /// `terminal`: a person watches `err`, so progress bars make sense.
    pub fn new(out: &'a mut dyn Write, err: &'a mut dyn Write, terminal: bool) -> Self {
        Self {
            out,
            err,
            terminal,
            quiet: false,
            closed: false,
        }
    }

    /// With `true`, [`Console::talk`] and progress bars are silent.
    pub fn set_quiet(&mut self, quiet: bool) {
        self.quiet = quiet;
    }

    /// Writes result bytes. A closed pipe is [`Failure::OutputClosed`].
    pub fn data(&mut self, bytes: &[u8]) -> Result<(), Failure> {
        self.out.write_all(bytes).map_err(output_failure)
    }

    /// Writes one line of result text.
    pub fn line(&mut self, text: impl fmt::Display) -> Result<(), Failure> {
        writeln!(self.out, "{text}").map_err(output_failure)
    }

    /// Shows what was written so far: for commands that then go on for long.
    pub fn flush(&mut self) -> Result<(), Failure> {
        self.out.flush().map_err(output_failure)
    }

    /// One line of talk; a failing `err` is ignored, there is nowhere left to say it.
    pub fn talk(&mut self, text: impl fmt::Display) {
        if !self.quiet {
            let _ = writeln!(self.err, "{text}");
        }
    }

    /// One line that must be seen even with `--quiet`: damage, rows set aside.
    pub fn warn(&mut self, text: impl fmt::Display) {
        let _ = writeln!(self.err, "warning: {text}");
    }

    /// A progress bar over `total` units of work, invisible unless a person watches.
    pub fn progress(&self, total: u64, what: &str) -> ProgressBar {
        if self.quiet || !self.terminal {
            return ProgressBar::hidden();
        }
        let bar = ProgressBar::with_draw_target(Some(total), ProgressDrawTarget::stderr_with_hz(5));
        let style = ProgressStyle::with_template("{msg} [{bar:30}] {percent:>3}% {eta}")
            .unwrap_or_else(|_| ProgressStyle::default_bar())
            .progress_chars("##-");
        bar.set_style(style);
        bar.set_message(what.to_owned());
        bar
    }

    /// Shows why the command line was refused, or the help that was asked for.
    pub fn show_refusal(&mut self, refusal: &clap::Error) -> Exit {
        if refusal.use_stderr() {
            let _ = write!(self.err, "{}", refusal.render());
            Exit::BadInput
        } else {
            let _ = write!(self.out, "{}", refusal.render());
            Exit::Well
        }
    }

    /// Shows a failure and gives its exit code.
    pub fn show_failure(&mut self, failure: &Failure) -> Exit {
        match failure {
            Failure::OutputClosed => self.closed = true,
            _ => {
                let _ = writeln!(self.err, "error: {failure}");
            }
        }
        failure.exit()
    }

    /// Flushes; an output that could not be written turns `exit` into bad input.
    pub fn close(self, exit: Exit) -> Exit {
        if self.closed {
            return exit;
        }
        match self.out.flush() {
            Ok(()) => exit,
            Err(e) if e.kind() == io::ErrorKind::BrokenPipe => exit,
            Err(e) => {
                let _ = writeln!(self.err, "error: standard output: {e}");
                exit.and(Exit::BadInput)
            }
        }
    }
}

fn output_failure(source: io::Error) -> Failure {
    if source.kind() == io::ErrorKind::BrokenPipe {
        Failure::OutputClosed
    } else {
        Failure::write("standard output", source)
    }
}
