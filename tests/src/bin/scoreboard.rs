//! The scoreboard: bench-well records, our inference and a simple baseline, scored against truth.
//!
//! `cargo run --release -p kerfwatch-tests --bin scoreboard -- --seeds 2`

use anyhow::{Context as _, Result, bail};
use clap::Parser;
use kerfwatch_tests::score::{baseline, measure, ours, record, snapshot, table};
use measure::Tally;
use rayon::prelude::*;
use std::path::PathBuf;

#[derive(Debug, Parser)]
#[command(about = "Score the inference on bench-well records against a simple baseline")]
struct Args {
    /// Seeds per scenario, from 1
    #[arg(long, default_value_t = 1)]
    seeds: u64,
    /// First seed
    #[arg(long, default_value_t = 1)]
    first_seed: u64,
    /// Only scenarios whose name contains this; may be repeated
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
        if args.only.is_empty() || args.only.iter().any(|only| name.contains(only.as_str())) {
            for seed in args.first_seed..args.first_seed + args.seeds {
                runs.push((scenario.clone(), name.clone(), seed));
            }
        }
    }
    if runs.is_empty() {
        bail!("no scenario in {} matches --only", folder.display());
    }
    println!("{}", table::heading());
    let scored: Vec<(String, Tally, Tally)> = runs
        .par_iter()
        .map(|(scenario, name, seed)| {
            let record = record::Record::get(scenario, *seed, &cache)?;
            let mine = measure::measure(&record, &ours::estimate(&record));
            let theirs = measure::measure(&record, &baseline::estimate(&record));
            let label = format!("{name}/{seed}");
            println!(
                "{}\n{}",
                table::line(&label, &mine),
                table::line("  baseline", &theirs)
            );
            Ok((label, mine, theirs))
        })
        .collect::<Result<_>>()?;
    let (mut mine, mut theirs) = (Tally::default(), Tally::default());
    for (_, a, b) in &scored {
        mine.add(a);
        theirs.add(b);
    }
    println!("\n{}", table::comparison(&mine, &theirs));
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
            .map(|(label, a, b)| {
                serde_json::json!({"run": label, "ours": table::json(a), "baseline": table::json(b)})
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
