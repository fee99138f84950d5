use super::*;
use kerfwatch::groove::pass_law::{Bend, PassLaw};

const STEP: f64 = 0.1;
const CUT: Cut = Cut {
    wheels: 3,
    first_pass_n: 900.0,
};

/// A stroke over `top..bottom` of the counter that reads `deeper` m too little, with drag by true depth.
fn stroke(
    up: bool,
    (top, bottom): (f64, f64),
    deeper: f64,
    noise: &mut impl FnMut() -> f64,
    drag: impl Fn(f64) -> f64,
) -> Trace {
    let count = ((bottom - top) / STEP).round() as usize;
    Trace {
        up,
        out: true,
        speed: 0.25,
        top,
        bottom,
        first: top + 0.5 * STEP,
        step: STEP,
        drag: (0..count)
            .map(|i| {
                let counted = top + (i as f64 + 0.5) * STEP;
                // Near the turns nothing is known.
                let after = if up { bottom - counted } else { counted - top };
                let before = bottom - top - after;
                (after > 0.8 && before > 0.3).then(|| drag(counted + deeper) + noise())
            })
            .collect(),
    }
}

fn noise(seed: u64, size: f64) -> impl FnMut() -> f64 {
    let mut state = seed;
    move || {
        state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        size * ((state >> 33) as f64 / f64::from(1_u32 << 31) - 0.5)
    }
}

/// Split from 1003.2 to 1006.4 m, coupling at 1007.5 m; elsewhere drag falls with the strokes that passed.
fn groove(depth: f64, strokes: usize) -> f64 {
    if (1007.4..1007.6).contains(&depth) || (1003.2..1006.4).contains(&depth) {
        return 180.0;
    }
    let law = PassLaw::new(64, f64::MAX, Bend::default());
    let wheels = f64::from(CUT.wheels);
    let n = strokes as f64 * wheels;
    200.0 + CUT.first_pass_n * law.drag(n, n + wheels) / law.drag(0.0, wheels)
}

/// Eight strokes of each of two runs over ten metres of the counter; `drag` by true depth and the number
/// of strokes that passed there.
fn both(deeper: f64, seed: u64, drag: impl Fn(f64, usize) -> f64 + Copy) -> Found {
    let mut noise = noise(seed, 60.0);
    let first = 1000.0..1010.0;
    let second = first.start + deeper..first.end + deeper;
    let mut run = |deeper: f64, before: usize| -> Vec<Trace> {
        (0..8)
            .map(|k| {
                stroke(k % 2 == 0, (1000.0, 1010.0), deeper, &mut noise, |z| {
                    // In the first run its own strokes passed, in the second all of the first and its own.
                    let (old, own) = if before == 0 { (k, 0) } else { (before, k) };
                    let passed = |range: &std::ops::Range<f64>, n| {
                        if range.contains(&z) { n } else { 0 }
                    };
                    drag(z, passed(&first, old) + passed(&second, own))
                })
            })
            .collect()
    };
    let earlier = run(0.0, 0);
    let later = run(deeper, 8);
    find(&earlier, &later, CUT)
}

#[test]
fn shift_is_found_with_an_interval_that_holds_the_truth() {
    for (seed, deeper) in [(1, 0.0), (2, 0.83), (3, -1.37), (4, 2.6)] {
        match both(deeper, seed, groove) {
            Found::Known {
                shift_m,
                low_m,
                high_m,
            } => {
                assert!((shift_m - deeper).abs() < 0.12, "{shift_m} for {deeper}");
                assert!((low_m..=high_m).contains(&deeper), "{low_m} to {high_m}");
                assert!(high_m - low_m < 1.0, "{low_m} to {high_m}");
            }
            Found::Unknown { why } => panic!("{deeper}: {why}"),
        }
    }
}

#[test]
fn even_drag_tells_nothing() {
    for seed in 1..10 {
        assert!(
            matches!(both(0.4, seed, |_, _| 300.0), Found::Unknown { .. }),
            "seed {seed}"
        );
    }
}

/// Every metre and a half looks alike: only where the old cut ends is there anything to go by.
#[test]
fn a_pattern_that_repeats_is_unknown_or_told_by_the_ends_of_the_cut() {
    let waves = |depth: f64, _| 300.0 + 150.0 * (std::f64::consts::TAU * depth / 1.5).sin();
    match both(0.2, 5, waves) {
        Found::Unknown { .. } => {}
        Found::Known { low_m, high_m, .. } => {
            assert!((low_m..=high_m).contains(&0.2), "{low_m} to {high_m}");
        }
    }
}

#[test]
fn runs_without_strokes_of_a_kind_are_unknown() {
    assert!(matches!(find(&[], &[], CUT), Found::Unknown { .. }));
}
