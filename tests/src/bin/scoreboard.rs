//! The scoreboard: bench-well records, our inference and a simple baseline, scored against truth.
//!
//! `cargo run --release -p kerfwatch-tests --bin scoreboard -- --seeds 2`. Half of the wells are of the other bench, which
//! shares neither code nor physics with the first: what an estimator says of its intervals is worth little where the
//! wells follow its own law.

use anyhow::{Context as _, Result, bail};
use clap::Parser;
use kerfwatch_tests::score::{baseline, equal_alarms, measure, ours, record, snapshot, table};
use measure::Tally;
use rayon::prelude::*;
use std::path::{Path, PathBuf};

#[derive(Debug, Parser)]
#[command(
    about = "Score the inference on bench-well records against a simple baseline",
    after_help = "Examples: all scenarios with two seeds, and forty wells of the other bench:\n  \
                  scoreboard --seeds 2 --others 40\n\
                  Only the other bench, seeds 101 on:\n  \
                  scoreboard --only other --first-seed 101\n\
                  Only the quiet well, four seeds:\n  \
                  scoreboard --only quiet --seeds 4"
)]
struct Args {
    /// Seeds per scenario, from the first on
    #[arg(long, default_value_t = 1)]
    seeds: u64,
    /// First seed
    #[arg(long, default_value_t = 1)]
    first_seed: u64,
    /// Wells of the other bench: other physics of line and cut, another crew, other instruments. Seeds from the first
    /// on; those that make no record are passed over and named
    #[arg(long, default_value_t = 20, value_name = "N")]
    others: usize,
    /// Only scenarios whose name contains this (`other`: the other bench); may be repeated
    #[arg(long)]
    only: Vec<String>,
    /// Write all figures as JSON
    #[arg(long, value_name = "FILE")]
    json: Option<PathBuf>,
    /// Write the reduced set's figures to fixtures/scoreboard.json, for CI to compare with
    #[arg(long)]
    write_baseline: bool,
    /// Records side by side
    #[arg(long, default_value_t = 2)]
    threads: usize,
    /// Score the records in this folder instead, whoever made them: one folder each, with `samples.csv`, `job.toml`,
    /// `truth.json` and, if there are any, `marks.csv`, as `kerfwatch-replay simulate` writes them
    #[arg(long, value_name = "FOLDER", conflicts_with_all = ["scenarios", "seeds", "first_seed", "others", "write_baseline"])]
    records: Option<PathBuf>,
    /// Folder of scenarios
    #[arg(long, value_name = "FOLDER")]
    scenarios: Option<PathBuf>,
    /// Folder where made records are kept
    #[arg(long, value_name = "FOLDER")]
    cache: Option<PathBuf>,
}

fn main() -> Result<()> {
    let args = Args::parse();
    rayon::ThreadPoolBuilder::new()
        .num_threads(args.threads)
        .build_global()?;
    let cache = args.cache.clone().unwrap_or_else(snapshot::cache_folder);
    std::fs::create_dir_all(&cache)?;
    if args.write_baseline {
        let tally = snapshot::reduced_set(&cache)?;
        let path = snapshot::snapshot_file();
        std::fs::write(&path, snapshot::write(&tally)?)
            .with_context(|| format!("writing {}", path.display()))?;
        println!("{}", table::heading());
        println!("{}", table::line("reduced set", &tally));
        println!("written to {}", path.display());
        return Ok(());
    }
    let runs = match &args.records {
        Some(folder) => made_elsewhere(folder, &args)?,
        None => of_both_benches(&args, &cache)?,
    };
    println!("{}", table::heading());
    let scored: Vec<Scored> = runs
        .par_iter()
        .map(|(place, label)| {
            let record = match place {
                Place::Scenario(file, seed) => record::Record::get(file, *seed, &cache)?,
                Place::Other(folder) | Place::Folder(folder) => {
                    record::Record::read(folder, label.clone(), 0)?
                }
            };
            let mine = measure::measure(&record, &ours::estimate(&record));
            let theirs = baseline::PATIENCE
                .map(|patience| measure::measure(&record, &baseline::estimate(&record, patience)));
            println!(
                "{}\n{}",
                table::line(label, &mine),
                table::line("  baseline", &theirs[0])
            );
            Ok(Scored {
                label: label.clone(),
                of_other_bench: matches!(place, Place::Other(_)),
                ours: mine,
                baseline: theirs,
            })
        })
        .collect::<Result<_>>()?;
    print_kinds(&scored);
    let (mine, patient) = total(scored.iter());
    let (theirs, waits) = equal_alarms::compared_with(&mine, &patient);
    println!("\n{}", table::comparison(&mine, &theirs));
    println!("{}\n", waits.join("\n"));
    println!("{}\n", table::confusion(&mine));
    println!("{}", table::reliability_table(&mine));
    println!(
        "{:.1} h of record, {} rows, ours {:.1} s ({:.2} million rows/s)",
        mine.hours,
        mine.readings,
        mine.took,
        mine.readings as f64 / mine.took.max(1e-9) / 1e6,
    );
    if let Some(path) = &args.json {
        let runs: Vec<_> = scored
            .iter()
            .map(|run| {
                serde_json::json!({
                    "run": run.label,
                    "ours": table::json(&run.ours),
                    "baseline": table::json(&run.baseline[0]),
                })
            })
            .collect();
        let all = serde_json::json!({
            "runs": runs,
            "total": {"ours": table::json(&mine), "baseline": table::json(&theirs)},
        });
        std::fs::write(path, serde_json::to_string_pretty(&all)?)
            .with_context(|| format!("writing {}", path.display()))?;
    }
    Ok(())
}

