//! Every misbehaviour of an instrument, done to the running program, and looked for on its page and in its
//! metrics. How each is judged is tested in `common`; here it has to arrive where people look.

#![cfg(feature = "daemon")]

use kerfwatch::input::ChannelId;
use kerfwatch_tests::process::Running;
use kerfwatchd::demo::terminal::Terminal;
use std::path::Path;
use std::time::{Duration, Instant};

/// The load cell: numbers its frames, and sits behind a name that stays when its port does not.
struct Cell {
    end: Terminal,
    seq: u64,
}

impl Cell {
    fn new(name: &Path) -> Self {
        let end = Terminal::open().unwrap();
        let _ = std::fs::remove_file(name);
        std::os::unix::fs::symlink(&end.path, name).unwrap();
        Self { end, seq: 0 }
    }

    fn write(&mut self, bytes: &[u8]) {
        self.end.write(bytes, || false).unwrap();
    }

    fn send(&mut self, load_n: f64) {
        self.seq += 1;
        self.write(format!("L {} {load_n:.1}\r\n", self.seq).as_bytes());
    }
}

struct Site {
    running: Running,
    cell: Cell,
    depth_m: f64,
}

impl Site {
    /// Both instruments as they should be, at 50 readings/s.
    fn well_for(&mut self, time: Duration) {
        let start = Instant::now();
        let mut n = 0;
        while start.elapsed() < time {
            n += 1;
            self.cell.send(2500.0 + f64::from(n % 7));
            self.depth();
            std::thread::sleep(Duration::from_millis(20));
        }
    }

    fn depth(&mut self) {
        // Slowly in: 0.1 m/s.
        self.depth_m += 0.002;
        self.running.send(ChannelId::Depth, self.depth_m);
    }

    fn shown(&self, count: &str) -> u64 {
        let snapshot = self.running.snapshot();
        let load = &snapshot["channels"][0];
        assert_eq!(load["name"], "load");
        load[count].as_u64().unwrap()
    }

    /// The count has come to `at_least` on the page's side and in the metrics.
    fn counted(&self, count: &str, at_least: u64) {
        self.running
            .wait_for(&format!("{count} reaches {at_least} on the page"), || {
                self.shown(count) >= at_least
            });
        let name = format!("kerfwatch_channel_{count}_total{{channel=\"load\"}}");
        let metric = self.running.metric(&name);
        assert!(metric >= at_least as f64, "{name} {metric}");
    }

    /// The fault is shown, in the metrics, and an alarm.
    fn fault(&mut self, word: &str, mut meanwhile: impl FnMut(&mut Self)) {
        let start = Instant::now();
        while self.running.snapshot()["channels"][0]["fault"] != word {
            assert!(start.elapsed() < Duration::from_secs(20), "never {word}");
            meanwhile(self);
        }
        // The alarm follows at the next tick, and so may its word.
        let running = &self.running;
        let said = match word {
            "closed" => "its port is closed",
            "stale" => "it is silent",
            "frames" => "what it sends is garbled",
            "range" => "it is out of range",
            "frozen" => "it does not change",
            other => panic!("no such fault: {other}"),
        };
        running.wait_for(&format!("an alarm that says {said}"), || {
            let snapshot = running.snapshot();
            let alarms = snapshot["alarms"].as_array().cloned().unwrap_or_default();
            alarms.iter().any(|alarm| {
                alarm["kind"] == "sensor"
                    && alarm["about"] == "load"
                    && alarm["message"]
                        .as_str()
                        .is_some_and(|text| text.contains(said))
            })
        });
        let metrics = kerfwatch_tests::http::get(running.page, "/metrics").text();
        let fault = format!("kerfwatch_channel_fault{{channel=\"load\",fault=\"{word}\"}} 1");
        assert!(metrics.contains(&fault), "{fault}");
        let alarm = "kerfwatch_alarm_standing{kind=\"sensor\",level=\"high\",about=\"load\"";
        assert!(metrics.contains(alarm), "{alarm} while {word}");
    }

    fn well_again(&mut self) {
        let start = Instant::now();
        while self.running.snapshot()["channels"][0]["fault"] != "" {
            assert!(start.elapsed() < Duration::from_secs(20), "never well");
            self.well_for(Duration::from_millis(100));
        }
    }
}

