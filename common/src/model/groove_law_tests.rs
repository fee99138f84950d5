//! Check values of the groove law. Figures computed outside this project's code from the stated
//! relations (the model itself is derived here, not published).

use super::*;
use proptest::prelude::*;

fn base(force_n: f64, pressure_pa: f64) -> Wheel {
    Wheel {
        force_n,
        radius_m: 0.010,
        half_angle_rad: 15f64.to_radians(),
        pressure_pa,
        flat_width_m: 0.0,
        reach_m: 0.05,
    }
}

/// Base case: 4 kN, 10 mm, 15 deg, 1.2 GPa.
fn base_case() -> Wheel {
    base(4000.0, 1.2e9)
}

fn printed(found: f64, wanted: f64, last_digit: f64) {
    assert!(
        (found - wanted).abs() <= 0.5001 * last_digit,
        "found {found}, printed {wanted}"
    );
}

/// Advance of one pass deep in the groove, `p << d`, m: `(kappa/d)^2`, the same as
/// `(N/(2 sc d tan b))^2/(2 R)`. Use only where the result is below a tenth of `d`.
fn small_advance_m(d_m: f64, kappa: f64) -> f64 {
    (kappa / d_m).powi(2)
}

/// Depth after the first pass on a flat wall, m: `(3 kappa/2)^(2/3)`.
fn first_pass_m(kappa: f64) -> f64 {
    (1.5 * kappa).powf(2.0 / 3.0)
}

/// Passes to depth `t` in the limit of many small passes: `t^3/(3 kappa^2)`, the same as
/// `8 R sc^2 tan^2 b t^3/(3 N^2)`.
fn continuum_passes(t_m: f64, kappa: f64) -> f64 {
    t_m.powi(3) / (3.0 * kappa * kappa)
}

/// Contact half-length of a rolling disc, m, small-advance form `sqrt(2 R p)`.
fn contact_length_m(radius_m: f64, p_m: f64) -> f64 {
    (2.0 * radius_m * p_m).sqrt()
}

/// Contact half-length of a rolling disc, m, exact chord `sqrt(2 R p - p^2)`.
fn contact_length_exact_m(radius_m: f64, p_m: f64) -> f64 {
    (2.0 * radius_m * p_m - p_m * p_m).max(0.0).sqrt()
}

/// Depth from all work done per metre of groove, m: `sqrt(E/(u tan b))`; force and radius drop out.
fn depth_from_work_m(work_j_m: f64, u_tan_b: f64) -> f64 {
    (work_j_m.max(0.0) / u_tan_b).sqrt()
}

/// Cutting drag of one wheel by moments about its axle with uniform pressure, N:
/// `N l/(2 R) = N sqrt(p/(2 R))`. Equals `u tan b (d^2 - d0^2)` for `p << d` when `u = sc`.
fn drag_by_moments_n(force_n: f64, radius_m: f64, p_m: f64) -> f64 {
    force_n * (p_m / (2.0 * radius_m)).sqrt()
}

#[test]
fn recursion_depths_of_the_base_case() {
    let wheel = base_case();
    let mut depth = 0.0;
    let mut work = 0.0;
    let u_tan_b = 1.2e9 * wheel.half_angle_rad.tan();
    let wanted = [
        (1, 1.6327),
        (2, 2.1331),
        (3, 2.4793),
        (5, 2.9816),
        (10, 3.8044),
        (15, 4.3763),
        (20, 4.8295),
        (21, 4.9106),
    ];
    for pass in 1..=21 {
        let next = wheel.pass_m(depth);
        work += work_j_m(depth, next, u_tan_b);
        depth = next;
        if let Some((_, mm)) = wanted.iter().find(|(n, _)| *n == pass) {
            printed(depth * 1e3, *mm, 1e-4);
        }
    }
    // 40-digit arithmetic; a root finder of 1e-8 relative tolerance gives 7753.5526.
    assert!((work / 7_753.552_540_218_657 - 1.0).abs() < 1e-13, "{work}");
    assert!((depth_from_work_m(work, u_tan_b) / depth - 1.0).abs() < 1e-12);
}

#[test]
fn first_touch_meets_the_closed_form_and_its_drag() {
    let wheel = base_case();
    let d1 = wheel.pass_m(0.0);
    printed(d1 * 1e3, 1.63273, 1e-5);
    assert!((d1 / first_pass_m(wheel.kappa()) - 1.0).abs() < 1e-14);
    printed(wheel.work_j_m(0.0, d1, 1.2e9), 857.16, 1e-2);
}

