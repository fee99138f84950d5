//! Check values: passes and J/m by pipe, computed outside this project's code from the stated formula
//! (base case N 4000 N, R 10 mm, half angle 15 deg, 1.2 GPa).

use super::*;

fn plan(wall_mm: f64, force_n: f64, pressure_pa: f64) -> CutterPlan {
    CutterPlan {
        wheels: 1,
        wheel: Wheel {
            force_n,
            radius_m: 0.010,
            half_angle_rad: 15_f64.to_radians(),
            pressure_pa,
            flat_width_m: 0.0,
            reach_m: 0.020,
        },
        unknowns: Unknowns {
            pressure_pa,
            pressure_log_sd: 0.1,
            force_sd: 0.1,
            wall_tolerance: 0.125,
        },
        wall_m: wall_mm * 1e-3,
    }
}

#[test]
fn passes_and_work_equal_the_reference_table() {
    let sequence = UniversalSequence::new();
    for (wall_mm, passes, work, hard_2kn, hard_6kn) in [
        (4.83, 21.0, 7501.0, 149.0, 18.0),
        (5.51, 30.0, 9762.0, 221.0, 26.0),
        (6.45, 47.0, 13_377.0, 354.0, 40.0),
        (6.88, 57.0, 15_220.0, 429.0, 49.0),
        (7.72, 81.0, 19_163.0, 605.0, 68.0),
        (9.17, 134.0, 27_038.0, 1014.0, 114.0),
        (8.05, 91.0, 20_837.0, 686.0, 77.0),
    ] {
        let base = plan(wall_mm, 4000.0, 1.2e9);
        assert_eq!(
            base.passes_nominal(&sequence).ceil(),
            passes,
            "{wall_mm} mm"
        );
        assert!((base.work_through_j_m() - work).abs() < 1.0, "{wall_mm} mm");
        let n = plan(wall_mm, 2000.0, 1.656e9).passes_nominal(&sequence);
        assert_eq!(n.ceil(), hard_2kn, "{wall_mm} mm, 2 kN");
        let n = plan(wall_mm, 6000.0, 1.656e9).passes_nominal(&sequence);
        assert_eq!(n.ceil(), hard_6kn, "{wall_mm} mm, 6 kN");
    }
}

#[test]
fn first_stroke_drag_is_the_reference_first_pass() {
    // "d1 = 1.63273 mm, axial 857.16 N on that pass"
    let drag = plan(4.83, 4000.0, 1.2e9).stroke_drag_n(0.0);
    assert!((drag - 857.16).abs() < 0.01, "{drag}");
}

#[test]
fn forecast_is_repeatable_and_ordered() {
    let sequence = UniversalSequence::new();
    let plan = plan(5.51, 4000.0, 1.2e9);
    let lengths = [9.2; 3];
    let (joints, all) = plan.strokes(&lengths, 2000, 7, &sequence);
    assert_eq!(
        (joints.clone(), all),
        plan.strokes(&lengths, 2000, 7, &sequence)
    );
    for q in joints.iter().map(|j| &j.split).chain([&all]) {
        assert!(q.p05 < q.p50 && q.p50 < q.p90 && q.p90 <= q.p95, "{q:?}");
    }
    assert!(joints[0].opens.p50 < joints[0].split.p50);
    assert!(all.p50 > joints[0].split.p50, "the slowest joint decides");
    // Nominal 30 passes. The first place opens early (thin, yields at 85 %) although the bite going
    // down and the loss of force cost strokes; the last place takes the longest.
    let (opens, split) = (joints[0].opens.p50.unwrap(), joints[0].split.p50.unwrap());
    assert!((18.0..=40.0).contains(&opens), "{opens}");
    assert!((30.0..=70.0).contains(&split), "{split}");
}

#[test]
fn a_wheel_that_does_not_reach_never_comes_through() {
    let sequence = UniversalSequence::new();
    let mut plan = plan(5.51, 4000.0, 1.2e9);
    plan.wheel.reach_m = 0.003;
    let (joints, all) = plan.strokes(&[9.2], 500, 7, &sequence);
    assert_eq!(joints[0].split.p05, None);
    assert_eq!(all.p50, None);
}

#[test]
fn drag_of_a_middle_draw_is_the_nominal_drag_and_falls_going_down() {
    let plan = plan(5.51, 4000.0, 1.2e9);
    let drag = plan.drag(&Draw::middle(&plan.unknowns), 0.0);
    assert!((drag.up - plan.stroke_drag_n(0.0)).abs() < 1e-9);
    assert!(drag.down < drag.up && drag.rolling_down < drag.rolling_up);
}
