//! The program itself, as a process: signals, exit codes, the service manager.

#![cfg(feature = "daemon")]

use kerfwatch::input::ChannelId;
use kerfwatch::job::{apply_set, print_default_job};
use kerfwatch::recording::RunReader;
use kerfwatch_tests::process::Running;
use kerfwatch_tests::programs::program;
use kerfwatchd::demo::fixture::line;
use std::io::{BufRead, BufReader, Read};
use std::os::unix::net::UnixDatagram;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::Duration;

fn bytes_in(folder: &Path) -> Vec<u8> {
    let mut all = Vec::new();
    RunReader::open(folder).unwrap().for_each_input(|input| {
        if let kerfwatch::input::Input::Received { port: 0, bytes, .. } = input {
            all.extend_from_slice(bytes);
        }
    });
    all
}

/// Sends so many readings of load and gives the program time to read them; their bytes.
fn send_loads(running: &mut Running, number: u32) -> Vec<u8> {
    let mut sent = Vec::new();
    for n in 0..number {
        let newtons = 3000.0 + f64::from(n);
        running.send(ChannelId::Load, newtons);
        sent.extend(line(ChannelId::Load, 0, newtons).bytes);
        std::thread::sleep(Duration::from_millis(10));
    }
    std::thread::sleep(Duration::from_millis(500));
    sent
}

#[test]
fn a_signal_ends_it_cleanly_with_every_byte_on_disk_and_the_run_sealed() {
    for signal in ["-TERM", "-INT"] {
        let mut running = Running::start(&[]);
        running.wait_for("a run folder", || running.run_folder().is_some());
        let sent = send_loads(&mut running, 40);
        running.signal(signal);
        let status = running.child.wait().unwrap();
        assert_eq!(status.code(), Some(0), "{signal}");
        let folder = running.run_folder().unwrap();
        assert!(folder.join("manifest.sha256").is_file(), "sealed");
        assert_eq!(bytes_in(&folder), sent, "{signal}");
    }
}

#[test]
fn a_closed_terminal_does_not_end_a_run() {
    let mut running = Running::start(&[]);
    running.wait_for("a run folder", || running.run_folder().is_some());
    let folder = running.run_folder().unwrap();
    running.signal("-HUP");
    let sent = send_loads(&mut running, 10);
    assert!(running.child.try_wait().unwrap().is_none(), "it goes on");
    running.signal("-TERM");
    assert_eq!(running.child.wait().unwrap().code(), Some(0));
    assert!(folder.join("manifest.sha256").is_file(), "sealed");
    assert_eq!(bytes_in(&folder), sent);
}

#[test]
fn bad_input_is_told_from_failure_by_the_exit_code() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("job.toml");
    std::fs::write(&file, "[job]\nnmae = \"x\"\n").unwrap();
    for arguments in [["check"], ["run"]] {
        let output = Command::new(program("kerfwatchd"))
            .args(arguments)
            .arg(&file)
            .output()
            .unwrap();
        assert_eq!(output.status.code(), Some(2), "{arguments:?}");
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        assert!(
            said.contains("nmae") && said.contains("job.toml:2"),
            "{said}"
        );
    }
    let missing = folder.path().join("none");
    let output = Command::new(program("kerfwatchd"))
        .arg("forward")
        .arg(&missing)
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&output.stderr).contains("none: no such folder; name"));
    let output = Command::new(program("kerfwatchd"))
        .arg("run")
        .arg(&missing)
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&output.stderr).contains("`kerfwatchd config > job.toml`"));
    std::fs::write(&file, print_default_job()).unwrap();
    let output = Command::new(program("kerfwatchd"))
        .arg("run")
        .arg(&file)
        .args(["--listen", "0.0.0.0:0"])
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&output.stderr).contains("token"));
    let output = Command::new(program("kerfwatchd"))
        .arg("run")
        .arg(&file)
        .args(["--listen", "127.0.0.1:0", "--name", "rig.example"])
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&output.stderr).contains("--name rig.example is for readers"));
    let output = Command::new(program("kerfwatchd"))
        .arg("check")
        .arg(&file)
        .arg("--json")
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(0));
    let answer: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(answer["format"], 1);
}

/// What a command says of this job and with which exit code; `token`: in the environment.
fn said_of(command: &str, file: &Path, token: Option<&str>) -> (Option<i32>, String) {
    let mut asked = Command::new(program("kerfwatchd"));
    asked.arg(command).arg(file).env_remove("CUT_TOKEN");
    if let Some(token) = token {
        asked.env("CUT_TOKEN", token);
    }
    let output = asked.output().unwrap();
    let said = [output.stdout, output.stderr].concat();
    (
        output.status.code(),
        String::from_utf8_lossy(&said).into_owned(),
    )
}

