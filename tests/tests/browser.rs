//! The page in a real browser: `tests/browser/page.mjs` looks and clicks, this side is the well.
//!
//! The script asks for what should happen at the well with lines on its standard output
//! (`!up`, `!hold`, `!overpull`, `!silence`, `!restart`, ...) and gets one line back for each.
//! Needs `tests/browser/setup.sh` to have been run. Pictures are kept in `target/artefacts`.

#![cfg(feature = "daemon")]

use kerfwatch::input::{ChannelId, Input, MarkKind};
use kerfwatch::job::{apply_set, print_default_job, read_job};
use kerfwatch::pipeline::Pipeline;
use kerfwatch::recording::RunReader;
use kerfwatch::time::seconds;
use kerfwatch_tests::rig::{Rig, Setup};
use kerfwatchd::Ended;
use kerfwatchd::demo::{Demo, demo};
use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::mpsc;
use std::time::{Duration, Instant};
use tokio::sync::oneshot;

const TOKEN: &str = "a token of the browser test";
const STEP: Duration = Duration::from_millis(50);

/// What the winch does.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Winch {
    Stroke,
    Hold,
    Up,
    Down,
    Overpull,
}

/// What the load cell does.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Cell {
    Well,
    Silent,
    /// As at a wrong line speed.
    Garbage,
    Frozen,
}

/// An invented well: strokes of eight seconds between 2003 m and 2015 m of line.
#[derive(Debug)]
struct Well {
    winch: Winch,
    cell: Cell,
    depth_m: f64,
    /// So much more does the counter say, m.
    leapt_m: f64,
    pull_n: f64,
    up: bool,
    step: u32,
}

impl Well {
    fn pass(&mut self, rig: &mut Rig) {
        self.step += 1;
        let moving = match self.winch {
            Winch::Hold | Winch::Overpull => 0.0,
            Winch::Up => -0.5,
            Winch::Down => 0.5,
            Winch::Stroke => {
                if self.depth_m < 2003.0 {
                    self.up = false;
                } else if self.depth_m > 2015.0 {
                    self.up = true;
                }
                if self.up { -1.5 } else { 1.5 }
            }
        };
        self.depth_m += moving * STEP.as_secs_f64();
        // Weights of the sample well, from memory of its expected tension: about 1.5 kN hanging.
        let weight = match moving {
            v if v < 0.0 => 1900.0,
            v if v > 0.0 => 1300.0,
            _ => 1600.0,
        };
        if self.winch == Winch::Overpull {
            self.pull_n += 60.0;
        } else {
            self.pull_n = 0.0;
        }
        let ripple = 15.0 * (f64::from(self.step) * 0.9).sin();
        match self.cell {
            Cell::Well => rig.send(ChannelId::Load, weight + self.pull_n.min(4000.0) + ripple),
            Cell::Silent => {}
            Cell::Garbage => rig.send_bytes(ChannelId::Load, b"\x8d\xf2\x1c\xe0\x99\r\n"),
            Cell::Frozen => rig.send(ChannelId::Load, 1600.0),
        }
        rig.send(ChannelId::Depth, self.depth_m + self.leapt_m);
    }
}

fn start(folder: &Path, listen: &str) -> Rig {
    let setup = Setup {
        token: Some(TOKEN.to_owned()),
        listen: listen.to_owned(),
        ..Setup::default()
    };
    let job = apply_set(print_default_job(), "load.frozen_after=1 s").expect("the job takes it");
    Rig::start(&job, folder, setup)
}

/// The demonstration, sixty times as fast, in a thread that ends with the test's process.
fn start_demo(folder: PathBuf) -> String {
    let (up, is_up) = oneshot::channel();
    std::thread::spawn(move || {
        tokio::runtime::Builder::new_current_thread()
            .enable_all()
            .build()
            .expect("a runtime")
            .block_on(demo(
                Demo {
                    speed: 60.0,
                    fixture: kerfwatchd::demo::fixture::DEFAULT.to_owned(),
                    listen: "127.0.0.1:0".to_owned(),
                    token: None,
                    once: false,
                    folder: Some(folder),
                },
                std::future::pending(),
                Some(up),
            ))
    });
    let started = is_up.blocking_recv().expect("the demonstration starts");
    format!("http://{}/", started.page.expect("it has a page"))
}