#[test]
fn small_advance_table_of_the_base_case() {
    let wheel = base_case();
    let rows = [
        (0.5, 7.73789, 12.4402, 2488.03),
        (1.0, 1.93447, 6.2201, 1244.02),
        (2.0, 0.48362, 3.1100, 622.01),
        (3.0, 0.21494, 2.0734, 414.67),
        (4.0, 0.12090, 1.5550, 311.00),
        (4.83, 0.08292, 1.2878, 257.56),
        (9.17, 0.02301, 0.6783, 135.66),
    ];
    for (d, p, l, drag) in rows {
        let advance_m = small_advance_m(d * 1e-3, wheel.kappa());
        printed(advance_m * 1e3, p, 1e-5);
        printed(contact_length_m(wheel.radius_m, advance_m) * 1e3, l, 1e-4);
        printed(
            drag_by_moments_n(wheel.force_n, wheel.radius_m, advance_m),
            drag,
            1e-2,
        );
        // Energy and moments agree for u = sc where p is small against d.
        let by_energy = 1.2e9 * wheel.half_angle_rad.tan() * 2.0 * d * 1e-3 * advance_m;
        assert!((by_energy / drag - 1.0).abs() < 1e-4);
    }
}

#[test]
fn passes_to_cut_common_walls_meet_the_table() {
    let rows = [
        (4.83, 19.42, 21, 7501.0, 149, 18),
        (5.51, 28.83, 30, 9762.0, 221, 26),
        (6.45, 46.24, 47, 13377.0, 354, 40),
        (6.88, 56.12, 57, 15220.0, 429, 49),
        (7.72, 79.28, 81, 19163.0, 605, 68),
        (9.17, 132.87, 134, 27038.0, 1014, 114),
        (8.05, 89.89, 91, 20837.0, 686, 77),
    ];
    let count = |wheel: Wheel, wall: f64| {
        let (mut depth, mut passes) = (0.0, 0);
        while depth < wall {
            depth = wheel.pass_m(depth);
            passes += 1;
        }
        passes
    };
    for (wall_mm, cube, passes, work, weak, strong) in rows {
        let wall = wall_mm * 1e-3;
        printed(continuum_passes(wall, base_case().kappa()), cube, 1e-2);
        assert_eq!(count(base_case(), wall), passes);
        printed(base_case().work_j_m(0.0, wall, 1.2e9), work, 1.0);
        assert_eq!(count(base(2000.0, 1.656e9), wall), weak);
        assert_eq!(count(base(6000.0, 1.656e9), wall), strong);
    }
}

// Common practice, no source: tens of turns of a hand cutter on thick wall.
#[test]
fn hand_pipe_cutter_comes_out_in_the_right_order() {
    for (force, wanted) in [(2000.0, 47.5), (4000.0, 11.9)] {
        let wheel = Wheel {
            radius_m: 0.016,
            half_angle_rad: 20f64.to_radians(),
            ..base(force, 0.75e9)
        };
        printed(continuum_passes(3.91e-3, wheel.kappa()), wanted, 0.1);
    }
}

#[test]
fn many_passes_approach_the_cube_root_law() {
    let kappa = base_case().kappa();
    let sequence = UniversalSequence::new();
    for n in [1e3, 1e4, 1e5] {
        let d = sequence.depth_m(n, kappa);
        let ratio = continuum_passes(d, kappa) / n;
        assert!((ratio - 1.0).abs() < 2.0 * n.ln() / n, "{n}: {ratio}");
    }
}

#[test]
fn sequence_equals_the_recursion_for_every_whole_pass() {
    let sequence = UniversalSequence::new();
    let kappa = base_case().kappa();
    let mut depth = 0.0;
    for n in 1..=20_000u32 {
        depth = advance(depth, kappa);
        let found = sequence.depth_m(f64::from(n), kappa);
        assert!((found / depth - 1.0).abs() < 1e-7, "{n}: {found} {depth}");
    }
}

#[test]
fn sequence_is_smooth_and_its_inverse_returns_the_passes() {
    let sequence = UniversalSequence::new();
    let mut before = 0.0;
    for i in 1..40_000u32 {
        let n = f64::from(i) * 0.05;
        let x = sequence.depth(n);
        assert!(x > before, "not monotone at {n}");
        before = x;
        assert!(
            (sequence.passes(x) - n).abs() < 1e-8 * n.max(1.0),
            "{n}: {}",
            sequence.passes(x)
        );
    }
    // No jump where the table ends.
    let end = TABLE_PASSES as f64;
    let (left, right) = (sequence.depth(end - 1e-6), sequence.depth(end + 1e-6));
    assert!(
        right > left && (right / left - 1.0).abs() < 1e-9,
        "{left} {right}"
    );
    assert_eq!(sequence.passes(0.0), 0.0);
}