#[test]
fn a_page_that_run_refuses_is_refused_by_check_in_the_same_words() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("job.toml");
    let sample = print_default_job();
    let write = |page: &str| {
        let runs = folder.path().join("runs").display().to_string();
        let text = apply_set(sample, &format!("record.folder=\"{runs}\"")).unwrap();
        let text = page
            .split(' ')
            .fold(text, |text, set| apply_set(&text, set).unwrap());
        std::fs::write(&file, text).unwrap();
    };
    let open = "page.listen=\"0.0.0.0:0\"";
    let with_token = format!("{open} page.token_env=\"CUT_TOKEN\"");
    for (page, token, words) in [
        (
            open,
            None,
            "0.0.0.0:0 can be reached from other machines, which needs a token",
        ),
        (&with_token, Some("short"), "the token has 5 characters"),
    ] {
        write(page);
        let (code, check) = said_of("check", &file, token);
        assert_eq!(code, Some(2), "{check}");
        assert!(check.contains(words), "{check}");
        let (code, run) = said_of("run", &file, token);
        assert_eq!(code, Some(2), "{run}");
        assert!(run.contains(check.trim()), "{run}\n{check}");
    }
    // Whoever checks need not have the token of the service.
    write(&with_token);
    let (code, check) = said_of("check", &file, None);
    assert_eq!(code, Some(0), "{check}");
    assert!(
        check.contains("note: the token variable CUT_TOKEN is not set here"),
        "{check}"
    );
    let (code, check) = said_of("check", &file, Some("0123456789abcdef"));
    assert_eq!((code, check.contains("note:")), (Some(0), false), "{check}");
}

/// The demonstration, played once, so many times faster than it was recorded.
fn demonstration(folder: &Path, speed: u32, errors: Stdio) -> Child {
    Command::new(program("kerfwatchd"))
        .args(["demo", "--once", "--listen", "127.0.0.1:0", "--speed"])
        .arg(speed.to_string())
        .arg("--folder")
        .arg(folder)
        .stdout(Stdio::piped())
        .stderr(errors)
        .spawn()
        .unwrap()
}

#[test]
fn a_reader_of_its_lines_that_goes_away_ends_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let mut child = demonstration(folder.path(), 1000, Stdio::piped());
    drop(child.stdout.take());
    let output = child.wait_with_output().unwrap();
    let said = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(0), "{said}");
    assert!(!said.contains("panicked"), "{said}");
}

#[test]
fn the_service_manager_hears_ready_watchdog_and_stopping() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("notify");
    let socket = UnixDatagram::bind(&path).unwrap();
    socket
        .set_read_timeout(Some(Duration::from_secs(10)))
        .unwrap();
    let mut running = Running::start(&[
        ("NOTIFY_SOCKET", path.to_str().unwrap()),
        ("WATCHDOG_USEC", "600000"),
    ]);
    let hear = |wanted: &str| {
        let mut buffer = [0; 512];
        loop {
            let length = socket
                .recv(&mut buffer)
                .unwrap_or_else(|_| panic!("never: {wanted}"));
            if String::from_utf8_lossy(&buffer[..length]).contains(wanted) {
                return;
            }
        }
    };
    hear("READY=1");
    hear("WATCHDOG=1");
    hear("WATCHDOG=1");
    // A process that does not run feeds no watchdog.
    running.signal("-STOP");
    std::thread::sleep(Duration::from_millis(300));
    socket.set_nonblocking(true).unwrap();
    while socket.recv(&mut [0; 512]).is_ok() {}
    std::thread::sleep(Duration::from_millis(700));
    assert!(socket.recv(&mut [0; 512]).is_err());
    socket.set_nonblocking(false).unwrap();
    running.signal("-CONT");
    hear("WATCHDOG=1");
    running.signal("-TERM");
    hear("STOPPING=1");
    assert_eq!(running.child.wait().unwrap().code(), Some(0));
}

#[test]
fn the_demonstration_plays_a_cut_serves_the_page_and_ends() {
    let folder = tempfile::tempdir().unwrap();
    let mut child = demonstration(folder.path(), 3000, Stdio::inherit());
    let mut output = BufReader::new(child.stdout.take().unwrap());
    let mut first = String::new();
    output.read_line(&mut first).unwrap();
    let address = first
        .trim()
        .rsplit("http://")
        .next()
        .unwrap()
        .trim_end_matches('/');
    let answer = kerfwatch_tests::http::get(address.parse().unwrap(), "/");
    assert_eq!(answer.status, 200);
    let mut rest = String::new();
    output.read_to_string(&mut rest).unwrap();
    assert_eq!(child.wait().unwrap().code(), Some(0));
    assert!(rest.contains("stroke    1"), "{rest}");
}
