//! Check values of the hanging line. Computed outside this project's code from the textbook
//! formulas named in `line.rs` (Python, E = 200 GPa, 7850 kg/m3, g = 9.80665 m/s2).

use super::*;
use proptest::prelude::*;

fn wire(inches: f64, fluid: f64) -> LineInFluid {
    LineInFluid::new(inches * 0.0254, 200e9, 7850.0, fluid)
}

/// Half a unit in the last printed digit.
fn printed(found: f64, wanted: f64, last_digit: f64) {
    assert!(
        (found - wanted).abs() <= 0.5001 * last_digit,
        "found {found}, printed {wanted}"
    );
}

#[test]
fn area_stiffness_and_weight_of_four_wire_sizes() {
    let rows = [
        (
            0.092,
            4.2888,
            857.8,
            33.667,
            0.3302,
            0.2881,
            [1715.5, 857.75, 428.88, 285.92, 214.44],
        ),
        (
            0.108,
            5.9102,
            1182.0,
            46.395,
            0.4550,
            0.3970,
            [2364.1, 1182.05, 591.02, 394.02, 295.51],
        ),
        (
            0.125,
            7.9173,
            1583.5,
            62.151,
            0.6095,
            0.5318,
            [3166.9, 1583.46, 791.73, 527.82, 395.87],
        ),
        (
            0.160,
            12.9717,
            2594.3,
            101.828,
            0.9986,
            0.8714,
            [5188.7, 2594.34, 1297.17, 864.78, 648.59],
        ),
    ];
    for (inches, area, ea, mass, air, water, k) in rows {
        let w = wire(inches, 1000.0);
        printed(w.area_m2 * 1e6, area, 1e-4);
        printed(w.ea_n * 1e-3, ea, 0.1);
        printed(w.mass_kg_m * 1e3, mass, 1e-3);
        printed(wire(inches, 0.0).weight_n_m, air, 1e-4);
        printed(w.weight_n_m, water, 1e-4);
        for (length, (wanted, digit)) in [500.0, 1000.0, 2000.0, 3000.0, 4000.0]
            .into_iter()
            .zip(k.into_iter().zip([0.1, 0.01, 0.01, 0.01, 0.01]))
        {
            printed(w.stiffness_n_m(length), wanted, digit);
        }
    }
}

#[test]
fn self_weight_stretch_does_not_depend_on_diameter_and_meets_the_table() {
    let rows = [
        (500.0, 0.0481, 0.0420),
        (1000.0, 0.1925, 0.1679),
        (2000.0, 0.7698, 0.6718),
        (3000.0, 1.7321, 1.5114),
        (4000.0, 3.0793, 2.6870),
    ];
    for inches in [0.092, 0.108, 0.125, 0.160] {
        for (length, air, water) in rows {
            printed(wire(inches, 0.0).stretch_hanging_m(length, 0.0), air, 1e-4);
            printed(
                wire(inches, 1000.0).stretch_hanging_m(length, 0.0),
                water,
                1e-4,
            );
        }
    }
}

#[test]
fn stretch_per_kilonewton_of_end_load_meets_the_table() {
    let rows = [
        (500.0, [0.5829, 0.4230, 0.3158, 0.1927]),
        (1000.0, [1.1658, 0.8460, 0.6315, 0.3855]),
        (2000.0, [2.3317, 1.6920, 1.2631, 0.7709]),
        (3000.0, [3.4975, 2.5380, 1.8946, 1.1564]),
        (4000.0, [4.6633, 3.3840, 2.5261, 1.5418]),
    ];
    for (length, wanted) in rows {
        for (inches, wanted) in [0.092, 0.108, 0.125, 0.160].into_iter().zip(wanted) {
            let w = wire(inches, 1000.0);
            let found = w.stretch_hanging_m(length, 1000.0) - w.stretch_hanging_m(length, 0.0);
            printed(found, wanted, 1e-4);
        }
    }
}

