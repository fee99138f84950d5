//! What the crew marks on the page: recorded with time and author, one audit line for each, and a
//! replay makes the same of it. The built programs are asked, as on the job.

#![cfg(feature = "daemon")]

use kerfwatch::input::{ChannelId, Event};
use kerfwatch::job::{apply_set, print_default_job, read_job};
use kerfwatch::pipeline::Pipeline;
use kerfwatch::recording::{Derived, RunReader};
use kerfwatch_tests::http::{Answer, get, post};
use kerfwatchd::demo::fixture::{line, with_plain_instruments};
use kerfwatchd::demo::terminal::Terminal;
use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

const TOKEN: &str = "0123456789abcdef0123456789abcdef";
const SPEED_M_S: f64 = 2.5;
const STEP: Duration = Duration::from_millis(20);

/// A program of the workspace, beside this test's own.
fn program(name: &str) -> PathBuf {
    let own = std::env::current_exe().unwrap();
    let program = own.ancestors().nth(2).unwrap().join(name);
    assert!(program.exists(), "cargo build -p {name}");
    program
}

/// The daemon's process with an invented well on its ports: strokes between 2003 m and 2015 m.
struct Rig {
    child: Child,
    ends: [Terminal; 2],
    folder: Option<tempfile::TempDir>,
    page: SocketAddr,
    line_m: f64,
    speed_m_s: f64,
}

impl Rig {
    fn start() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let ends = [Terminal::open().unwrap(), Terminal::open().unwrap()];
        // A free port, as the program does not say which one it took.
        let page = std::net::TcpListener::bind("127.0.0.1:0")
            .unwrap()
            .local_addr()
            .unwrap();
        let mut text = with_plain_instruments(print_default_job()).unwrap();
        for (key, value) in [
            ("load.port", format!("serial:{}", ends[0].path.display())),
            ("depth.port", format!("serial:{}", ends[1].path.display())),
            (
                "record.folder",
                folder.path().join("runs").display().to_string(),
            ),
            ("page.listen", page.to_string()),
            ("page.token_env", "PAGE_TOKEN".to_owned()),
        ] {
            text = apply_set(&text, &format!("{key}={value:?}")).unwrap();
        }
        let job = folder.path().join("job.toml");
        std::fs::write(&job, text).unwrap();
        let log = std::fs::File::create(folder.path().join("log")).unwrap();
        let child = Command::new(program("kerfwatchd"))
            .arg("run")
            .arg(&job)
            .env("PAGE_TOKEN", TOKEN)
            .stdout(Stdio::null())
            .stderr(log)
            .spawn()
            .unwrap();
        let mut rig = Self {
            child,
            ends,
            folder: Some(folder),
            page,
            line_m: 2010.0,
            speed_m_s: SPEED_M_S,
        };
        let start = Instant::now();
        while std::net::TcpStream::connect(page).is_err() {
            assert!(start.elapsed() < Duration::from_secs(20), "no page");
            rig.stroke_for(0.1);
        }
        rig
    }

    fn send(&mut self, channel: ChannelId, value: f64) {
        let frame = line(channel, 0, value);
        self.ends[usize::from(frame.port)]
            .write(&frame.bytes, || false)
            .unwrap();
    }

    fn stroke_for(&mut self, seconds: f64) {
        let start = Instant::now();
        while start.elapsed().as_secs_f64() < seconds {
            if self.line_m > 2015.0 {
                self.speed_m_s = -SPEED_M_S;
            } else if self.line_m < 2003.0 {
                self.speed_m_s = SPEED_M_S;
            }
            self.line_m += self.speed_m_s * STEP.as_secs_f64();
            let pull = if self.speed_m_s < 0.0 { 1900.0 } else { 1300.0 };
            self.send(ChannelId::Load, pull + (self.line_m * 7.0).sin() * 10.0);
            self.send(ChannelId::Depth, self.line_m);
            std::thread::sleep(STEP);
        }
    }

    fn ask(&self, path: &str, body: &str) -> Answer {
        let bearer = format!("Bearer {TOKEN}");
        post(self.page, path, &[("Authorization", &bearer)], body)
    }

    /// Marks, and lets the well go on until it is shown.
    fn mark(&mut self, body: &str) {
        let before = self.marks().len();
        let answer = self.ask("/api/v1/marks", body);
        assert_eq!(answer.status, 202, "{body}: {}", answer.text());
        let start = Instant::now();
        while self.marks().len() == before {
            assert!(start.elapsed() < Duration::from_secs(10), "never: {body}");
            self.stroke_for(0.1);
        }
    }

    fn marks(&self) -> Vec<serde_json::Value> {
        let answer = get(self.page, "/api/v1/marks").json();
        answer.as_array().unwrap().clone()
    }

    fn now(&self, field: &str) -> f64 {
        get(self.page, "/api/v1/snapshot").json()[field]
            .as_f64()
            .unwrap_or(f64::NAN)
    }

    /// Ends it as the service manager would; the run folder and the log.
    fn stop(mut self) -> (PathBuf, String, tempfile::TempDir) {
        let pid = self.child.id().to_string();
        assert!(
            Command::new("kill")
                .args(["-TERM", &pid])
                .status()
                .unwrap()
                .success()
        );
        assert!(self.child.wait().unwrap().success());
        let folder = self.folder.take().unwrap();
        let mut runs = std::fs::read_dir(folder.path().join("runs")).unwrap();
        let run = runs.next().unwrap().unwrap().path();
        let log = std::fs::read_to_string(folder.path().join("log")).unwrap();
        (run, log, folder)
    }
}

