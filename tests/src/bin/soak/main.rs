//! The release daemon for hours at 2 x 1 kHz with random faults; proves by count that nothing synced was
//! lost, no alarm missed, and memory stays flat. Exit code 1 when any of it fails.
//!
//! ```text
//! cargo build --release -p kerfwatchd
//! cargo run --release -p kerfwatch-tests --bin soak -- --minutes 60
//! ```
//!
//! Faults, one at a time, by `--seed`: an instrument or both pulled out and put back; `kill -9` and
//! `--resume`; the disk full (needs root: the record then lies on a small file system in memory); steps of
//! the system clock (needs `--faketime`, the library of the Debian package `libfaketime`; only the
//! daemon's own view of it steps). Under all of them the database comes and goes and most pages read
//! slowly. Overpulls come at random times all through, also while the depth instrument is out.

mod faults;
mod verdict;

use clap::Parser;
use faults::{Clock, Soak};
use kerfwatch::alarm::GuardModel;
use kerfwatch::job::{Job, apply_set, print_default_job, read_job};
use kerfwatch_tests::small_disk::SmallDisk;
use kerfwatch_tests::soak::daemon::{Daemon, Program, TOKEN_ENV};
use kerfwatch_tests::soak::instruments::{Instruments, NAMES};
use kerfwatch_tests::soak::pages;
use kerfwatch_tests::soak::server::Server;
use kerfwatchd::demo::fixture::with_plain_instruments;
use kerfwatchd::demo::terminal::Terminal;
use std::collections::BTreeMap;
use std::ffi::OsString;
use std::fs;
use std::io::{BufRead, BufReader, ErrorKind};
use std::net::TcpListener;
use std::path::{Path, PathBuf};
use std::sync::mpsc::{Receiver, channel};
use std::time::{Duration, Instant};

#[derive(Debug, Parser)]
pub(crate) struct Args {
    /// How long.
    #[arg(long, default_value_t = 60.0)]
    pub(crate) minutes: f64,
    /// Readings a second of each instrument.
    #[arg(long, default_value_t = 1000)]
    pub(crate) rate: u32,
    /// Which faults come when.
    #[arg(long, default_value_t = 1)]
    pub(crate) seed: u64,
    /// Mean time between faults, s.
    #[arg(long, default_value_t = 45)]
    pub(crate) fault_every: u64,
    /// Readers of the live stream.
    #[arg(long, default_value_t = 12)]
    pub(crate) pages: usize,
    /// Size of the disk in memory, MiB; 0: record to the ordinary disk, which is then never full.
    #[arg(long, default_value_t = 512)]
    pub(crate) disk_mib: u64,
    /// libfaketime.so.1, for steps of the clock.
    #[arg(long)]
    pub(crate) faketime: Option<PathBuf>,
    /// The program; default: beside this one.
    #[arg(long)]
    pub(crate) program: Option<PathBuf>,
    /// Keep the folder with the record and the daemon's log.
    #[arg(long)]
    pub(crate) keep: bool,
}

fn main() -> anyhow::Result<()> {
    let args = Args::parse();
    let folder = tempfile::Builder::new().prefix("soak").tempdir()?;
    let played = play(&args, folder.path());
    if args.keep || played.is_err() {
        println!("kept: {}", folder.keep().display());
    }
    if !played? {
        std::process::exit(1);
    }
    Ok(())
}

fn play(args: &Args, folder: &Path) -> anyhow::Result<bool> {
    let runs = folder.join("runs");
    fs::create_dir(&runs)?;
    let disk = (args.disk_mib > 0)
        .then(|| SmallDisk::mount(&runs, args.disk_mib << 20))
        .flatten();
    if disk.is_none() {
        println!("no small disk (it takes root): the disk is never full in this run");
    }
    if args.faketime.is_none() {
        println!("no --faketime: the clock does not step in this run");
    }
    let server = Server::start()?;
    let horn = Terminal::open()?;
    // Free now; nobody else here takes ports by the second.
    let page = TcpListener::bind("127.0.0.1:0")?.local_addr()?;
    let text = job_text(folder, &runs, &horn.path, &server, &page.to_string())?;
    let job = read_job(&text, "soak job")
        .map_err(|f| anyhow::anyhow!("{f}"))?
        .job;
    let clock = Clock::right(folder.join("clock"))?;
    let program = Program {
        path: match &args.program {
            Some(path) => path.clone(),
            None => std::env::current_exe()?.with_file_name("kerfwatchd"),
        },
        job: folder.join("job.toml"),
        page,
        runs: runs.clone(),
        log: folder.join("daemon.log"),
        environment: environment(args, &clock.file),
    };
    anyhow::ensure!(
        program.path.is_file(),
        "there is no {}: cargo build --release -p kerfwatchd",
        program.path.display()
    );
    fs::write(&program.job, &text)?;
    let (up_n, down_n, limit_n) = tensions(&job);
    println!(
        "seed {}, 2 x {} lines/s, {:.0} N up, {:.0} N down, limit {:.0} N, {} pages",
        args.seed, args.rate, up_n, down_n, limit_n, args.pages
    );
    let words = listen(horn)?;
    let instruments = Instruments::start(folder, args.rate, up_n, down_n)?;
    let mut daemon = Daemon::start(&program, None)?;
    for channel in 0..2 {
        instruments.account().excuse_from_line(channel, 0, "start");
    }
    daemon.wait_until_up(2)?;
    let run = fs::read_dir(&runs)?
        .flatten()
        .map(|entry| entry.path())
        .find(|path| path.join("run.toml").is_file())
        .ok_or_else(|| anyhow::anyhow!("no run folder below {}", runs.display()))?;
    let again = pages::start(page, args.pages);
    let mut soak = Soak {
        program,
        daemon: Some(daemon),
        run,
        instruments,
        words,
        limit_n,
        disk,
        clock,
        plugged: [true; 2],
        faults: BTreeMap::new(),
        false_alarms: 0,
        record_lost: 0,
        unsynced: 0,
        longest_away: Duration::ZERO,
    };
    soak.heard_again(&[0, 1]);
    let memory = soak.faults(args, &server)?;
    server.set_down(false);
    println!(
        "pages connected again: {}",
        again.load(std::sync::atomic::Ordering::Relaxed)
    );
    verdict::finish(soak, &server, &memory, folder)
}