#[test]
fn combined_stretch_with_and_without_pressure_correction() {
    let w = wire(0.108, 1000.0);
    printed(w.stretch_hanging_m(2000.0, 2000.0), 4.055_72, 1e-5);
    printed(
        w.stretch_hanging_m(2000.0, 2000.0) + w.pressure_shortening_m(2000.0),
        4.014_53,
        1e-5,
    );
    printed(w.pressure_shortening_m(2000.0), -0.041_19, 1e-5);
    printed(w.stretch_hanging_m(3000.0, 1500.0), 5.318_40, 1e-5);
    printed(
        w.stretch_hanging_m(3000.0, 1500.0) + w.pressure_shortening_m(3000.0),
        5.225_73,
        1e-5,
    );
    printed(w.pressure_shortening_m(3000.0), -0.092_67, 1e-5);
}

#[test]
fn thermal_stretch_under_a_linear_gradient() {
    let w = LineInFluid {
        temperature_gradient_k_m: 0.03,
        ..wire(0.108, 1000.0)
    };
    printed(w.thermal_stretch_m(1000.0), 0.1755, 1e-4);
    printed(w.thermal_stretch_m(3000.0), 1.5795, 1e-4);
}

#[test]
fn stretch_under_the_hanging_profile_equals_the_closed_form() {
    let w = wire(0.108, 1000.0);
    let md: Vec<f64> = (0..=300).map(|i| f64::from(i) * 10.0).collect();
    let tension: Vec<f64> = md
        .iter()
        .map(|z| 1500.0 + w.weight_n_m * (3000.0 - z))
        .collect();
    let found = w.stretch_under_profile_m(&md, &tension);
    assert!((found - w.stretch_hanging_m(3000.0, 1500.0)).abs() < 1e-9);
}

// Line turned over to depth z by a reversal under distributed drag f: f z^2/(EA), slope EA/z.
#[test]
fn reversal_taken_up_to_depth_z_moves_the_line_as_derived() {
    let w = wire(0.108, 1000.0);
    let rows = [
        (500.0, 100.0, 0.02115, 2364.1, 0.1),
        (1000.0, 200.0, 0.08460, 1182.05, 0.01),
        (2000.0, 400.0, 0.33840, 591.02, 0.01),
    ];
    for (z, step, moved, slope, digit) in rows {
        // Tension change is 2 f (z - s) at depth s, nothing below z.
        let found = w.stretch_under_profile_m(&[0.0, z], &[2.0 * 0.1 * z, 0.0]);
        printed(2.0 * 0.1 * z, step, 1e-9);
        printed(found, moved, 1e-5);
        printed(w.stiffness_n_m(z), slope, digit);
    }
}

#[test]
fn wave_speed_and_times_meet_the_table() {
    for (modulus, wanted, digit) in [
        (190e9, 4920.0, 1.0),
        (200e9, 5047.5, 0.1),
        (207e9, 5135.0, 1.0),
    ] {
        let w = LineInFluid::new(2.7432e-3, modulus, 7850.0, 1000.0);
        printed(w.wave_speed_m_s(), wanted, digit);
    }
    let w = wire(0.108, 1000.0);
    let rows = [
        (500.0, 99.1, 198.1, 0.396, 2.524),
        (1000.0, 198.1, 396.2, 0.792, 1.262),
        (2000.0, 396.2, 792.5, 1.585, 0.631),
        (3000.0, 594.3, 1188.7, 2.377, 0.421),
        (4000.0, 792.5, 1584.9, 3.170, 0.315),
    ];
    for (length, one_way, echo, period, hertz) in rows {
        printed(w.travel_time_s(length) * 1e3, one_way, 0.1);
        printed(w.travel_time_s(length) * 2e3, echo, 0.1);
        printed(w.travel_time_s(length) * 4.0, period, 1e-3);
        printed(w.fundamental_frequency_hz(length, 0.0), hertz, 1e-3);
        printed(w.stuck_frequency_hz(length), 2.0 * hertz, 3e-3);
    }
}

#[test]
fn fundamental_frequency_with_a_tool_on_the_end() {
    let w = wire(0.108, 1000.0);
    printed(w.fundamental_frequency_hz(1000.0, 50.0), 0.6723, 1e-4);
    printed(w.fundamental_frequency_hz(2000.0, 50.0), 0.4234, 1e-4);
    printed(w.fundamental_frequency_hz(3000.0, 50.0), 0.3139, 1e-4);
    printed(w.fundamental_frequency_hz(2000.0, 150.0), 0.2868, 1e-4);
    // A spring with a third of the line's mass added to the tool is within 3 %.
    let mass = 50.0 + w.mass_kg_m * 2000.0 / 3.0;
    let spring = (w.stiffness_n_m(2000.0) / mass).sqrt() / std::f64::consts::TAU;
    assert!((spring / w.fundamental_frequency_hz(2000.0, 50.0) - 1.0).abs() < 0.03);
}

