//! The bench well: an invented well simulated in finer detail than the estimator knows, which
//! writes a record as instruments would have made it, and the truth beside it.
//!
//! Nothing here uses the models of `kerfwatch`, nor the other way round: an estimator tested on
//! its own equations proves nothing. Reading order: [`scenario`] (what is asked for), [`well`]
//! and [`line`] (hole and line), [`cut`] (pipe and wheels), [`winch`] and [`plan`] (the crew),
//! [`sensors`], [`bench`] (all of it), [`truth`], [`files`].

pub mod bench;
pub mod cut;
pub mod files;
pub mod line;
pub mod plan;
pub mod quantity;
pub mod rng;
pub mod scenario;
pub mod sensors;
pub mod truth;
pub mod well;
pub mod winch;

use crate::console::Console;
use crate::failure::{Exit, Failure, Finding};
use std::path::PathBuf;

/// Changes whenever the code of the bench well does, so that records kept from an earlier run are
/// not taken for those of today. FNV-1a over the sources.
pub fn fingerprint() -> u64 {
    const SOURCES: [&str; 10] = [
        include_str!("bench.rs"),
        include_str!("cut.rs"),
        include_str!("line.rs"),
        include_str!("plan.rs"),
        include_str!("rng.rs"),
        include_str!("scenario.rs"),
        include_str!("sensors.rs"),
        include_str!("truth.rs"),
        include_str!("well.rs"),
        include_str!("winch.rs"),
    ];
    fnv(SOURCES.iter().flat_map(|source| source.bytes()))
}

/// FNV-1a of bytes.
pub fn fnv(bytes: impl Iterator<Item = u8>) -> u64 {
    bytes.fold(0xcbf2_9ce4_8422_2325, |hash, byte| {
        (hash ^ u64::from(byte)).wrapping_mul(0x100_0000_01b3)
    })
}

/// `simulate`
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example:\n  kerfwatch-replay simulate fixtures/scenarios/vertical.toml \
                        --out /tmp/vertical --seed 3"
)]
pub struct Args {
    /// Scenario file of an invented well
    pub scenario: PathBuf,
    /// Folder for samples.csv, marks.csv, job.toml and truth.json
    #[arg(long, value_name = "FOLDER")]
    pub out: PathBuf,
    /// Another seed draws another truth, another operator and other noise
    #[arg(long, default_value_t = 1)]
    pub seed: u64,
    /// Step of the tool track in truth.json, seconds
    #[arg(long, default_value_t = 0.1, value_name = "S")]
    pub track: f64,
}

/// Runs a scenario and writes its record and truth.
pub fn run(args: &Args, console: &mut Console<'_>) -> Result<Exit, Failure> {
    let text = std::fs::read_to_string(&args.scenario)
        .map_err(|source| Failure::read(&args.scenario, source))?;
    let name = args.scenario.display();
    let scenario = scenario::Scenario::parse(&text).map_err(|problem| {
        Failure::from(Finding::new(
            name,
            problem,
            "see fixtures/README.md for all keys",
        ))
    })?;
    if !(args.track.is_finite() && args.track >= 0.05) {
        let problem = format!("found {}, must be at least 0.05 s", args.track);
        return Err(Finding::new("command line", problem, "leave --track out for 0.1 s").into());
    }
    let began = std::time::Instant::now();
    let outcome = bench::run(&scenario, args.seed);
    let every = (args.track / 0.05).round() as usize;
    files::write_all(&args.out, &scenario, &outcome, every)
        .map_err(|source| Failure::write(args.out.display(), source))?;
    let (strokes, split, depth) = outcome.recorder.summary(&outcome.pipe);
    let duration = outcome.rows.last().map_or(0.0, |row| row.time);
    let speed = duration / began.elapsed().as_secs_f64();
    console.line(format!(
        "{}: {duration:.0} s of record, {} rows, {strokes} strokes of the tool, groove {depth:.2} \
         mm on average, {:.0} % of bins split",
        scenario.name,
        outcome.rows.len(),
        100.0 * split,
    ))?;
    console.talk(format!("{speed:.0} x real time"));
    Ok(Exit::Well)
}
