//! Readers that others wrote, asked from Python what they see in our files.

use std::path::{Path, PathBuf};
use std::process::Command;

/// Runs a script of `tests/peers` and reads the JSON it prints. Needs `tests/peers/setup.sh` once.
///
/// # Panics
/// When the script fails, with what it said.
pub fn ask(script: &str, arguments: &[&Path]) -> serde_json::Value {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("..");
    let target = std::env::var_os("CARGO_TARGET_DIR").map_or(root.join("target"), PathBuf::from);
    let python = target.join("peers-venv/bin/python");
    assert!(
        python.exists(),
        "the Python readers are missing: run tests/peers/setup.sh once"
    );
    let path = root.join("tests/peers").join(script);
    let output = Command::new(python).arg(&path).args(arguments).output();
    let output = output.unwrap_or_else(|e| panic!("{script}: {e}"));
    assert!(
        output.status.success(),
        "{script} failed:\n{}",
        String::from_utf8_lossy(&output.stderr)
    );
    serde_json::from_slice(&output.stdout)
        .unwrap_or_else(|e| panic!("{script} printed no JSON ({e})"))
}
