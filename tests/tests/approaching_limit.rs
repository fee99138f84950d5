//! `approaching` against the bench well: a tool held on its way up, at normal line speed, by an operator who
//! does not stop. The bench well moves the line as a chain of masses, so its stalls come in the steps of the
//! waves; it shares no physics with the guard.

use kerfwatch::alarm::{GuardModel, OverpullGuard};
use kerfwatch::job::read_job;
use kerfwatch::time::nanos;
use kerfwatch_replay::simulate::{bench, files, scenario::Scenario};

struct Held {
    /// Warned, s.
    near_s: f64,
    /// Limit reached, s.
    over_s: f64,
    /// Warnings before the tool was held.
    early: u32,
}

/// A well of this depth, worked at this speed; the tool is held in its third stroke, the second one up.
fn stall(depth_m: f64, speed_m_s: f64, seed: u64) -> Held {
    let text = format!(
        r#"
        name = "held"
        [well]
        name = "Fathomby 1 (invented)"
        interval_top = "{} m"
        interval_bottom = "{depth_m} m"
        survey = [{{ md = "0 m", inc = "0 deg", azi = "0 deg" }},
                  {{ md = "{} m", inc = "12 deg", azi = "0 deg" }}]
        [pipe]
        coupling_at = "{} m"
        [work]
        start = "interval"
        weight_checks = 0
        free_passes = 1
        strokes = 3
        up_speed = "{speed_m_s} m/s"
        down_speed = "{speed_m_s} m/s"
        stop_chance = 0
        rest_chance = 0
        quiet_start = "5 s"
        quiet_end = "0 s"
        stall_trip = "50000 N"
        [[hold]]
        stroke = 3
        up = true
        below_top = "19 m"
        force = "60000 N"
        release = "work"
        "#,
        depth_m - 20.0,
        depth_m + 100.0,
        depth_m - 8.0,
    );
    let scenario = Scenario::parse(&text).unwrap_or_else(|problem| panic!("{problem}"));
    let outcome = bench::run(&scenario, seed);
    let job = read_job(&files::job(&scenario, &outcome), "job.toml")
        .unwrap_or_else(|findings| panic!("{findings}"))
        .job;
    let mut guard = OverpullGuard::new(GuardModel::new(&job));
    let (mut over, mut near, mut was, mut early) = (None, None, false, 0);
    for row in &outcome.rows {
        let at = nanos(row.time).expect("a time");
        if let Some(line_m) = row.depth {
            guard.line(at, line_m);
        }
        let Some(tension_n) = row.load else { continue };
        let verdict = guard.load(at, tension_n);
        if verdict.approaching && !was {
            // The last warning before the limit is the one for the stall.
            early += u32::from(near.is_some());
            near = Some(row.time);
        }
        was = verdict.approaching;
        if verdict.overpull {
            over = Some(row.time);
            break;
        }
    }
    Held {
        near_s: near.unwrap_or(f64::INFINITY),
        over_s: over.unwrap_or_else(|| panic!("{depth_m} m: a held tool reaches the limit")),
        early,
    }
}

#[test]
fn a_stall_of_the_bench_well_is_announced_a_second_before_the_limit_at_every_depth() {
    for (depth_m, speed_m_s) in [
        (500.0, 0.2),
        (1000.0, 0.3),
        (2000.0, 0.2),
        (2000.0, 0.4),
        (3000.0, 0.3),
        (4000.0, 0.3),
    ] {
        let held = stall(depth_m, speed_m_s, 1);
        let warning_s = held.over_s - held.near_s;
        println!(
            "{depth_m} m at {speed_m_s} m/s: {warning_s:.2} s, {} early",
            held.early
        );
        assert!(
            warning_s >= 1.0,
            "{depth_m} m at {speed_m_s} m/s: {warning_s:.2} s"
        );
        assert_eq!(
            held.early, 0,
            "{depth_m} m at {speed_m_s} m/s: false warnings"
        );
    }
}
