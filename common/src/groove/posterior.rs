//! How deep, and how sure: one global unknown and one local unknown per bin.
//!
//! With `m = ln(kappa^(2/3)) - ln(eta t)` (global) and `e_j` (local: hardness, wall, force), a bin is
//! split once `m + e_j + ln x(n_j) >= 0`; `eta` is the part of the wall at which the back gives way.
//!
//! *Prior of m*: radial force and contact pressure from the job, each off by up to a quarter, the
//! specific energy equal to the contact pressure (energy balance of the pass law); [`super::joint_fit`]
//! sharpens it by the amplitude of cutting drag, which is `u tan b kappa^(4/3)`, and by the way drag
//! falls away as bins split.

use super::drag_model::NEVER;
use super::pass_law::{self, PassLaw};
use super::through::Through;
use crate::job::Job;
use crate::model::groove_law::Wheel;
use crate::model::wheel_contact::before_any_cut;

/// Standard deviation of the logarithm of a nominal value that may be off by up to a quarter
/// either way (uniform).
const NOMINAL_SD: f64 = 0.145;
/// Of specific energy against contact pressure.
const ENERGY_SD: f64 = 0.25;
/// Part of the wall at which the back gives way: mean and standard deviation.
const GIVES_WAY: (f64, f64) = (pass_law::PART_AT_WALL, 0.05);
/// Of depth against what any pass law makes of passes and work: grooves do not follow one law.
pub(super) const LAW_SD: f64 = 0.14;
/// Of how deep a force goes against what its relation to pressure makes of it: edges are blunt, metal hardens.
const RELATION_SD: f64 = 0.06;
/// Part of the depth that a shallow groove lacks of what the law makes of it, less and less towards the wall: edges have
/// a land, flanks rub and metal springs back, which counts for most where little of the wheel is in the pipe (our own
/// judgement, no source; benches of others begin some 15 % shallower than a sharp edge without friction would, and
/// catch up): in the middle, and by how much more or less it may be with 90 % probability.
const BLUNT: (f64, f64) = (0.16, 0.14);
/// Standard deviation of the local unknown, before anything is seen.
pub const LOCAL_SD: f64 = 0.09;

/// What a split wall lacks of the nominal one in the middle, and how far that is spread, as parts of its tolerance:
/// pipe may be thinner than nominal by all of it (API 5CT: one-sided) and splits where it is thin.
const SPLIT_LACKS: (f64, f64) = (0.16, 0.4);
/// Standard deviation of the wall along the pipe, as part of it.
const WALL_SD: f64 = 0.025;
/// Of the hardness of the pipe from place to place, in terms of depth, at least.
const HARDNESS_SD_MIN: f64 = 0.03;

/// Nominal values of the cut.
#[derive(Debug, Clone, Copy)]
pub struct Nominal {
    /// Logarithm of kappa^(2/3), m.
    pub ln_scale: f64,
    /// Amplitude of drag, N.
    pub amplitude: f64,
    /// Standard deviation of the logarithm of the amplitude.
    pub ln_amplitude_sd: f64,
    force_sd: f64,
    pressure_sd: f64,
}

impl Nominal {
    /// From the job.
    pub fn new(job: &Job) -> Self {
        let c = &job.cutter;
        let tan = (0.5 * c.edge_angle.si()).tan();
        let untold = before_any_cut(job.tubular.yield_strength.si());
        let (pressure, pressure_sd) = match c.contact_pressure {
            Some(given) => (given.si(), NOMINAL_SD),
            None => (untold.median_pa, untold.log_sd),
        };
        let force = c.radial_force.si();
        let kappa = Wheel::from_job(c, pressure).kappa();
        let given = c.radial_force_sd.map(|sd| sd.si() / force);
        let force_sd = given.map_or(NOMINAL_SD, |s| s.clamp(0.02, 0.5).max(0.5 * NOMINAL_SD));
        let ln_amplitude_sd =
            ((4.0 / 3.0 * force_sd).powi(2) + (pressure_sd / 3.0).powi(2) + ENERGY_SD * ENERGY_SD)
                .sqrt();
        Self {
            ln_scale: kappa.ln() * 2.0 / 3.0,
            amplitude: pressure * tan * kappa.powf(4.0 / 3.0),
            ln_amplitude_sd,
            force_sd,
            pressure_sd,
        }
    }

