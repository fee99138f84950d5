//! The jobs of the runs against the one that is used for all of them.
//!
//! A crew changes wheels and force between runs: a stroke of each run counts by what its own job says of the cutter, and
//! the drag is asked about the rest. Of all else the estimate knows one: strokes made with another line or tool are
//! reckoned as if made with that of the job used. That is told, key by key. Another tubular is refused: its groove is not
//! the same groove.

use crate::failure::{Failure, Finding};
use crate::run_folder::RunFolder;
use kerfwatch::job::{Difference, Tubular, differences, listed};
use kerfwatch::units::Metres;

/// Diameters and walls in inches and in millimetres of a catalogue differ by less, part.
const CATALOGUE: f64 = 2e-3;

/// Refuses runs whose tubular is not that of the last.
pub(super) fn refuse_other_tubular(folders: &[RunFolder]) -> Result<(), Failure> {
    let Some(last) = folders.last() else {
        return Ok(());
    };
    for folder in folders {
        let (here, used) = (&folder.job.job.tubular, &last.job.job.tubular);
        let unlike = unlike(here, used);
        if !unlike.is_empty() {
            return Err(Finding::new(
                folder.path.display(),
                format!(
                    "its tubular is not that of the last run: {}",
                    unlike.join(", ")
                ),
                "chain runs in one tubular only; if one of the values is a mistake, say which holds for all runs, with \
                 --set \"tubular.wall=5.51 mm\" (or tubular.od), or one job for all with --job FILE",
            )
            .into());
        }
    }
    Ok(())
}

/// Diameter and wall with both values, where they differ.
fn unlike(here: &Tubular, used: &Tubular) -> Vec<String> {
    let differs = |(_, a, b): &(&str, Metres, Metres)| {
        (a.si() - b.si()).abs() > CATALOGUE * a.si().max(b.si())
    };
    [
        ("tubular.od", here.od, used.od),
        ("tubular.wall", here.wall, used.wall),
    ]
    .into_iter()
    .filter(differs)
    .map(|(key, a, b)| {
        let mm = |length: Metres| format!("{:.2} mm", length.as_millimetres());
        format!("{key} {} here, {} there", mm(a), mm(b))
    })
    .collect()
}

/// By run: values of its job (`one`) that are not those of the job used (`other`).
pub(super) fn against_used(folders: &[RunFolder]) -> Vec<Vec<Difference>> {
    let Some(used) = folders.last().map(|folder| &folder.job) else {
        return Vec::new();
    };
    (folders.iter().map(|folder| &folder.job))
        .map(|job| differences((&job.job, &job.text), (&used.job, &used.text)))
        .collect()
}

/// Values by which the strokes of each run count.
const BY_RUN: [&str; 4] = [
    "cutter.wheels",
    "cutter.radius",
    "cutter.edge_angle",
    "cutter.radial_force",
];

/// By this key the strokes of each run count.
pub(crate) fn counts_by_run(key: &str) -> bool {
    BY_RUN.contains(&key)
}

/// Of the differences of a run those that count by run, and those that do not.
pub(super) fn parted(differences: &[Difference]) -> (Vec<Difference>, Vec<Difference>) {
    let all = differences.iter().cloned();
    all.partition(|difference| counts_by_run(&difference.key))
}

/// What a reader must know of a run whose job is not the one used.
pub(super) fn warning(run: &str, differences: &[Difference]) -> Option<String> {
    let (_, differences) = parted(differences);
    (!differences.is_empty()).then(|| {
        format!(
            "run {run}: its job is not that of the last run, which is used for all runs: {}. Its strokes are reckoned as \
             if made with the values used, so groove, strokes left and alarms are off by as much as these matter\n  \
             remedy: recompute each run by itself for what it did; give the values to be used with --job FILE or --set",
            listed(&differences, "used")
        )
    })
}