#[test]
fn impedance_of_four_wire_sizes() {
    for (inches, wanted) in [
        (0.092, 169.9),
        (0.108, 234.2),
        (0.125, 313.7),
        (0.160, 514.0),
    ] {
        printed(wire(inches, 1000.0).impedance_n_s_m(), wanted, 0.1);
    }
}

#[test]
fn pressure_force_on_the_line_meets_the_table() {
    let rows = [
        (0.092, [21.4, 42.9, 85.8, 150.1, 300.2], 6.648),
        (0.108, [29.6, 59.1, 118.2, 206.9, 413.7], 9.161),
        (0.125, [39.6, 79.2, 158.3, 277.1, 554.2], 12.272),
        (0.160, [64.9, 129.7, 259.4, 454.0, 908.0], 20.106),
    ];
    for (inches, forces, lbf) in rows {
        let at = |pressure| LineInFluid {
            wellhead_pressure_pa: pressure,
            ..wire(inches, 1000.0)
        };
        for (pressure, force) in [5e6, 10e6, 20e6, 35e6, 70e6].into_iter().zip(forces) {
            printed(at(pressure).pressure_force_n(), force, 0.1);
        }
        let psi1000 = at(1000.0 * crate::units::PASCALS_PER_PSI).pressure_force_n();
        printed(crate::units::Newtons(psi1000).as_lbf(), lbf, 1e-3);
    }
}

#[test]
fn packing_friction_adds_pulling_out_and_subtracts_running_in() {
    let w = LineInFluid {
        wellhead_pressure_pa: 10e6,
        ..wire(0.108, 1000.0)
    };
    let push = w.pressure_force_n();
    assert!((w.above_stuffing_box_n(2000.0, 50.0, Motion::Up) - (2050.0 - push)).abs() < 1e-9);
    assert!((w.above_stuffing_box_n(2000.0, 50.0, Motion::Down) - (1950.0 - push)).abs() < 1e-9);
    assert!((w.above_stuffing_box_n(2000.0, 50.0, Motion::Rest) - (2000.0 - push)).abs() < 1e-9);
    for motion in [Motion::Up, Motion::Down, Motion::Rest] {
        let back =
            w.below_stuffing_box_n(w.above_stuffing_box_n(1234.5, 50.0, motion), 50.0, motion);
        assert!((back - 1234.5).abs() < 1e-9);
    }
}

#[test]
fn tool_loses_the_weight_of_the_fluid_it_displaces() {
    // 78.5 kg of steel is 0.01 m3, which is 10 kg of water.
    assert!((tool_weight_in_fluid_n(78.5, 0.01, 1000.0) - 68.5 * GRAVITY).abs() < 1e-9);
}

proptest! {
    #[test]
    fn stretch_grows_with_load_and_with_length(
        load in 0.0..10_000.0f64, more in 1.0..5_000.0f64,
        length in 1.0..6_000.0f64, longer in 1.0..1_000.0f64,
    ) {
        let w = wire(0.108, 1000.0);
        let base = w.stretch_hanging_m(length, load);
        prop_assert!(w.stretch_hanging_m(length, load + more) > base);
        prop_assert!(w.stretch_hanging_m(length + longer, load) > base);
    }

    #[test]
    fn heavier_tool_means_lower_frequency_but_never_above_the_bare_line(
        mass in 0.0..500.0f64, more in 1.0..100.0f64, length in 100.0..6_000.0f64,
    ) {
        let w = wire(0.125, 1000.0);
        let f = w.fundamental_frequency_hz(length, mass);
        prop_assert!(f <= w.fundamental_frequency_hz(length, 0.0) * (1.0 + 1e-12));
        prop_assert!(w.fundamental_frequency_hz(length, mass + more) < f);
    }
}
