//! What each command does, and its exit code. What they share stands here; each has a file of its own.

mod check;
mod demo;
mod forward;
mod learn;
mod run;

use crate::cli::{Cli, Command, exit};
use crate::clock::RunClock;
use crate::lines_out;
use crate::ports::Clock;
use crate::run::RunError;
use clap::CommandFactory;
use kerfwatch::job::{ReadJob, apply_set, print_default_job, read_job};
use std::io::Write;
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;
use tokio::signal::unix::{SignalKind, signal};

/// What has been said is given so long to reach a terminal that takes nothing.
const LAST_WORDS: Duration = Duration::from_secs(1);

/// Runs one command; returns the exit code.
pub fn dispatch(cli: Cli) -> u8 {
    let code = run_command(cli);
    lines_out::out().finish(LAST_WORDS);
    lines_out::err().finish(LAST_WORDS);
    code
}

fn run_command(cli: Cli) -> u8 {
    match cli.command {
        Command::Run(args) => run::run(args),
        Command::Demo(args) => demo::demo(args),
        Command::Check(args) => check::check(&args),
        Command::Learn(args) => learn::learn(&args),
        Command::Forward { run } => forward::forward(&run),
        Command::Config => print(print_default_job()),
        Command::Completions { shell } => {
            let mut text = Vec::new();
            clap_complete::generate(shell, &mut Cli::command(), "kerfwatchd", &mut text);
            print(&String::from_utf8_lossy(&text))
        }
        Command::Man => {
            let mut text = Vec::new();
            // Rendering into memory does not fail.
            let _ = clap_mangen::Man::new(Cli::command()).render(&mut text);
            print(&String::from_utf8_lossy(&text))
        }
    }
}

fn print(text: &str) -> u8 {
    // `| head` closes the pipe early; that is no failure.
    let _ = std::io::stdout().lock().write_all(text.as_bytes());
    exit::OK
}

fn complain(text: &dyn std::fmt::Display) {
    lines_out::err().send(format!("kerfwatchd: {text}\n").into_bytes());
}

/// Refuses what is no folder; says so itself.
fn folder_of_a_run(run: &Path) -> Result<(), u8> {
    if run.is_dir() {
        return Ok(());
    }
    complain(&format_args!(
        "{}: no such folder; name the folder of a run, as `run` told it when it started",
        run.display()
    ));
    Err(exit::BAD_INPUT)
}

/// The remedy for a job file that cannot be read.
fn what_to_do(kind: std::io::ErrorKind) -> &'static str {
    use std::io::ErrorKind as E;
    match kind {
        E::NotFound => "; `kerfwatchd config > job.toml` writes a sample to fill in",
        E::IsADirectory => "; name the job file in it",
        E::InvalidData => "; save it as UTF-8 text",
        _ => "",
    }
}

/// The job file with `--set` applied; says itself what is wrong, as JSON on standard output when
/// `json`.
fn job(path: &Path, set: &[String], json: bool) -> Result<(ReadJob, String), u8> {
    let mut text = std::fs::read_to_string(path).map_err(|error| {
        complain(&format_args!(
            "cannot read {}: {error}{}",
            path.display(),
            what_to_do(error.kind())
        ));
        exit::BAD_INPUT
    })?;
    for assignment in set {
        text = apply_set(&text, assignment).map_err(|error| {
            complain(&format_args!("--set {assignment}: {error}"));
            exit::BAD_INPUT
        })?;
    }
    match read_job(&text, &path.display().to_string()) {
        Ok(read) => Ok((read, text)),
        Err(findings) if json => {
            let answer = serde_json::json!({"format": 1, "findings": findings.as_json()});
            print(&format!("{answer:#}\n"));
            Err(exit::BAD_INPUT)
        }
        Err(findings) => {
            lines_out::err().send(format!("{findings}\n").into_bytes());
            Err(exit::BAD_INPUT)
        }
    }
}

/// The token from the environment: a named variable that is not set is an error, not "no token".
fn token(variable: Option<&str>) -> Result<Option<String>, u8> {
    let Some(variable) = variable else {
        return Ok(None);
    };
    match std::env::var(variable) {
        Ok(token) if !token.trim().is_empty() => Ok(Some(token.trim().to_owned())),
        _ => {
            complain(&format_args!(
                "the token variable {variable} is not set: export {variable}=$(openssl rand -hex 16)"
            ));
            Err(exit::BAD_INPUT)
        }
    }
}

/// What a command does when the terminal that started it is closed, or its session drops.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Hangup {
    /// Watching a job: a lost session must take neither alarms nor record from the crew.
    GoOn,
    /// Nobody is left who wanted it.
    End,
}

/// Ends on SIGTERM or SIGINT, and on SIGHUP as `hangup` says; where whoever started us had SIGHUP ignored
/// (`nohup`), it stays so. Signals are caught from this call on, which must be made within a runtime, and not only when
/// the answer is first waited for: a run that is just starting has a folder to leave in order too.
fn signalled(hangup: Hangup) -> impl Future<Output = ()> {
    let ignored = std::fs::read_to_string("/proc/self/status")
        .is_ok_and(|status| ignores(&status, SignalKind::hangup()));
    let handlers = (
        signal(SignalKind::terminate()),
        signal(SignalKind::interrupt()),
    );
    let mut closed = (!ignored)
        .then(|| signal(SignalKind::hangup()).ok())
        .flatten();
    async move {
        let (Ok(mut term), Ok(mut int)) = handlers else {
            // Without handlers the default action ends the process; the record is synced each second.
            return std::future::pending().await;
        };
        loop {
            let hung_up = async {
                match &mut closed {
                    Some(closed) => closed.recv().await,
                    None => std::future::pending().await,
                }
            };
            tokio::select! {
                _ = term.recv() => tracing::info!("SIGTERM: ending"),
                _ = int.recv() => tracing::info!("SIGINT: ending"),
                _ = hung_up => match hangup {
                    Hangup::GoOn => {
                        tracing::warn!(
                            "SIGHUP: the terminal was closed; the run goes on, `kill {}` ends it",
                            std::process::id()
                        );
                        continue;
                    }
                    Hangup::End => tracing::info!("SIGHUP: ending"),
                },
            }
            return;
        }
    }
}

/// Whether a process with this `/proc/PID/status` ignores a signal.
fn ignores(status: &str, signal: SignalKind) -> bool {
    let mask = status
        .lines()
        .find_map(|line| line.strip_prefix("SigIgn:"))
        .and_then(|mask| u64::from_str_radix(mask.trim(), 16).ok());
    mask.is_some_and(|mask| mask >> (signal.as_raw_value() - 1) & 1 == 1)
}

fn block_on<T>(future: impl Future<Output = T>) -> Result<T, u8> {
    tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .map(|runtime| runtime.block_on(future))
        .map_err(|error| {
            complain(&format_args!("cannot start: {error}"));
            exit::FAILED
        })
}

fn code_of(error: &RunError) -> u8 {
    match error {
        RunError::Page(_)
        | RunError::NoInstrument
        | RunError::Folder(_)
        | RunError::Instruments(_) => exit::BAD_INPUT,
        _ => exit::FAILED,
    }
}

fn live_clock() -> Clock {
    let clock = RunClock::live(0);
    Arc::new(move || clock.now())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_ignored_hangup_is_told_from_one_that_is_not() {
        let hangup = SignalKind::hangup();
        assert!(ignores("Pid:\t7\nSigIgn:\t0000000000001001\n", hangup));
        assert!(!ignores("Pid:\t7\nSigIgn:\t0000000000001000\n", hangup));
        assert!(!ignores("", hangup));
    }
}
