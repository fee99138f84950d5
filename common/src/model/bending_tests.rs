//! Bending stress against computed tables; counting against movements done by hand.

use super::*;
use crate::units::{KilogramsPerCubicMetre, Metres, Newtons, Pascals, PerKelvin, Radians};
use proptest::prelude::*;

fn printed(found: f64, wanted: f64, last_digit: f64) {
    assert!(
        (found - wanted).abs() <= 0.5001 * last_digit,
        "{found}, printed {wanted}"
    );
}

fn line(sheaves: &[(f64, f64)], life: Option<job::BendingLife>) -> job::Line {
    job::Line {
        diameter: Metres(2.7432e-3),
        modulus: Pascals(200e9),
        density: KilogramsPerCubicMetre(7850.0),
        breaking_load: Newtons(9381.0),
        expansion: PerKelvin(11.7e-6),
        length_on_drum: None,
        stuffing_box_friction: Newtons(50.0),
        friction_up: 0.25,
        friction_down: 0.25,
        sheaves: sheaves
            .iter()
            .map(|&(diameter, path)| job::Sheave {
                name: format!("wheel at {path} m"),
                diameter: Metres(diameter),
                path: Metres(path),
                wrap: Radians(std::f64::consts::PI),
            })
            .collect(),
        bending_life: life,
    }
}

fn walk(counter: &mut BendCounter, from: f64, to: f64, tension: f64) {
    let steps = ((to - from).abs() / 0.01).round() as usize;
    for i in 0..=steps {
        counter.push(from + (to - from) * i as f64 / steps as f64, tension);
    }
}

// Elastic bending, computed outside this project's code, E = 200 GPa.
#[test]
fn bending_stress_by_diameter_ratio_and_by_sheave() {
    for (ratio, wanted) in [
        (50.0, 3921.6),
        (80.0, 2469.1),
        (100.0, 1980.2),
        (120.0, 1652.9),
        (150.0, 1324.5),
        (200.0, 995.0),
    ] {
        printed(bending_stress_pa(200e9, 1.0, ratio) / 1e6, wanted, 0.1);
    }
    let rows = [
        (0.092, [1823.0, 1143.0, 916.0]),
        (0.108, [2137.0, 1341.0, 1074.0]),
        (0.125, [2469.0, 1550.0, 1242.0]),
        (0.160, [3150.0, 1980.0, 1587.0]),
    ];
    for (wire, stresses) in rows {
        for (tread, wanted) in [10.0, 16.0, 20.0].into_iter().zip(stresses) {
            printed(bending_stress_pa(200e9, wire, tread) / 1e6, wanted, 1.0);
        }
    }
    // Strain at D/d = 120.
    printed(bending_stress_pa(1.0, 1.0, 120.0) * 100.0, 0.826, 1e-3);
}

#[test]
fn advised_sheave_for_four_wire_sizes() {
    for (wire, sheave) in [
        (0.092, 11.04),
        (0.108, 12.96),
        (0.125, 15.00),
        (0.160, 19.20),
    ] {
        printed(wire * SHEAVE_RATIO_ADVISED, sheave, 0.01);
    }
}

#[test]
fn one_passage_over_one_wheel_is_one_bend() {
    let mut counter = BendCounter::new(&line(&[(0.4, 5.0)], None), 1.0);
    walk(&mut counter, 1000.0, 1020.0, 2000.0);
    let wear = counter.wear();
    assert_eq!(counter.bends_max(), 1);
    // Arc of 0.628 m around 5 m: points from 1005 to 1025 m went over it.
    assert_eq!(
        (wear[0].from_m, wear[wear.len() - 1].to_m),
        (1005.0, 1025.0)
    );
    assert_eq!(wear[0].life_used, None);
    assert_eq!(counter.life_used_max(), None);
    assert_eq!(counter.tension_max_n(1010.0), Some(2000.0));
    assert_eq!(counter.tension_max_n(2.0), None);
}

