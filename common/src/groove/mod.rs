//! Groove depth by bin, as a pure function of what every stroke showed.
//!
//! *Input*: [`ledger::Ledger`] and the job. *Output*: [`GrooveEstimate`]. The same ledger gives the
//! same estimate, whenever and wherever it is asked for: live after each stroke, in replay once.
//!
//! Way of thought: which strokes cut ([`engagement`], [`mark_sense`] for what marks mean,
//! [`mark_doubts`] for those that the drag speaks against), how drag falls with passes
//! and as the wall gives way ([`drag_model`], [`pass_law`], [`joint_fit`]), whether it cuts going down (`one_way`), what the
//! first splits say of all other places (`reach_seen`), which bins are split ([`through`]), whether splits show in the drag
//! at all ([`silent_splits`]), whether other wheels came in mid-job (`wheel_sets`), what that says about depth
//! ([`posterior`]), how well a place is known (`place_doubt`), what is left to do ([`forecast`], [`next_run`]), and what
//! going on brings (`outlook`).

pub mod coupling_marks;
pub mod drag_model;
pub mod engagement;
pub mod evidence;
pub mod forecast;
pub mod joint_fit;
mod lasting_drag;
pub mod ledger;
pub mod mark_doubts;
pub mod mark_sense;
pub mod next_run;
mod one_way;
mod outlook;
pub mod pass_law;
mod place_doubt;
pub mod posterior;
mod reach_seen;
pub mod silent_splits;
mod sudden_change;
pub mod through;
mod wheel_sets;
mod window_share;
pub mod zero_step;

use crate::job::Job;
use crate::model::groove_law::Wheel;
use crate::result::{GrooveBin, Joint, OtherWheels};
use crate::snapshot::Outlook;
use drag_model::{BITE, BasePrior, Bite, DragFit, FADE, FitInput, NEVER};
use joint_fit::JointFit;
use ledger::Ledger;
use pass_law::{Bend, PassLaw};
use posterior::{Belief, BinBelief, Nominal};
use through::Through;
use wheel_sets::WheelSets;

/// Distance from a coupling's edge within which drag is not used, m: wheels in line and the line's
/// own errors reach that far.
const COUPLING_SHADOW_M: f64 = 0.4;

/// Probability of being split from which a bin is said to be: who is told "through" moves on, so a
/// wrong word costs more than a late one.
pub const SAID_THROUGH: f64 = 0.55;
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
    /// What going on in place brings, by joint.
    pub outlook: Vec<Outlook>,
    /// Cutter out, by row of the ledger.
    pub engaged: Vec<bool>,
    /// Bin lies in a coupling.
    pub coupling: Vec<bool>,
    /// First row from which on strokes down only roll, if any do.
    pub rolls_down_from: Option<usize>,
    /// Wheels that came in mid-job, and bite otherwise than those before.
    pub other_wheels: Vec<OtherWheels>,
    /// Which bins are split, and since when.
    pub through: Through,
    /// The drag fit, if anything was cut.
    pub fit: Option<DragFit>,
    /// Belief by bin.
    pub belief: Belief,
}

/// What a run and its job say before anything is fitted.
struct Basis {
    engaged: Vec<bool>,
    coupling: Vec<bool>,
    shadow: Vec<bool>,
    nominal: Nominal,
    ln_wall: f64,
}

impl Basis {
    fn new(ledger: &Ledger, job: &Job) -> Self {
        Self {
            engaged: engagement::engaged(ledger),
            coupling: in_coupling(ledger, job, 0.0),
            shadow: in_coupling(ledger, job, COUPLING_SHADOW_M),
            nominal: Nominal::new(job),
            ln_wall: job.tubular.wall.si().ln(),
        }
    }

    fn input<'a>(&'a self, ledger: &'a Ledger, job: &Job, base_prior: BasePrior) -> FitInput<'a> {
        FitInput {
            ledger,
            engaged: &self.engaged,
            coupling: &self.shadow,
            wheels: f64::from(job.cutter.wheels),
            base_prior,
            amplitude_prior: (self.nominal.amplitude, self.nominal.ln_amplitude_sd),
            flank_sd: drag_model::flank_sd(job),
        }
    }

    /// Mean and standard deviation of the shared wall reach, and what bins have of their own.
    fn reach(&self, joint: Option<&JointFit>) -> ((f64, f64), f64) {
        joint.map_or_else(
            || (self.nominal.reach_prior(self.ln_wall), posterior::LOCAL_SD),
            |j| (j.reach, LOCAL_PART * j.spread),
        )
    }
}

/// Splits, and what they say.
struct Splits {
    through: Through,
    /// Mean and standard deviation of the shared reach.
    reach: (f64, f64),
    /// Probability that they do not show in the drag.
    silent: f64,
}

