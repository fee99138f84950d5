//! Programs that others wrote, as judges of what we say.

use crate::peers::python_command;
use std::io::Write;
use std::process::Stdio;

/// Runs a script of `tests/peers` with `input` on its standard input and returns what it says;
/// panics with its reasons when it refuses.
pub fn judge(script: &str, input: &str) -> String {
    let mut child = python_command(script, &[])
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