/// A failed test leaves no daemon behind.
impl Drop for Rig {
    fn drop(&mut self) {
        // It has ended already where the test went well.
        let _ = self.child.kill();
    }
}

/// What a fresh pipeline decides from the record; `without`: this kind of mark is left out.
fn replayed(run: &Path, without: Option<&str>) -> (Vec<Derived>, serde_json::Value) {
    let mut reader = RunReader::open(run).unwrap();
    let head = reader.head().unwrap().clone();
    let job = read_job(&head.job, "run.toml").unwrap().job;
    let mut pipeline = Pipeline::new(&job);
    let mut events: Vec<Event> = Vec::new();
    reader.for_each_input(|input| {
        let dropped = without.is_some_and(|kind| {
            matches!(input, kerfwatch::input::Input::Mark { mark, .. }
                if kerfwatchd::publish::mark_view(0, mark).is_some_and(|view| view.mark == kind))
        });
        if !dropped {
            pipeline.push(input, &mut events);
        }
    });
    pipeline.finish(&mut events);
    let result = serde_json::to_value(pipeline.result(&head.run_id)).unwrap();
    (events.iter().map(Derived::from).collect(), result)
}

fn last_depth(result: &serde_json::Value) -> f64 {
    let depths = result["tool"]["depth_m"].as_array().unwrap();
    depths.iter().rev().find_map(|m| m.as_f64()).unwrap()
}

