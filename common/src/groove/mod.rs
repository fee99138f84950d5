//! Groove depth by bin, as a pure function of what every stroke showed.
//!
//! *Input*: [`ledger::Ledger`] and the job. *Output*: [`GrooveEstimate`]. The same ledger gives the
//! same estimate, whenever and wherever it is asked for: live after each stroke, in replay once.
//!
//! Way of thought: which strokes cut ([`engagement`]), how drag decays with passes ([`drag_fit`],
//! [`pass_law`]), where the wall is split ([`through`]), what that says about depth ([`posterior`]),
//! what is left to do ([`forecast`]).

pub mod drag_fit;
pub mod engagement;
pub mod forecast;
pub mod ledger;
pub mod pass_law;
pub mod posterior;
pub mod split_search;
pub mod through;

use crate::job::Job;
use crate::result::{GrooveBin, Joint};
use drag_fit::{BasePrior, DragFit, FitInput, NEVER};
use ledger::Ledger;
use posterior::{Belief, Nominal};
use through::Through;

/// Distance from a coupling's edge within which drag is not used, m: wheels in line and the line's
/// own errors reach that far.
const COUPLING_SHADOW_M: f64 = 0.4;

/// Rounds of fitting and finding splits, at most.
const ROUNDS_MAX: usize = 8;

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
    let count = ledger.bins.count;
    let mut through = Through {
        at: vec![NEVER; count],
        passes_at: vec![0.0; count],
        probability: vec![0.0; count],
        passes: vec![0.0; count],
        span: 0.0,
    };
    let mut fit = None;
    let x_of = |ln_scale: f64| job.tubular.wall.si() / ln_scale.exp();
    let mut x_wall = x_of(nominal.ln_scale);
    let mut prior = posterior::prior_of_m(job, &nominal, None);
    let mut belief = posterior::combine(job, prior, None, &through, &coupling);
    let mut base = base_prior;
    let mut split_before = 0;
    let split_bins = |t: &Through| t.at.iter().filter(|&&a| a != NEVER).count();
    for round in 0..ROUNDS_MAX {
        let input = FitInput {
            ledger,
            engaged: &engaged,
            coupling: &shadow,
            through_at: &through.at,
            wheels: f64::from(job.cutter.wheels),
            x_wall,
            base_prior: base,
            rows_end: ledger.rows.len(),
            amplitude_prior: (nominal.amplitude, nominal.ln_amplitude_sd),
        };
        let Some(found) = drag_fit::fit(&input) else {
            break;
        };
        prior = posterior::prior_of_m(job, &nominal, (round > 0).then_some(&found));
        if round == 0 {
            // The first fit saw falling drag and could not tell splitting from a lower base.
            let plain = found.with_usual_law(&input);
            if let Some(steps) = split_search::find(&input, &plain, prior)
                && steps.part > 0.02
            {
                base = BasePrior {
                    mean: steps.base,
                    shared_sd: 25.0,
                    ..base_prior
                };
                through.at = steps.at;
            }
            fit = Some(found);
            continue;
        }
        let global = if belief.pinned > 0 {
            belief.global
        } else {
            prior
        };
        through = through::find(&input, &found, |_, n| {
            posterior::margin_odds(global, found.law.x(n).max(1e-9).ln())
        });
        belief = posterior::combine(job, prior, Some(&found), &through, &coupling);
        x_wall = x_of(belief.global.0 + (0.92 * job.tubular.wall.si()).ln());
        fit = Some(found);
        // Each split found tells more of the base, and a better base finds more splits.
        let split = split_bins(&through);
        if round >= 2 && split.abs_diff(split_before) * 50 <= count {
            break;
        }
        split_before = split;
    }
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
                through: through >= 0.5,
                through_probability: through,
                coupling: coupling[j],
            }
        })
        .collect()
}
