//! The table against fine integration of the same equation, and its own consistency.

use super::super::soft_string::carry_tension_with_step_n;
use super::*;
use proptest::prelude::*;

fn degrees(stations: &[(f64, f64, f64)]) -> WellPath {
    WellPath::new(
        stations
            .iter()
            .map(|&(md, inc, azi)| (md, inc.to_radians(), azi.to_radians())),
    )
    .unwrap()
}

/// Wells that strain the table: build and hold, sharp doglegs, S shape with turns, a survey every
/// 30 m with tortuosity, shallow kick, long gentle build (contact changes side at high tension).
fn wells() -> Vec<(&'static str, WellPath)> {
    let tortuous: Vec<(f64, f64, f64)> = (0..160)
        .map(|i| {
            let md = f64::from(i) * 30.0;
            let wave = f64::from(i);
            let inc = (20.0 + 15.0 * (wave * 0.11).sin() + 1.5 * (wave * 2.3).sin()).max(0.0);
            (
                md,
                if i == 0 { 0.0 } else { inc },
                60.0 + 40.0 * (wave * 0.07).sin(),
            )
        })
        .collect();
    vec![
        (
            "build and hold",
            degrees(&[(0.0, 0.0, 0.0), (1000.0, 0.0, 0.0), (1600.0, 60.0, 0.0)]),
        ),
        ("vertical", WellPath::vertical()),
        (
            "sharp dogleg",
            degrees(&[
                (0.0, 0.0, 0.0),
                (1500.0, 5.0, 0.0),
                (1530.0, 14.0, 90.0),
                (1560.0, 6.0, 200.0),
                (3000.0, 20.0, 210.0),
            ]),
        ),
        (
            "S shape",
            degrees(&[
                (0.0, 0.0, 0.0),
                (500.0, 0.0, 0.0),
                (1100.0, 45.0, 30.0),
                (2000.0, 45.0, 60.0),
                (2900.0, 5.0, 60.0),
                (4500.0, 5.0, 90.0),
            ]),
        ),
        ("tortuous", degrees(&tortuous)),
        (
            "gentle build",
            degrees(&[(0.0, 0.0, 0.0), (300.0, 0.0, 0.0), (4000.0, 70.0, 0.0)]),
        ),
    ]
}

fn line() -> LineInFluid {
    LineInFluid {
        wellhead_pressure_pa: 5e6,
        temperature_gradient_k_m: 0.03,
        ..LineInFluid::new(2.7432e-3, 200e9, 7850.0, 1000.0)
    }
}

/// Largest errors over all wells: (tension N, stretch m, surface tension N).
fn worst_errors() -> (f64, f64, f64) {
    let (mut tension, mut stretch, mut surface) = (0.0f64, 0.0f64, 0.0f64);
    for (name, path) in wells() {
        let table = ProfileTable::new(&path, line(), 0.3, 0.2, 4500.0);
        for motion in [Motion::Up, Motion::Rest, Motion::Down] {
            for top in [1234.5, 2222.0, 3333.0, 5555.0, 9000.0] {
                let (mut md, mut t, mut integral) = (0.0, top, 0.0);
                while md < 4490.0 {
                    let next = md + 7.3;
                    let carry = |from: f64, at: f64, to: f64| {
                        carry_tension_with_step_n(
                            &path,
                            line().weight_n_m,
                            table.friction(),
                            motion,
                            from,
                            at,
                            to,
                            0.5,
                        )
                    };
                    let middle = carry(md, t, 0.5 * (md + next));
                    let below = carry(0.5 * (md + next), middle, next);
                    integral += (next - md) / 6.0 * (t + 4.0 * middle + below);
                    (md, t) = (next, below);
                    if t < -500.0 {
                        break; // slack long since: not a tension anyone meets
                    }
                    let error = (table.tension_at(motion, top, md) - t).abs();
                    assert!(
                        error < 2.0,
                        "{name} {motion:?} {top} N at {md} m: error {error} N"
                    );
                    tension = tension.max(error);
                    let error = (table.stretch(motion, top, md) - integral / line().ea_n).abs();
                    stretch = stretch.max(error);
                    surface = surface.max((table.surface_tension(motion, t, md) - top).abs());
                }
            }
        }
    }
    (tension, stretch, surface)
}

