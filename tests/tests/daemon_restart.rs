//! What a crash must not lose: strokes, states and alarms that nobody has seen.

#![cfg(feature = "daemon")]

use kerfwatch::alarm::GuardModel;
use kerfwatch::input::{ChannelId, Event, Input};
use kerfwatch::job::read_job;
use kerfwatch::pipeline::Pipeline;
use kerfwatch::recording::{Derived, Folder, HEAD_FORMAT, Policy, RunHead, RunReader, RunWriter};
use kerfwatch_tests::http::get;
use kerfwatch_tests::process::Running;
use kerfwatch_tests::rig::{Rig, Setup};
use kerfwatchd::demo::fixture::line;
use kerfwatchd::demo::terminal::Terminal;
use kerfwatchd::disk::Brake;
use kerfwatchd::progress::read;
use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::time::Duration;

/// A daemon that has raised an overpull which nobody has acknowledged, killed.
fn killed_after_an_overpull() -> Running {
    let mut running = Running::start(&[]);
    running.wait_for("the page", || running.is_up());
    let text = std::fs::read_to_string(running.folder.path().join("job.toml")).unwrap();
    let job = read_job(&text, "job.toml").unwrap().job;
    let limit = GuardModel::new(&job).limit_n(Some(2010.0));
    running.send(ChannelId::Depth, 2010.0);
    running.send_for(Duration::from_millis(500), 0.6 * limit);
    running.send_for(Duration::from_millis(500), 1.1 * limit);
    running.wait_for("an overpull", || {
        running.alarm_states("overpull") == ["unacknowledged"]
    });
    running.send_for(Duration::from_millis(300), 0.6 * limit);
    // Longer than a period of syncs.
    std::thread::sleep(Duration::from_millis(2500));
    running.signal("-KILL");
    running.child.wait().unwrap();
    running
}

fn end(running: &mut Running) {
    running.signal("-TERM");
    assert_eq!(running.child.wait().unwrap().code(), Some(0));
}

/// What was decided live is what a replay decides.
fn live_is_replay(folder: &Path) -> Vec<Derived> {
    let (live, replayed) = live_and_replayed(folder);
    assert_eq!(live, replayed);
    replayed
}

fn live_and_replayed(folder: &Path) -> (Vec<Derived>, Vec<Derived>) {
    let mut reader = RunReader::open(folder).unwrap();
    let head = reader.head().unwrap().clone();
    let job = read_job(&head.job, "run.toml").unwrap().job;
    let mut live = Vec::new();
    reader.for_each_derived_from(0, |_, record| {
        if !matches!(record, Derived::Groove { .. }) {
            live.push(record.clone());
        }
    });
    let mut pipeline = Pipeline::new(&job);
    let mut events: Vec<Event> = Vec::new();
    reader.for_each_input(|input| pipeline.push(input, &mut events));
    pipeline.finish(&mut events);
    (live, events.iter().map(Derived::from).collect())
}

#[test]
fn the_same_command_goes_on_with_the_run_and_its_unacknowledged_overpull() {
    let mut running = killed_after_an_overpull();
    running.start_again(&[]);
    running.wait_for("the page", || running.is_up());
    running.wait_for("the overpull is still there", || {
        running.alarm_states("overpull") == ["latched_unacknowledged"]
    });
    running.send_for(Duration::from_millis(300), 2500.0);
    end(&mut running);
    assert_eq!(running.runs().len(), 1, "one run");
    let decided = live_is_replay(&running.runs()[0]);
    let overpulls = decided.iter().filter(|record| {
        matches!(record, Derived::Alarm { record, state, .. }
            if record.kind == "overpull" && record.level == "high" && state == "unacknowledged")
    });
    assert_eq!(overpulls.count(), 1, "{decided:?}");
    // A run that has ended well is not gone on with by itself, but what nobody has seen of it is there, and the way back.
    running.start_again(&[]);
    running.wait_for("the page", || running.is_up());
    let states = || running.alarm_states("overpull");
    running.wait_for("the overpull is still there", || {
        states()
            .iter()
            .any(|state| state.contains("unacknowledged"))
    });
    let first = running.runs()[0].display().to_string();
    running.wait_for("the way back is told", || {
        let note = told(&running);
        note.contains("strokes and groove start at nothing")
            && note.contains(&format!("--resume {first}"))
    });
    end(&mut running);
    assert_eq!(running.runs().len(), 2);
    // As it was told.
    running.start_again(&["--resume", &first]);
    running.wait_for("the page", || running.is_up());
    running.wait_for("it is told that the run goes on", || {
        told(&running).contains("had been ended in order")
    });
    running.send_for(Duration::from_millis(300), 2500.0);
    end(&mut running);
    assert_eq!(running.runs().len(), 2);
    // What was decided when the run ended for the first time is on record too: a stroke and a state cut short by it.
    let (live, replayed) = live_and_replayed(Path::new(&first));
    for decided in &replayed {
        assert!(live.contains(decided), "{decided:?} in {live:?}");
    }
    let overpulls = live.iter().filter(|record| {
        matches!(record, Derived::Alarm { record, state, .. }
            if record.kind == "overpull" && record.level == "high" && state == "unacknowledged")
    });
    assert_eq!(overpulls.count(), 1, "{live:?}");
}