fn environment(args: &Args, clock_file: &Path) -> Vec<(String, OsString)> {
    let as_installed = kerfwatch_tests::unit_file::environment().into_iter();
    let mut all: Vec<(String, OsString)> = as_installed
        .map(|(name, value)| (name, value.into()))
        .collect();
    all.push(("KERFWATCH_LOG".to_owned(), "info".into()));
    if let Some(library) = &args.faketime {
        all.extend([
            ("LD_PRELOAD".to_owned(), library.into()),
            ("FAKETIME_TIMESTAMP_FILE".to_owned(), clock_file.into()),
            ("FAKETIME_DONT_FAKE_MONOTONIC".to_owned(), "1".into()),
            ("FAKETIME_CACHE_DURATION".to_owned(), "1".into()),
        ]);
    }
    all
}

fn job_text(
    folder: &Path,
    runs: &Path,
    horn: &Path,
    server: &Server,
    page: &str,
) -> anyhow::Result<String> {
    let mut text = with_plain_instruments(print_default_job())?;
    let port = |channel: usize| format!("serial:{}", folder.join(NAMES[channel]).display());
    for (key, value) in [
        ("load.port", port(0)),
        (
            "load.pattern",
            r"L (?P<load>[-+0-9.]+) #(?P<seq>\d+)".to_owned(),
        ),
        ("depth.port", port(1)),
        (
            "depth.pattern",
            r"D (?P<depth>[-+0-9.]+) #(?P<seq>\d+)".to_owned(),
        ),
        ("record.folder", runs.display().to_string()),
        ("page.listen", page.to_owned()),
        ("page.token_env", TOKEN_ENV.to_owned()),
    ] {
        let value = toml::Value::String(value);
        text = apply_set(&text, &format!("{key}={value}")).map_err(|e| anyhow::anyhow!(e))?;
    }
    text.push_str(&format!(
        "\n[[alarm.output]]\nname = \"horn\"\nkind = \"serial-line\"\nport = \"serial:{}\"\nalarms = [\"overpull\"]\nheartbeat = \"60 s\"\n",
        horn.display()
    ));
    text.push_str(&format!(
        "\n[forward]\nurl = \"http://{}\"\norg = \"soak\"\nbucket = \"soak\"\n",
        server.address
    ));
    Ok(text)
}

/// Tension of a calm stroke up and down, and the limit, N.
fn tensions(job: &Job) -> (f64, f64, f64) {
    let model = GuardModel::new(job);
    let pick_up = model.pick_up_n(2010.0);
    (
        1.05 * pick_up,
        0.8 * pick_up,
        model.limit_n(Some(2005.0)).max(model.limit_n(Some(2015.0))),
    )
}

/// What the daemon says to the horn, with the time when it was heard.
fn listen(horn: Terminal) -> anyhow::Result<Receiver<(Instant, String)>> {
    let (said, words) = channel();
    let reader = horn.end()?;
    std::thread::spawn(move || {
        let _horn = horn;
        let mut lines = BufReader::new(reader);
        let mut line = String::new();
        loop {
            match lines.read_line(&mut line) {
                Ok(_) if line.ends_with('\n') => {
                    if said.send((Instant::now(), line.trim().to_owned())).is_err() {
                        return;
                    }
                    line.clear();
                }
                Ok(_) => {}
                Err(error) if error.kind() == ErrorKind::WouldBlock => {
                    std::thread::sleep(Duration::from_millis(1));
                }
                // No reader on the other side for a while (the daemon is away).
                Err(_) => std::thread::sleep(Duration::from_millis(20)),
            }
        }
    });
    Ok(words)
}
