//! The server comes and goes while the daemon is killed and gone on with, once after a full disk had taken its decisions:
//! what has reached the server in the end is what `kerfwatchd forward` sends of the finished run, point for point.
//!
//! Alarms that become known long after their readings were sent are tried by the forwarder's own tests
//! (`cargo test -p kerfwatchd --lib forward::tests::late`), and at length by the soak.

#![cfg(feature = "daemon")]

use kerfwatch_tests::instruments::Instruments;
use kerfwatch_tests::lines_on_record::wait_until_recorded;
use kerfwatch_tests::programs::{Daemon, program, run_below};
use kerfwatch_tests::soak::server::Server;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

fn forward(run: &Path) {
    let status = Command::new(program("kerfwatchd"))
        .arg("forward")
        .arg(run)
        .env("KERFWATCH_LOG", "error")
        .stdout(Stdio::null())
        .status()
        .unwrap();
    assert_eq!(status.code(), Some(0));
}

/// As a full disk does, the oldest first; here all of them.
fn remove_decisions(run: &Path) {
    for file in std::fs::read_dir(run).unwrap().flatten() {
        if file.file_name().to_string_lossy().starts_with("derived-") {
            std::fs::remove_file(file.path()).unwrap();
        }
    }
}

#[test]
fn what_reached_the_server_through_kills_and_absences_is_what_the_finished_run_gives() {
    let folder = tempfile::tempdir().unwrap();
    let runs = folder.path().join("runs");
    let server = Server::start().unwrap();
    let mut instruments = Instruments::new();
    let section = format!(
        "\n[forward]\nurl = \"http://{}\"\norg = \"crew\"\nbucket = \"cuts\"\n",
        server.address
    );
    let job = instruments.job(folder.path(), &runs, &section);
    instruments.start();
    let mut daemon = Daemon::start(&job, None);
    daemon.wait_until_up();
    let run = run_below(&runs);
    // Whether the server is away, for how long, and whether the disk takes the decisions before the daemon is back.
    for (is_down, seconds, disk_full) in [
        (false, 4, false),
        (true, 2, true),
        (false, 3, false),
        (true, 1, false),
    ] {
        server.set_down(is_down);
        let refused = server.refused();
        std::thread::sleep(Duration::from_secs(seconds));
        // It counts as away only once somebody has found it so.
        let begun = Instant::now();
        while is_down && server.refused() == refused && begun.elapsed() < Duration::from_secs(20) {
            std::thread::sleep(Duration::from_millis(20));
        }
        daemon.kill();
        if disk_full {
            remove_decisions(&run);
        }
        daemon = Daemon::start(&job, Some(&run));
        daemon.wait_until_up();
    }
    server.set_down(false);
    std::thread::sleep(Duration::from_secs(1));
    let sent = instruments.stop();
    wait_until_recorded(&run, &sent);
    assert_eq!(daemon.terminate().code(), Some(0));
    forward(&run);
    let live = server.take();

    let copy = folder.path().join("copy");
    std::fs::create_dir(&copy).unwrap();
    for file in std::fs::read_dir(&run).unwrap().flatten() {
        if file.file_name() != "forward.toml" {
            std::fs::copy(file.path(), copy.join(file.file_name())).unwrap();
        }
    }
    forward(&copy);
    let whole = server.take();
    println!(
        "{:?}; {} requests in vain",
        whole.by_measurement(),
        server.refused()
    );
    assert!(
        whole.by_measurement().contains_key("line_full"),
        "alarms were raised"
    );
    assert!(server.refused() > 0, "it was away");
    assert_eq!(
        whole.not_in(&live),
        Default::default(),
        "missing at the server"
    );
}
