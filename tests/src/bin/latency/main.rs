//! How long from the bytes of an overpull on the port to the alarm word on the output line, while the
//! disk stalls, fifty pages watch and the database is dead; and what the daemon costs.
//!
//! ```text
//! cargo run --release -p kerfwatch-tests --bin latency -- --seconds 120
//! cargo run --release -p kerfwatch-tests --bin latency -- --quiet-disk --pages 0 --no-alarms --seconds 1800
//! ```
//!
//! The daemon runs in a process of its own. Latencies go into an HdrHistogram, corrected for
//! coordinated omission: while one alarm is late, those that were due meanwhile count as late too. Tension stands at 85 % of
//! the limit, where the daemon takes each reading by itself; without overpulls it strokes at half of it, where frames gather.

mod cost;
mod machine;

use clap::Parser;
use cost::{Cost, Course};
use hdrhistogram::Histogram;
use kerfwatch::job::{apply_set, print_default_job, read_job};
use kerfwatchd::Config;
use kerfwatchd::demo::fixture::with_plain_instruments;
use kerfwatchd::demo::terminal::Terminal;
use kerfwatchd::disk::Brake;
use kerfwatchd::run::Clocking;
use kerfwatchd::web::{PATIENCE, PageConfig};
use machine::Machine;
use std::fs;
use std::io::{BufRead, BufReader};
use std::net::{SocketAddr, TcpListener, TcpStream};
use std::path::PathBuf;
use std::process::{Child, Command, Stdio};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

/// Time between overpulls.
const EVERY: Duration = Duration::from_millis(50);

#[derive(Debug, Parser)]
struct Args {
    /// How long to measure.
    #[arg(long, default_value_t = 60)]
    seconds: u64,
    /// Readings per second of each instrument.
    #[arg(long, default_value_t = 1000)]
    rate: u32,
    /// Pages that follow the live stream.
    #[arg(long, default_value_t = 50)]
    pages: usize,
    /// Leave the disk alone: by default every sync takes two seconds longer.
    #[arg(long)]
    quiet_disk: bool,
    /// No overpulls, but strokes: what the daemon costs.
    #[arg(long)]
    no_alarms: bool,
    /// Measure this `kerfwatchd`, as it is installed, instead of a daemon of this program's own. Its disk
    /// cannot be stalled.
    #[arg(long, value_name = "PROGRAM", requires = "quiet_disk")]
    program: Option<PathBuf>,
    /// For the daemon's own process.
    #[arg(long, hide = true)]
    job: Option<PathBuf>,
    /// For the process of the pages.
    #[arg(long, hide = true)]
    watch: Option<SocketAddr>,
}

fn main() -> anyhow::Result<()> {
    let args = Args::parse();
    if let Some(job) = &args.job {
        return daemon(job, args.quiet_disk);
    }
    if let Some(page) = args.watch {
        return watch(page, args.pages);
    }
    measure(&args)
}

/// The daemon's process: runs until standard input closes.
fn daemon(job: &std::path::Path, quiet_disk: bool) -> anyhow::Result<()> {
    let job_text = fs::read_to_string(job)?;
    let read = read_job(&job_text, "bench job").map_err(|f| anyhow::anyhow!("{f}"))?;
    let brake = Brake::default();
    if !quiet_disk {
        brake.stall(Duration::from_secs(2));
    }
    let listen = read.job.page.listen.clone();
    let config = Config {
        job: read.job,
        job_text,
        clock: Clocking::Live,
        page: Some(PageConfig {
            listen,
            token: None,
            names: Vec::new(),
            patience: PATIENCE,
        }),
        resume: None,
        before: None,
        notes: Vec::new(),
        brake,
        speak: false,
        started: None,
    };
    let stop = input_closed();
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()?;
    runtime.block_on(kerfwatchd::run(config, stop))?;
    Ok(())
}

/// Ready when standard input closes.
async fn input_closed() {
    let (closed, is_closed) = tokio::sync::oneshot::channel::<()>();
    std::thread::spawn(move || {
        let mut line = String::new();
        let _ = std::io::stdin().read_line(&mut line);
        drop(closed);
    });
    let _ = is_closed.await;
}

/// The process of the pages: reads streams until it is killed. On a rig they are other machines, so here they
/// yield to what is measured.
fn watch(page: SocketAddr, pages: usize) -> anyhow::Result<()> {
    rustix::process::setpriority_process(None, 19)?;
    let threads: Vec<_> = (0..pages)
        .map(|_| {
            std::thread::spawn(move || {
                let mut stream = kerfwatch_tests::http::open_stream(page, "/api/v1/stream");
                let _ = std::io::copy(&mut stream, &mut std::io::sink());
            })
        })
        .collect();
    for thread in threads {
        thread
            .join()
            .map_err(|_| anyhow::anyhow!("a page panicked"))?;
    }
    Ok(())
}

