use super::*;
use crate::groove::drag_model::BasePrior;
use crate::groove::ledger::{Bins, Ledger, Row};
use crate::groove::pass_law::Bend;

const WHEELS: f64 = 3.0;
const LN_WALL: f64 = -5.0;

/// Invented: nominal wall reach -2.0, amplitude 220 N.
fn nominal() -> Nominal {
    Nominal::of(LN_WALL - 2.0 + 0.92f64.ln(), 220.0)
}

/// A ledger of `strokes` over 100 bins that follows the model, with wall reach `m` and spread 0.06
/// (bins at even quantiles), base 180 and 160 N, amplitude `a`, scatter 20 N.
fn ledger(strokes: usize, m: f64, a: f64) -> Ledger {
    ledger_with(strokes, m, a, 0.0, Bend::new(0.05, 0.0))
}

/// The same with `flank` N of drag of flanks at full wall, and another law.
fn ledger_with(strokes: usize, m: f64, a: f64, flank: f64, bend: Bend) -> Ledger {
    ledger_of(strokes, m, a, flank, bend, |_| 1.0)
}

/// The same where a pass of each stroke's wheels counts so much, since they are pressed harder or less.
fn ledger_of(
    strokes: usize,
    m: f64,
    a: f64,
    flank: f64,
    bend: Bend,
    counts: impl Fn(usize) -> f64,
) -> Ledger {
    let bins = Bins {
        top: 1000.0,
        step: 0.1,
        count: 100,
        inside: (0, 100),
    };
    let law = PassLaw::new(9 * strokes + 3, (-m).exp(), bend);
    let mut rows = Vec::new();
    let mut seed = 1u64;
    let mut noise = || {
        seed = seed.wrapping_mul(6364136223846793005).wrapping_add(1);
        40.0 * ((seed >> 33) as f64 / (1u64 << 31) as f64 - 0.5)
    };
    let mut n = 0.0;
    for k in 0..strokes {
        let up = k % 2 == 0;
        let n1 = n + WHEELS * counts(k) * if up { 1.0 } else { 0.7 };
        let x = 0.5 * (law.x(n) + law.x(n1));
        let drag = (0..100).map(|j| {
            let own = 0.06 * super::super::posterior::normal_quantile((j as f64 + 0.5) / 100.0);
            let cuts = m + own + x.ln() < 0.0;
            let base = if up { 180.0 } else { 160.0 } * f64::sqrt(counts(k));
            let cut = a * law.drag(n, n1) + flank * x / (-m).exp();
            (base + if cuts { cut } else { 0.0 } + noise()) as f32
        });
        rows.push(Row {
            up,
            start: k as f64 * 60.0,
            end: k as f64 * 60.0 + 40.0,
            top: 1000.0,
            bottom: 1010.0,
            speed: 0.25,
            first: 0,
            drag: drag.collect::<Vec<_>>().into(),
            marked_out: None,
            said: 0,
            weight_check: false,
            gain: 1.0,
        });
        n = n1;
    }
    Ledger {
        bins,
        rows,
        cutters: Vec::new(),
    }
}

/// Every stroke made with the cutter out.
fn fitted(ledger: &Ledger) -> Option<JointFit> {
    let engaged = vec![true; ledger.rows.len()];
    let coupling = vec![false; ledger.bins.count];
    let nominal = nominal();
    let input = FitInput {
        ledger,
        engaged: &engaged,
        coupling: &coupling,
        wheels: WHEELS,
        base_prior: BasePrior {
            mean: 150.0,
            shared_sd: 100.0,
            own_sd: 40.0,
        },
        amplitude_prior: (nominal.amplitude, nominal.ln_amplitude_sd),
        flank_sd: 120.0,
    };
    fit(&input, &nominal, LN_WALL)
}

#[test]
fn falling_drag_is_told_into_decay_and_splitting() {
    // Half of the bins split after x = e^1.9, well before the end.
    let f = fitted(&ledger(60, -1.9, 250.0)).unwrap();
    assert!((f.reach.0 + 1.9).abs() < 0.04, "reach {:?}", f.reach);
    assert!((f.fit.base.0 - 180.0).abs() < 15.0, "base {:?}", f.fit.base);
    assert!((f.fit.base.1 - 160.0).abs() < 15.0, "base {:?}", f.fit.base);
    assert!((f.fit.amplitude / 250.0).ln().abs() < 0.1);
}

