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

use clap::Parser;
use kerfwatch::alarm::GuardModel;
use kerfwatch::job::{Job, apply_set, print_default_job, read_job};
use kerfwatch_tests::mangle::Dice;
use kerfwatch_tests::soak::account::{Account, Overpull};
use kerfwatch_tests::soak::daemon::{Daemon, Program, TOKEN_ENV, forward};
use kerfwatch_tests::soak::instruments::{Instruments, NAMES};
use kerfwatch_tests::soak::proof::{self, Proof};
use kerfwatch_tests::soak::server::Server;
use kerfwatch_tests::soak::{pages, proof::Lines};
use kerfwatchd::demo::fixture::with_plain_instruments;
use kerfwatchd::demo::terminal::Terminal;
use std::collections::BTreeMap;
use std::ffi::OsString;
use std::fs;
use std::io::{BufRead, BufReader, ErrorKind, Read, Write};
use std::net::TcpListener;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::mpsc::{Receiver, channel};
use std::time::{Duration, Instant};

/// An alarm later than this is missed.
const ALARM_WITHIN: Duration = Duration::from_millis(1000);
/// How long the disk stays full.
const DISK_FULL: Duration = Duration::from_secs(20);
/// Memory may grow by this over the second half, MiB, and be this much in all.
const GROWTH_MIB: f64 = 2.0;
const MEMORY_MIB: f64 = 25.0;

#[derive(Debug, Parser)]
struct Args {
    /// How long.
    #[arg(long, default_value_t = 60.0)]
    minutes: f64,
    /// Readings a second of each instrument.
    #[arg(long, default_value_t = 1000)]
    rate: u32,
    /// Which faults come when.
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Mean time between faults, s.
    #[arg(long, default_value_t = 45)]
    fault_every: u64,
    /// Readers of the live stream.
    #[arg(long, default_value_t = 12)]
    pages: usize,
    /// Size of the disk in memory, MiB; 0: record to the ordinary disk, which is then never full.
    #[arg(long, default_value_t = 512)]
    disk_mib: u64,
    /// libfaketime.so.1, for steps of the clock.
    #[arg(long)]
    faketime: Option<PathBuf>,
    /// The program; default: beside this one.
    #[arg(long)]
    program: Option<PathBuf>,
    /// Keep the folder with the record and the daemon's log.
    #[arg(long)]
    keep: bool,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Fault {
    Unplug(usize),
    UnplugBoth,
    Kill,
    DiskFull,
    ClockStep,
}

impl Fault {
    fn name(self) -> &'static str {
        match self {
            Self::Unplug(0) => "load unplugged",
            Self::Unplug(_) => "depth unplugged",
            Self::UnplugBoth => "both unplugged",
            Self::Kill => "kill -9, resume",
            Self::DiskFull => "disk full",
            Self::ClockStep => "clock step",
        }
    }
}

/// A small file system in memory, unmounted at the end.
struct SmallDisk(PathBuf);

impl SmallDisk {
    fn mount(at: &Path, mib: u64) -> Option<Self> {
        let size = format!("size={mib}m");
        let status = Command::new("mount")
            .args(["-t", "tmpfs", "-o", &size, "tmpfs"])
            .arg(at)
            .status();
        status
            .is_ok_and(|s| s.success())
            .then(|| Self(at.to_owned()))
    }

    fn fill(&self) -> std::io::Result<()> {
        let mut ballast = fs::File::create(self.0.join("ballast"))?;
        // Ever smaller pieces, so that not a page is left.
        for size in [1 << 20, 4096, 1] {
            let piece = vec![0_u8; size];
            while ballast.write_all(&piece).is_ok() {}
        }
        Ok(())
    }

    fn free(&self) -> std::io::Result<()> {
        fs::remove_file(self.0.join("ballast"))
    }
}

impl Drop for SmallDisk {
    fn drop(&mut self) {
        let _ = Command::new("umount").arg(&self.0).status();
    }
}

