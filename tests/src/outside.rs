//! Programs that others wrote, as judges: a Python environment with pinned packages.

use std::fs::File;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

/// Packages and versions; one environment for all tests.
const PACKAGES: [&str; 3] = [
    "jsonschema==4.26.0",
    "openapi-spec-validator==0.9.0",
    "prometheus-client==0.23.1",
];

/// The interpreter of an environment below `folder` (`CARGO_TARGET_TMPDIR`), made when it is not
/// there yet. Panics with the reason when Python or the package index cannot be reached.
pub fn python(folder: &Path) -> PathBuf {
    let home = folder.join("python");
    let interpreter = home.join("bin/python");
    let done = home.join("packages");
    std::fs::create_dir_all(&home).expect("the target folder is writable");
    // Several test processes may want it at once.
    let lock = File::create(home.join("lock")).expect("the target folder is writable");
    lock.lock().expect("a file lock");
    let wanted = PACKAGES.join("\n");
    if std::fs::read_to_string(&done).is_ok_and(|have| have == wanted) {
        return interpreter;
    }
    run(Command::new("python3").arg("-m").arg("venv").arg(&home));
    run(Command::new(&interpreter)
        .args([
            "-m",
            "pip",
            "install",
            "--quiet",
            "--disable-pip-version-check",
        ])
        .args(PACKAGES));
    std::fs::write(done, wanted).expect("the target folder is writable");
    interpreter
}

fn run(command: &mut Command) {
    let status = command.status();
    assert!(
        status.as_ref().is_ok_and(std::process::ExitStatus::success),
        "{command:?} failed ({status:?}): these tests need python3 with venv and a package index"
    );
}

/// Runs `script` with `input` on its standard input; panics with what it said when it fails.
pub fn judge(interpreter: &Path, script: &str, input: &str) -> String {
    let mut child = Command::new(interpreter)
        .args(["-c", script])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the interpreter starts");
    let mut stdin = child.stdin.take().expect("a pipe");
    stdin.write_all(input.as_bytes()).expect("a pipe");
    drop(stdin);
    let output = child.wait_with_output().expect("the interpreter ends");
    assert!(
        output.status.success(),
        "the judge refuses:\n{}",
        String::from_utf8_lossy(&output.stderr)
    );
    String::from_utf8_lossy(&output.stdout).into_owned()
}
