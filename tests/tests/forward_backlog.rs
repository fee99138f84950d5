//! A link that was down for days: what waited is sent on by `kerfwatchd forward`, once, in a bounded memory.
//!
//! `KERFWATCH_DAYS=4 cargo test --release -p kerfwatch-tests --test forward_backlog -- --nocapture` is the heavy run
//! (build `kerfwatchd` anew first, with `--release`: the one that stands beside the test is taken); without the variable
//! it is a tenth of a day.

#![cfg(feature = "daemon")]

use kerfwatch::input::{ChannelId, Input};
use kerfwatch::recording::{Derived, Folder, HEAD_FORMAT, Policy, RunHead, RunReader, RunWriter};
use kerfwatch::result::{AlarmRecord, Direction, Stroke};
use kerfwatch_tests::invented_run;
use kerfwatch_tests::programs::program;
use std::collections::BTreeMap;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::{SocketAddr, TcpListener, TcpStream};
use std::path::Path;
use std::process::{Command, Stdio};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

/// Readings a second of each channel.
const RATE: i64 = 20;
const STROKE_S: i64 = 30;
const ALARM_S: i64 = 3600;
/// Far below what the record holds; the program itself takes most of it.
const MEMORY_MAX_KIB: u64 = 48 << 10;

fn record(folder: &Path, address: SocketAddr, seconds: i64) {
    let job = format!(
        "{}\n[forward]\nurl = \"http://{address}\"\norg = \"crew\"\nbucket = \"cuts\"\n",
        invented_run::job("Invented-1")
    );
    let head = RunHead {
        format: HEAD_FORMAT,
        run_id: "days".to_owned(),
        software: "test".to_owned(),
        started_unix_ns: invented_run::START_UNIX_S * 1_000_000_000,
        started_utc: invented_run::START_UTC.to_owned(),
        job,
    };
    let disk = Folder::create(folder).unwrap();
    let mut writer = RunWriter::create(disk, &head, Policy::bulk()).unwrap();
    for second in 0..seconds {
        let start = second * 1_000_000_000;
        for n in 0..RATE {
            let at = start + n * 1_000_000_000 / RATE;
            let phase = (second * RATE + n) as f64 * 0.01;
            for (channel, value) in [
                (ChannelId::Load, 2000.0 + (500.0 * phase.sin()).round()),
                (
                    ChannelId::Depth,
                    600.0 + (50.0 * phase.cos()).round() / 10.0,
                ),
            ] {
                writer
                    .append(&Input::Reading { channel, at, value })
                    .unwrap();
            }
        }
        let at_s = second as f64;
        if second % STROKE_S == STROKE_S - 1 {
            writer.derive(Derived::Stroke(Stroke {
                n: (second / STROKE_S) as u32 + 1,
                direction: Direction::Up,
                start_s: at_s - 20.0,
                end_s: at_s - 1.0,
                top_m: 600.0,
                bottom_m: 609.0,
                tool_travel_m: 9.0,
                mean_drag_n: 300.0,
                peak_tension_n: 4000.0,
                cut_work_j: 2000.0,
                engaged_m: 9.0,
            }));
        }
        if second % ALARM_S == ALARM_S / 2 {
            writer.derive(Derived::Alarm {
                at_s,
                state: "unacknowledged".to_owned(),
                record: AlarmRecord {
                    kind: "overpull".to_owned(),
                    about: None,
                    level: "high".to_owned(),
                    raised_s: at_s,
                    cleared_s: None,
                    peak_n: Some(5000.0),
                },
            });
        }
        if second % 60 == 0 {
            writer.sync(start).unwrap();
        }
    }
    writer.finish(seconds * 1_000_000_000).unwrap();
}

/// How often each measurement arrived, and how many different points of it.
type Arrived = Arc<Mutex<BTreeMap<String, (u64, std::collections::BTreeSet<u64>)>>>;

/// Takes every point.
fn server(address: SocketAddr, arrived: &Arrived) {
    let listener = TcpListener::bind(address).unwrap();
    let arrived = Arc::clone(arrived);
    std::thread::spawn(move || {
        for stream in listener.incoming().flatten() {
            let arrived = Arc::clone(&arrived);
            std::thread::spawn(move || answer(&stream, &arrived));
        }
    });
}

