//! Check values of the soft string. The worked well was integrated outside this project's code
//! (scipy DOP853, rtol 1e-12) and cross-checked with closed forms.

use super::*;
use proptest::prelude::*;

const W: f64 = 0.397_023_371; // 0.108 in wire in 1000 kg/m3, N/m
const MU: FrictionPair = FrictionPair {
    up: 0.25,
    down: 0.25,
};

fn worked_well() -> WellPath {
    let inc = 60f64.to_radians();
    WellPath::new([(0.0, 0.0, 0.0), (1000.0, 0.0, 0.0), (1600.0, inc, 0.0)]).unwrap()
}

fn sliding_tool_n(weight_n: f64, motion: Motion) -> f64 {
    let inc = 60f64.to_radians();
    weight_n * (inc.cos() + MU.signed(motion) * inc.sin())
}

#[test]
fn worked_well_meets_the_independent_integration_to_a_millinewton() {
    let path = worked_well();
    let rows = [
        (Motion::Up, 716.5064, [1114.7640, 1636.7132, 2033.7366]),
        (Motion::Rest, 500.0, [777.9164, 974.9178, 1371.9411]),
        (Motion::Down, 283.4936, [441.0687, 539.1148, 936.1382]),
    ];
    for (motion, tool, wanted) in rows {
        assert!((sliding_tool_n(1000.0, motion) - tool).abs() < 1e-4);
        for (md, wanted) in [1600.0, 1000.0, 0.0].into_iter().zip(wanted) {
            let start = sliding_tool_n(1000.0, motion);
            let found = carry_tension_n(&path, W, MU, motion, 3000.0, start, md);
            assert!(
                (found - wanted).abs() < 1e-3,
                "{motion:?} {md}: {found} not {wanted}"
            );
        }
    }
}

#[test]
fn lighter_tool_in_the_worked_well() {
    let path = worked_well();
    for (motion, wanted) in [(Motion::Up, 1382.0840), (Motion::Down, 783.4015)] {
        let start = sliding_tool_n(300.0, motion);
        let found = carry_tension_n(&path, W, MU, motion, 3000.0, start, 0.0);
        assert!((found - wanted).abs() < 1e-3, "{motion:?}: {found}");
    }
}

#[test]
fn downward_integration_undoes_upward_integration() {
    let path = worked_well();
    for motion in [Motion::Up, Motion::Rest, Motion::Down] {
        let top = carry_tension_n(&path, W, MU, motion, 3000.0, 700.0, 0.0);
        let back = carry_tension_n(&path, W, MU, motion, 0.0, top, 3000.0);
        assert!((back - 700.0).abs() < 1e-5, "{motion:?}: {back}");
    }
}

#[test]
fn without_friction_surface_tension_is_weight_times_true_vertical_depth() {
    let path = worked_well();
    let found = carry_tension_n(&path, W, MU, Motion::Rest, 3000.0, 500.0, 0.0);
    assert!((found - (W * 2196.196 + 500.0)).abs() < 1e-3);
}

#[test]
fn build_closed_form_agrees_with_the_integration() {
    let path = worked_well();
    let radius = 600.0 / 60f64.to_radians();
    assert!((radius - 572.958).abs() < 1e-3);
    for motion in [Motion::Up, Motion::Rest, Motion::Down] {
        let bottom = straight_top_n(
            sliding_tool_n(1000.0, motion),
            W,
            1400.0,
            60f64.to_radians(),
            MU.signed(motion),
        );
        let closed = build_top_n(
            bottom,
            W,
            radius,
            0.0,
            60f64.to_radians(),
            MU.signed(motion),
        );
        let found = carry_tension_n(&path, W, MU, motion, 1600.0, bottom, 1000.0);
        assert!(
            (closed - found).abs() < 1e-6,
            "{motion:?}: {closed} {found}"
        );
    }
}

