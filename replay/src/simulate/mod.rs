//! The bench well: an invented well simulated in finer detail than the estimator knows, which
//! writes a record as instruments would have made it, and the truth beside it.
//!
//! Nothing here uses the models of `kerfwatch`, nor the other way round: an estimator tested on
//! its own equations proves nothing. Reading order: [`scenario`] (what is asked for), [`well`]
//! and [`mod@line`] (hole and line), [`cut`] (pipe and wheels), [`winch`] and [`plan`] (the crew),
//! [`sensors`], [`mod@bench`] (all of it), [`truth`], [`files`], [`ports`] (live).

pub mod bench;
pub mod cut;
pub mod cut_only;
pub mod files;
pub mod line;
pub mod plan;
pub mod ports;
pub mod quantity;
pub mod rng;
pub mod scenario;
pub mod sensors;
pub mod truth;
pub mod well;
pub mod winch;

pub use crate::args::SimulateArgs as Args;
use crate::console::Console;
use crate::failure::{Exit, Failure, Finding};
use kerfwatch::job::{Dimension, parse_quantity};

/// Changes whenever the code of the bench well does, so that records kept from an earlier run are
/// not taken for those of today. FNV-1a over the sources.
pub fn fingerprint() -> u64 {
    const SOURCES: [&str; 14] = [
        include_str!("bench.rs"),
        include_str!("bench/draw.rs"),
        include_str!("bench/holds.rs"),
        include_str!("cut.rs"),
        include_str!("line.rs"),
        include_str!("plan.rs"),
        include_str!("rng.rs"),
        include_str!("scenario.rs"),
        include_str!("scenario/check.rs"),
        include_str!("sensors.rs"),
        include_str!("truth.rs"),
        include_str!("truth/json.rs"),
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
    if let Some(kind) = args.to_ports {
        ports::play(&scenario, args.seed, kind, args.speed, console)?;
        return Ok(Exit::Well);
    }
    let Some(out) = &args.out else {
        let problem = "neither --out nor --to-ports was given";
        return Err(Finding::new("command line", problem, "write --out FOLDER").into());
    };
    let errors = args.again.iter().map(|text| counter_error(text));
    let errors = errors.collect::<Result<Vec<f64>, Failure>>()?;
    let every = (args.track / 0.05).round() as usize;
    let mut began = std::time::Instant::now();
    let mut outcome = bench::run(&scenario, args.seed);
    tell(&scenario, &outcome, began, console)?;
    if errors.is_empty() {
        files::write_all(out, &scenario, &outcome, every)
            .map_err(|source| Failure::write(out.display(), source))?;
        return Ok(Exit::Well);
    }
    for number in 1_u32.. {
        let folder = out.join(number.to_string());
        files::write_all(&folder, &scenario, &outcome, every)
            .map_err(|source| Failure::write(folder.display(), source))?;
        let Some(counter_error) = errors.get(number as usize - 1).copied() else {
            break;
        };
        began = std::time::Instant::now();
        let reentry = bench::Reentry {
            pipe: outcome.pipe,
            number,
            counter_error,
        };
        outcome = bench::run_again(&scenario, args.seed, reentry);
        tell(&scenario, &outcome, began, console)?;
    }
    Ok(Exit::Well)
}

fn counter_error(text: &str) -> Result<f64, Failure> {
    parse_quantity(text, Dimension::Length).map_err(|problem| {
        Finding::new("--again", problem, "write a length, e.g. --again \"0.8 m\"").into()
    })
}

/// One line on a run that was made.
fn tell(
    scenario: &scenario::Scenario,
    outcome: &bench::Outcome,
    began: std::time::Instant,
    console: &mut Console<'_>,
) -> Result<(), Failure> {
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
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    const SHORT: &str = r#"
        name = "short"
        [well]
        name = "Test"
        interval_top = "300 m"
        interval_bottom = "304 m"
        survey = [{ md = "0 m", inc = "0 deg", azi = "0 deg" }]
        [pipe]
        coupling_at = "302 m"
        [work]
        start = "interval"
        strokes = 4
    "#;

    #[test]
    fn the_same_seed_gives_the_same_record_and_another_seed_another() {
        let scenario = scenario::Scenario::parse(SHORT).unwrap();
        let (a, b, c) = (
            bench::run(&scenario, 5),
            bench::run(&scenario, 5),
            bench::run(&scenario, 6),
        );
        assert_eq!(a.rows, b.rows);
        assert_eq!(a.marks, b.marks);
        assert_eq!(a.pipe.groove, b.pipe.groove);
        assert_ne!(a.rows, c.rows);
    }

    #[test]
    fn the_job_file_is_one_that_the_product_reads() {
        let scenario = scenario::Scenario::parse(SHORT).unwrap();
        let text = files::job(&scenario, &bench::run(&scenario, 1));
        let job = kerfwatch::job::read_job(&text, "job.toml").unwrap().job;
        assert_eq!(job.info.interval_bottom.si(), 304.0);
        assert!(job.couplings.iter().any(|c| (c.si() - 302.0).abs() < 1e-9));
    }

    #[test]
    fn work_on_the_groove_by_stroke_adds_up_to_the_energy_of_the_groove() {
        let mut scenario = scenario::Scenario::parse(SHORT).unwrap();
        // A blunting edge or a patch would make contact pressure depend on history.
        scenario.cutter.wear = quantity::PerLength(0.0);
        scenario.pipe.hardness_sd = 0.0;
        let outcome = bench::run(&scenario, 2);
        let unknowns = serde_json::to_value(&outcome.unknowns).unwrap();
        let truth = outcome.recorder.json(&outcome.pipe, &unknowns, "short", 2);
        let strokes = truth["strokes"].as_array().unwrap();
        let work: f64 = strokes
            .iter()
            .filter_map(|s| s["cut_work_j"].as_f64())
            .sum();
        let tangent = (0.5 * scenario.cutter.edge_angle.0).tan();
        let stored: f64 = outcome
            .pipe
            .groove
            .iter()
            .map(|d| outcome.unknowns.contact_pressure_pa * tangent * d * d * cut::CELL)
            .sum();
        assert!((work / stored - 1.0).abs() < 0.02, "{work} {stored}");
    }

    #[test]
    fn an_unknown_key_and_a_missing_unit_are_errors_that_name_them() {
        let unknown = SHORT.replace("strokes = 4", "stroke = 4");
        assert!(
            scenario::Scenario::parse(&unknown)
                .unwrap_err()
                .contains("stroke")
        );
        let bare = SHORT.replace("\"300 m\"", "\"300\"");
        assert!(
            scenario::Scenario::parse(&bare)
                .unwrap_err()
                .contains("300")
        );
    }
}