    /// Invented values for tests: logarithm of kappa^(2/3) and amplitude.
    #[cfg(test)]
    pub fn of(ln_scale: f64, amplitude: f64) -> Self {
        Self {
            ln_scale,
            amplitude,
            ln_amplitude_sd: 0.25,
            force_sd: NOMINAL_SD,
            pressure_sd: before_any_cut(552e6).log_sd,
        }
    }

    /// Mean and standard deviation of `m` before anything is seen; `ln_wall`: logarithm of wall, m.
    pub fn reach_prior(&self, ln_wall: f64) -> (f64, f64) {
        let (scale, sd) = self.scale_given(None);
        of_m(ln_wall, scale, sd)
    }

    /// The same if the amplitude of drag were known; `ln_amplitude`: its logarithm, N.
    pub fn reach_given_amplitude(&self, ln_wall: f64, ln_amplitude: f64) -> (f64, f64) {
        let (scale, sd) = self.scale_given(Some((ln_amplitude, 0.0)));
        of_m(ln_wall, scale, sd)
    }

    /// Logarithm of kappa^(2/3) and its standard deviation, given the logarithm of the amplitude of
    /// drag with its standard deviation.
    fn scale_given(&self, seen: Option<(f64, f64)>) -> (f64, f64) {
        // Unknowns: ln N, ln s, ln(u/s). scale = 2/3 (ln N - ln s);
        // ln amplitude = 4/3 ln N - 1/3 ln s + ln(u/s).
        let var = [
            self.force_sd.powi(2),
            self.pressure_sd.powi(2),
            ENERGY_SD * ENERGY_SD,
        ];
        let s = [2.0 / 3.0, -2.0 / 3.0, 0.0];
        let a = [4.0 / 3.0, -1.0 / 3.0, 1.0];
        let dot =
            |x: &[f64; 3], y: &[f64; 3]| -> f64 { (0..3).map(|i| x[i] * y[i] * var[i]).sum() };
        let (ss, sa, aa) = (dot(&s, &s), dot(&s, &a), dot(&a, &a));
        match seen {
            None => (self.ln_scale, ss.sqrt()),
            Some((ln_amplitude, sd)) => {
                let k = sa / (aa + sd * sd);
                let off = ln_amplitude - self.amplitude.ln();
                (self.ln_scale + k * off, (ss - k * sa).max(1e-6).sqrt())
            }
        }
    }
}

/// What is known of one bin.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BinBelief {
    /// Median depth as part of nominal wall.
    pub depth: f64,
    /// 5 % quantile.
    pub low: f64,
    /// 95 % quantile.
    pub high: f64,
    /// Probability of being split.
    pub through: f64,
    /// Mean and standard deviation of `m + e_j` while not split.
    pub reach: (f64, f64),
}

/// The belief over all bins.
#[derive(Debug, Clone)]
pub struct Belief {
    /// By bin.
    pub bins: Vec<BinBelief>,
    /// Mean and standard deviation of `m`.
    pub global: (f64, f64),
}

/// Log odds that a bin is split, from passes alone, given a belief in `m`.
pub fn margin_odds(global: (f64, f64), local_sd: f64, ln_x: f64) -> f64 {
    let sd = (global.1 * global.1 + local_sd * local_sd).sqrt();
    let p = normal_cdf((global.0 + ln_x) / sd).clamp(1e-6, 1.0 - 1e-6);
    (p / (1.0 - p)).ln()
}

fn of_m(ln_wall: f64, scale: f64, sd: f64) -> (f64, f64) {
    let mean = scale - GIVES_WAY.0.ln() - ln_wall;
    (mean, sd.hypot(GIVES_WAY.1 / GIVES_WAY.0).hypot(RELATION_SD))
}