// Step form of Johancsik et al.; figures computed independently; agreement with the integration
// within 0.5 % at 30 m and 0.01 % at 1 m.
#[test]
fn step_form_of_the_1984_paper_converges_to_the_integration() {
    let path = worked_well();
    let rows = [
        (30.0, 2025.629, 938.434),
        (10.0, 2032.460, 936.331),
        (5.0, 2033.096, 936.234),
        (1.0, 2033.608, 936.157),
    ];
    for (h, up, down) in rows {
        for (motion, wanted) in [(Motion::Up, up), (Motion::Down, down)] {
            let start = sliding_tool_n(1000.0, motion);
            let step = step_form_upward_n(&path, W, MU.signed(motion), 3000.0, start, 0.0, h);
            let exact = carry_tension_n(&path, W, MU, motion, 3000.0, start, 0.0);
            let tolerance = if h > 20.0 {
                5e-3
            } else if h > 2.0 {
                1e-3
            } else {
                1e-4
            };
            assert!(
                (step / exact - 1.0).abs() < tolerance,
                "h {h} {motion:?}: {step} {exact}"
            );
            assert!(
                (step / wanted - 1.0).abs() < tolerance,
                "h {h} {motion:?}: {step} {wanted}"
            );
        }
    }
}

#[test]
fn tension_gained_per_kilometre_of_straight_meets_the_table() {
    let rows = [
        (0.0, 397.023, 397.023),
        (30.0, 393.460, 294.204),
        (45.0, 350.922, 210.553),
        (60.0, 284.470, 112.554),
        (75.0, 198.631, 6.883),
        (80.0, 166.690, -28.806),
    ];
    for (inc, up, down) in rows {
        let path = WellPath::new([(0.0, f64::to_radians(inc), 0.0)]).unwrap();
        for (motion, wanted) in [(Motion::Up, up), (Motion::Down, down)] {
            let closed = straight_top_n(0.0, W, 1000.0, f64::to_radians(inc), MU.signed(motion));
            assert!((closed - wanted).abs() < 6e-4);
            let found = carry_tension_n(&path, W, MU, motion, 1000.0, 0.0, 0.0);
            assert!((found - closed).abs() < 1e-9);
        }
    }
}

#[test]
fn critical_inclination_of_running_in_meets_the_table() {
    for (mu, degrees) in [
        (0.10, 84.29),
        (0.20, 78.69),
        (0.25, 75.96),
        (0.30, 73.30),
        (0.40, 68.20),
    ] {
        assert!((critical_inclination_rad(mu).to_degrees() - degrees).abs() < 5e-3);
    }
}

#[test]
fn capstan_ratios_and_their_weightless_integration() {
    for (degrees, wanted) in [
        (30.0, 1.13985),
        (60.0, 1.29927),
        (90.0, 1.48097),
        (180.0, 2.19328),
    ] {
        let turn = f64::to_radians(degrees);
        assert!((capstan_ratio(0.25, turn) - wanted).abs() < 5e-6);
        if degrees < 180.0 {
            let path = WellPath::new([(0.0, 0.0, 0.0), (600.0, turn, 0.0)]).unwrap();
            let top = carry_tension_n(&path, 0.0, MU, Motion::Up, 600.0, 1000.0, 0.0);
            assert!((top / 1000.0 - wanted).abs() < 6e-6);
        }
    }
}

#[test]
fn change_of_tool_drag_reaches_surface_multiplied_by_the_capstan_ratio() {
    let path = worked_well();
    let top = |motion, tool| carry_tension_n(&path, W, MU, motion, 3000.0, tool, 0.0);
    let up = (top(Motion::Up, 716.5064) - top(Motion::Up, 214.9519)) / (716.5064 - 214.9519);
    assert!((up - 1.2993).abs() < 1e-4, "{up}");
    let down = (top(Motion::Down, 283.4936) - top(Motion::Down, 200.0)) / 83.4936;
    assert!((down - 0.7697).abs() < 1e-4, "{down}");
}

#[test]
fn side_force_in_the_worked_build_stays_in_the_stated_range() {
    let path = worked_well();
    for (motion, low, high) in [(Motion::Up, 1.602, 2.857), (Motion::Down, 0.426, 0.941)] {
        let (mut least, mut most) = (f64::INFINITY, 0.0f64);
        for i in 0..=600 {
            let md = 1000.0 + f64::from(i) * (1.0 - 1e-9);
            let start = sliding_tool_n(1000.0, motion);
            let t = carry_tension_n(&path, W, MU, motion, 3000.0, start, md);
            let n = side_force_n_m(t, W, &path.geometry(md));
            least = least.min(n);
            most = most.max(n);
        }
        assert!((least - low).abs() < 1e-3, "{motion:?} {least}");
        assert!((most - high).abs() < 1e-3, "{motion:?} {most}");
    }
}

