//! Calibrated readings of a run, without the rest of the core: for plots, histograms and tables.
//!
//! The same decoding, calibration and judgement as in the pipeline; what it would set aside
//! (spikes, out of range, doubled) is left out here too.

use crate::failure::{Failure, Finding};
use crate::run_folder::RunFolder;
use kerfwatch::calibrate::{CalibratedReading, Instruments};

/// Gives every usable reading in the order in which it was judged.
///
/// # Errors
/// A job whose instruments cannot be set up.
pub fn for_each_reading(
    folder: &mut RunFolder,
    mut take: impl FnMut(&CalibratedReading),
) -> Result<(), Failure> {
    let mut instruments = Instruments::new(&folder.job.job).map_err(|e| {
        Finding::new(
            folder.path.display(),
            e.to_string(),
            "put the job right, or give --job",
        )
    })?;
    let mut judged = |reading: &CalibratedReading| {
        if reading.flags.usable() {
            take(reading);
        }
    };
    let mut every = |_: &CalibratedReading| {};
    folder.reader.for_each_run(|run| {
        run.for_each(|input| instruments.push(input, &mut every, &mut judged));
    });
    instruments.finish(&mut judged);
    Ok(())
}