#[test]
fn the_page_shows_what_happens_and_takes_marks_in_a_real_browser() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let script = root.join("browser");
    assert!(
        script.join("node_modules").is_dir(),
        "the browser's packages are missing: run tests/browser/setup.sh"
    );
    let pictures = root.join("../target/artefacts/page");
    std::fs::create_dir_all(&pictures).unwrap();
    let folder = tempfile::tempdir().unwrap();
    let demo_page = start_demo(folder.path().join("demo"));
    let mut rig = start(folder.path(), "127.0.0.1:0");
    let address = rig.page();
    let mut child = Command::new("node")
        .arg(script.join("page.mjs"))
        .args([&format!("http://{address}/"), &demo_page, TOKEN])
        .arg(&pictures)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("node starts");
    let mut answers = child.stdin.take().unwrap();
    let (said, heard) = mpsc::channel();
    let lines = BufReader::new(child.stdout.take().unwrap()).lines();
    std::thread::spawn(move || lines.map_while(Result::ok).all(|l| said.send(l).is_ok()));

    let mut well = Well {
        winch: Winch::Stroke,
        cell: Cell::Well,
        depth_m: 2010.0,
        leapt_m: 0.0,
        pull_n: 0.0,
        up: true,
        step: 0,
    };
    let mut first = None;
    let begun = Instant::now();
    loop {
        assert!(begun.elapsed() < Duration::from_secs(240), "no end");
        well.pass(&mut rig);
        match heard.recv_timeout(STEP) {
            Ok(line) => {
                let Some(wish) = line.strip_prefix('!') else {
                    println!("{line}");
                    continue;
                };
                match wish {
                    "stroke" => well.winch = Winch::Stroke,
                    "hold" => well.winch = Winch::Hold,
                    "up" => well.winch = Winch::Up,
                    "down" => well.winch = Winch::Down,
                    "overpull" => well.winch = Winch::Overpull,
                    "silence" => well.cell = Cell::Silent,
                    "garbage" => well.cell = Cell::Garbage,
                    "freeze" => well.cell = Cell::Frozen,
                    "speak" => well.cell = Cell::Well,
                    "leap" => well.leapt_m = -577.0,
                    "leap_back" => well.leapt_m = 0.0,
                    "restart" => {
                        first = Some(rig.stop().expect("the run ends in order"));
                        rig = start(folder.path(), &address.to_string());
                    }
                    other => panic!("no such wish: {other}"),
                }
                // A script that has ended needs no answer.
                let _ = writeln!(answers, "done {wish}");
            }
            Err(mpsc::RecvTimeoutError::Timeout) => {}
            Err(mpsc::RecvTimeoutError::Disconnected) => break,
        }
    }
    let status = child.wait().unwrap();
    assert!(status.success(), "the browser script failed: {status}");
    rig.stop().expect("the run ends in order");
    marks_are_honoured(&first.expect("the script restarts the daemon"));
}

/// What was clicked is in notes and record, and is what makes the strokes in between count as cutting.
fn marks_are_honoured(run: &Ended) {
    let mut reader = RunReader::open(&run.run_folder).unwrap();
    let notes: Vec<_> = (reader.notes().into_iter())
        .filter(|note| matches!(note.kind, MarkKind::CutterOut | MarkKind::CutterIn))
        .map(|note| (note.kind, note.author))
        .collect();
    let winch = || "winch".to_owned();
    assert_eq!(
        notes,
        [
            (MarkKind::CutterOut, winch()),
            (MarkKind::CutterIn, winch())
        ]
    );
    let head = reader.head().unwrap().clone();
    let job = read_job(&head.job, "run.toml").unwrap().job;
    let replayed = |reader: &mut RunReader, with_marks: bool| {
        let mut pipeline = Pipeline::new(&job);
        let mut marks = Vec::new();
        let mut events = Vec::new();
        reader.for_each_input(|input| {
            if let Input::Mark { at, mark } = input
                && matches!(mark.kind, MarkKind::CutterOut | MarkKind::CutterIn)
            {
                marks.push(seconds(*at));
                if !with_marks {
                    return;
                }
            }
            pipeline.push(input, &mut events);
        });
        pipeline.finish(&mut events);
        (pipeline, marks)
    };
    let (mut pipeline, marks) = replayed(&mut reader, true);
    assert_eq!(pipeline.result(&head.run_id), run.result);
    pipeline.refresh();
    assert_eq!(pipeline.snapshot().cutter_out, Some(false));
    let rows = &pipeline.ledger().rows;
    let counted: Vec<_> = rows.iter().map(|row| row.marked_out).collect();
    let expected: Vec<_> = (rows.iter())
        .map(|row| 0.5 * (row.start + row.end))
        .map(|middle| marks.iter().rposition(|at| *at <= middle).map(|n| n == 0))
        .collect();
    assert_eq!(counted, expected);
    for state in [None, Some(true), Some(false)] {
        assert!(counted.contains(&state), "{state:?} in {counted:?}");
    }
    let (without, _) = replayed(&mut reader, false);
    assert!(
        without
            .ledger()
            .rows
            .iter()
            .all(|row| row.marked_out.is_none())
    );
    // The result may still be the same: the drag can tell the same strokes apart.
}
