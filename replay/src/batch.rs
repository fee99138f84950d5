//! `batch`: an archive of runs into one Parquet dataset, one row per joint.
//!
//! *Layout*: `DATASET/well=WELL/run=ID/joints.parquet`, the partition layout that query engines read
//! ("hive" style); names are percent-encoded where a file system or an engine would mind. *Resuming*:
//! each file carries a fingerprint of its recording and of this program; a run whose file is there
//! with the same fingerprint is left alone. *Order*: results do not depend on the number of threads.
//! *Memory*: a run is streamed; at most one run per thread is open.

mod outcome;

pub use crate::args::BatchArgs as Args;
use crate::console::Console;
use crate::export::parquet::write_table;
use crate::failure::{Exit, Failure, Finding};
use crate::hardly_reached::hardly_reached_sentences;
use crate::job_source::JobChanges;
use crate::run_folder::{Recomputed, RunFolder};
use crate::summary::{joint_groove, time_in, times_in};
use crate::table::{Table, TableName, table};
use kerfwatch::recording::RUN_FILE;
use kerfwatch::result::State;
use outcome::{Outcome, tell};
use parquet::file::reader::{FileReader, SerializedFileReader};
use rayon::prelude::*;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// Folders below folders are searched this deep.
const DEPTH_MAX: usize = 12;
const FILE: &str = "joints.parquet";

/// Runs it.
///
/// # Errors
/// No run anywhere, or a dataset folder that cannot be made. A run that fails is reported and the
/// others go on.
pub fn run(args: &Args, console: &mut Console<'_>) -> Result<Exit, Failure> {
    let mut folders = Vec::new();
    find_runs(&args.folder, DEPTH_MAX, &mut folders).map_err(|e| Failure::read(&args.folder, e))?;
    if folders.is_empty() {
        return Err(Finding::new(
            args.folder.display(),
            "no run folder in it (none holds run.toml)",
            "give the folder that holds the run folders",
        )
        .into());
    }
    std::fs::create_dir_all(&args.out).map_err(|e| Failure::write(args.out.display(), e))?;
    let pool = rayon::ThreadPoolBuilder::new()
        .num_threads(args.threads)
        .build()
        .map_err(|e| Finding::new("--threads", e.to_string(), "give a smaller number"))?;
    let sizes: Vec<u64> = folders
        .iter()
        .map(|folder| recorded_bytes(folder))
        .collect();
    let bar = console.progress(sizes.iter().sum(), &format!("{} runs", folders.len()));
    let claimed = claim(&folders);
    let outcomes: Vec<Outcome> = pool.install(|| {
        folders
            .par_iter()
            .zip(&sizes)
            .map(|(folder, size)| {
                let outcome = one(folder, &claimed, args);
                bar.inc(*size);
                outcome
            })
            .collect()
    });
    bar.finish_and_clear();
    tell(&outcomes, args, console)
}

/// Run folders, sorted by path; what is inside a run folder is not searched.
fn find_runs(folder: &Path, depth: usize, found: &mut Vec<PathBuf>) -> std::io::Result<()> {
    if folder.join(RUN_FILE).is_file() {
        found.push(folder.to_owned());
        return Ok(());
    }
    if depth == 0 {
        return Ok(());
    }
    let mut inside: Vec<PathBuf> = std::fs::read_dir(folder)?
        .filter_map(Result::ok)
        // Symbolic links could lead round in a circle.
        .filter(|e| e.file_type().is_ok_and(|t| t.is_dir()))
        .map(|e| e.path())
        .collect();
    inside.sort();
    for folder in inside {
        // A folder that may not be read is left out, like a file that may not.
        let _ = find_runs(&folder, depth - 1, found);
    }
    Ok(())
}

/// Run id to the first folder that has it: a copied run must not be counted twice.
fn claim(folders: &[PathBuf]) -> BTreeMap<String, PathBuf> {
    let mut claimed = BTreeMap::new();
    for folder in folders {
        if let Some(id) = run_id(folder) {
            claimed.entry(id).or_insert_with(|| folder.clone());
        }
    }
    claimed
}