fn job_text(
    ends: &[Terminal; 3],
    folder: &std::path::Path,
    page: SocketAddr,
) -> anyhow::Result<String> {
    let mut text = with_plain_instruments(print_default_job())?;
    for (key, value) in [
        ("load.port", format!("serial:{}", ends[0].path.display())),
        ("depth.port", format!("serial:{}", ends[1].path.display())),
        ("record.folder", folder.display().to_string()),
        ("page.listen", page.to_string()),
    ] {
        text = apply_set(&text, &format!("{key}={value:?}")).map_err(|e| anyhow::anyhow!(e))?;
    }
    text.push_str(&format!(
        "\n[[alarm.output]]\nname = \"bench\"\nkind = \"serial-line\"\nport = \"serial:{}\"\nalarms = [\"overpull\"]\nheartbeat = \"10 s\"\n",
        ends[2].path.display()
    ));
    // Nobody answers there: the discard port of this machine.
    text.push_str("\n[forward]\nurl = \"http://127.0.0.1:9\"\norg = \"none\"\nbucket = \"none\"\n");
    Ok(text)
}

fn measure(args: &Args) -> anyhow::Result<()> {
    let folder = tempfile::tempdir()?;
    let ends = [Terminal::open()?, Terminal::open()?, Terminal::open()?];
    let page = TcpListener::bind("127.0.0.1:0")?.local_addr()?;
    let text = job_text(&ends, folder.path(), page)?;
    let job_file = folder.path().join("job.toml");
    fs::write(&job_file, &text)?;
    let limit = limit_of(&text)?;
    let this = std::env::current_exe()?;
    let mut command = Command::new(args.program.as_ref().unwrap_or(&this));
    if args.program.is_some() {
        command.arg("run").arg(&job_file).arg("--quiet");
    } else {
        command.arg("--job").arg(&job_file);
        if args.quiet_disk {
            command.arg("--quiet-disk");
        }
    }
    let daemon = command
        .envs(kerfwatch_tests::unit_file::environment())
        .stdin(Stdio::piped())
        .stdout(Stdio::null())
        .spawn()?;
    let pid = daemon.id();
    let begun = Instant::now();
    while TcpStream::connect(page).is_err() {
        anyhow::ensure!(begun.elapsed() < Duration::from_secs(20), "no page");
        std::thread::sleep(Duration::from_millis(50));
    }
    // Its disk may be stalled already, when it makes the run folder.
    while !kerfwatch_tests::http::get(page, "/metrics")
        .text()
        .contains("kerfwatch_ports_opened_total 2")
    {
        anyhow::ensure!(begun.elapsed() < Duration::from_secs(60), "no ports");
        std::thread::sleep(Duration::from_millis(50));
    }
    let pages = (args.pages > 0)
        .then(|| {
            Command::new(&this)
                .args([
                    "--watch",
                    &page.to_string(),
                    "--pages",
                    &args.pages.to_string(),
                ])
                .spawn()
        })
        .transpose()?;

    let [mut load, mut depth, alarm] = ends;
    let over = Arc::new(AtomicBool::new(false));
    let reader = alarm.end()?;
    let stop = Arc::new(AtomicBool::new(false));
    let step = Duration::from_secs(1) / args.rate;
    let seconds = Duration::from_secs(args.seconds);
    let start = Instant::now();
    let mut course = Course::new(Cost::of(pid)?);
    let (sent, times) = std::sync::mpsc::channel::<Instant>();
    let feeding = {
        let (stop, over) = (Arc::clone(&stop), Arc::clone(&over));
        let alarms = !args.no_alarms;
        std::thread::spawn(move || {
            let mut due = Instant::now();
            let mut pulse_due = Instant::now() + Duration::from_secs(3);
            let mut n = 0_u64;
            while !stop.load(Ordering::Relaxed) {
                due += step;
                std::thread::sleep(due.saturating_duration_since(Instant::now()));
                let is_pulse =
                    alarms && Instant::now() >= pulse_due && !over.load(Ordering::Relaxed);
                let (line, tension) = if alarms {
                    // Near the limit all the time: every reading has to be judged in full.
                    let part = if is_pulse { 1.03 } else { 0.85 };
                    (2010.0 + 0.0001 * (n % 1000) as f64, part * limit)
                } else {
                    stroking(n as f64 * step.as_secs_f64(), 0.5 * limit)
                };
                let tension = tension + (n * 7919 % 13) as f64;
                // Told before it is sent: the alarm may be back at once.
                let time = Instant::now();
                if is_pulse {
                    over.store(true, Ordering::Relaxed);
                    // Never twice running: between two overpulls tension has to fall.
                    pulse_due = (pulse_due + EVERY).max(Instant::now() + EVERY / 2);
                    let _ = sent.send(time);
                }
                let _ = load.write(format!("L {tension:.2}\r\n").as_bytes(), || true);
                let _ = depth.write(format!("D {line:.4}\r\n").as_bytes(), || true);
                n += 1;
            }
            n
        })
    };
    let machine = Machine::start()?;
    let mut latencies = Histogram::<u64>::new_with_bounds(1, 60_000_000, 3)?;
    let mut plain = latencies.clone();
    let mut lines = BufReader::new(reader);
    let mut line = String::new();
    while start.elapsed() < seconds {
        course.push(start.elapsed(), pid)?;
        if args.no_alarms {
            std::thread::sleep(Duration::from_millis(200));
            continue;
        }
        line.clear();
        match lines.read_line(&mut line) {
            Ok(_) => {}
            Err(error) if error.kind() == std::io::ErrorKind::WouldBlock => {
                // Finer than what is measured; the reader has the machine's other core.
                std::thread::sleep(Duration::from_micros(20));
                continue;
            }
            Err(error) => return Err(error.into()),
        }
        let seen = Instant::now();
        if line.starts_with("ALARM")
            && let Ok(time) = times.try_recv()
        {
            let micros = u64::try_from((seen - time).as_micros())?.max(1);
            latencies.record_correct(micros, u64::try_from(EVERY.as_micros())?)?;
            plain.record(micros)?;
            over.store(false, Ordering::Relaxed);
        }
    }
    stop.store(true, Ordering::Relaxed);
    let readings = feeding
        .join()
        .map_err(|_| anyhow::anyhow!("the feeder panicked"))?;
    let took = start.elapsed().as_secs_f64();
    println!(
        "{} s, 2 x {:.0} readings/s, {} pages, disk {}, database dead",
        args.seconds,
        readings as f64 / took,
        args.pages,
        if args.quiet_disk {
            "quiet"
        } else {
            "stalls 2 s at each sync"
        },
    );
    if !args.no_alarms {
        println!(
            "port to alarm output, ms: {} overpulls; p50 {:.3}  p99 {:.3}  p99.9 {:.3}  max {:.3} (uncorrected p99.9 {:.3})",
            plain.len(),
            ms(latencies.value_at_quantile(0.5)),
            ms(latencies.value_at_quantile(0.99)),
            ms(latencies.value_at_quantile(0.999)),
            ms(latencies.max()),
            ms(plain.value_at_quantile(0.999)),
        );
    }
    println!("{}", course.report());
    println!("{}", machine.report()?);
    end(daemon, pages, args.program.is_some())
}

