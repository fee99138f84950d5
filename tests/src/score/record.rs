//! A bench-well record with its truth, made on demand and kept under `target/`.

use super::truth::Truth;
use crate::other_bench::{self, given_up::GivenUp};
use anyhow::{Context as _, Result, anyhow, bail};
use kerfwatch::input::{ChannelId, Input, Mark, MarkKind};
use kerfwatch::job::Job;
use kerfwatch::time::nanos;
use kerfwatch_replay::simulate::{self, bench, files, scenario::Scenario, sensors::Row};
use rayon::prelude::*;
use std::path::{Path, PathBuf};

/// One run to be scored.
#[derive(Debug)]
pub struct Record {
    /// Scenario.
    pub name: String,
    /// Seed.
    pub seed: u64,
    /// Nominal job.
    pub job: Job,
    /// Rows in order of arrival.
    pub rows: Vec<Row>,
    /// Marks, by time.
    pub marks: Vec<(f64, MarkKind)>,
    /// What really happened.
    pub truth: Truth,
}

/// Scenario files of the family, by name.
pub fn family(folder: &Path) -> Result<Vec<PathBuf>> {
    let mut files = Vec::new();
    let entries = std::fs::read_dir(folder)
        .with_context(|| format!("reading scenarios in {}", folder.display()))?;
    for entry in entries {
        let path = entry?.path();
        if path.extension().is_some_and(|e| e == "toml") {
            files.push(path);
        }
    }
    files.sort();
    Ok(files)
}

/// What a seed of the other bench gives.
#[derive(Debug)]
pub enum OtherWell {
    /// The folder of its record.
    Record(PathBuf),
    /// Why it makes none.
    LeftOut(String),
}

/// Finds what is kept of a seed of the other bench, or runs it and keeps what it gives under `cache`.
pub fn other_well(seed: u64, cache: &Path) -> Result<OtherWell> {
    let print = other_bench::fingerprint();
    let folder = cache.join(format!("other-{seed}-{print:016x}"));
    let reason_file = folder.join("left-out.txt");
    if let Ok(reason) = std::fs::read_to_string(&reason_file) {
        return Ok(OtherWell::LeftOut(reason));
    }
    if folder.join("truth.json").exists() {
        return Ok(OtherWell::Record(folder));
    }
    // Elsewhere first, so that an interrupted run leaves nothing that looks whole.
    let rough = cache.join(format!(".other-{seed}-{}", std::process::id()));
    let made = other_bench::write_record(seed, &rough);
    let left_out = match made {
        Ok(()) => None,
        Err(problem) => match problem.downcast_ref::<GivenUp>() {
            Some(given_up) => Some(given_up.to_string()),
            None => return Err(problem),
        },
    };
    if let Some(reason) = &left_out {
        // What there is of it is of no use, and large.
        if rough.exists() {
            std::fs::remove_dir_all(&rough)?;
        }
        std::fs::create_dir_all(&rough)?;
        std::fs::write(rough.join("left-out.txt"), reason)?;
    }
    if folder.exists() {
        std::fs::remove_dir_all(&folder)?;
    }
    std::fs::rename(&rough, &folder).with_context(|| format!("keeping {}", folder.display()))?;
    Ok(match left_out {
        Some(reason) => OtherWell::LeftOut(reason),
        None => OtherWell::Record(folder),
    })
}

/// The first `count` seeds of the other bench, from `first` on, that make a record, each with its folder; and those passed
/// over, with the reason. Seeds are run side by side in the global pool.
pub fn other_wells(first: u64, count: usize, cache: &Path) -> Result<OtherWells> {
    let mut wells = OtherWells::default();
    let mut next = first;
    if count > 0 {
        eprintln!("{count} wells of the other bench: made once, about ten seconds each, then kept");
    }
    while wells.records.len() < count {
        let missing = (count - wells.records.len()) as u64;
        let batch: Vec<(u64, OtherWell)> = (next..next + missing)
            .into_par_iter()
            .map(|seed| Ok((seed, other_well(seed, cache)?)))
            .collect::<Result<_>>()?;
        next += missing;
        for (seed, well) in batch {
            match well {
                OtherWell::Record(folder) => wells.records.push((seed, folder)),
                OtherWell::LeftOut(reason) => wells.left_out.push((seed, reason)),
            }
        }
        let (made, left_out) = (wells.records.len(), wells.left_out.len());
        if left_out > 20 + made {
            bail!("of the seeds from {first} on, {left_out} made no record and only {made} did");
        }
    }
    Ok(wells)
}

/// A family of the other bench.
#[derive(Debug, Default)]
pub struct OtherWells {
    /// Seed and folder.
    pub records: Vec<(u64, PathBuf)>,
    /// Seed and reason.
    pub left_out: Vec<(u64, String)>,
}