fn run_id(folder: &Path) -> Option<String> {
    let reader = kerfwatch::recording::RunReader::open(folder).ok()?;
    reader.head().ok().map(|h| h.run_id.clone())
}

fn one(folder: &Path, claimed: &BTreeMap<String, PathBuf>, args: &Args) -> Outcome {
    let mut outcome = Outcome {
        folder: folder.display().to_string(),
        run: String::new(),
        well: String::new(),
        status: "failed",
        joints: 0,
        samples: 0,
        messages: String::new(),
        exit_code: 0,
    };
    let (mut out, mut err) = (Vec::new(), Vec::new());
    let mut quiet = Console::new(&mut out, &mut err, false);
    quiet.set_quiet(true);
    let done = work(folder, claimed, args, &mut outcome, &mut quiet);
    outcome.exit_code = match done {
        Ok(exit) => exit.code(),
        Err(failure) => quiet.show_failure(&failure).code(),
    };
    outcome.messages = String::from_utf8_lossy(&err).into_owned();
    outcome
}

fn work(
    path: &Path,
    claimed: &BTreeMap<String, PathBuf>,
    args: &Args,
    outcome: &mut Outcome,
    console: &mut Console<'_>,
) -> Result<Exit, Failure> {
    let mut folder = RunFolder::open(path, &JobChanges::default(), console)?;
    outcome.run.clone_from(&folder.id);
    outcome.well.clone_from(&folder.job.job.info.well);
    if claimed.get(&folder.id).is_some_and(|first| first != path) {
        outcome.status = "copy";
        return Ok(Exit::Well);
    }
    let place = args
        .out
        .join(format!("well={}", encoded(&outcome.well)))
        .join(format!("run={}", encoded(&outcome.run)));
    let file = place.join(FILE);
    let print = fingerprint(path)?;
    if !args.again
        && let Some((known, joints, exit)) = known_rows(&file)
        && known == print
    {
        outcome.status = "known";
        outcome.joints = joints;
        return Ok(exit);
    }
    let done = folder.recompute(console);
    let units = folder.job.job.info.display.into();
    for sentence in hardly_reached_sentences(&done.result, units) {
        console.warn(format_args!("{}: {sentence}", path.display()));
    }
    let rows = joint_rows(&folder, &done);
    outcome.joints = rows.rows();
    outcome.samples = done.result.run.samples;
    std::fs::create_dir_all(&place).map_err(|e| Failure::write(place.display(), e))?;
    let about = vec![
        ("kerfwatch.fingerprint".to_owned(), print),
        ("kerfwatch.exit".to_owned(), done.exit.code().to_string()),
    ];
    crate::output_file::write_file(&file, |out| {
        let mut bytes = Vec::new();
        write_table(&rows, about, &mut bytes)?;
        out.write_all(&bytes)
    })?;
    outcome.status = if done.exit == Exit::Well {
        "recomputed"
    } else {
        "damaged"
    };
    Ok(done.exit)
}