/// Line paid out and tension of a cutter stroked over the interval, a stroke each 50 s.
fn stroking(at_s: f64, tension_n: f64) -> (f64, f64) {
    let phase = (at_s / 100.0).fract();
    let down = phase < 0.5;
    let part = if down { 2.0 * phase } else { 2.0 - 2.0 * phase };
    (
        2002.0 + 14.0 * part,
        tension_n + if down { -300.0 } else { 300.0 },
    )
}

fn ms(micros: u64) -> f64 {
    micros as f64 * 1e-3
}

fn end(mut daemon: Child, pages: Option<Child>, by_signal: bool) -> anyhow::Result<()> {
    if let Some(mut pages) = pages {
        pages.kill()?;
        pages.wait()?;
    }
    if by_signal {
        let pid = daemon.id().to_string();
        Command::new("kill").args(["-TERM", &pid]).status()?;
    }
    // Its own daemon ends when its input closes.
    drop(daemon.stdin.take());
    let status = daemon.wait()?;
    anyhow::ensure!(status.success(), "the daemon ended with {status}");
    Ok(())
}

/// The tension limit at the bench depth, from the same tables the guard uses.
fn limit_of(text: &str) -> anyhow::Result<f64> {
    let job = read_job(text, "bench job")
        .map_err(|f| anyhow::anyhow!("{f}"))?
        .job;
    Ok(kerfwatch::alarm::GuardModel::new(&job).limit_n(Some(2010.0)))
}
