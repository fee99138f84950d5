//! Why the estimate of one bin is what it is: what was believed before, what each stroke showed, and
//! how the belief in a split grew.

use super::drag_model::{BasePrior, walk_passes};
use super::ledger::Ledger;
use super::through::WindowSeen;
use super::{Basis, find_splits, joint_fit};
use crate::job::Job;
use crate::result::OtherWheels;

/// What the estimate of one bin rests on.
#[derive(Debug, Clone)]
pub struct Evidence {
    /// Bin of the ledger.
    pub bin: usize,
    /// Wheel passes that split this wall with even chance, a pass up counting one: from the job
    /// alone.
    pub passes_expected: f64,
    /// The same after what the run showed.
    pub passes_found: f64,
    /// Standard deviation of the logarithm of passes, before and after.
    pub ln_passes_sd: (f64, f64),
    /// Amplitude of cutting drag from the job, and found, N.
    pub amplitude_n: (f64, f64),
    /// Drag that does not decay, up and down, N.
    pub base_n: (f64, f64),
    /// Standard deviation of what both ways share of it, N.
    pub base_sd_n: f64,
    /// What a pass down counts against a pass up.
    pub bite_down: f64,
    /// Number of the stroke, from 1, from which on those down only roll, if any do.
    pub rolls_down_from: Option<u32>,
    /// Wheels that came in mid-job, and bite otherwise than those before.
    pub other_wheels: Vec<OtherWheels>,
    /// Part of the wheels' bite lost at full wall.
    pub fade: f64,
    /// Drag of the wheels' flanks in a groove as deep as the wall, N.
    pub flank_n: f64,
    /// Scatter of one stroke in one bin, N.
    pub noise_n: f64,
    /// Length over which the wheels seem spread, m.
    pub wheel_span_m: f64,
    /// Probability that splits do not show in the drag of this well: then passes alone speak.
    pub silent_splits: f64,
    /// Lies in a coupling, or so near one that drag is not used.
    pub near_coupling: bool,
    /// Strokes that went over it with the cutter out.
    pub strokes: Vec<StrokeEvidence>,
    /// How the belief in a split grew, a few strokes at a time.
    pub windows: Vec<WindowSeen>,
}

/// One stroke over the bin.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StrokeEvidence {
    /// Number of the stroke, from 1.
    pub n: u32,
    /// Start, s.
    pub start_s: f64,
    /// Going up.
    pub up: bool,
    /// Wheel passes before it, a pass up of the first wheels counting one.
    pub passes_before: f64,
    /// The same after it.
    pub passes_after: f64,
    /// Drag measured over the bin, N; `None` where the tool did not move steadily.
    pub drag_n: Option<f64>,
    /// Of this, what the free tool would have had, N.
    pub free_n: f64,
    /// Cutting drag that an unsplit wall would have had, N.
    pub cutting_expected_n: f64,
}

/// Evidence for the bin at `depth_m`; `None` outside the bins or before anything was cut.
pub fn evidence(
    ledger: &Ledger,
    job: &Job,
    base_prior: BasePrior,
    depth_m: f64,
) -> Option<Evidence> {
    let place = (depth_m - ledger.bins.top) / ledger.bins.step;
    if place.is_nan() || place < 0.0 || place >= ledger.bins.count as f64 {
        return None;
    }
    let bin = place as usize;
    let basis = Basis::new(ledger, job);
    let input = basis.input(ledger, job, base_prior);
    let joint = joint_fit::fit(&input, &basis.nominal, basis.ln_wall)?;
    let (global, spread) = basis.reach(Some(&joint));
    let splits = find_splits(&input, &joint, global, spread, Some(bin));
    let fit = &joint.fit;
    let mut strokes = Vec::new();
    walk_passes(&input, &fit.bite, |k, j, n0, n1| {
        if j == bin {
            let row = &ledger.rows[k];
            let base = if row.up { fit.base.0 } else { fit.base.1 };
            strokes.push(StrokeEvidence {
                n: k as u32 + 1,
                start_s: row.start,
                up: row.up,
                passes_before: n0,
                passes_after: n1,
                drag_n: row.at(j),
                free_n: base + fit.drift[k],
                cutting_expected_n: fit.cutting_drag_of(n0, n1),
            });
        }
    });
    let before = basis.nominal.reach_prior(basis.ln_wall);
    // Depth grows as the cube root of passes: passes vary three times as much.
    let ln_passes = |sd: f64| 3.0 * sd.hypot(spread);
    Some(Evidence {
        bin,
        passes_expected: fit.law.passes_to((-before.0).exp()),
        passes_found: fit.law.passes_to((-splits.reach.0).exp()),
        ln_passes_sd: (ln_passes(before.1), ln_passes(splits.reach.1)),
        amplitude_n: (basis.nominal.amplitude, fit.amplitude),
        base_n: fit.base,
        base_sd_n: joint.base_sd,
        bite_down: fit.bite.down,
        rolls_down_from: joint.rolls_down_from.map(|row| row as u32 + 1),
        other_wheels: fit.bite.wheels.changes(ledger),
        fade: fit.bend.fade,
        flank_n: fit.flank,
        noise_n: fit.noise,
        wheel_span_m: splits.through.span,
        silent_splits: splits.silent,
        near_coupling: basis.shadow[bin],
        strokes,
        windows: splits.through.seen,
    })
}
