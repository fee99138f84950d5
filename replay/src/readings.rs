//! Calibrated readings of a run, without the rest of the core: for plots, histograms and tables.
//!
//! The same decoding, calibration and judgement as in the pipeline; what it would set aside
//! (spikes, out of range, doubled) is left out here too. Readings that came calibrated the pipeline takes as they are;
//! so they are given here, with the silences before them.

use crate::failure::{Failure, Finding};
use crate::run_folder::RunFolder;
use kerfwatch::calibrate::{CalibratedReading, Flags, Instruments};
use kerfwatch::input::Input;

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
    folder.reader.for_each_run(|run| {
        run.for_each(|input| {
            if let Input::Reading { .. } = input {
                let mut as_it_is = |reading: &CalibratedReading| {
                    let flags = if reading.flags.has(Flags::GAP) {
                        Flags::GAP
                    } else {
                        Flags::NONE
                    };
                    judged(&CalibratedReading { flags, ..*reading });
                };
                instruments.push(input, &mut as_it_is, &mut |_| {});
            } else {
                instruments.push(input, &mut |_| {}, &mut judged);
            }
        });
    });
    instruments.finish(&mut judged);
    Ok(())
}