#[test]
fn before_any_split_the_reach_stays_wide_and_is_bounded_by_the_passes_made() {
    let l = ledger(16, -1.9, 250.0);
    let f = fitted(&l).unwrap();
    assert!(f.reach.1 > 0.08, "sure too early: {:?}", f.reach);
    let reached = f.fit.law.x(16.0 * WHEELS * 0.85).ln();
    assert!(f.reach.0 + reached < 0.1, "would have split: {:?}", f.reach);
}

#[test]
fn without_cutting_strokes_there_is_no_fit() {
    let mut l = ledger(4, -1.9, 250.0);
    l.rows.clear();
    assert!(fitted(&l).is_none());
}

#[test]
fn flanks_that_drag_more_with_depth_are_told_from_the_base() {
    // Drag that stops falling while nothing is split: without flanks, no law explains it but a base too high and a cut
    // too small, which then say that the groove hardly deepens.
    let bend = Bend::new(0.05, SOFTENING);
    let l = ledger_with(60, -2.2, 250.0, 120.0, bend);
    let f = fitted(&l).unwrap();
    assert!((f.fit.flank - 120.0).abs() < 40.0, "flank {}", f.fit.flank);
    assert!(
        (f.fit.amplitude / 250.0).ln().abs() < 0.2,
        "amplitude {}",
        f.fit.amplitude
    );
    assert!(
        (f.reach.0 + 2.2).abs() < 2.0 * f.reach.1,
        "reach {:?}",
        f.reach
    );
}

#[test]
fn where_flanks_do_not_drag_none_is_found() {
    let f = fitted(&ledger(60, -1.9, 250.0)).unwrap();
    assert!(f.fit.flank.abs() < 15.0, "flank {}", f.fit.flank);
}

#[test]
fn a_fit_does_not_hang_on_what_was_left_out_of_the_grid() {
    // All values of `m` next to something likely are tried, however sharp the density.
    let f = fitted(&ledger(120, -1.93, 250.0)).unwrap();
    assert!((f.reach.0 + 1.93).abs() < 0.03, "reach {:?}", f.reach);
}

#[test]
fn drag_that_stays_where_the_wall_should_be_split_makes_silent_splits_likely() {
    // Nothing ever falls away: either the wall holds against all expectation or its splits do not show.
    let silent = |strokes| fitted(&ledger(strokes, -9.0, 220.0)).unwrap().silent;
    let (early, late) = (silent(16), silent(600));
    assert!(early.probability < 0.1, "{early:?}");
    assert!(late.probability > 0.4, "{late:?}");
    // Then only force and pressure tell how deep it goes.
    assert!(
        (late.reach.0 + 2.0).abs() < 0.2 && late.reach.1 > 0.1,
        "{late:?}"
    );
}

#[test]
fn splits_that_show_are_not_silent() {
    let f = fitted(&ledger(60, -1.9, 250.0)).unwrap();
    assert!(f.silent.probability < 1e-3, "{:?}", f.silent);
}

/// Forty strokes, a pause of ten minutes before the twentieth, and passes that count `counts` of those before from then on.
fn with_other_wheels(counts: f64) -> Ledger {
    let bend = Bend::new(0.05, 0.0);
    let mut ledger = ledger_of(40, -2.1, 250.0, 0.0, bend, |k| {
        if k < 20 { 1.0 } else { counts }
    });
    for row in &mut ledger.rows[20..] {
        row.start += 600.0;
        row.end += 600.0;
    }
    ledger
}

#[test]
fn other_wheels_after_a_pause_are_told_by_the_drag_and_the_same_ones_are_not() {
    let ledger = with_other_wheels(2.0);
    let found = fitted(&ledger).unwrap().fit.bite.wheels;
    let [change] = found.changes(&ledger)[..] else {
        panic!("{found:?}");
    };
    assert_eq!(change.from_stroke, 21);
    assert!((change.counts / 2.0).ln().abs() < 0.25, "{change:?}");
    let ledger = with_other_wheels(1.0);
    let found = fitted(&ledger).unwrap().fit.bite.wheels;
    assert!(found.changes(&ledger).is_empty(), "{found:?}");
}