#[test]
fn lookup_is_within_a_thousandth_of_the_tension_range_of_fine_integration() {
    let (tension, stretch, surface) = worst_errors();
    println!(
        "worst errors: tension {tension:.4} N, stretch {stretch:.6} m, surface tension {surface:.4} N"
    );
    // The runs above span about 9 kN: 0.1 % is 9 N. Held much tighter, since drag is tens of newtons.
    assert!(tension < 1.0, "{tension} N");
    assert!(surface < 1.5, "{surface} N");
    assert!(stretch < 2e-3, "{stretch} m");
}

#[test]
fn worked_well_is_met_by_the_table() {
    let (_, path) = wells().remove(0);
    let table = ProfileTable::new(
        &path,
        LineInFluid::new(2.7432e-3, 200e9, 7850.0, 1000.0),
        0.25,
        0.25,
        3000.0,
    );
    for (motion, tool, surface, gain) in [
        (Motion::Up, 716.5064, 2033.7366, 1.2993),
        (Motion::Rest, 500.0, 1371.9411, 1.0),
        (Motion::Down, 283.4936, 936.1382, 0.7697),
    ] {
        let found = table.surface_tension(motion, tool, 3000.0);
        assert!((found - surface).abs() < 0.1, "{motion:?} {found}");
        assert!((table.tension_at(motion, surface, 3000.0) - tool).abs() < 0.1);
        assert!((table.gain(motion, tool, 3000.0) - gain).abs() < 1e-3);
    }
}

#[test]
fn hanging_line_stretch_and_corrections_meet_the_closed_forms() {
    let table = ProfileTable::new(&WellPath::vertical(), line(), 0.3, 0.2, 4000.0);
    for length in [0.0, 123.4, 2000.0, 3999.0] {
        let top = 1500.0 + line().weight_n_m * length;
        for motion in [Motion::Up, Motion::Rest, Motion::Down] {
            let found = table.stretch(motion, top, length);
            assert!((found - line().stretch_hanging_m(length, 1500.0)).abs() < 1e-9);
        }
        let fixed = line().thermal_stretch_m(length) + line().pressure_shortening_m(length);
        assert!((table.stretch_static_corrections(length) - fixed).abs() < 1e-9);
    }
}

#[test]
fn depth_outside_the_table_is_held_at_its_ends() {
    let table = ProfileTable::new(&WellPath::vertical(), line(), 0.3, 0.2, 1000.0);
    assert_eq!(table.tension_at(Motion::Up, 2000.0, -5.0), 2000.0);
    assert_eq!(
        table.tension_at(Motion::Up, 2000.0, 1e9),
        table.tension_at(Motion::Up, 2000.0, 1000.0)
    );
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(40))]
    #[test]
    fn inverse_undoes_the_lookup_and_gain_is_its_slope(
        well in 0usize..6, top in 0.0..14_000.0f64, md in 0.0..4500.0f64, up in any::<bool>(),
    ) {
        let (_, path) = wells().swap_remove(well);
        let table = ProfileTable::new(&path, line(), 0.3, 0.2, 4500.0);
        let motion = if up { Motion::Up } else { Motion::Down };
        let t = table.tension_at(motion, top, md);
        prop_assert!((table.surface_tension(motion, t, md) - top).abs() < 1e-6);
        let slope = (table.surface_tension(motion, t + 0.5, md) - table.surface_tension(motion, t - 0.5, md)) / 1.0;
        prop_assert!((table.gain(motion, t, md) - slope).abs() < 5e-3);
        prop_assert!(slope > 0.0);
        prop_assert!(table.stretch(motion, top + 10.0, md) >= table.stretch(motion, top, md));
    }
}
