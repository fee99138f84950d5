//! What may import what. Broken layers are cheap to mend on the day and dear a month later.

use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use std::process::Command;

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

/// Names of the packages each package builds on when it is used (not its tests).
fn direct_dependencies() -> BTreeMap<String, BTreeSet<String>> {
    let cargo = std::env::var("CARGO").unwrap_or_else(|_| "cargo".into());
    let output = Command::new(cargo)
        .args(["metadata", "--format-version", "1", "--locked", "--offline"])
        .current_dir(root())
        .output()
        .unwrap();
    assert!(
        output.status.success(),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    let metadata: Value = serde_json::from_slice(&output.stdout).unwrap();
    let name_of: BTreeMap<&str, &str> = list(&metadata["packages"])
        .map(|package| (text(&package["id"]), text(&package["name"])))
        .collect();
    let mut all: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
    for node in list(&metadata["resolve"]["nodes"]) {
        let used = list(&node["deps"])
            .filter(|dep| list(&dep["dep_kinds"]).any(|kind| kind["kind"] != "dev"))
            .map(|dep| name_of[text(&dep["pkg"])].to_owned());
        // Two versions of one package count as one: what either brings is brought.
        let known = all.entry(name_of[text(&node["id"])].to_owned());
        known.or_default().extend(used);
    }
    all
}

fn list(value: &Value) -> impl Iterator<Item = &Value> {
    value.as_array().unwrap().iter()
}

fn text(value: &Value) -> &str {
    value.as_str().unwrap()
}

fn everything_below(
    package: &str,
    direct: &BTreeMap<String, BTreeSet<String>>,
) -> BTreeSet<String> {
    let mut found = BTreeSet::new();
    let mut open = vec![package.to_owned()];
    while let Some(next) = open.pop() {
        for name in &direct[&next] {
            if found.insert(name.clone()) {
                open.push(name.clone());
            }
        }
    }
    found
}

fn sources(folder: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    let mut open = vec![folder.to_owned()];
    while let Some(next) = open.pop() {
        for entry in std::fs::read_dir(&next).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                open.push(path);
            } else if path.extension().is_some_and(|end| end == "rs") {
                found.push(path);
            }
        }
    }
    assert!(!found.is_empty(), "no source below {}", folder.display());
    found.sort();
    found
}

/// Lines with code in them: what follows `//` is left out.
fn code_lines(file: &Path) -> Vec<(usize, String)> {
    let text = std::fs::read_to_string(file).unwrap();
    text.lines()
        .enumerate()
        .map(|(n, line)| (n + 1, line.split("//").next().unwrap_or("").to_owned()))
        .collect()
}

fn is_test(file: &Path) -> bool {
    let path = file.to_string_lossy();
    path.contains("/tests") || path.ends_with("_tests.rs")
}

/// Lines of code below `folder` (tests left out) that hold one of the `words`.
fn found_in(folder: &str, words: &[&str]) -> Vec<String> {
    let mut found = Vec::new();
    for file in sources(&root().join(folder)) {
        if is_test(&file) {
            continue;
        }
        for (n, line) in code_lines(&file) {
            if words.iter().any(|word| line.contains(word)) {
                found.push(format!("{}:{n}: {}", file.display(), line.trim()));
            }
        }
    }
    found
}

#[test]
fn core_builds_on_no_runtime_port_network_or_dice() {
    let below = everything_below("kerfwatch", &direct_dependencies());
    for unwanted in [
        "tokio",
        "mio",
        "serialport",
        "tokio-serial",
        "hyper",
        "reqwest",
        "influxdb2",
        "rand",
        "rayon",
        "kerfwatchd",
        "kerfwatch-replay",
    ] {
        assert!(!below.contains(unwanted), "the core builds on {unwanted}");
    }
}

#[test]
fn daemon_and_replay_do_not_build_on_each_other_and_replay_on_no_tokio() {
    let direct = direct_dependencies();
    assert!(!everything_below("kerfwatchd", &direct).contains("kerfwatch-replay"));
    let replay = everything_below("kerfwatch-replay", &direct);
    assert!(!replay.contains("kerfwatchd"));
    assert!(!replay.contains("tokio"));
}

#[test]
fn core_reads_no_clock_starts_no_thread_and_keeps_no_unordered_map() {
    let found = found_in(
        "common/src",
        &[
            "Instant::now",
            "SystemTime",
            "thread::",
            "HashMap",
            "HashSet",
            "RandomState",
            "std::env",
        ],
    );
    assert!(found.is_empty(), "{}", found.join("\n"));
}

#[test]
fn only_the_recording_touches_files() {
    let found: Vec<String> = found_in("common/src", &["std::fs", "File::open", "File::create"])
        .into_iter()
        .filter(|line| !line.contains("/common/src/recording/"))
        .collect();
    assert!(found.is_empty(), "{}", found.join("\n"));
}

#[test]
fn models_import_units_each_other_and_the_vocabulary_but_no_stage() {
    let mut found = Vec::new();
    for file in sources(&root().join("common/src/model")) {
        if is_test(&file) {
            continue;
        }
        for (n, line) in code_lines(&file) {
            for part in line.split("crate::").skip(1) {
                let module: String = part
                    .chars()
                    .take_while(|c| c.is_alphanumeric() || *c == '_')
                    .collect();
                // `job` is what the crew knows, `result` what is told: plain values, no stage.
                if !["units", "model", "job", "result"].contains(&module.as_str()) {
                    found.push(format!("{}:{n}: {}", file.display(), line.trim()));
                }
            }
        }
    }
    assert!(found.is_empty(), "{}", found.join("\n"));
}

/// Stages in the order a sample passes them: none imports a later one. One value flows back on
/// purpose, friction and weight learned from free passes (`Learned`), which the motion model uses.
#[test]
fn stages_import_earlier_stages_only() {
    let order = [
        "decode",
        "calibrate",
        "align",
        "motion",
        "infer",
        "groove",
        "pipeline",
    ];
    let mut found = Vec::new();
    for (place, stage) in order.iter().enumerate() {
        let folder = root().join("common/src").join(stage);
        let files = if folder.is_dir() {
            sources(&folder)
        } else {
            vec![folder.with_extension("rs")]
        };
        for file in files.iter().filter(|file| !is_test(file)) {
            for (n, line) in code_lines(file) {
                for later in &order[place + 1..] {
                    if line.contains(&format!("crate::{later}::"))
                        && !line.contains("friction::Learned")
                    {
                        found.push(format!("{}:{n}: {}", file.display(), line.trim()));
                    }
                }
            }
        }
    }
    assert!(found.is_empty(), "{}", found.join("\n"));
}

/// Its physics, dice and code are its own: an estimator tested on its own equations, or on one bench only, proves less.
#[test]
fn the_other_bench_uses_neither_the_core_nor_the_first_bench() {
    let mut found = Vec::new();
    for file in sources(&root().join("tests/src/other_bench")) {
        for (n, line) in code_lines(&file) {
            let outside = line
                .split("crate::")
                .skip(1)
                .any(|path| !path.starts_with("other_bench"));
            if outside || line.contains("kerfwatch") {
                found.push(format!("{}:{n}: {}", file.display(), line.trim()));
            }
        }
    }
    assert!(found.is_empty(), "{}", found.join("\n"));
}
