//! The other bench: wells that share no physics, no code and no dice with the estimator or with the first bench well.
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
//! [`run_in`], [`run`] (all of it in time); [`truth`], [`job_file`] (what is written).

pub mod acceptance;
pub mod crew;
pub mod cut_laws;
pub mod dice;
pub mod draw;
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

/// Writes the record of a seed into `folder`, which is made: `samples.csv`, `job.toml`, `truth.json`, and `marks.csv` where
/// the crew marks what it does.
pub fn write_record(seed: u64, folder: &Path) -> Result<()> {
    let well = draw::draw(seed)?;
    std::fs::create_dir_all(folder).with_context(|| format!("making {}", folder.display()))?;
    let path = folder.join("samples.csv");
    let file =
        std::fs::File::create(&path).with_context(|| format!("making {}", path.display()))?;
    let outcome = run::run(&well, std::io::BufWriter::with_capacity(1 << 20, file))
        .with_context(|| format!("seed {seed}"))?;
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
