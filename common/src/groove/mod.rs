//! Groove depth by bin, as a pure function of what every stroke showed.
//!
//! *Input*: [`ledger::Ledger`] and the job. *Output*: [`GrooveEstimate`]. The same ledger gives the
//! same estimate, whenever and wherever it is asked for: live after each stroke, in replay once.
//!
//! Way of thought: which strokes cut ([`engagement`]), how drag falls with passes and as the wall
//! gives way ([`drag_model`], [`pass_law`], [`joint_fit`]), which bins are split ([`through`]), what
//! that says about depth ([`posterior`]), what is left to do ([`forecast`]).

pub mod drag_model;
pub mod engagement;
pub mod forecast;
pub mod joint_fit;
pub mod ledger;
pub mod pass_law;
pub mod posterior;
pub mod through;

use crate::job::Job;
use crate::result::{GrooveBin, Joint};
use drag_model::{BasePrior, DragFit, FitInput};
use ledger::Ledger;
use posterior::{Belief, Nominal};
use through::Through;

/// Distance from a coupling's edge within which drag is not used, m: wheels in line and the line's
/// own errors reach that far.
const COUPLING_SHADOW_M: f64 = 0.4;

/// Probability of being split from which a bin is said to be: who is told "through" moves on, so a
/// wrong word costs more than a late one.
const SAID_THROUGH: f64 = 0.7;
/// Doubt in the base of drag, N, at least.
const BASE_SD_MIN: f64 = 15.0;
/// The spread of the fit holds what the law lacks too; this part of it is the bins' own.
const LOCAL_PART: f64 = 0.8;

/// Everything the groove estimate knows.
#[derive(Debug, Clone)]
pub struct GrooveEstimate {
    /// Groove by bin, for the result.
    pub bins: Vec<GrooveBin>,
    /// Joints, for the result.
    pub joints: Vec<Joint>,
    /// Cutter out, by row of the ledger.
    pub engaged: Vec<bool>,
    /// Bin lies in a coupling.
    pub coupling: Vec<bool>,
    /// First row after which each bin was split.
    pub through_at: Vec<usize>,
    /// The drag fit, if anything was cut.
    pub fit: Option<DragFit>,
    /// Belief by bin.
    pub belief: Belief,
    /// Length over which the wheels are spread, as found, m.
    pub wheel_span: f64,
}

/// Estimates the groove. `base_prior`: what is known of the drag of the tool that does not cut.
pub fn estimate(ledger: &Ledger, job: &Job, base_prior: BasePrior) -> GrooveEstimate {
    let engaged = engagement::engaged(ledger);
    let coupling = in_coupling(ledger, job, 0.0);
    let shadow = in_coupling(ledger, job, COUPLING_SHADOW_M);
    let nominal = Nominal::new(job);
    let wall = job.tubular.wall.si();
    let input = FitInput {
        ledger,
        engaged: &engaged,
        coupling: &shadow,
        wheels: f64::from(job.cutter.wheels),
        base_prior,
        amplitude_prior: (nominal.amplitude, nominal.ln_amplitude_sd),
    };
    let joint = joint_fit::fit(&input, &nominal, wall.ln());
    let (global, spread) = joint.as_ref().map_or_else(
        || (nominal.reach_prior(wall.ln()), posterior::LOCAL_SD),
        |j| (j.reach, LOCAL_PART * j.spread),
    );
    let through = joint.as_ref().map_or_else(
        || Through::nothing(ledger.bins.count),
        |j| {
            through::find(&input, &j.fit, j.base_sd.max(BASE_SD_MIN), |n| {
                posterior::margin_odds(global, spread, j.fit.law.x(n).max(1e-9).ln())
            })
        },
    );
    let fit = joint.map(|j| j.fit);
    let belief = posterior::combine(job, global, spread, fit.as_ref(), &through, &coupling);
    let mut bins = bins_of(ledger, job, &engaged, &coupling, &belief);
    let joints = forecast::joints(
        ledger,
        job,
        fit.as_ref(),
        &belief,
        &through,
        &bins,
        &engaged,
    );
    let (first, end) = ledger.bins.inside;
    bins.truncate(end);
    bins.drain(..first);
    GrooveEstimate {
        bins,
        joints,
        engaged,
        coupling,
        through_at: through.at,
        fit,
        belief,
        wheel_span: through.span,
    }
}

/// Drag of the first pass of all wheels over a fresh wall, from nominal values, N.
pub fn first_pass_drag(job: &Job) -> f64 {
    let wheels = f64::from(job.cutter.wheels);
    let law = pass_law::PassLaw::new(job.cutter.wheels as usize + 1, f64::MAX, 0.0);
    Nominal::new(job).amplitude * law.drag(0.0, wheels)
}

fn in_coupling(ledger: &Ledger, job: &Job, beyond: f64) -> Vec<bool> {
    let half = 0.5 * job.tubular.coupling_length.si() + beyond;
    (0..ledger.bins.count)
        .map(|j| {
            let middle = ledger.bins.middle(j);
            job.couplings
                .iter()
                .any(|c| (c.si() - middle).abs() <= half)
        })
        .collect()
}

fn bins_of(
    ledger: &Ledger,
    job: &Job,
    engaged: &[bool],
    coupling: &[bool],
    belief: &Belief,
) -> Vec<GrooveBin> {
    let b = ledger.bins;
    let wall = job.tubular.wall.as_millimetres();
    let mut passes = vec![0u32; b.count];
    for (row, _) in ledger.rows.iter().zip(engaged).filter(|(_, out)| **out) {
        for (j, n) in passes.iter_mut().enumerate() {
            let middle = b.middle(j);
            *n += u32::from(row.top <= middle && middle <= row.bottom);
        }
    }
    (0..b.count)
        .map(|j| {
            let k = &belief.bins[j];
            let through = if coupling[j] { 0.0 } else { k.through };
            GrooveBin {
                top_m: b.top + j as f64 * b.step,
                bottom_m: (b.top + (j + 1) as f64 * b.step),
                depth_mm: k.depth * wall,
                low_mm: k.low.max(0.0) * wall,
                high_mm: k.high * wall,
                wall_mm: wall,
                passes: passes[j],
                through: through >= SAID_THROUGH,
                through_probability: through,
                coupling: coupling[j],
            }
        })
        .collect()
}
