//! A bench-well record with its truth, made on demand and kept under `target/`.

use super::truth::Truth;
use anyhow::{Context as _, Result, anyhow};
use kerfwatch::input::{ChannelId, Input, Mark, MarkKind};
use kerfwatch::job::Job;
use kerfwatch::time::nanos;
use kerfwatch_replay::simulate::{self, bench, files, scenario::Scenario, sensors::Row};
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