/// Belief by bin: `global`, mean and standard deviation of `m`; `local_sd`, of what bins have of their
/// own; `law`: how deep passes go.
pub fn combine(
    job: &Job,
    global: (f64, f64),
    local_sd: f64,
    law: &PassLaw,
    through: &Through,
    coupling: &[bool],
) -> Belief {
    let ln_x = |n: f64| law.x(n).max(1e-9).ln();
    let count = through.passes.len();
    let tolerance = job.tubular.wall_tolerance;
    let bins = (0..count)
        .map(|j| {
            if coupling[j] || through.passes[j] <= 0.0 {
                let reach = (global.0, (global.1.powi(2) + local_sd * local_sd).sqrt());
                return BinBelief {
                    depth: 0.0,
                    low: 0.0,
                    high: 0.0,
                    through: 0.0,
                    reach,
                };
            }
            let seen = (through.at[j] != NEVER).then(|| -ln_x(through.passes_at[j].max(0.5)));
            bin_belief(
                global,
                local_sd,
                ln_x(through.passes[j]),
                through.probability[j],
                seen,
                tolerance,
            )
        })
        .collect();
    Belief { bins, global }
}

fn bin_belief(
    global: (f64, f64),
    local_sd: f64,
    ln_x: f64,
    through: f64,
    seen: Option<f64>,
    tolerance: f64,
) -> BinBelief {
    let sd = (global.1 * global.1 + local_sd * local_sd).sqrt();
    // What no law knows widens the interval; as to the middle, the fit has seen more than that doubt.
    let middle = Uncut::new(global, local_sd, ln_x);
    let wide = Uncut::new((global.0, global.1.hypot(LAW_SD)), local_sd, ln_x);
    // Split: the groove is as deep as the wall is thick there.
    let split = 1.0 - SPLIT_LACKS.0 * tolerance;
    let split_quantile =
        |p: f64| split + SPLIT_LACKS.1 * tolerance * normal_quantile(p.clamp(0.01, 0.99));
    let quantile = |uncut: &Uncut, p: f64| {
        let keep = 1.0 - through;
        if through < 1e-3 {
            return uncut.quantile(p);
        }
        if through > 1.0 - 1e-3 {
            return split_quantile(p);
        }
        // Mixture: the split part lies on top.
        if p < keep {
            uncut.quantile(p / keep)
        } else {
            split_quantile((p - keep) / through)
        }
    };
    let depth = if through >= 0.5 {
        split
    } else {
        quantile(&middle, 0.5).min(split)
    };
    BinBelief {
        depth,
        low: quantile(&wide, 0.05).min(depth),
        high: quantile(&wide, 0.95).max(depth),
        through,
        reach: (seen.unwrap_or(global.0), sd),
    }
}

/// Depth of a bin that is not split, as part of nominal wall.
///
/// Its logarithm is normal, with the shared unknown and the hardness of the place as variances;
/// that the wall still holds makes the deep end unlikely, softly, since nobody knows at which part
/// of the wall it gives way there.
struct Uncut {
    middle: f64,
    step: f64,
    /// Distribution function on an even grid of the logarithm.
    below: [f64; UNCUT_POINTS],
}

/// Points of the grid of one bin.
const UNCUT_POINTS: usize = 33;

impl Uncut {
    fn new(global: (f64, f64), local_sd: f64, ln_x: f64) -> Self {
        let gives_way = (GIVES_WAY.1 / GIVES_WAY.0).hypot(WALL_SD);
        let hardness = (local_sd * local_sd - gives_way * gives_way)
            .max(HARDNESS_SD_MIN * HARDNESS_SD_MIN)
            .sqrt();
        let sd = global.1.hypot(hardness);
        let middle = global.0 + ln_x;
        let step = 7.0 * sd / (UNCUT_POINTS - 1) as f64;
        let mut below = [0.0; UNCUT_POINTS];
        let mut sum = 0.0;
        for (i, b) in below.iter_mut().enumerate() {
            let off = (i as f64 - (UNCUT_POINTS / 2) as f64) * step;
            let holds = normal_cdf(-(middle + off) / gives_way).max(1e-12);
            sum += (-0.5 * (off / sd).powi(2)).exp() * holds;
            *b = sum;
        }
        for b in &mut below {
            *b /= sum;
        }
        Self {
            middle,
            step,
            below,
        }
    }