proptest! {
    #[test]
    fn pick_up_is_not_less_than_static_and_static_not_less_than_slack_off(
        kick in 100.0..2000.0f64, build in 50.0..1500.0f64,
        inc in 0.0..1.4f64, azi in -3.0..3.0f64, turn in -1.0..1.0f64,
        up in 0.0..0.5f64, down in 0.0..0.5f64, tool in 200.0..5000.0f64,
    ) {
        let path = WellPath::new([
            (0.0, 0.0, 0.0), (kick, 0.0, 0.0), (kick + build, inc, azi),
            (kick + build + 500.0, inc, azi + turn),
        ]).unwrap();
        let friction = FrictionPair { up, down };
        let md = kick + build + 900.0;
        let at = |motion| carry_tension_n(&path, W, friction, motion, md, tool, 0.0);
        prop_assert!(at(Motion::Up) >= at(Motion::Rest) - 1e-9);
        prop_assert!(at(Motion::Rest) >= at(Motion::Down) - 1e-9);
    }
}

/// The step form of the 1984 paper, from `from_m` up to `to_m` in equal steps of about `step_m`:
/// `N = sqrt((T dA sin I)^2 + (T dI + W sin I)^2)` with T at the lower end, mean inclination,
/// `dI = I_top - I_bottom`. First order: an independent form to test the integration with.
fn step_form_upward_n(
    path: &WellPath,
    weight_n_m: f64,
    signed_friction: f64,
    from_m: f64,
    tension_n: f64,
    to_m: f64,
    step_m: f64,
) -> f64 {
    let steps = ((from_m - to_m) / step_m).round().max(1.0);
    let h = (from_m - to_m) / steps;
    let mut tension = tension_n;
    for i in 0..steps as u64 {
        let bottom = from_m - h * i as f64;
        let (low, high) = (
            path.inclination_rad(bottom),
            path.inclination_rad(bottom - h),
        );
        let mut turn = path.azimuth_rad(bottom - h) - path.azimuth_rad(bottom);
        if low.sin() < 1e-9 || high.sin() < 1e-9 {
            turn = 0.0; // azimuth of a vertical well has no meaning
        } else {
            turn -= (turn / std::f64::consts::TAU).round() * std::f64::consts::TAU;
        }
        let mean = 0.5 * (low + high);
        let weight = weight_n_m * h;
        let side =
            (tension * turn * mean.sin()).hypot(tension * (high - low) + weight * mean.sin());
        tension += weight * mean.cos() + signed_friction * side;
    }
    tension
}

/// Tension at the top of a straight of `length_m` at inclination `inc_rad`, N:
/// `T + w L (cos I + m sin I)` with friction `m` signed as in [`FrictionPair::signed`].
fn straight_top_n(
    bottom_n: f64,
    weight_n_m: f64,
    length_m: f64,
    inc_rad: f64,
    signed_friction: f64,
) -> f64 {
    bottom_n + weight_n_m * length_m * (inc_rad.cos() + signed_friction * inc_rad.sin())
}

/// Factor by which a weightless line gains tension over a total turn `turn_rad`: `exp(m turn)`.
/// A change of drag at the tool reaches surface multiplied by this, as long as contact does not
/// change side.
fn capstan_ratio(signed_friction: f64, turn_rad: f64) -> f64 {
    (signed_friction * turn_rad).exp()
}

/// Tension at the top (inclination `inc_top_rad`) of a build in one plane, N, from tension at its
/// bottom (`inc_bottom_rad` > `inc_top_rad`), radius of curvature `radius_m`, contact on the high
/// side all along (`T > w R sin I`): `T(I) = C e^(-m I) + a sin I + c cos I`,
/// `a = -R w (1 - m^2)/(1 + m^2)`, `c = -2 m R w/(1 + m^2)`. Derived from the equation above.
fn build_top_n(
    bottom_n: f64,
    weight_n_m: f64,
    radius_m: f64,
    inc_top_rad: f64,
    inc_bottom_rad: f64,
    signed_friction: f64,
) -> f64 {
    let m = signed_friction;
    let a = -radius_m * weight_n_m * (1.0 - m * m) / (1.0 + m * m);
    let c = -2.0 * m * radius_m * weight_n_m / (1.0 + m * m);
    let particular = |i: f64| a * i.sin() + c * i.cos();
    (bottom_n - particular(inc_bottom_rad)) * (m * (inc_bottom_rad - inc_top_rad)).exp()
        + particular(inc_top_rad)
}