#[test]
fn every_mark_is_recorded_with_time_and_author_audited_and_honoured_by_replay() {
    let mut rig = Rig::start();
    rig.stroke_for(1.5);
    rig.mark(r#"{"mark":"weight_check","author":"winch"}"#);
    rig.mark(r#"{"mark":"note","author":"winch","text":"weight check: hold 1560 N, pick up 1900 N, slack off 1300 N"}"#);
    rig.stroke_for(6.0);
    rig.mark(r#"{"mark":"cutter_out","author":"winch"}"#);
    rig.stroke_for(5.0);
    let before = rig.now("tool_depth_m");
    assert!((2000.0..2020.0).contains(&before), "{before} m");
    rig.mark(r#"{"mark":"reference_depth","author":"engineer","metres":2031.5}"#);
    rig.stroke_for(0.5);
    let referred = rig.now("tool_depth_m");
    assert!((2028.0..2035.0).contains(&referred), "{referred} m");
    rig.mark(r#"{"mark":"zero","author":"engineer","metres":1500.0}"#);
    rig.stroke_for(0.5);
    let counted = rig.now("line_m");
    assert!((1497.0..1503.0).contains(&counted), "{counted} m");
    rig.mark(r#"{"mark":"cutter_in","author":"winch"}"#);
    rig.stroke_for(0.5);
    let acknowledged = rig.ask(
        "/api/v1/alarms/speed/acknowledge",
        r#"{"author":"engineer"}"#,
    );
    assert_eq!(acknowledged.status, 202);
    assert_eq!(post(rig.page, "/api/v1/marks", &[], "{}").status, 401);
    rig.stroke_for(0.5);

    let marks = rig.marks();
    let said: Vec<String> = marks
        .iter()
        .map(|mark| format!("{} {}", mark["mark"], mark["author"]).replace('"', ""))
        .collect();
    assert_eq!(
        said,
        [
            "weight_check winch",
            "note winch",
            "cutter_out winch",
            "reference_depth engineer",
            "zero engineer",
            "cutter_in winch",
            "acknowledge engineer",
        ]
    );
    let times: Vec<f64> = marks.iter().map(|m| m["at_s"].as_f64().unwrap()).collect();
    assert!(times.is_sorted() && times[0] > 1.0, "{times:?}");

    let (run, log, _folder) = rig.stop();
    // For people, beside the record.
    let notes = std::fs::read_to_string(run.join("notes.toml")).unwrap();
    for word in ["winch", "engineer", "slack off 1300 N", "2031.5", "1500"] {
        assert!(notes.contains(word), "{word} in {notes}");
    }
    // One line for each change and each refusal, with who and from where.
    let audit: Vec<&str> = log.lines().filter(|l| l.contains("audit")).collect();
    let changes = audit.iter().filter(|line| line.contains("change="));
    assert_eq!(changes.count(), 7, "{log}");
    let zero = audit.iter().find(|line| line.contains("Zero(1500"));
    assert!(
        zero.is_some_and(|line| line.contains("engineer") && line.contains("peer=127.0.0.1")),
        "{log}"
    );
    assert!(audit.iter().any(|l| l.contains("refused")), "{log}");
    assert!(!log.contains(TOKEN));

    // What was decided live is what a replay decides.
    let (decided, result) = replayed(&run, None);
    let mut live = Vec::new();
    RunReader::open(&run)
        .unwrap()
        .for_each_derived_from(0, |_, record| {
            if !matches!(record, Derived::Groove { .. }) {
                live.push(record.clone());
            }
        });
    assert_eq!(format!("{live:?}"), format!("{decided:?}"));
    assert!(result["strokes"].as_array().unwrap().len() >= 2);
    // And the marks are what made it so.
    let end = last_depth(&result);
    assert!((1500.0..1540.0).contains(&end), "{end} m");
    let (_, unset) = replayed(&run, Some("zero"));
    assert!((last_depth(&unset) - end - 500.0).abs() < 40.0);
    let (_, unreferred) = replayed(&run, Some("reference_depth"));
    assert!(end - last_depth(&unreferred) > 5.0);

    // The program says the same as the library.
    let output = Command::new(program("kerfwatch-replay"))
        .arg("recompute")
        .arg(&run)
        .args(["--json", "-", "--quiet"])
        .output()
        .unwrap();
    let text = String::from_utf8_lossy(&output.stdout).into_owned();
    let printed: serde_json::Value = serde_json::from_str(&text).unwrap_or_else(|error| {
        panic!(
            "{error}: {text} {}",
            String::from_utf8_lossy(&output.stderr)
        )
    });
    for part in ["strokes", "intervals", "tool", "friction", "alarms"] {
        assert_eq!(printed[part], result[part], "{part}");
    }
}