    fn quantile(&self, p: f64) -> f64 {
        let i = self.below.partition_point(|b| *b < p).min(UNCUT_POINTS - 1);
        let before = if i > 0 { self.below[i - 1] } else { 0.0 };
        let part = (p - before) / (self.below[i] - before).max(1e-12);
        // Each point stands for the step around it.
        let at = i as f64 - 0.5 + part.clamp(0.0, 1.0) - (UNCUT_POINTS / 2) as f64;
        let sharp = (GIVES_WAY.0 * (self.middle + at * self.step).exp()).min(1.0);
        // How blunt nobody knows either: where a groove may be as shallow as that, the edge is among the reasons.
        let blunt = BLUNT.0 + BLUNT.1 * (1.0 - 2.0 * p) / 0.9;
        blunted(sharp, blunt)
    }
}

/// Depth of a groove, both as parts of the wall, that a sharp edge would have made so deep.
fn blunted(sharp: f64, blunt: f64) -> f64 {
    sharp * (1.0 - blunt * (1.0 - sharp).powi(2))
}

/// Standard normal distribution function; error below 1.5e-7 (Abramowitz and Stegun 7.1.26).
pub fn normal_cdf(x: f64) -> f64 {
    let t = 1.0 / (1.0 + 0.327_591_1 * (x.abs() / std::f64::consts::SQRT_2));
    let poly = t
        * (0.254_829_592
            + t * (-0.284_496_736
                + t * (1.421_413_741 + t * (-1.453_152_027 + t * 1.061_405_429))));
    let tail = 0.5 * poly * (-0.5 * x * x).exp();
    if x >= 0.0 { 1.0 - tail } else { tail }
}

/// Inverse of [`normal_cdf`]: rational start (Abramowitz and Stegun 26.2.23, error below 4.5e-4), then Newton's method.
pub fn normal_quantile(p: f64) -> f64 {
    let p = p.clamp(1e-12, 1.0 - 1e-12);
    let t = (-2.0 * p.min(1.0 - p).ln()).sqrt();
    let above = 2.515_517 + t * (0.802_853 + t * 0.010_328);
    let below = 1.0 + t * (1.432_788 + t * (0.189_269 + t * 0.001_308));
    let far = t - above / below;
    let mut z = if p < 0.5 { -far } else { far };
    for _ in 0..2 {
        let density = (-0.5 * z * z).exp() / (2.0 * std::f64::consts::PI).sqrt();
        z -= (normal_cdf(z) - p) / density;
    }
    z
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Values from any table of the normal distribution.
    #[test]
    fn normal_distribution_matches_its_table() {
        for (z, p) in [
            (0.0, 0.5),
            (1.0, 0.841_345),
            (1.644_854, 0.95),
            (-1.959_964, 0.025),
        ] {
            assert!((normal_cdf(z) - p).abs() < 1e-6);
            assert!((normal_quantile(p) - z).abs() < 1e-4);
        }
    }

    #[test]
    fn a_blunt_edge_costs_depth_at_first_and_nothing_at_the_wall() {
        let (middle, spread) = BLUNT;
        assert_eq!(blunted(1.0, middle), 1.0);
        let lack = |sharp: f64| 1.0 - blunted(sharp, middle) / sharp;
        assert!(lack(0.1) > 0.1 && lack(0.9) < 0.01);
        // A deeper groove stays the deeper one, however blunt.
        for blunt in [middle - 1.2 * spread, middle, middle + 1.2 * spread] {
            for k in 0..100 {
                let sharp = f64::from(k) / 100.0;
                assert!(blunted(sharp + 0.01, blunt) > blunted(sharp, blunt));
            }
        }
    }

    #[test]
    fn a_quantile_is_the_inverse_out_to_the_tails() {
        let mut before = f64::MIN;
        for k in -110..=110 {
            let p = 1.0 / (1.0 + (-0.25 * f64::from(k)).exp());
            let z = normal_quantile(p);
            let of_tail = p.min(1.0 - p);
            assert!(
                (normal_cdf(z) - p).abs() < 2e-6 * of_tail + 1e-15,
                "{p}: {z}"
            );
            assert!(z > before);
            before = z;
        }
    }
}