/// Finds splits, given the fit and the shared reach; `ask`: a bin whose history is wanted.
fn find_splits(
    input: &FitInput,
    joint: &JointFit,
    global: (f64, f64),
    spread: f64,
    ask: Option<usize>,
) -> Splits {
    let ln_x = |n: f64| joint.fit.law.x(n).max(1e-9).ln();
    let base_sd = joint.base_sd.max(BASE_SD_MIN);
    let odds = |n: f64| posterior::margin_odds(global, spread, ln_x(n));
    let windows = window_share::windows(input, &joint.fit, base_sd, odds);
    let (seen, ln_shows) = reach_seen::reach_seen(&windows, input.coupling, global, spread, ln_x);
    let odds = |n: f64| posterior::margin_odds(seen, spread, ln_x(n));
    let mut through = through::find(input, &windows, odds, ask);
    let silent = joint.silent.after(ln_shows);
    let reach = silent.mix_into(&mut through, &windows, input.coupling, seen, spread, ln_x);
    if ask.is_some_and(|j| through.at[j] == NEVER) {
        silent.mix_into_history(&mut through.seen, spread, ln_x);
    }
    Splits {
        through,
        reach,
        silent: silent.probability,
    }
}

/// Estimates the groove. `base_prior`: what is known of the drag of the tool that does not cut.
pub fn estimate(ledger: &Ledger, job: &Job, base_prior: BasePrior) -> GrooveEstimate {
    let basis = Basis::new(ledger, job);
    let input = basis.input(ledger, job, base_prior);
    let joint = joint_fit::fit(&input, &basis.nominal, basis.ln_wall);
    let (global, spread) = basis.reach(joint.as_ref());
    let (through, global) = joint.as_ref().map_or_else(
        || (Through::not_seen(passes_of(&input)), global),
        |j| {
            let splits = find_splits(&input, j, global, spread, None);
            (splits.through, splits.reach)
        },
    );
    let rolls_down_from = joint.as_ref().and_then(|j| j.rolls_down_from);
    let fit = joint.map(|j| j.fit);
    let other_wheels = fit
        .as_ref()
        .map_or_else(Vec::new, |fit| fit.bite.wheels.changes(ledger));
    // Strokes of which no drag is known deepen the groove all the same.
    let nominal_law;
    let law = if let Some(fit) = &fit {
        &fit.law
    } else {
        let passes = drag_model::total_passes(&input, &WheelSets::default()) as usize + 1;
        nominal_law = PassLaw::new(passes, (-global.0).exp(), Bend::new(FADE.0, 0.0));
        &nominal_law
    };
    let Basis {
        engaged, coupling, ..
    } = basis;
    let belief = posterior::combine(job, global, spread, law, &through, &coupling);
    let told = place_doubt::mixed(&belief.bins, &coupling, ledger.bins.step);
    let mut bins = bins_of(ledger, job, &engaged, &coupling, &told);
    let (joints, outlook) = forecast::joints(
        ledger,
        job,
        fit.as_ref(),
        &belief,
        &through,
        &bins,
        &engaged,
    );
    // Of what lies beyond the interval, only what the wheels have been over.
    let (first, end) = ledger.bins.inside;
    let is_cut = |bin: &GrooveBin| bin.passes > 0;
    let first = bins
        .iter()
        .position(is_cut)
        .map_or(first, |cut| cut.min(first));
    let end = bins
        .iter()
        .rposition(is_cut)
        .map_or(end, |cut| end.max(cut + 1));
    bins.truncate(end);
    bins.drain(..first);
    GrooveEstimate {
        bins,
        joints,
        outlook,
        engaged,
        coupling,
        rolls_down_from,
        other_wheels,
        through,
        fit,
        belief,
    }
}

/// Drag of the first pass of all wheels over a fresh wall, from nominal values, N.
pub fn first_pass_drag(job: &Job) -> f64 {
    let wheels = f64::from(job.cutter.wheels);
    let law = PassLaw::new(job.cutter.wheels as usize + 1, f64::MAX, Bend::default());
    Nominal::new(job).amplitude * law.drag(0.0, wheels)
}

/// What a stroke of one job's cutter counts against one of another's in the same pipe, by nominal values: the cube of a
/// groove's depth grows by `kappa^2` with each pass ([`pass_law`]).
pub fn pass_counts(of: &Job, against: &Job) -> f64 {
    let grown = |job: &Job| {
        let kappa = Wheel::from_job(&job.cutter, 1.0).kappa();
        f64::from(job.cutter.wheels) * kappa * kappa
    };
    grown(of) / grown(against)
}

/// Wheel passes by bin, a stroke down counted as it usually bites.
fn passes_of(input: &FitInput) -> Vec<f64> {
    let mut passes = vec![0.0; input.ledger.bins.count];
    drag_model::walk_passes(input, &Bite::of_down(BITE.0), |_, j, _, n| passes[j] = n);
    passes
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
    told: &[BinBelief],
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
            let k = &told[j];
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