impl Record {
    /// Loads a kept record, or runs the bench well and keeps it under `cache`.
    pub fn get(scenario: &Path, seed: u64, cache: &Path) -> Result<Self> {
        let file = scenario.display().to_string();
        let text = std::fs::read_to_string(scenario).with_context(|| format!("reading {file}"))?;
        let plan = Scenario::parse(&text).map_err(|problem| anyhow!("{file}: {problem}"))?;
        let print = simulate::fnv(text.bytes()) ^ simulate::fingerprint();
        let folder = cache.join(format!("{}-{seed}-{print:016x}", plan.name));
        if !folder.join("truth.json").exists() {
            let outcome = bench::run(&plan, seed);
            // Elsewhere first, so that an interrupted run leaves nothing that looks whole.
            let rough = cache.join(format!(".{}-{seed}-{}", plan.name, std::process::id()));
            files::write_all(&rough, &plan, &outcome, 2)?;
            if folder.exists() {
                std::fs::remove_dir_all(&folder)?;
            }
            std::fs::rename(&rough, &folder)
                .with_context(|| format!("keeping {}", folder.display()))?;
        }
        Self::read(&folder, plan.name.clone(), seed)
    }

    /// Reads a folder written by `kerfwatch-replay simulate`.
    pub fn read(folder: &Path, name: String, seed: u64) -> Result<Self> {
        let text = |file: &str| {
            let path = folder.join(file);
            std::fs::read_to_string(&path).with_context(|| format!("reading {}", path.display()))
        };
        let job = kerfwatch::job::read_job(&text("job.toml")?, "job.toml")
            .map_err(|findings| anyhow!("{}: {findings}", folder.display()))?
            .job;
        let truth = serde_json::from_str(&text("truth.json")?)
            .with_context(|| format!("{}: truth.json", folder.display()))?;
        let rows = text("samples.csv")?
            .lines()
            .skip(1)
            .map(|line| row(line).ok_or_else(|| anyhow!("samples.csv: {line:?} is not a row")))
            .collect::<Result<_>>()?;
        let mut marks = Vec::new();
        if folder.join("marks.csv").exists() {
            for line in text("marks.csv")?.lines().skip(1) {
                let (time, mark) = line.split_once(',').context("marks.csv: no comma")?;
                let kind = match mark {
                    "cutter_out" => MarkKind::CutterOut,
                    "cutter_in" => MarkKind::CutterIn,
                    "weight_check" => MarkKind::WeightCheck,
                    other => MarkKind::Note(other.to_owned()),
                };
                marks.push((time.parse()?, kind));
            }
        }
        Ok(Self {
            name,
            seed,
            job,
            rows,
            marks,
            truth,
        })
    }

    /// The inputs as an import would give them, in order; `take` gets each with its time.
    pub fn feed(&self, mut take: impl FnMut(f64, &Input)) {
        let mut marks = self.marks.iter().peekable();
        for row in &self.rows {
            while let Some((time, kind)) = marks.next_if(|(time, _)| *time <= row.time) {
                let mark = Mark {
                    kind: kind.clone(),
                    author: String::new(),
                };
                let at = nanos(*time).unwrap_or_default();
                take(*time, &Input::Mark { at, mark });
            }
            let at = nanos(row.time).unwrap_or_default();
            for (channel, value) in [(ChannelId::Load, row.load), (ChannelId::Depth, row.depth)] {
                if let Some(value) = value {
                    take(row.time, &Input::Reading { channel, at, value });
                }
            }
        }
    }
}

fn row(line: &str) -> Option<Row> {
    let mut cells = line.split(',');
    let mut cell = || cells.next();
    let time = cell()?.parse().ok()?;
    let number = |text: &str| {
        if text.is_empty() {
            Some(None)
        } else {
            text.parse().ok().map(Some)
        }
    };
    Some(Row {
        time,
        load: number(cell()?)?,
        depth: number(cell()?)?,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn job_files_of_the_other_bench_are_ones_that_the_product_reads() {
        for seed in 1..=12 {
            let well = other_bench::draw::draw(seed).unwrap();
            let text = other_bench::job_file::write(&well).unwrap();
            let job = kerfwatch::job::read_job(&text, "job.toml").unwrap().job;
            assert_eq!(job.info.interval_top.si(), well.hole.top);
            assert_eq!(job.couplings.len(), well.pipe.couplings.len());
        }
    }

    #[test]
    fn a_seed_once_left_out_is_not_run_again() {
        let cache = tempfile::tempdir().unwrap();
        let folder = format!("other-5-{:016x}", other_bench::fingerprint());
        std::fs::create_dir(cache.path().join(&folder)).unwrap();
        std::fs::write(cache.path().join(&folder).join("left-out.txt"), "no well").unwrap();
        match other_well(5, cache.path()).unwrap() {
            OtherWell::LeftOut(reason) => assert_eq!(reason, "no well"),
            OtherWell::Record(folder) => panic!("{}", folder.display()),
        }
    }
}