/// Where a record comes from.
enum Place {
    /// The bench well makes it, with a seed.
    Scenario(PathBuf, u64),
    /// It lies there, made by the other bench.
    Other(PathBuf),
    /// It lies there.
    Folder(PathBuf),
}

/// Name of the other bench in labels.
const OTHER: &str = "other";

/// One run with its figures.
struct Scored {
    label: String,
    of_other_bench: bool,
    ours: Tally,
    baseline: equal_alarms::Patient,
}

fn total<'a>(runs: impl Iterator<Item = &'a Scored>) -> (Tally, equal_alarms::Patient) {
    let mut ours = Tally::default();
    let mut baseline = equal_alarms::Patient::default();
    for run in runs {
        ours.add(&run.ours);
        for (sum, one) in baseline.iter_mut().zip(&run.baseline) {
            sum.add(one);
        }
    }
    (ours, baseline)
}

/// A line for each bench, when there are both.
fn print_kinds(scored: &[Scored]) {
    let others = scored.iter().filter(|run| run.of_other_bench).count();
    if others == 0 || others == scored.len() {
        return;
    }
    println!("\n{}", table::heading());
    for (label, other) in [("scenarios", false), ("other bench", true)] {
        let (ours, baseline) = total(scored.iter().filter(|run| run.of_other_bench == other));
        println!("{}", table::line(label, &ours));
        println!("{}", table::line("  baseline", &baseline[0]));
    }
}

fn of_both_benches(args: &Args, cache: &Path) -> Result<Vec<(Place, String)>> {
    let mut runs = of_the_bench_well(args)?;
    let count = if is_wanted(args, OTHER) {
        args.others
    } else {
        0
    };
    let others = record::other_wells(args.first_seed, count, cache)?;
    for (seed, reason) in others.left_out {
        println!("{OTHER}/{seed} makes no record: {reason}");
    }
    let place = |(seed, folder)| (Place::Other(folder), format!("{OTHER}/{seed}"));
    runs.extend(others.records.into_iter().map(place));
    if runs.is_empty() {
        bail!("nothing to score: no scenario matches --only, or --seeds and --others are 0");
    }
    Ok(runs)
}

fn is_wanted(args: &Args, name: &str) -> bool {
    args.only.is_empty() || args.only.iter().any(|only| name.contains(only.as_str()))
}

fn of_the_bench_well(args: &Args) -> Result<Vec<(Place, String)>> {
    let folder = args
        .scenarios
        .clone()
        .unwrap_or_else(snapshot::scenario_folder);
    let mut runs = Vec::new();
    for scenario in record::family(&folder)? {
        let name = scenario
            .file_stem()
            .unwrap_or_default()
            .to_string_lossy()
            .into_owned();
        if is_wanted(args, &name) {
            for seed in args.first_seed..args.first_seed + args.seeds {
                let label = format!("{name}/{seed}");
                runs.push((Place::Scenario(scenario.clone(), seed), label));
            }
        }
    }
    Ok(runs)
}

fn made_elsewhere(folder: &Path, args: &Args) -> Result<Vec<(Place, String)>> {
    let mut runs = Vec::new();
    let entries =
        std::fs::read_dir(folder).with_context(|| format!("reading {}", folder.display()))?;
    for entry in entries {
        let path = entry?.path();
        let name = path
            .file_name()
            .unwrap_or_default()
            .to_string_lossy()
            .into_owned();
        if path.join("truth.json").exists() && is_wanted(args, &name) {
            runs.push((Place::Folder(path), name));
        }
    }
    runs.sort_by(|a, b| a.1.cmp(&b.1));
    if runs.is_empty() {
        bail!("no record with a truth.json in {}", folder.display());
    }
    Ok(runs)
}