#[test]
fn another_job_after_a_crash_takes_over_the_unacknowledged_overpull() {
    let mut running = killed_after_an_overpull();
    running.start_again(&["--set", "alarm.overpull=\"1900 N\""]);
    running.wait_for("the page", || running.is_up());
    running.wait_for("the overpull is still there", || {
        let states = running.alarm_states("overpull");
        !states.is_empty() && states[0].contains("unacknowledged")
    });
    let first = running.runs()[0].clone();
    let name = first.file_name().unwrap().to_str().unwrap().to_owned();
    let note = told(&running);
    assert!(
        note.contains(&format!(
            "unfinished run {name} in alarm.overpull 1900 N (there: 2 kN): this is a new run"
        )),
        "{note}"
    );
    running.send_for(Duration::from_millis(300), 2500.0);
    end(&mut running);
    let runs = running.runs();
    assert_eq!(runs.len(), 2, "a run of its own");
    let decided = live_is_replay(&runs[1]);
    assert!(
        decided.iter().any(
            |record| matches!(record, Derived::Alarm { record, .. } if record.kind == "overpull")
        ),
        "the record of the new run holds the alarm: {decided:?}"
    );
}

/// The notes of the daemon on the page.
fn told(running: &Running) -> String {
    let marks = get(running.page, "/api/v1/marks").json();
    let marks = marks.as_array().expect("a list of marks");
    let notes = marks.iter().filter(|mark| mark["mark"] == "note");
    notes
        .map(|mark| mark["text"].as_str().unwrap_or(""))
        .collect()
}

#[test]
fn the_first_job_put_back_is_told_how_to_go_on_with_its_run() {
    let mut running = killed_after_an_overpull();
    let first = running.runs()[0].clone();
    running.start_again(&["--set", "alarm.overpull=\"1900 N\""]);
    running.wait_for("the page", || running.is_up());
    std::thread::sleep(Duration::from_millis(2500));
    running.signal("-KILL");
    running.child.wait().unwrap();
    let refused = refused(&running, &["--set", "alarm.overpull=\"1900 N\""], &first);
    assert!(
        refused.contains("alarm.overpull 1900 N (there: 2 kN)"),
        "{refused}"
    );
    running.start_again(&[]);
    running.wait_for("the page", || running.is_up());
    running.wait_for("the way back is told", || {
        told(&running).contains(&format!("--resume {}", first.display()))
    });
    end(&mut running);
    assert_eq!(running.runs().len(), 3);
    // As it was told.
    running.start_again(&["--resume", first.to_str().unwrap()]);
    running.wait_for("the page", || running.is_up());
    running.wait_for("the overpull is back", || {
        running.alarm_states("overpull") == ["latched_unacknowledged"]
    });
    end(&mut running);
    assert_eq!(running.runs().len(), 3);
}

/// What `--resume` with these arguments is refused with.
fn refused(running: &Running, more: &[&str], run: &Path) -> String {
    let output = std::process::Command::new(kerfwatch_tests::programs::program("kerfwatchd"))
        .arg("run")
        .arg(running.folder.path().join("job.toml"))
        .args(more)
        .arg("--resume")
        .arg(run)
        .output()
        .expect("the program starts");
    assert!(!output.status.success());
    String::from_utf8_lossy(&output.stderr).into_owned()
}

