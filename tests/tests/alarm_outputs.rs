//! Horn, relay and program: told at once, told again, and silent when the daemon is.

#![cfg(feature = "daemon")]

use kerfwatch::alarm::GuardModel;
use kerfwatch::input::ChannelId;
use kerfwatch::job::print_default_job;
use kerfwatch_tests::rig::{Rig, Setup};
use kerfwatchd::demo::terminal::Terminal;
use std::io::Read;
use std::time::{Duration, Instant};

fn output(keys: &str) -> Setup {
    Setup {
        more_job: format!("\n[[alarm.output]]\nalarms = [\"overpull\"]\n{keys}\n"),
        ..Setup::default()
    }
}

/// Everything said on a terminal until `wanted` comes; panics after ten seconds.
fn hear(end: &mut impl Read, wanted: &str) -> String {
    let start = Instant::now();
    let mut heard = String::new();
    let mut buffer = [0; 256];
    while !heard.contains(wanted) {
        assert!(
            start.elapsed() < Duration::from_secs(10),
            "{wanted} never came: {heard:?}"
        );
        match end.read(&mut buffer) {
            Ok(length) => heard.push_str(&String::from_utf8_lossy(&buffer[..length])),
            Err(_) => std::thread::sleep(Duration::from_millis(2)),
        }
    }
    heard
}

fn overpull(rig: &mut Rig) {
    rig.wait_for_ports();
    let limit = GuardModel::new(&rig.started.published.job).limit_n(Some(2010.0));
    rig.send(ChannelId::Depth, 2010.0);
    for part in [0.8, 0.9, 0.95, 1.05, 1.05, 1.05] {
        rig.send(ChannelId::Load, part * limit);
        std::thread::sleep(Duration::from_millis(20));
    }
}

#[test]
fn a_line_that_does_not_say_otherwise_hears_of_dead_instruments() {
    let folder = tempfile::tempdir().unwrap();
    let horn = Terminal::open().unwrap();
    let mut end = horn.end().unwrap();
    let more_job = format!(
        "\n[[alarm.output]]\nkind = \"serial-line\"\nport = \"serial:{}\"\nheartbeat = \"200 ms\"\n",
        horn.path.display()
    );
    let setup = Setup {
        more_job,
        ..Setup::default()
    };
    let rig = Rig::start(print_default_job(), folder.path(), setup);
    rig.wait_for_ports();
    // Neither speaks.
    hear(&mut end, "ALARM");
    rig.stop().unwrap();
}

#[test]
fn a_line_hears_that_all_is_well_until_an_overpull_and_alarm_at_the_end() {
    let folder = tempfile::tempdir().unwrap();
    let horn = Terminal::open().unwrap();
    let mut end = horn.end().unwrap();
    let keys = format!(
        "kind = \"serial-line\"\nport = \"serial:{}\"\nheartbeat = \"200 ms\"",
        horn.path.display()
    );
    let mut rig = Rig::start(print_default_job(), folder.path(), output(&keys));
    let heard = hear(&mut end, "OK\r\nOK\r\n");
    assert!(!heard.contains("ALARM"), "{heard}");
    overpull(&mut rig);
    hear(&mut end, "ALARM\r\n");
    let ended = rig.stop();
    assert!(ended.is_ok(), "{ended:?}");
    let heard = hear(&mut end, "ALARM");
    assert!(
        heard.ends_with("ALARM\r\n"),
        "nobody watches any more: {heard}"
    );
}

#[test]
fn a_program_is_started_with_what_happened() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("called");
    let script = format!(
        "echo $KERFWATCH_ALARM $KERFWATCH_KINDS > {}",
        file.display()
    );
    let keys = format!("kind = \"command\"\ncommand = [\"sh\", \"-c\", {script:?}]");
    let mut rig = Rig::start(print_default_job(), folder.path(), output(&keys));
    overpull(&mut rig);
    rig.wait_for("the program was started", |_| {
        std::fs::read_to_string(&file).is_ok_and(|text| text == "raised overpull\n")
    });
    rig.stop().unwrap();
}

#[test]
fn an_output_that_does_not_answer_is_shown_as_an_alarm() {
    let folder = tempfile::tempdir().unwrap();
    let keys = "name = \"horn\"\nkind = \"modbus-coil\"\nport = \"serial:/dev/nowhere\"";
    let rig = Rig::start(print_default_job(), folder.path(), output(keys));
    rig.wait_for("the output is shown", |up| {
        let snapshot = up.published.snapshot.borrow();
        snapshot
            .alarms
            .iter()
            .any(|alarm| alarm.kind == "output" && alarm.message.contains("horn"))
    });
    rig.stop().unwrap();
}