fn answer(mut stream: &TcpStream, arrived: &Arrived) -> Option<()> {
    let mut reader = BufReader::new(stream);
    loop {
        let mut length = 0;
        let mut line = String::new();
        loop {
            line.clear();
            if reader.read_line(&mut line).ok()? == 0 {
                return None;
            }
            let Some((name, value)) = line.trim_end().split_once(':') else {
                if line.trim_end().is_empty() {
                    break;
                }
                continue; // the request line
            };
            if name.eq_ignore_ascii_case("content-length") {
                length = value.trim().parse().ok()?;
            }
        }
        let mut body = vec![0; length];
        reader.read_exact(&mut body).ok()?;
        for point in String::from_utf8(body).ok()?.lines() {
            let name = point.split([',', ' ']).next()?.to_owned();
            // A line has load or depth: the same time twice.
            let name = if point.contains(" depth_m=") {
                name + "_depth"
            } else {
                name
            };
            let at: u64 = point.rsplit(' ').next()?.parse().ok()?;
            let mut arrived = arrived.lock().ok()?;
            let (count, times) = arrived.entry(name).or_default();
            *count += 1;
            times.insert(at);
        }
        stream.write_all(b"HTTP/1.1 204 No Content\r\n\r\n").ok()?;
    }
}

/// Most memory the process has had, KiB.
fn memory_kib(process: u32) -> Option<u64> {
    let status = std::fs::read_to_string(format!("/proc/{process}/status")).ok()?;
    let line = status.lines().find(|line| line.starts_with("VmHWM:"))?;
    line.split_whitespace().nth(1)?.parse().ok()
}

#[test]
fn days_of_backlog_are_sent_once_in_bounded_memory() {
    let days: f64 = std::env::var("KERFWATCH_DAYS")
        .ok()
        .and_then(|text| text.parse().ok())
        .unwrap_or(0.1);
    let seconds = (days * 86_400.0) as i64;
    let folder = tempfile::tempdir().unwrap();
    let run = folder.path().join("run");
    let free = TcpListener::bind("127.0.0.1:0").unwrap();
    let address = free.local_addr().unwrap();
    drop(free);
    record(&run, address, seconds);
    let samples = RunReader::open(&run).unwrap().raw_end();

    let start = Instant::now();
    let mut forward = Command::new(program("kerfwatchd"))
        .arg("forward")
        .arg(&run)
        .env("KERFWATCH_LOG", "error")
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    // Nobody listens for a while: several attempts come to nothing.
    std::thread::sleep(Duration::from_secs(2));
    let arrived = Arrived::default();
    server(address, &arrived);
    let mut most = 0;
    let status = loop {
        most = memory_kib(forward.id()).unwrap_or(most).max(most);
        if let Some(status) = forward.try_wait().unwrap() {
            break status;
        }
        assert!(start.elapsed() < Duration::from_secs(280), "never all sent");
        std::thread::sleep(Duration::from_millis(20));
    };
    let mut said = String::new();
    forward
        .stdout
        .take()
        .unwrap()
        .read_to_string(&mut said)
        .unwrap();
    assert_eq!(status.code(), Some(0), "{said}");
    let arrived = arrived.lock().unwrap();
    let points: u64 = arrived.values().map(|(count, _)| count).sum();
    println!(
        "{days} days, {samples} readings: {points} points in {:.1} s, at most {most} KiB; {said}",
        start.elapsed().as_secs_f64()
    );
    let seconds = seconds as u64;
    let different = |name: &str| arrived.get(name).map_or(0, |(_, times)| times.len() as u64);
    assert_eq!(different("line"), seconds, "tension once a second");
    assert_eq!(different("line_depth"), seconds);
    assert_eq!(different("stroke"), seconds / STROKE_S as u64);
    assert_eq!(arrived["stroke"].0, seconds / STROKE_S as u64, "each once");
    let alarms = (seconds + ALARM_S as u64 / 2 - 1) / ALARM_S as u64;
    assert_eq!(different("alarm_event"), alarms);
    // Ten seconds around each alarm, both ends included.
    assert_eq!(different("line_full"), alarms * (20 * RATE as u64 + 1));
    assert!(most > 0 && most < MEMORY_MAX_KIB, "{most} KiB");
}
