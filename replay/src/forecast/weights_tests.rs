//! Check values: a worked torque-and-drag well, computed outside this project's code (scipy DOP853 at 1e-12,
//! cross-checked with closed forms): 0.108 in wire in water,
//! friction 0.25, vertical to 1000 m, 3 deg/30 m to 60 deg at 1600 m, hold to 3000 m, tool 1000 N.

use super::*;
use kerfwatch::job::{SurveyStation, read_job};
use kerfwatch::units::{
    CubicMetres, Kilograms, KilogramsPerCubicMetre, Metres, Newtons, Pascals, Radians,
};

fn reference_job() -> Job {
    let text = kerfwatch::job::print_default_job();
    let mut job = read_job(text, "default").unwrap().job;
    let station = |md, inc: f64| SurveyStation {
        md: Metres(md),
        inc: Radians(inc.to_radians()),
        azi: Radians(0.0),
    };
    job.survey = vec![
        station(0.0, 0.0),
        station(1000.0, 0.0),
        station(1600.0, 60.0),
        station(3000.0, 60.0),
    ];
    job.fluid.density = KilogramsPerCubicMetre(1000.0);
    job.fluid.wellhead_pressure = Pascals(0.0);
    job.fluid.temperature_gradient = None;
    job.line.diameter = Metres(2.7432e-3);
    job.line.modulus = Pascals(200e9);
    job.line.density = KilogramsPerCubicMetre(7850.0);
    job.line.friction_up = 0.25;
    job.line.friction_down = 0.25;
    job.line.stuffing_box_friction = Newtons(0.0);
    job.line.breaking_load = Newtons(9381.0);
    job.tool.mass = Kilograms(1000.0 / 9.806_65);
    job.tool.displaced_volume = CubicMetres(0.0);
    job.tool.cutter_offset = Metres(0.0);
    job.tool.weak_point = Newtons(1e6);
    job.alarm.tension_limit = None;
    job.alarm.tension_fraction = 0.5;
    job
}

fn sliding(job: &Job) -> Hang {
    let mut hang = Hang::new(job).unwrap();
    hang.tool_friction = job.line.friction_up;
    hang
}

fn near(found: f64, want: f64, within: f64) {
    assert!((found - want).abs() <= within, "found {found}, want {want}");
}

#[test]
fn weights_equal_the_worked_well() {
    // In the worked well the tool slides with the friction of the line.
    let hang = sliding(&reference_job());
    let weights = hang.at(3000.0, 0.0, 0.0);
    near(weights.up_n, 2033.7366, 0.02);
    near(weights.static_n, 1371.9411, 0.02);
    near(weights.down_n, 936.1382, 0.02);
    // "a change of tool drag reaches surface multiplied by exp(mu theta): 1.2993"
    near(weights.gain_up, 1.2993, 2e-4);
    near(weights.drive_down_n, 283.4936, 0.01);
}

#[test]
fn limit_is_the_weaker_of_line_and_weak_point() {
    let mut job = reference_job();
    let hang = sliding(&job);
    let at = hang.at(3000.0, 0.0, 0.0);
    assert_eq!(at.limited_by, "line");
    near(at.limit_n, 0.5 * 9381.0, 1e-6);
    near(at.overpull_margin_n, 0.5 * 9381.0 - 2033.7366, 0.02);
    // Carried back up, the pull at the tool gives the limit again.
    near(
        hang.weight_n(3000.0, Motion::Up, at.pull_at_tool_n),
        at.limit_n,
        0.1,
    );
    job.tool.weak_point = Newtons(2000.0);
    let at = sliding(&job).at(3000.0, 0.0, 0.0);
    assert_eq!(at.limited_by, "weak point");
    // Half of 2000 N and the weight of line over 2196.196 m of vertical depth: no friction is counted on.
    near(at.limit_n, 1000.0 + 0.397_023_371 * 2196.196, 0.01);
    job.alarm.tension_limit = Some(Newtons(1500.0));
    let at = Hang::new(&job).unwrap().at(3000.0, 0.0, 0.0);
    assert_eq!((at.limited_by, at.limit_n), ("given", 1500.0));
}

#[test]
fn another_line_is_held_to_the_same_share_of_its_strength_as_that_of_the_job() {
    let mut job = reference_job();
    job.alarm.tension_limit = Some(Newtons(4000.0));
    let limit = |factor: f64| {
        let hang = Hang::with_line(&job, factor * job.line.diameter.si()).unwrap();
        hang.at(3000.0, 0.0, 0.0).limit_n
    };
    near(limit(1.0), 4000.0, 1e-9);
    near(limit(1.5), 1.5 * 1.5 * 4000.0, 1e-6);
}

#[test]
fn stretch_of_a_vertical_line_equals_the_closed_form() {
    let mut job = reference_job();
    job.survey.truncate(1);
    job.tool.mass = Kilograms(2000.0 / 9.806_65);
    let at = Hang::new(&job).unwrap().at(2000.0, 0.0, 0.0);
    // "L 2000 m, W 2000 N: 4.05572 m; with the pressure correction 4.01453 m"
    near(at.stretch_m, 4.01453, 2e-4);
    near(at.stiffness_n_m, 591.02, 0.01);
}

#[test]
fn dead_band_of_a_straight_hole_is_friction_over_stiffness() {
    // "f = 0.1 N/m, z 2000: u 0.33840 m": distributed friction turning over along the whole line.
    let mut job = reference_job();
    job.survey = vec![SurveyStation {
        md: Metres(0.0),
        inc: Radians(30_f64.to_radians()),
        azi: Radians(0.0),
    }];
    let w = 0.397_023_371;
    job.line.friction_up = 0.1 / (w * 0.5);
    job.line.friction_down = job.line.friction_up;
    job.tool.mass = Kilograms(1e-9);
    let hang = sliding(&job);
    near(hang.at(2000.0, 0.0, 0.0).dead_band_m, 0.33840, 1e-3);
}

#[test]
fn bands_hold_what_a_change_of_friction_and_weight_does() {
    let mut job = reference_job();
    let at = Hang::new(&job).unwrap().at(3000.0, 0.0, 0.0);
    assert!(at.up_low_n < at.up_n && at.up_n < at.up_high_n);
    // Friction moved by one standard deviation stays inside 1.645 of them.
    job.line.friction_up *= 1.18;
    let moved = Hang::new(&job).unwrap().at(3000.0, 0.0, 0.0);
    assert!(
        (at.up_n + 50.0..at.up_high_n).contains(&moved.up_n),
        "{moved:?}"
    );
    // Without line friction only weight and reading are left.
    assert!(at.static_high_n - at.static_n < 0.5 * (at.up_high_n - at.up_n));
}