#[test]
fn stroking_bends_the_same_metres_once_per_stroke_and_wheel() {
    let mut counter = BendCounter::new(&line(&[(0.4, 1.0), (0.4, 12.0), (0.5, 30.0)], None), 1.0);
    counter.push(2000.0, 2500.0);
    for _ in 0..10 {
        walk(&mut counter, 2000.0, 2008.0, 2500.0);
        walk(&mut counter, 2008.0, 2000.0, 2500.0);
    }
    // 20 strokes of 8 m; spans over the wheels do not overlap, so each is bent 20 times.
    assert_eq!(counter.bends_max(), 20);
    let wear = counter.wear();
    assert_eq!(wear.iter().filter(|w| w.bends == 20).count(), 3);
    let longest = wear
        .iter()
        .filter(|w| w.bends == 20)
        .map(|w| w.to_m - w.from_m)
        .fold(0.0, f64::max);
    assert!((7.0..=8.0).contains(&longest), "{longest}");
}

#[test]
fn overlapping_spans_of_two_wheels_add_up() {
    let mut counter = BendCounter::new(&line(&[(0.4, 1.0), (0.4, 4.0)], None), 1.0);
    for _ in 0..5 {
        walk(&mut counter, 2000.0, 2010.0, 2500.0);
        walk(&mut counter, 2010.0, 2000.0, 2500.0);
    }
    // 10 strokes over two wheels 3 m apart: the common 7 m are bent twice per stroke.
    assert_eq!(counter.bends_max(), 20);
}

#[test]
fn encoder_jitter_counts_nothing() {
    let mut counter = BendCounter::new(&line(&[(0.4, 1.0)], None), 1.0);
    for i in 0..10_000 {
        counter.push(2000.0 + if i % 2 == 0 { 0.009 } else { -0.009 }, 2500.0);
    }
    assert_eq!(counter.bends_max(), 0);
    assert!(counter.wear().is_empty());
}

#[test]
fn a_new_zero_of_the_counter_is_no_movement() {
    let mut counter = BendCounter::new(&line(&[(0.4, 1.0)], None), 1.0);
    counter.push(2000.0, 2500.0);
    counter.push(0.0, 2500.0);
    counter.rezero(10.0);
    counter.push(f64::NAN, 2500.0);
    assert!(counter.wear().is_empty());
}

#[test]
fn miner_sum_follows_the_users_line_with_tension_added() {
    let life = job::BendingLife {
        stress: Pascals(1e9),
        cycles: 1000.0,
        exponent: 4.0,
    };
    let mut counter = BendCounter::new(&line(&[(0.4, 5.0)], Some(life)), 1.0);
    walk(&mut counter, 1000.0, 1020.0, 2000.0);
    let area = super::super::line::wire_area_m2(2.7432e-3);
    let stress = bending_stress_pa(200e9, 2.7432e-3, 0.4) + 2000.0 / area;
    let wanted = (stress / 1e9).powi(4) / 1000.0;
    assert!((counter.life_used_max().unwrap() / wanted - 1.0).abs() < 1e-12);
}

proptest! {
    #[test]
    fn count_does_not_depend_on_how_movement_is_cut_into_readings(
        turns in proptest::collection::vec(1000.0..1030.0f64, 2..12), coarse in 1usize..200,
    ) {
        let job = line(&[(0.4, 1.0), (0.5, 9.0)], None);
        let (mut fine, mut rough) = (BendCounter::new(&job, 1.0), BendCounter::new(&job, 1.0));
        for w in turns.windows(2) {
            for i in 0..=200 {
                fine.push(w[0] + (w[1] - w[0]) * f64::from(i) / 200.0, 1000.0);
            }
            for i in 0..=coarse {
                rough.push(w[0] + (w[1] - w[0]) * i as f64 / coarse as f64, 1000.0);
            }
        }
        prop_assert_eq!(fine.wear(), rough.wear());
    }
}