/// The soak under way.
struct Soak {
    program: Program,
    daemon: Option<Daemon>,
    run: PathBuf,
    instruments: Instruments,
    words: Receiver<(Instant, String)>,
    limit_n: f64,
    disk: Option<SmallDisk>,
    clock_file: PathBuf,
    clock_steps: u64,
    plugged: [bool; 2],
    faults: BTreeMap<Fault, u64>,
    false_alarms: u64,
    record_lost: u64,
    /// Kills after which something was missing that had been reported as synced.
    unsynced: u64,
    longest_away: Duration,
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
        .then(|| SmallDisk::mount(&runs, args.disk_mib))
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
    let clock_file = folder.join("clock");
    fs::write(&clock_file, "+0s\n")?;
    let program = Program {
        path: match &args.program {
            Some(path) => path.clone(),
            None => std::env::current_exe()?.with_file_name("kerfwatchd"),
        },
        job: folder.join("job.toml"),
        page,
        runs: runs.clone(),
        log: folder.join("daemon.log"),
        environment: environment(args, &clock_file),
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
        instruments
            .account()
            .excuse(channel, Instant::now(), "start");
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
        clock_file,
        clock_steps: 0,
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
    finish(soak, &server, &memory, folder)
}

fn environment(args: &Args, clock_file: &Path) -> Vec<(String, OsString)> {
    let mut all = vec![("KERFWATCH_LOG".to_owned(), "info".into())];
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

impl Soak {
    fn daemon(&mut self) -> anyhow::Result<&mut Daemon> {
        self.daemon
            .as_mut()
            .ok_or_else(|| anyhow::anyhow!("the daemon is away"))
    }

    /// All faults; memory at the end of each minute, MiB.
    fn faults(&mut self, args: &Args, server: &Server) -> anyhow::Result<Vec<f64>> {
        let mut dice = Dice::new(args.seed);
        let start = Instant::now();
        let end = Duration::from_secs_f64(args.minutes * 60.0);
        let soon = |dice: &mut Dice, mean: u64| {
            Instant::now() + Duration::from_millis(mean * 500 + dice.below(mean * 1000))
        };
        let mut fault_due = soon(&mut dice, args.fault_every);
        let mut pull_due = soon(&mut dice, 8);
        let mut server_due = soon(&mut dice, 90);
        let mut minute_due = start + Duration::from_secs(60);
        let mut server_down = false;
        let mut memory = Vec::new();
        println!("minute  RSS MiB  most MiB  lines sent  overpulls  seen  faults  lag s  server");
        while start.elapsed() < end {
            std::thread::sleep(Duration::from_millis(20));
            let now = Instant::now();
            if now >= pull_due {
                self.overpull()?;
                pull_due = soon(&mut dice, 8);
            }
            if now >= fault_due {
                let fault = self.choose(args, &mut dice);
                self.play(fault, &mut dice)?;
                *self.faults.entry(fault).or_default() += 1;
                fault_due = soon(&mut dice, args.fault_every);
            }
            if now >= server_due {
                server_down = !server_down;
                server.set_down(server_down);
                server_due = soon(&mut dice, 90);
            }
            if now >= minute_due {
                minute_due += Duration::from_secs(60);
                memory.push(self.minute((now - start).as_secs() / 60, server_down)?);
            }
            anyhow::ensure!(!self.daemon()?.has_died(), "the daemon ended by itself");
        }
        Ok(memory)
    }

    fn minute(&mut self, minute: u64, server_down: bool) -> anyhow::Result<f64> {
        let daemon = self.daemon()?;
        let (rss, most) = daemon.memory_mib().unwrap_or((f64::NAN, f64::NAN));
        let lag = daemon
            .health()
            .map_or(f64::NAN, |h| h.ingest_s - h.recorded_s);
        let faults: u64 = self.faults.values().sum();
        let account = self.instruments.account();
        let seen = account
            .overpulls
            .iter()
            .filter(|o| o.seen_after.is_some())
            .count();
        println!(
            "{minute:6}  {rss:7.1}  {most:8.1}  {:10}  {:9}  {seen:4}  {faults:6}  {lag:5.1}  {}",
            account.sent_ms[0].len() + account.sent_ms[1].len(),
            account.overpulls.len(),
            if server_down { "down" } else { "up" },
        );
        drop(account);
        std::io::stdout().flush()?;
        Ok(rss)
    }

    fn choose(&self, args: &Args, dice: &mut Dice) -> Fault {
        loop {
            match dice.below(7) {
                0 => return Fault::Unplug(0),
                1 => return Fault::Unplug(1),
                2 => return Fault::UnplugBoth,
                3 | 4 => return Fault::Kill,
                5 if self.disk.is_some() => return Fault::DiskFull,
                6 if args.faketime.is_some() => return Fault::ClockStep,
                _ => {}
            }
        }
    }

    fn play(&mut self, fault: Fault, dice: &mut Dice) -> anyhow::Result<()> {
        let pause = Duration::from_millis(300 + dice.below(5000));
        match fault {
            Fault::Unplug(channel) => self.unplug(&[channel], pause),
            Fault::UnplugBoth => self.unplug(&[0, 1], pause),
            Fault::Kill => self.kill(pause),
            Fault::DiskFull => self.fill_disk(),
            Fault::ClockStep => {
                // Forward and back, seconds to an hour.
                let offset = i64::try_from(dice.below(7200))? - 3600;
                fs::write(&self.clock_file, format!("{offset:+}s\n"))?;
                self.clock_steps += 1;
                Ok(())
            }
        }
    }

    fn unplug(&mut self, channels: &[usize], pause: Duration) -> anyhow::Result<()> {
        let opened = self.ports_opened()?;
        for &channel in channels {
            // What was under way in the line when it was pulled out is gone: its buffer holds 4 KiB.
            let from = Instant::now() - Duration::from_millis(300);
            self.instruments
                .account()
                .excuse(channel, from, "instrument unplugged");
            self.instruments.unplug(channel);
            self.plugged[channel] = false;
        }
        std::thread::sleep(pause / 2);
        self.overpull()?;
        std::thread::sleep(pause / 2);
        for &channel in channels {
            self.instruments.plug(channel)?;
        }
        let want = opened + channels.len() as u64;
        self.daemon()?.wait_until_up(want)?;
        self.heard_again(channels);
        for &channel in channels {
            self.plugged[channel] = true;
        }
        Ok(())
    }

    fn ports_opened(&mut self) -> anyhow::Result<u64> {
        let health = self.daemon()?.health();
        Ok(health
            .and_then(|h| h.all["ports_opened"].as_u64())
            .unwrap_or(0))
    }

    /// From soon on every line counts again.
    fn heard_again(&mut self, channels: &[usize]) {
        for &channel in channels {
            self.instruments.set_deaf(channel, false);
        }
        // A line that was cut short spoils the next one.
        std::thread::sleep(Duration::from_millis(500));
        for &channel in channels {
            self.instruments
                .account()
                .no_excuse(channel, Instant::now());
        }
    }

    fn kill(&mut self, pause: Duration) -> anyhow::Result<()> {
        self.overpull()?;
        self.note_lost();
        let Some(health) = self.daemon()?.health() else {
            anyhow::bail!("the page does not answer");
        };
        let Some(daemon) = self.daemon.take() else {
            return Ok(());
        };
        daemon.kill()?;
        for channel in 0..2 {
            self.instruments.set_deaf(channel, true);
        }
        // What it had said to be on disk has to be there; lines after the last one on disk may be gone.
        let (reached_s, next) = proof::end_of(&self.run)?;
        self.unsynced += u64::from(reached_s < health.recorded_s);
        for channel in 0..2 {
            let why = "killed: not yet written, or away";
            self.instruments
                .account()
                .excuse_from_line(channel, next[channel], why);
        }
        std::thread::sleep(pause);
        let back = Instant::now();
        let mut daemon = Daemon::start(&self.program, Some(&self.run))?;
        daemon.wait_until_up(2)?;
        self.longest_away = self.longest_away.max(back.elapsed());
        self.daemon = Some(daemon);
        self.heard_again(&[0, 1]);
        Ok(())
    }

    fn fill_disk(&mut self) -> anyhow::Result<()> {
        let Some(disk) = &self.disk else {
            return Ok(());
        };
        disk.fill()?;
        let end = Instant::now() + DISK_FULL;
        while Instant::now() < end {
            self.overpull()?;
            std::thread::sleep(Duration::from_secs(3));
        }
        if let Some(disk) = &self.disk {
            disk.free()?;
        }
        // Until it is written again: what follows must not find it half way.
        let freed = Instant::now();
        let freed_s = self.daemon()?.health().map_or(0.0, |h| h.ingest_s);
        while let Some(health) = self.daemon()?.health() {
            if health.recorded_s > freed_s {
                break;
            }
            anyhow::ensure!(
                freed.elapsed() < Duration::from_secs(120),
                "no record again after the disk was full: {}",
                health.all
            );
            std::thread::sleep(Duration::from_millis(200));
        }
        Ok(())
    }

    fn note_lost(&mut self) {
        let lost = self.daemon.as_ref().and_then(Daemon::health);
        let lost = lost
            .and_then(|h| h.all["record_lost"].as_u64())
            .unwrap_or(0);
        self.record_lost += lost;
    }

    /// An overpull, if the load instrument is in; waits until it is told, then takes it back.
    fn overpull(&mut self) -> anyhow::Result<()> {
        if !self.plugged[0] {
            return Ok(());
        }
        while let Ok((_, word)) = self.words.try_recv() {
            self.false_alarms += u64::from(word.contains("ALARM"));
        }
        let (first, end, begin) = self
            .instruments
            .pull(1.05 * self.limit_n, Duration::from_millis(30));
        let seen_after = self
            .wait_for_word(|word| word.contains("ALARM"), begin + ALARM_WITHIN)
            .map(|heard| heard.saturating_duration_since(begin));
        self.instruments.account().overpulls.push(Overpull {
            first,
            end,
            seen_after,
        });
        // Acknowledged and reset, the horn says that all is well: the next is told anew.
        let patience = Instant::now() + Duration::from_secs(10);
        while Instant::now() < patience {
            let daemon = self.daemon()?;
            daemon.post("/api/v1/alarms/overpull/acknowledge");
            daemon.post("/api/v1/alarms/overpull/reset");
            let soon = Instant::now() + Duration::from_millis(1000);
            if self
                .wait_for_word(|word| !word.contains("ALARM"), soon)
                .is_some()
            {
                break;
            }
        }
        Ok(())
    }

    fn wait_for_word(&self, is_it: impl Fn(&str) -> bool, until: Instant) -> Option<Instant> {
        loop {
            let patience = until.checked_duration_since(Instant::now())?;
            let (heard, word) = self.words.recv_timeout(patience).ok()?;
            if is_it(&word) {
                return Some(heard);
            }
        }
    }
}

/// Ends all, reads back, prints the proof; whether it holds.
fn finish(mut soak: Soak, server: &Server, memory: &[f64], folder: &Path) -> anyhow::Result<bool> {
    soak.note_lost();
    let steps_seen = soak
        .daemon()?
        .health()
        .and_then(|h| h.all["clock_steps"].as_u64());
    let account = soak.instruments.stop()?;
    std::thread::sleep(Duration::from_secs(1));
    if let Some(daemon) = soak.daemon.take() {
        daemon.end()?;
    }
    forward(&soak.program, &soak.run)?;
    let sent_live = server.take();
    let copy = folder.join("copy");
    let copied = Command::new("cp")
        .arg("-r")
        .arg(&soak.run)
        .arg(&copy)
        .status()?;
    anyhow::ensure!(copied.success(), "the run folder cannot be copied");
    fs::remove_file(copy.join("forward.toml"))?;
    forward(&soak.program, &copy)?;
    let sent_afterwards = server.take();
    let proof = proof::read(&soak.run, &account)?;

    println!("\nfaults:");
    for (fault, count) in &soak.faults {
        println!("  {count:4}  {}", fault.name());
    }
    println!(
        "  {:4}  requests that found the server down",
        server.refused()
    );
    println!(
        "clock steps: {} made, {} noticed since the last start",
        soak.clock_steps,
        steps_seen.unwrap_or(0)
    );
    println!(
        "longest time to resume a run: {:.1} s",
        soak.longest_away.as_secs_f64()
    );
    let mut log = String::new();
    fs::File::open(&soak.program.log)?.read_to_string(&mut log)?;
    println!(
        "panics in the daemon's log: {}",
        log.matches("panicked").count()
    );

    let mut all = Verdicts(true);
    all.judge(log.matches("panicked").count() == 0, "no panic");
    all.judge(
        soak.unsynced == 0,
        "after each kill, all was there that had been reported as synced",
    );
    lines(&proof, &mut all, soak.record_lost);
    alarms(&proof, &account, soak.false_alarms, &mut all);
    let missing: Vec<_> = sent_afterwards.difference(&sent_live).collect();
    println!(
        "server: {} points in the run, {} of another run of the forwarder missing",
        sent_live.len(),
        missing.len()
    );
    for point in missing.iter().take(5) {
        println!("  missing: {point}");
    }
    all.judge(
        missing.is_empty() && !sent_live.is_empty(),
        "every point reached the server",
    );
    flat(memory, &mut all);
    Ok(all.0)
}

struct Verdicts(bool);

impl Verdicts {
    fn judge(&mut self, holds: bool, what: &str) {
        println!("{}: {what}", if holds { "HOLDS" } else { "FAILS" });
        self.0 &= holds;
    }
}

fn lines(proof: &Proof, all: &mut Verdicts, record_lost: u64) {
    println!(
        "record: {} inputs; inputs the daemon itself counted as lost: {record_lost}",
        proof.inputs
    );
    for damage in &proof.damage {
        println!("  {damage}");
    }
    for (
        name,
        Lines {
            sent,
            recorded,
            doubled,
            excused,
            lost,
        },
    ) in NAMES.iter().zip(&proof.lines)
    {
        println!(
            "{name}: {sent} lines sent, {recorded} recorded, {doubled} twice, {} lost {:?}",
            lost.1, lost.0
        );
        for (why, count) in excused {
            println!("  {count} not recorded: {why}");
        }
    }
    let lost: usize = proof.lines.iter().map(|lines| lines.lost.1).sum();
    let doubled: usize = proof.lines.iter().map(|lines| lines.doubled).sum();
    all.judge(
        lost == 0 && doubled == 0,
        "every synced line is in the record, once",
    );
}

fn alarms(proof: &Proof, account: &Account, false_alarms: u64, all: &mut Verdicts) {
    let mut after: Vec<f64> = account
        .overpulls
        .iter()
        .filter_map(|overpull| Some(overpull.seen_after?.as_secs_f64() * 1e3))
        .collect();
    after.sort_by(f64::total_cmp);
    let at = |part: f64| {
        after
            .get(((after.len().max(1) - 1) as f64 * part) as usize)
            .copied()
            .unwrap_or(f64::NAN)
    };
    println!(
        "overpulls: {} made, {} told (ms: p50 {:.1}, p99 {:.1}, most {:.1}), {} told without one; {} recorded, {} raised by a replay of the record",
        account.overpulls.len(),
        after.len(),
        at(0.5),
        at(0.99),
        at(1.0),
        false_alarms,
        proof.overpulls_recorded,
        proof.overpulls_replayed,
    );
    all.judge(
        after.len() == account.overpulls.len() && false_alarms == 0,
        "every overpull was told within a second, and nothing else",
    );
    all.judge(
        proof.overpulls_replayed >= proof.overpulls_recorded,
        "every recorded overpull is an alarm of the replay",
    );
}

fn flat(memory: &[f64], all: &mut Verdicts) {
    let most = |part: &[f64]| part.iter().copied().fold(0.0, f64::max);
    let half = memory.len() / 2;
    let (before, after) = (most(&memory[..half]), most(&memory[half..]));
    println!("memory: at most {before:.1} MiB in the first half, {after:.1} MiB in the second");
    all.judge(
        after <= before + GROWTH_MIB || memory.len() < 4,
        "memory is flat",
    );
    all.judge(
        most(memory) <= MEMORY_MIB,
        "resident memory stays within 25 MiB",
    );
}
