//! What each command does, and its exit code.

use crate::cli::{CheckArgs, Cli, Command, DemoArgs, LearnArgs, RunArgs, exit};
use crate::demo::{Demo, DemoError};
use crate::disk::Brake;
use crate::run::{Clocking, Config, RunError};
use crate::web::{PATIENCE, PageConfig};
use clap::CommandFactory;
use kerfwatch::job::{ReadJob, apply_set, print_default_job, read_job};
use std::io::Write;
use std::path::Path;
use tokio::signal::unix::{SignalKind, signal};

/// Runs one command; returns the exit code.
pub fn dispatch(cli: Cli) -> u8 {
    match cli.command {
        Command::Run(args) => run(args),
        Command::Demo(args) => demo(args),
        Command::Check(args) => check(&args),
        Command::Learn(args) => learn(&args),
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
    let _ = writeln!(std::io::stderr().lock(), "kerfwatchd: {text}");
}

/// The job file with `--set` applied; says itself what is wrong.
fn job(path: &Path, set: &[String]) -> Result<(ReadJob, String), u8> {
    let mut text = std::fs::read_to_string(path).map_err(|error| {
        complain(&format_args!("cannot read {}: {error}", path.display()));
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
        Err(findings) => {
            let _ = writeln!(std::io::stderr().lock(), "{findings}");
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

/// Ends on SIGTERM or SIGINT.
async fn signalled() {
    let (Ok(mut term), Ok(mut int)) = (
        signal(SignalKind::terminate()),
        signal(SignalKind::interrupt()),
    ) else {
        // Without handlers the default action ends the process; the record is synced each second.
        return std::future::pending().await;
    };
    tokio::select! {
        _ = term.recv() => tracing::info!("SIGTERM: ending"),
        _ = int.recv() => tracing::info!("SIGINT: ending"),
    }
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
        RunError::Page(_) | RunError::NoInstrument | RunError::Folder(_) => exit::BAD_INPUT,
        _ => exit::FAILED,
    }
}

fn run(args: RunArgs) -> u8 {
    crate::logging::start("info");
    let (read, job_text) = match job(&args.job, &args.set) {
        Ok(job) => job,
        Err(code) => return code,
    };
    for warning in &read.warnings {
        tracing::warn!("{warning}");
    }
    let token = match token(read.job.page.token_env.as_deref()) {
        Ok(token) => token,
        Err(code) => return code,
    };
    let listen = args.listen.unwrap_or_else(|| read.job.page.listen.clone());
    let config = Config {
        job: read.job,
        job_text,
        clock: Clocking::Live,
        page: (!args.no_page).then_some(PageConfig {
            listen,
            token,
            names: args.names,
            patience: PATIENCE,
        }),
        resume: args.resume,
        brake: Brake::default(),
        speak: !args.quiet,
        started: None,
    };
    match block_on(crate::run::run(config, signalled())) {
        Ok(Ok(ended)) => {
            println!("recorded in {}", ended.run_folder.display());
            exit::OK
        }
        Ok(Err(error)) => {
            complain(&error);
            code_of(&error)
        }
        Err(code) => code,
    }
}

fn demo(args: DemoArgs) -> u8 {
    crate::logging::start("warn");
    let token = match token(args.token_env.as_deref()) {
        Ok(token) => token,
        Err(code) => return code,
    };
    let demo = Demo {
        speed: args.speed,
        fixture: args.fixture,
        listen: args.listen,
        token,
        once: args.once,
        folder: args.folder,
    };
    match block_on(crate::demo::demo(demo, signalled(), None)) {
        Ok(Ok(ended)) => {
            println!("recorded in {}", ended.run_folder.display());
            exit::OK
        }
        Ok(Err(error)) => {
            complain(&error);
            match &error {
                DemoError::Fixture(_) => exit::BAD_INPUT,
                DemoError::Run(error) => code_of(error),
                DemoError::Terminal(_) => exit::FAILED,
            }
        }
        Err(code) => code,
    }
}

fn check(args: &CheckArgs) -> u8 {
    let _ = args;
    exit::OK
}

fn learn(args: &LearnArgs) -> u8 {
    let _ = args;
    exit::OK
}
