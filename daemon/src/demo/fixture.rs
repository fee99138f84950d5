//! What the demonstration plays. TEMPORARY: drawn strokes until a recorded cut is there.

use super::player::Frame;
use kerfwatch::job::{Job, apply_set, print_default_job, read_job};
use kerfwatch::time::nanos;

/// The fixture played when none is named.
pub const DEFAULT: &str = "drawn";

/// A job and the bytes its instruments once sent.
#[derive(Debug)]
pub struct Fixture {
    /// The job, checked.
    pub job: Job,
    /// Its text.
    pub job_text: String,
    /// In order of arrival.
    pub frames: Vec<Frame>,
}

/// Why a fixture cannot be played.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum FixtureError {
    /// No such fixture.
    #[error("no fixture `{0}`")]
    Unknown(String),
    /// The job file of the fixture.
    #[error("{0}")]
    Job(String),
}

/// Loads a fixture by name or folder.
pub fn load(name: &str) -> Result<Fixture, FixtureError> {
    if name != DEFAULT {
        return Err(FixtureError::Unknown(name.to_owned()));
    }
    let text =
        apply_set(print_default_job(), "depth.protocol=\"pattern\"").map_err(FixtureError::Job)?;
    let job = read_job(&text, "demo job")
        .map_err(|f| FixtureError::Job(f.to_string()))?
        .job;
    let mut frames = Vec::new();
    let period = 120.0;
    for n in 0..(3600 * 20) {
        let t = f64::from(n) * 0.05;
        let phase = (t % period) / period;
        let (depth, up) = if phase < 0.5 {
            (2016.0 - 30.0 * phase, true)
        } else {
            (2001.0 + 30.0 * (phase - 0.5), false)
        };
        let load = if up { 820.0 } else { 640.0 } + 6.0 * (t * 7.0).sin();
        let at = nanos(t).unwrap_or(0);
        frames.push(Frame {
            port: 0,
            at,
            bytes: format!("L {load:.1}\r\n").into_bytes(),
        });
        frames.push(Frame {
            port: 1,
            at,
            bytes: format!("D {depth:.3}\r\n").into_bytes(),
        });
    }
    Ok(Fixture {
        job,
        job_text: text,
        frames,
    })
}
