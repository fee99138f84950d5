//! The other bench: wells that share no code and no dice with the estimator or with the first bench well, and of physics
//! little more than statics.
//!
//! Scored on the first bench well only, an estimator may learn that bench. Here line, cut, crew and instruments are written
//! once more and differently, from statics and textbooks alone: a chain of points with dry friction, or a line without mass,
//! always in equilibrium; three cut laws; a crew that turns by counter or by tool, meets jams and obstructions and tries
//! again; instruments of other rates and faults. **All wells, names and ranges are invented**; where a published relation is
//! used, the file says so at its head. A well that fits both benches is still no proof for a real one.
//!
//! Nothing here uses `kerfwatch` or `kerfwatch-replay` (`tests/tests/layering.rs`). What joins them is the form of the four
//! files a record consists of.
//!
//! Reading order: [`well`] (what there is), [`draw`], [`kind`], [`acceptance`], [`survey`], [`dice`] (where it comes from); [`wire`],
//! [`surface`] (the line); [`pipe`], [`cut_laws`], [`groove`], [`snags`] (what the tool meets); [`crew`]; [`instruments`];
//! [`run_in`], [`run`] (all of it in time); [`truth`], [`job_file`] (what is written), [`given_up`] (what is not).

pub mod acceptance;
pub mod crew;
pub mod cut_laws;
pub mod dice;
pub mod draw;
pub mod given_up;
pub mod groove;
pub mod instruments;
pub mod job_file;
pub mod kind;
pub mod pipe;
pub mod run;
pub mod run_in;
#[cfg(test)]
mod sample;
pub mod snags;
pub mod surface;
pub mod survey;
pub mod truth;
pub mod well;
pub mod wire;

use anyhow::{Context as _, Result};
use std::fmt::Write as _;
use std::path::Path;

/// Strokes with the cutter out below which a record is not worth scoring: a tool stuck in its first groove, pulled for hours.
const STROKES_LEAST: usize = 20;

/// Changes whenever the code of this bench does, so that records kept from an earlier one are not taken for those of today.
/// FNV-1a over the sources.
pub fn fingerprint() -> u64 {
    let bytes = SOURCES.iter().flat_map(|source| source.bytes());
    bytes.fold(0xcbf2_9ce4_8422_2325, |hash, byte| {
        (hash ^ u64::from(byte)).wrapping_mul(0x100_0000_01b3)
    })
}

const SOURCES: [&str; 28] = [
    include_str!("mod.rs"),
    include_str!("acceptance.rs"),
    include_str!("crew.rs"),
    include_str!("crew/leg.rs"),
    include_str!("crew/plan.rs"),
    include_str!("cut_laws.rs"),
    include_str!("dice.rs"),
    include_str!("draw.rs"),
    include_str!("given_up.rs"),
    include_str!("groove.rs"),
    include_str!("instruments.rs"),
    include_str!("job_file.rs"),
    include_str!("kind.rs"),
    include_str!("pipe.rs"),
    include_str!("run.rs"),
    include_str!("run_in.rs"),
    include_str!("snags.rs"),
    include_str!("surface.rs"),
    include_str!("survey.rs"),
    include_str!("truth.rs"),
    include_str!("truth/json.rs"),
    include_str!("truth/states.rs"),
    include_str!("truth/strokes.rs"),
    include_str!("well.rs"),
    include_str!("wire.rs"),
    include_str!("wire/chain.rs"),
    include_str!("wire/quasi_static.rs"),
    include_str!("wire/waves.rs"),
];

/// Writes the record of a seed into `folder`, which is made: `samples.csv`, `job.toml`, `truth.json`, and `marks.csv` where
/// the crew marks what it does.
///
/// # Errors
/// [`given_up::GivenUp`] when the seed makes no record; what is in `folder` then is of no use. Else what writing gives.
pub fn write_record(seed: u64, folder: &Path) -> Result<()> {
    let well = draw::draw(seed)?;
    std::fs::create_dir_all(folder).with_context(|| format!("making {}", folder.display()))?;
    let path = folder.join("samples.csv");
    let file =
        std::fs::File::create(&path).with_context(|| format!("making {}", path.display()))?;
    let outcome = run::run(&well, std::io::BufWriter::with_capacity(1 << 20, file))
        .with_context(|| format!("seed {seed}"))?;
    let strokes = outcome.strokes_with_cutter_out();
    if strokes < STROKES_LEAST {
        return Err(given_up::GivenUp::FewStrokes(strokes).into());
    }
    let write = |name: &str, text: String| {
        let path = folder.join(name);
        std::fs::write(&path, text).with_context(|| format!("writing {}", path.display()))
    };
    if well.habits.marks {
        write("marks.csv", marks(&outcome.marks)?)?;
    }
    write("job.toml", job_file::write(&well)?)?;
    write("truth.json", truth::json::write(&well, &outcome)?)
}

fn marks(marks: &[(f64, &str)]) -> Result<String> {
    let mut out = String::from("time_s,mark\n");
    for (time, word) in marks {
        writeln!(out, "{time:.2},{word}")?;
    }
    Ok(out)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Sizes of all sources below `folder`, those for tests left out.
    fn sizes(folder: &Path) -> Vec<usize> {
        let mut sizes = Vec::new();
        for entry in std::fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                sizes.extend(self::sizes(&path));
            } else if !path.ends_with("sample.rs") {
                sizes.push(std::fs::read(&path).unwrap().len());
            }
        }
        sizes
    }

    #[test]
    fn the_fingerprint_is_over_every_source() {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("src/other_bench");
        let mut there = sizes(&folder);
        let mut taken: Vec<usize> = SOURCES.iter().map(|source| source.len()).collect();
        there.sort_unstable();
        taken.sort_unstable();
        assert_eq!(there, taken);
    }
}
