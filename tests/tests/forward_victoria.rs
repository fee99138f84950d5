//! The record sent on to a server that others wrote: Debian's `victoria-metrics`, which speaks the InfluxDB 2
//! write API. In the middle of the run it is killed outright and started again, and later ended in order and started
//! again; afterwards every stroke and every alarm of the record is on it exactly once.
//!
//! A point sent twice (an answer lost with the server) is the same point again. This server keeps both copies
//! unless told to keep one (`-dedup.minScrapeInterval`), while InfluxDB always keeps one, so it is told.
//! It keeps times to the millisecond. Killed outright, it loses the seconds it has confirmed but not yet written: the
//! forwarder sends again what went just before it found the server gone.

#![cfg(feature = "daemon")]

use kerfwatch::job::read_job;
use kerfwatch::recording::{Derived, RunReader};
use kerfwatch_tests::http::get;
use kerfwatch_tests::invented_run;
use kerfwatchd::demo::{Demo, demo};
use rustix::process::Signal;
use std::collections::BTreeMap;
use std::net::{SocketAddr, TcpListener, TcpStream};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::atomic::Ordering;
use std::time::{Duration, Instant};
use tokio::sync::oneshot;

const MISSING: &str = "victoria-metrics is missing: apt-get install victoria-metrics";

struct Server {
    child: Option<Child>,
    address: SocketAddr,
    data: PathBuf,
}

impl Server {
    fn start(address: SocketAddr, data: PathBuf) -> Self {
        let mut server = Self {
            child: None,
            address,
            data,
        };
        server.go();
        server
    }

    fn go(&mut self) {
        let child = Command::new("victoria-metrics")
            .arg(format!("-storageDataPath={}", self.data.display()))
            .arg(format!("-httpListenAddr={}", self.address))
            .args(["-dedup.minScrapeInterval=1ms", "-retentionPeriod=100y"])
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .unwrap_or_else(|error| panic!("{MISSING} ({error})"));
        self.child = Some(child);
        let start = Instant::now();
        while TcpStream::connect(self.address).is_err() {
            assert!(
                start.elapsed() < Duration::from_secs(20),
                "victoria-metrics does not listen"
            );
            std::thread::sleep(Duration::from_millis(50));
        }
    }

    /// Ends it, and waits until it has gone.
    fn end(&mut self, signal: Signal) {
        if let Some(mut child) = self.child.take() {
            let id = rustix::process::Pid::from_child(&child);
            rustix::process::kill_process(id, signal).unwrap();
            child.wait().unwrap();
        }
    }

    /// All values of a series, by its tags and its time in ms: how often each is there.
    fn points(&self, name: &str) -> BTreeMap<(String, i64), usize> {
        assert_eq!(get(self.address, "/internal/force_flush").status, 200);
        let path = format!("/api/v1/export?match%5B%5D={name}&start=0&end=9999999999");
        let answer = get(self.address, &path);
        assert_eq!(answer.status, 200);
        let mut found = BTreeMap::new();
        for line in String::from_utf8_lossy(&answer.body).lines() {
            let series: serde_json::Value = serde_json::from_str(line).unwrap();
            let tag = |key: &str| series["metric"][key].as_str().unwrap_or("").to_owned();
            let mut tags = ["direction", "kind", "about", "level", "state"]
                .map(tag)
                .to_vec();
            tags.retain(|tag| !tag.is_empty());
            for at in series["timestamps"].as_array().unwrap() {
                let key = (tags.join(" "), at.as_i64().unwrap());
                *found.entry(key).or_default() += 1;
            }
        }
        found
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        if let Some(child) = &mut self.child {
            let _ = child.kill();
            let _ = child.wait();
        }
    }
}

/// A folder with the invented run as a fixture whose job names the server.
fn fixture(folder: &Path, address: SocketAddr) -> PathBuf {
    let fixture = folder.join("fixture");
    std::fs::create_dir(&fixture).unwrap();
    let job = format!(
        "{}\n[forward]\nurl = \"http://{address}\"\norg = \"crew\"\nbucket = \"cuts\"\n",
        // A limit that the strokes cross again and again, for alarms to count.
        invented_run::job("Invented-1").replace("[alarm]", "[alarm]\ntension_limit = \"1500 N\"")
    );
    std::fs::write(fixture.join("job.toml"), job).unwrap();
    std::fs::write(fixture.join("samples.csv"), invented_run::samples()).unwrap();
    fixture
}