/// Ten minutes of strokes with an overpull that nobody acknowledged, cut off by a crash, in `folder`; the entries
/// recorded.
fn cut_off_run(job_text: &str, folder: &Path) -> u64 {
    let job = read_job(job_text, "test job").unwrap().job;
    let limit = GuardModel::new(&job).limit_n(Some(2010.0));
    let started = std::time::SystemTime::now() - Duration::from_secs(605);
    let unix = started.duration_since(std::time::UNIX_EPOCH).unwrap();
    let head = RunHead {
        format: HEAD_FORMAT,
        run_id: "cut-off".to_owned(),
        software: "test".to_owned(),
        started_unix_ns: i64::try_from(unix.as_nanos()).unwrap(),
        started_utc: "unknown".to_owned(),
        job: job_text.to_owned(),
    };
    let disk = Folder::create(folder).unwrap();
    let mut writer = RunWriter::create(disk, &head, Policy::default()).unwrap();
    let mut entries = 0;
    for n in 0..6000_i64 {
        let at = n * 100_000_000;
        // Strokes of 12 m, 15 s each.
        let phase = (n % 300) as f64 / 150.0;
        let part = if phase < 1.0 { phase } else { 2.0 - phase };
        let pull = if phase < 1.0 { 1300.0 } else { 1900.0 };
        let over = (3000..3005).contains(&n);
        let load = if over { 1.1 * limit } else { pull } + (n % 7) as f64;
        for (channel, value) in [
            (ChannelId::Depth, 2003.0 + 12.0 * part),
            (ChannelId::Load, load),
        ] {
            let frame = line(channel, at, value);
            let input = Input::Received {
                port: frame.port,
                at,
                bytes: frame.bytes,
            };
            writer.append(&input).unwrap();
        }
        writer.append(&Input::Tick { at }).unwrap();
        entries += 3;
    }
    writer.sync(600_000_000_000).unwrap();
    entries
}

/// The end of a job file: a horn on this port.
fn horn_of(port: &Path) -> String {
    format!(
        "\n[[alarm.output]]\nname = \"horn\"\nkind = \"serial-line\"\nport = \"serial:{}\"\nalarms = [\"overpull\"]\nheartbeat = \"200 ms\"\n",
        port.display()
    )
}

/// Frames of load on record from entry `first` on.
fn frames_on_record(folder: &Path, first: u64) -> usize {
    let mut frames = 0;
    let mut reader = RunReader::open(folder).unwrap();
    reader.for_each_input_from(first, |_, input| {
        // Several may come in one read.
        if let Input::Received { port: 0, bytes, .. } = input {
            frames += bytes.iter().filter(|byte| **byte == b'\n').count();
        }
    });
    frames
}