#[test]
fn reach_stops_the_groove_and_a_deeper_groove_is_left_alone() {
    let wheel = Wheel {
        reach_m: 2.0e-3,
        ..base_case()
    };
    let mut depth = 0.0;
    for _ in 0..10 {
        depth = wheel.pass_m(depth);
    }
    assert_eq!(depth, 2.0e-3);
    assert_eq!(wheel.pass_m(3.0e-3), 3.0e-3);
}

#[test]
fn blunt_edge_cuts_less_and_balances_the_added_contact() {
    let sharp = base_case();
    let blunt = Wheel {
        flat_width_m: 0.3e-3,
        ..sharp
    };
    let (d0, d) = (1.0e-3, blunt.pass_m(1.0e-3));
    assert!(d < sharp.pass_m(1.0e-3));
    let p = d - d0;
    let l = contact_length_m(blunt.radius_m, p);
    let force = blunt.pressure_pa
        * l
        * (2.0 * blunt.half_angle_rad.tan() * (d0 + 2.0 * p / 3.0) + blunt.flat_width_m);
    assert!((force / blunt.force_n - 1.0).abs() < 1e-12);
    let worn = sharp.worn(
        &WheelWear {
            radius_loss_per_m: 1e-7,
            flat_growth_per_m: 1e-7,
        },
        3000.0,
    );
    assert!((worn.radius_m - 9.7e-3).abs() < 1e-12 && (worn.flat_width_m - 0.3e-3).abs() < 1e-12);
}

#[test]
fn wheels_in_line_do_one_pass_each_and_the_square_of_the_force_counts_deep_down() {
    let kappa = base_case().kappa();
    let three = (0..3).fold(1e-3, |d, _| advance(d, kappa));
    assert_eq!(base_case().stroke_m(3, 1e-3), three);
    let weaker = Wheel {
        force_n: 0.8 * base_case().force_n,
        ..base_case()
    };
    let deep = 10e-3;
    let ratio = (weaker.stroke_m(3, deep) - deep) / ((advance(deep, kappa) - deep) * 3.0 * 0.64);
    assert!((ratio - 1.0).abs() < 0.01, "{ratio}");
}

#[test]
fn chord_simplification_is_worst_on_the_first_pass_and_below_five_percent() {
    let d1 = base_case().pass_m(0.0);
    let error = contact_length_m(0.010, d1) / contact_length_exact_m(0.010, d1) - 1.0;
    assert!(error > 0.04 && error < 0.05, "{error}");
    let late = contact_length_m(0.010, 0.1e-3) / contact_length_exact_m(0.010, 0.1e-3) - 1.0;
    assert!(late < 0.003);
}

proptest! {
    #[test]
    fn one_pass_solves_its_equation_to_machine_precision(
        log_d in -8.0..-1.5f64, log_k in -12.0..-3.0f64, zero in any::<bool>(),
    ) {
        let d0 = if zero { 0.0 } else { 10f64.powf(log_d) };
        let kappa = 10f64.powf(log_k);
        let d = advance(d0, kappa);
        prop_assert!(d.is_finite() && d >= d0);
        let p = d - d0;
        // Where p is lost in the rounding of d0 + p the equation cannot be read back from d.
        if p > 1e-9 * d0 {
            let back = p.sqrt() * (d0 + 2.0 * p / 3.0);
            prop_assert!((back / kappa - 1.0).abs() < 1e-6, "{} {}", back, kappa);
        }
    }

    #[test]
    fn bins_conserve_work_whatever_the_order_of_strokes(
        ups in proptest::collection::vec(any::<bool>(), 1..60),
        force_down in 0.0..1.2f64, flat in 0.0..0.5e-3f64,
    ) {
        let wheel = Wheel { flat_width_m: flat, ..base_case() };
        let going_down = Wheel { force_n: wheel.force_n * force_down, ..wheel };
        let (mut depth, mut work) = (0.0, 0.0);
        for up in ups {
            let next = if up { wheel } else { going_down }.stroke_m(2, depth);
            prop_assert!(next >= depth);
            work += wheel.work_j_m(depth, next, 1.2e9);
            depth = next;
        }
        let whole = wheel.work_j_m(0.0, depth, 1.2e9);
        prop_assert!((work - whole).abs() <= 1e-10 * whole.max(1.0));
        if flat == 0.0 {
            prop_assert!((whole - 1.2e9 * wheel.half_angle_rad.tan() * depth * depth).abs() < 1e-6);
        }
    }
}