struct Expected {
    strokes: BTreeMap<(String, i64), usize>,
    alarms: BTreeMap<(String, i64), usize>,
    bins: usize,
}

fn expected(run: &Path) -> Expected {
    let mut reader = RunReader::open(run).unwrap();
    let start_ns = reader.head().unwrap().started_unix_ns;
    // The server cuts nanoseconds off. In whole numbers: as one, milliseconds since 1970 have no digits left.
    let ms = |at_s: f64| (start_ns + kerfwatch::time::nanos(at_s).unwrap()) / 1_000_000;
    let mut all = Expected {
        strokes: BTreeMap::new(),
        alarms: BTreeMap::new(),
        bins: 0,
    };
    reader.for_each_derived_from(0, |_, record| match record {
        Derived::Stroke(s) => {
            let direction = serde_json::to_value(s.direction).unwrap();
            let key = (direction.as_str().unwrap().to_owned(), ms(s.start_s));
            *all.strokes.entry(key).or_default() += 1;
        }
        Derived::Alarm {
            at_s,
            state,
            record,
        } => {
            let key = (
                format!("{} {} {state}", record.name(), record.level),
                ms(*at_s),
            );
            all.alarms.insert(key, 1);
        }
        Derived::Groove { bins, .. } => all.bins += bins.len(),
        Derived::Interval(_) => {}
    });
    all
}

#[test]
fn every_stroke_and_alarm_is_on_a_real_server_exactly_once_although_it_was_killed_and_restarted() {
    let folder = tempfile::tempdir().unwrap();
    let address = TcpListener::bind("127.0.0.1:0")
        .unwrap()
        .local_addr()
        .unwrap();
    let mut server = Server::start(address, folder.path().join("server"));
    let show = Demo {
        speed: 60.0,
        fixture: fixture(folder.path(), address).display().to_string(),
        listen: "127.0.0.1:0".to_owned(),
        token: None,
        once: true,
        folder: Some(folder.path().join("runs")),
    };
    let (up, is_up) = oneshot::channel();
    let run = std::thread::spawn(move || {
        tokio::runtime::Builder::new_current_thread()
            .enable_all()
            .build()
            .unwrap()
            .block_on(demo(show, std::future::pending(), Some(up)))
            .unwrap()
    });
    let progress = is_up.blocking_recv().unwrap().published.progress.clone();
    let forward = &progress.forward;
    let sent = || forward.points.load(Ordering::Relaxed);
    let wait_until = |what: &str, fact: &dyn Fn() -> bool| {
        let start = Instant::now();
        while !fact() {
            assert!(start.elapsed() < Duration::from_secs(30), "never: {what}");
            std::thread::sleep(Duration::from_millis(20));
        }
    };
    wait_until("something is on the server", &|| sent() > 0);
    for signal in [Signal::KILL, Signal::TERM] {
        // Some of what it confirms now it has not written when it is killed.
        let before = sent();
        wait_until("more is on the server", &|| sent() > before + 20);
        server.end(signal);
        wait_until("the forwarder notices", &|| !forward.trouble().is_empty());
        let before = sent();
        assert!(!run.is_finished(), "ended in the middle of the run");
        std::thread::sleep(Duration::from_millis(500));
        server.go();
        wait_until("it goes on", &|| sent() > before);
    }
    let ended = run.join().unwrap();
    let head = RunReader::open(&ended.run_folder).unwrap();
    let job = read_job(&head.head().unwrap().job, "run.toml")
        .unwrap_or_else(|f| panic!("{f}"))
        .job;
    assert!(job.forward.is_some());
    let view = forward.view().unwrap();
    assert_eq!((view.backlog, view.set_aside), (0, 0), "{view:?}");

    let expected = expected(&ended.run_folder);
    assert!(expected.strokes.len() >= 20, "{:?}", expected.strokes);
    assert!(expected.alarms.len() >= 4, "{:?}", expected.alarms);
    assert!(expected.bins > 0);
    assert_eq!(server.points("stroke_n"), expected.strokes);
    assert_eq!(server.points("alarm_event_raised_s"), expected.alarms);
    let bins: usize = server.points("groove_depth_mm").values().sum();
    assert_eq!(bins, expected.bins);
    println!(
        "{} strokes, {} alarm events, {bins} groove points, {} points in all",
        expected.strokes.len(),
        expected.alarms.len(),
        sent()
    );
}