#[test]
fn while_a_run_is_read_back_its_instruments_are_recorded_and_an_overpull_is_raised() {
    let folder = tempfile::tempdir().unwrap();
    let horn = Terminal::open().unwrap();
    let brake = Brake::default();
    brake.hold_reading_back(true);
    let setup = Setup {
        brake: brake.clone(),
        more_job: horn_of(&horn.path),
        ..Setup::default()
    };
    let run: PathBuf = folder.path().join("cut-off");
    let mut earlier = 0;
    let mut rig = Rig::go_on(setup, folder.path(), |job_text| {
        earlier = cut_off_run(job_text, &run);
        run.clone()
    });
    let text = std::fs::read_to_string(run.join("run.toml")).unwrap();
    let head: toml::Table = text.parse().unwrap();
    let job = read_job(head["job"].as_str().unwrap(), "run.toml").unwrap();
    let limit = GuardModel::new(&job.job).limit_n(Some(2010.0));
    let up = rig.started.clone();
    let progress = &up.published.progress;
    rig.wait_for_ports();

    // Bytes are on disk while nothing has been read back.
    let mut sent = 0;
    let mut send = |rig: &mut Rig, load: f64, count: usize| {
        for n in 0..count {
            rig.send(ChannelId::Depth, 2010.0 + 0.001 * (n % 5) as f64);
            rig.send(ChannelId::Load, load + (n % 7) as f64);
            std::thread::sleep(Duration::from_millis(10));
        }
        sent += count;
        sent
    };
    let count = send(&mut rig, 0.5 * limit, 50);
    rig.wait_for("they are on record", |_| {
        frames_on_record(&run, earlier) == count
    });
    let page = rig.page();
    let shown = || get(page, "/healthz").json()["reading_back"].clone();
    assert_eq!(shown().as_f64(), Some(0.0));
    assert_eq!(get(page, "/api/v1/result").status, 503);
    assert_eq!(up.published.snapshot.borrow().strokes, 0);

    // An overpull is raised at once: guard, horn, page.
    let mut words = BufReader::new(horn.end().unwrap());
    send(&mut rig, 1.1 * limit, 5);
    rig.wait_for("the guard", |_| read(&progress.overpulls) == 1);
    let overpull = |state: &str| {
        let now = up.published.snapshot.borrow();
        (now.alarms.iter())
            .any(|alarm| alarm.kind == "overpull" && alarm.level == "high" && alarm.state == state)
    };
    rig.wait_for("the page", |_| overpull("unacknowledged"));
    let mut word = String::new();
    rig.wait_for_mut("the horn", |_| {
        // Nothing to read yet is no end.
        let _ = words.read_line(&mut word);
        word.contains("ALARM")
    });
    assert!(
        !word.contains("OK"),
        "all is well was said before it was known: {word}"
    );
    send(&mut rig, 0.5 * limit, 20);
    assert_eq!(shown().as_f64(), Some(0.0), "nothing was read back so far");

    brake.hold_reading_back(false);
    rig.wait_for("it has caught up", |_| shown().is_null());
    rig.wait_for("its strokes are there", |_| {
        up.published.snapshot.borrow().strokes >= 30
    });
    assert!(up.published.strokes().len() >= 30);
    assert!(up.published.history().newest_s() > 600.0);
    assert!(up.published.history().since(0.0, 6000).at_s[0] < 10.0);
    assert!(overpull("latched_unacknowledged") || overpull("unacknowledged"));
    let changes = get(page, "/api/v1/alarms").json();
    let changes = changes.as_array().expect("a list of changes");
    let raised = changes
        .iter()
        .filter(|change| change["alarm"] == "overpull" && change["state"] == "unacknowledged");
    assert_eq!(
        raised.count(),
        2,
        "also the one before the crash: {changes:?}"
    );
    let count = send(&mut rig, 0.5 * limit, 20);
    rig.stop().unwrap();

    assert_eq!(frames_on_record(&run, earlier), count, "every byte");
    let decided = live_is_replay(&run);
    let raised = decided.iter().filter(|record| {
        matches!(record, Derived::Alarm { record, state, .. }
            if record.kind == "overpull" && record.level == "high" && state == "unacknowledged")
    });
    assert_eq!(raised.count(), 2, "one before and one after the crash");
}

#[test]
fn an_alarm_about_the_daemon_itself_that_nobody_has_seen_is_there_after_a_crash() {
    let elsewhere = tempfile::tempdir().unwrap();
    let name = elsewhere.path().join("horn");
    let mut running = Running::start_job(&horn_of(&name));
    running.wait_for("the page", || running.is_up());
    running.wait_for("the horn is missed", || {
        running.alarm_states("output") == ["unacknowledged"]
    });
    // Longer than a period of syncs.
    running.send_for(Duration::from_millis(2500), 2500.0);
    running.signal("-KILL");
    running.child.wait().unwrap();
    // It works again: nothing but the record can tell of it.
    let horn = Terminal::open().unwrap();
    std::os::unix::fs::symlink(&horn.path, &name).unwrap();
    running.start_again(&[]);
    running.wait_for("the page", || running.is_up());
    running.wait_for("it is still to be seen", || {
        let states = running.alarm_states("output");
        states.len() == 1 && states[0].contains("unacknowledged")
    });
    let alarms = running.snapshot()["alarms"].clone();
    assert_eq!(alarms[0]["about"], "horn");
    running.send_for(Duration::from_millis(300), 2500.0);
    end(&mut running);
    assert_eq!(running.runs().len(), 1, "one run");
    live_is_replay(&running.runs()[0]);
}