/// One row per joint: the joint of the result, and what the run was like.
fn joint_rows(folder: &RunFolder, done: &Recomputed) -> Table {
    let result = &done.result;
    let n = result.joints.len();
    let same = |value: f64| std::iter::repeat_n(Some(value), n);
    let grooves: Vec<_> = result
        .joints
        .iter()
        .map(|j| joint_groove(result, j))
        .collect();
    let start_s = folder.start_utc_ns.map(|ns| ns as f64 * 1e-9);
    let word = |text: &str| std::iter::repeat_n(text.to_owned(), n);
    Table::default()
        .whole("joint", 1..=n as i64)
        .join(table(result, TableName::Joints))
        .real(
            "mean_depth_mm",
            grooves.iter().map(|g| g.map(|g| g.mean_mm)),
        )
        .real(
            "least_low_mm",
            grooves.iter().map(|g| g.map(|g| g.least_low_mm)),
        )
        .real(
            "least_high_mm",
            grooves.iter().map(|g| g.map(|g| g.least_high_mm)),
        )
        .real("wall_mm", grooves.iter().map(|g| g.map(|g| g.wall_mm)))
        .real(
            "passes_min",
            grooves.iter().map(|g| g.map(|g| f64::from(g.passes_min))),
        )
        .whole(
            "run_strokes",
            std::iter::repeat_n(result.strokes.len() as i64, n),
        )
        .real("run_cutting_s", same(time_in(result, State::Cutting)))
        .whole(
            "run_stalls",
            std::iter::repeat_n(times_in(result, State::Stalled) as i64, n),
        )
        .whole(
            "run_alarms",
            std::iter::repeat_n(result.alarms.len() as i64, n),
        )
        .real("run_duration_s", same(result.run.duration_s))
        .whole(
            "run_lost_blocks",
            std::iter::repeat_n(result.quality.lost_blocks as i64, n),
        )
        .real("run_start_unix_s", std::iter::repeat_n(start_s, n))
        .word("job", word(&result.run.name))
        .word(
            "software",
            word(concat!("kerfwatch-replay ", env!("CARGO_PKG_VERSION"))),
        )
}

/// Size of a recording, for the progress bar: what cannot be read counts as nothing.
fn recorded_bytes(folder: &Path) -> u64 {
    let entries = std::fs::read_dir(folder).into_iter().flatten().flatten();
    entries
        .filter(|e| e.file_name().to_string_lossy().starts_with("raw-"))
        .filter_map(|e| e.metadata().ok())
        .map(|about| about.len())
        .sum()
}

/// Names, lengths and times of the recording's files, and the version of this program.
fn fingerprint(folder: &Path) -> Result<String, Failure> {
    let failed = |e| Failure::read(folder, e);
    let mut parts = vec![env!("CARGO_PKG_VERSION").to_owned()];
    for entry in std::fs::read_dir(folder).map_err(failed)? {
        let entry = entry.map_err(failed)?;
        let name = entry.file_name().to_string_lossy().into_owned();
        if name == RUN_FILE || name.starts_with("raw-") {
            let about = entry.metadata().map_err(failed)?;
            let changed = about
                .modified()
                .ok()
                .and_then(|t| t.duration_since(std::time::UNIX_EPOCH).ok())
                .map_or(0, |d| d.as_nanos());
            parts.push(format!("{name}:{}:{changed}", about.len()));
        }
    }
    parts[1..].sort();
    Ok(parts.join(";"))
}

/// Fingerprint, rows and exit code stored in a file of the dataset, if it is whole.
fn known_rows(file: &Path) -> Option<(String, usize, Exit)> {
    let reader = SerializedFileReader::new(std::fs::File::open(file).ok()?).ok()?;
    let about = reader.metadata().file_metadata();
    let get = |key: &str| {
        let pairs = about.key_value_metadata()?;
        pairs.iter().find(|p| p.key == key)?.value.clone()
    };
    let exit = match get("kerfwatch.exit")?.as_str() {
        "0" => Exit::Well,
        _ => Exit::Damaged,
    };
    Some((
        get("kerfwatch.fingerprint")?,
        usize::try_from(about.num_rows()).ok()?,
        exit,
    ))
}

/// Percent-encoding of all but letters, digits, `-`, `_`, `.`; never empty, never hidden.
fn encoded(name: &str) -> String {
    let mut text = String::new();
    for byte in name.bytes() {
        match byte {
            b'.' if text.is_empty() => text.push_str("%2E"),
            b'A'..=b'Z' | b'a'..=b'z' | b'0'..=b'9' | b'-' | b'_' | b'.' => {
                text.push(char::from(byte));
            }
            _ => text += &format!("%{byte:02X}"),
        }
    }
    if text.is_empty() {
        "unknown".into()
    } else {
        text
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn partition_names_survive_file_systems_and_engines() {
        assert_eq!(encoded("Quillstone 3/7=a"), "Quillstone%203%2F7%3Da");
        assert_eq!(encoded("../x"), "%2E.%2Fx");
        assert_eq!(encoded(""), "unknown");
    }
}