#[test]
fn every_misbehaviour_is_seen_on_the_page_and_in_the_metrics_and_needs_no_restart() {
    let folder = tempfile::tempdir().unwrap();
    let name = folder.path().join("load-cell");
    let cell = Cell::new(&name);
    let port = format!("load.port=\"serial:{}\"", name.display());
    let running = Running::start_with(
        &[],
        &[
            "--set",
            &port,
            "--set",
            r"load.pattern='^L (?P<seq>[0-9]+) (?P<load>[-+0-9.]+)$'",
            "--set",
            "load.stale_after=\"600 ms\"",
            "--set",
            "load.frozen_after=\"600 ms\"",
        ],
    );
    running.wait_for("the page", || running.is_up());
    let mut site = Site {
        running,
        cell,
        depth_m: 2010.0,
    };
    site.running.wait_for("the port is open", || {
        site.running.metric("kerfwatch_ports_opened_total") >= 2.0
    });

    // Half a frame after opening.
    site.cell.write(b"500.0\r\n");
    site.well_for(Duration::from_millis(500));
    site.counted("partial_frames", 1);
    site.counted("readings", 10);
    for count in ["bad_frames", "duplicates", "reordered", "missing", "spikes"] {
        assert_eq!(site.shown(count), 0, "{count}");
    }

    // Duplicated, re-ordered, missing.
    let seq = site.cell.seq;
    for (number, load) in [(seq, 2501.0), (seq - 1, 2502.0), (seq + 3, 2503.0)] {
        site.cell
            .write(format!("L {number} {load:.1}\r\n").as_bytes());
    }
    site.cell.seq = seq + 3;
    site.well_for(Duration::from_millis(200));
    site.counted("duplicates", 1);
    site.counted("reordered", 1);
    site.counted("missing", 2);

    // A spike.
    site.cell.send(9000.0);
    site.well_for(Duration::from_millis(200));
    site.counted("spikes", 1);

    // A burst: held up, then all at once.
    let before = site.shown("readings");
    let burst: String = (1..=100)
        .map(|n| format!("L {} {:.1}\r\n", site.cell.seq + n, 2500.0 + (n % 5) as f64))
        .collect();
    site.cell.seq += 100;
    site.cell.write(burst.as_bytes());
    site.counted("readings", before + 100);

    // Out of range.
    site.fault("range", |site| {
        site.cell.send(1e6);
        site.depth();
        std::thread::sleep(Duration::from_millis(20));
    });
    site.counted("out_of_range", 1);
    site.well_again();

    // Frozen, while the line moves more than two metres.
    site.fault("frozen", |site| {
        site.cell.send(2500.0);
        site.depth_m += 0.1;
        site.depth();
        std::thread::sleep(Duration::from_millis(20));
    });
    site.counted("frozen", 1);
    site.well_again();

    // Another baud rate: garbage, with line ends now and then.
    site.fault("frames", |site| {
        for n in 0..20_u32 {
            let garbage: Vec<u8> = (0..40_u32).map(|k| (n * 41 + k * 73 + 128) as u8).collect();
            site.cell.write(&garbage);
            site.cell.write(b"\r\n");
        }
        site.depth();
        std::thread::sleep(Duration::from_millis(50));
    });
    site.counted("bad_frames", 10);
    let kinds = site
        .running
        .metric("kerfwatch_channel_bad_frames_by_kind_total{channel=\"load\",fault=\"no_match\"}");
    assert!(kinds >= 10.0, "{kinds}");
    site.well_again();

    // Silence.
    let gaps = site.shown("gaps");
    site.fault("stale", |site| {
        site.depth();
        std::thread::sleep(Duration::from_millis(20));
    });
    site.counted("gaps", gaps + 1);
    site.well_again();

    // Unplugged; it comes back as another device behind the same name.
    std::fs::remove_file(&name).unwrap();
    site.cell = Cell::new(&folder.path().join("elsewhere"));
    site.fault("closed", |site| {
        site.depth();
        std::thread::sleep(Duration::from_millis(5));
    });
    site.counted("port_losses", 1);
    site.cell = Cell::new(&name);
    site.well_again();
    assert!(site.running.metric("kerfwatch_ports_lost_total") >= 1.0);
    // The other stream never stopped, and nothing was restarted.
    let snapshot = site.running.snapshot();
    assert_eq!(snapshot["channels"][1]["gaps"], 0);
    assert_eq!(snapshot["channels"][1]["fault"], "");
    assert_eq!(site.running.runs().len(), 1);
}
