//! What each command does, and its exit code.

use crate::cli::{CheckArgs, Cli, Command, DemoArgs, LearnArgs, RunArgs, exit};
use crate::clock::RunClock;
use crate::demo::{Demo, DemoError};
use crate::disk::Brake;
use crate::forward::{Forwarder, Limits};
use crate::ports::address::Address;
use crate::ports::discover::serial_ports;
use crate::ports::listen::{Heard, listen};
use crate::ports::{Clock, PortConfig};
use crate::progress::Progress;
use crate::run::{Clocking, Config, RunError};
use crate::web::{PATIENCE, PageConfig};
use clap::CommandFactory;
use kerfwatch::decode::PortDecoder;
use kerfwatch::input::PortNumber;
use kerfwatch::job::{Job, ReadJob, apply_set, print_default_job, read_job, summary};
use kerfwatch::recording::{Folder, RunHead, RunReader};
use std::io::Write;
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;
use tokio::signal::unix::{SignalKind, signal};

/// Runs one command; returns the exit code.
pub fn dispatch(cli: Cli) -> u8 {
    match cli.command {
        Command::Run(args) => run(args),
        Command::Demo(args) => demo(args),
        Command::Check(args) => check(&args),
        Command::Learn(args) => learn(&args),
        Command::Forward { run } => forward(&run),
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

/// The job file with `--set` applied; says itself what is wrong, as JSON on standard output when
/// `json`.
fn job(path: &Path, set: &[String], json: bool) -> Result<(ReadJob, String), u8> {
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
        Err(findings) if json => {
            let answer = serde_json::json!({"format": 1, "findings": findings.as_json()});
            print(&format!("{answer:#}\n"));
            Err(exit::BAD_INPUT)
        }
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

/// Sends on the rest of a run.
fn forward(run: &Path) -> u8 {
    crate::logging::start("info");
    let shown = run.display();
    let head = match RunReader::open(run).and_then(|_| RunHead::read(&Folder::open(run))) {
        Ok(head) => head,
        Err(error) => {
            complain(&format_args!("{shown}: {error}"));
            return exit::BAD_INPUT;
        }
    };
    let place = match read_job(&head.job, "run.toml") {
        Ok(read) => read.job.forward,
        Err(findings) => {
            complain(&findings);
            return exit::BAD_INPUT;
        }
    };
    let Some(place) = place else {
        complain(&format_args!("{shown}: its job has no [forward] section"));
        return exit::BAD_INPUT;
    };
    let limits = Limits {
        // As long as it takes; a signal ends it.
        grace: Duration::from_secs(u64::from(u32::MAX)),
        ..Limits::default()
    };
    let (progress, alarms) = (Arc::<Progress>::default(), Arc::default());
    let counters = Arc::clone(&progress);
    let started = Forwarder::start(place, run.to_owned(), counters, alarms, limits);
    let sent = started.map_err(|error| {
        complain(&format_args!("cannot start: {error}"));
        exit::FAILED
    });
    let sent = sent.and_then(|forwarder| {
        block_on(async {
            tokio::select! {
                sent = forwarder.finish() => sent,
                () = signalled() => false,
            }
        })
    });
    let Some(view) = progress.forward.view() else {
        return exit::FAILED;
    };
    println!(
        "{} points sent, {} refused by the server",
        view.points, view.set_aside
    );
    match sent {
        Ok(true) if view.trouble.is_empty() => exit::OK,
        Ok(_) => {
            let why = Some(view.trouble).filter(|text| !text.is_empty());
            let why = why.map_or(String::new(), |text| format!(": {text}"));
            complain(&format_args!(
                "{shown}: not all was sent{why}; the same command goes on from there"
            ));
            exit::FAILED
        }
        Err(code) => code,
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
        RunError::Page(_)
        | RunError::NoInstrument
        | RunError::Folder(_)
        | RunError::Instruments(_) => exit::BAD_INPUT,
        _ => exit::FAILED,
    }
}

fn run(args: RunArgs) -> u8 {
    crate::logging::start("info");
    let (read, job_text) = match job(&args.job, &args.set, false) {
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
    let (read, _) = match job(&args.job, &args.set, args.json) {
        Ok(job) => job,
        Err(code) => return code,
    };
    let heard = if args.ports {
        match hear(&read.job, args.listen_s) {
            Ok(heard) => heard,
            Err(code) => return code,
        }
    } else {
        Vec::new()
    };
    let bad_ports = heard.iter().any(|(_, heard)| heard.advice().is_some());
    let mut text = String::new();
    if args.json {
        let ports: Vec<_> = heard
            .iter()
            .map(|(port, heard)| port_json(*port, heard))
            .collect();
        let answer = serde_json::json!({
            "format": 1,
            "summary": summary(&read.job),
            "warnings": read.warnings,
            "ports": ports,
        });
        text = format!("{answer:#}\n");
    } else {
        text.push_str(&summary(&read.job));
        for warning in &read.warnings {
            text.push_str(&format!("warning: {warning}\n"));
        }
        for (port, heard) in &heard {
            text.push_str(&port_text(*port, heard));
        }
    }
    print(&text);
    if bad_ports { exit::FAILED } else { exit::OK }
}

fn live_clock() -> Clock {
    let clock = RunClock::live(0);
    Arc::new(move || clock.now())
}

fn hear(job: &Job, listen_s: f64) -> Result<Vec<(PortNumber, Heard)>, u8> {
    let ports = PortConfig::of_job(job, &live_clock()).map_err(|error| {
        complain(&error);
        exit::BAD_INPUT
    })?;
    let time = Duration::from_secs_f64(listen_s.clamp(0.1, 3600.0));
    block_on(async {
        let mut tasks = Vec::new();
        for port in ports {
            let number = port.number;
            let decoder = PortDecoder::new(job, number).ok();
            let task = tokio::spawn(listen(port, decoder, time, |_| {}));
            tasks.push((number, task));
        }
        let mut heard = Vec::new();
        for (number, task) in tasks {
            heard.push((number, task.await.unwrap_or_default()));
        }
        heard
    })
}

fn port_json(port: PortNumber, heard: &Heard) -> serde_json::Value {
    serde_json::json!({
        "port": port,
        "opened": heard.opened,
        "bytes": heard.bytes,
        "readings": heard.readings,
        "bad_frames": heard.counts.bad,
        "newest": heard.newest.iter().map(|reading| reading.raw).collect::<Vec<_>>(),
        "advice": heard.advice(),
    })
}

fn port_text(port: PortNumber, heard: &Heard) -> String {
    let newest: Vec<String> = heard
        .newest
        .iter()
        .map(|reading| format!("{:?} {}", reading.channel, reading.raw).to_lowercase())
        .collect();
    let mut text = format!(
        "port {port}\n  {} bytes, {} readings, {} bad frames\n",
        heard.bytes, heard.readings, heard.counts.bad
    );
    if !newest.is_empty() {
        text.push_str(&format!("  newest: {}\n", newest.join(", ")));
    }
    if let Some(advice) = heard.advice() {
        text.push_str(&format!("  {advice}\n"));
    }
    text
}

fn learn(args: &LearnArgs) -> u8 {
    if let Err(error) = Address::parse(&args.port) {
        complain(&error);
        for port in serial_ports(Path::new("/")) {
            complain(&format_args!("there is {}", port.address()));
        }
        return exit::BAD_INPUT;
    }
    let time = Duration::from_secs_f64(args.listen_s.clamp(0.1, 3600.0));
    let clock = live_clock();
    let learning = crate::ports::learn::learn(&args.port, args.baud, time, &clock);
    let learned = match block_on(learning) {
        Ok(learned) => learned,
        Err(code) => return code,
    };
    let Some(best) = learned.proposals.first() else {
        let what = if learned.heard.bytes == 0 {
            learned.heard.advice().unwrap_or_default()
        } else {
            let beginning: String = learned
                .heard
                .beginning
                .iter()
                .take(120)
                .flat_map(|byte| std::ascii::escape_default(*byte))
                .map(char::from)
                .collect();
            format!("bytes come, but neither lines nor packets were made out: {beginning}")
        };
        complain(&format_args!("{}: {what}", args.port));
        return exit::FAILED;
    };
    let share = best.share * 100.0;
    print(&format!(
        "# {} bytes at {} baud; this reads {share:.0} % of the frames\nport = \"{}\"\nbaud = {}\n{}",
        learned.heard.bytes,
        learned.baud,
        args.port,
        learned.baud,
        best.job_lines()
    ))
}
