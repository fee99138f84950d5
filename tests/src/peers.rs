//! Programs that others wrote, as peers of ours: `socat` for ports, Python for devices, and Python as a judge of
//! what we say and as a reader of our files.
//!
//! Everything started here is ended when its value is dropped.

use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use std::time::{Duration, Instant};

/// A program under way.
#[derive(Debug)]
pub struct Peer(Child);

impl Drop for Peer {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

impl Peer {
    /// Waits for its end; whether it went well.
    pub fn finished_well(mut self) -> bool {
        self.0.wait().is_ok_and(|status| status.success())
    }
}

/// Two pseudo terminals joined by `socat`, under the names `a` and `b`.
#[derive(Debug)]
pub struct PtyPair {
    _socat: Peer,
    /// One end.
    pub a: PathBuf,
    /// The other end.
    pub b: PathBuf,
}

impl PtyPair {
    /// In `folder`, as `<folder>/<a>` and `<folder>/<b>`.
    pub fn new(folder: &Path, a: &str, b: &str) -> Self {
        let (a, b) = (folder.join(a), folder.join(b));
        let end = |path: &Path| format!("pty,raw,echo=0,link={}", path.display());
        let socat = socat(&[&end(&a), &end(&b)]);
        wait_until("socat makes its pseudo terminals", || {
            a.exists() && b.exists()
        });
        Self {
            _socat: socat,
            a,
            b,
        }
    }
}

/// Starts `socat` with `arguments`.
pub fn socat(arguments: &[&str]) -> Peer {
    let child = Command::new("socat").args(arguments).spawn();
    Peer(child.expect("socat is missing: apt install socat"))
}

/// Starts one of the Python peers of `tests/peers`.
pub fn python(script: &str, arguments: &[&str]) -> Peer {
    Peer(python_command(script, arguments).spawn().expect(MISSING))
}

/// Starts one, and waits until it says `ready`.
pub fn python_ready(script: &str, arguments: &[&str]) -> Peer {
    let mut child = python_command(script, arguments)
        .stdout(Stdio::piped())
        .spawn()
        .expect(MISSING);
    let output = child.stdout.take().expect("piped");
    let mut first = String::new();
    let read = BufReader::new(output).read_line(&mut first);
    let peer = Peer(child);
    assert!(
        read.is_ok() && first.trim() == "ready",
        "{script} did not start: {first}"
    );
    peer
}

/// Runs one with `input` on its standard input and returns what it says.
///
/// # Panics
/// When it refuses, with its reasons.
pub fn judge(script: &str, input: &str) -> String {
    let mut child = python_command(script, &[])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect(MISSING);
    let mut stdin = child.stdin.take().expect("a pipe");
    stdin.write_all(input.as_bytes()).expect("a pipe");
    drop(stdin);
    said(
        script,
        child.wait_with_output().expect("the interpreter ends"),
    )
}

/// Asks one what it sees in our files; it answers as JSON.
///
/// # Panics
/// When it fails, with what it said.
pub fn ask(script: &str, files: &[&Path]) -> serde_json::Value {
    let output = python_command(script, &[]).args(files).output();
    let text = said(script, output.expect(MISSING));
    serde_json::from_str(&text).unwrap_or_else(|e| panic!("{script} printed no JSON ({e})"))
}

fn said(script: &str, output: Output) -> String {
    let refusal = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{script} refuses:\n{refusal}");
    String::from_utf8_lossy(&output.stdout).into_owned()
}

const MISSING: &str = "the Python peers are missing: run tests/peers/setup.sh once";

/// One of the Python peers, ready to be started.
fn python_command(script: &str, arguments: &[&str]) -> Command {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("..");
    let target = std::env::var_os("CARGO_TARGET_DIR").map_or(root.join("target"), PathBuf::from);
    let interpreter = target.join("peers-venv/bin/python");
    assert!(interpreter.exists(), "{MISSING}");
    let mut command = Command::new(interpreter);
    command
        .arg(root.join("tests/peers").join(script))
        .args(arguments);
    command
}

/// Waits up to 20 s for `fact`; the machine that runs the tests may be busy.
pub fn wait_until(what: &str, mut fact: impl FnMut() -> bool) {
    let start = Instant::now();
    while !fact() {
        assert!(
            start.elapsed() < Duration::from_secs(20),
            "waited 20 s until {what}"
        );
        std::thread::sleep(Duration::from_millis(20));
    }
}
