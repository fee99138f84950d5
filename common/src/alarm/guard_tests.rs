//! Facts about the guard: warns early enough in a stall, stays quiet at reversals.

use super::super::guard_model::Pull;
use super::*;
use crate::job::Job;
use crate::job::{print_default_job, read_job};
use proptest::prelude::*;

fn job(depth_m: f64) -> Job {
    let text = print_default_job()
        .replace("\"2000 m\"", &format!("\"{} m\"", depth_m - 10.0))
        .replace("\"2019 m\"", &format!("\"{} m\"", depth_m + 10.0));
    // One coupling list and survey for every depth of these tests.
    let text: String = text
        .split("\n[[")
        .filter(|part| !part.starts_with("joint") && !part.starts_with("survey"))
        .collect::<Vec<_>>()
        .join("\n[[");
    let rest = print_default_job();
    let after = |section: &str| {
        let start = rest.find(&format!("\n[{section}]")).expect("section");
        let end = rest[start + 2..]
            .find("\n[")
            .map_or(rest.len(), |e| start + 2 + e);
        rest[start..end].to_owned()
    };
    let head = text.split("\n[[").next().expect("head").to_owned();
    let body: String = ["fluid", "line", "tool", "cutter", "tubular"]
        .map(after)
        .concat();
    read_job(&format!("{head}\n{body}"), "job.toml")
        .unwrap_or_else(|f| panic!("{f}"))
        .job
}

/// Runs a tension history at a rate; gives (first approaching, first overpull) in s.
fn run(
    guard: &mut OverpullGuard,
    rate_hz: f64,
    until_s: f64,
    depth: impl Fn(f64) -> f64,
    tension: impl Fn(f64) -> f64,
) -> (Option<f64>, Option<f64>) {
    let (mut near, mut over) = (None, None);
    let steps = (until_s * rate_hz) as i64;
    for n in 0..steps {
        let t = n as f64 / rate_hz;
        let at = (t * 1e9) as Nanos;
        guard.line(at, depth(t));
        let verdict = guard.load(at, tension(t));
        if verdict.approaching && near.is_none() {
            near = Some(t);
        }
        if verdict.overpull && over.is_none() {
            over = Some(t);
        }
    }
    (near, over)
}

/// Noise without a random source: the fractional part of a large multiple.
fn noise(t: f64) -> f64 {
    let x = (t * 7919.17).sin() * 43758.5453;
    (x - x.floor() - 0.5) * 2.0
}

// One-dimensional waves: in a stall the tension goes up in steps of 2 Z v, one each 2 L / c.
#[test]
fn a_stall_is_announced_a_second_before_the_limit() {
    let mut least = f64::INFINITY;
    for depth in [500.0, 1000.0, 2000.0, 3000.0, 4000.0] {
        for speed in [0.1, 0.2, 0.3, 0.5] {
            for rate in [10.0, 50.0, 1000.0] {
                let model = GuardModel::new(&job(depth));
                let (z, ea) = (model.impedance_n_s_m, model.ea_n);
                let echo = 2.0 * depth * z / ea;
                let start = model.pick_up_n(depth) + 600.0;
                let mut guard = OverpullGuard::new(model);
                let (near, over) = run(
                    &mut guard,
                    rate,
                    200.0,
                    |t| depth - speed * t,
                    |t| {
                        let held = (t - 5.0).max(0.0);
                        let steps = if t < 5.0 {
                            0.0
                        } else {
                            (held / echo).floor() + 0.5
                        };
                        start + 2.0 * z * speed * steps + 20.0 * noise(t)
                    },
                );
                let over = over.expect("a stall reaches the limit");
                let near = near.expect("and is announced");
                assert!(
                    near > 5.0,
                    "{depth} m {speed} m/s {rate} Hz: announced before the stall"
                );
                least = least.min(over - near);
                assert!(
                    over - near >= 1.0,
                    "{depth} m {speed} m/s {rate} Hz: {near} then {over}"
                );
            }
        }
    }
    assert!(least >= 1.0, "{least}");
}

// Friction turns over from the top: after a reversal dT/du = EA/z, z growing with the change of tension; then
// 800 N of drag at EA/L. In the very first stroke that rise is a stall for all that can be known, so
// there, where it goes to within 1.5 s of the limit (fast line on a short length), a warning is right.
#[test]
fn a_reversal_does_not_look_like_an_approach_once_a_stroke_has_been_seen() {
    for depth in [500.0, 2000.0, 4000.0] {
        for speed in [0.2, 0.5, 1.0] {
            let model = GuardModel::new(&job(depth));
            let ea = model.ea_n;
            let up = model.pick_up_n(depth);
            let down = up - 500.0;
            let friction = 500.0 / (2.0 * depth);
            let mut guard = OverpullGuard::new(model);
            let stroke = 15.0 / speed;
            for n in 0..3000 {
                let t = n as f64 * 0.02;
                let phase = t % (2.0 * stroke);
                let at = (t * 1e9) as Nanos;
                let (line, tension) = if phase < stroke {
                    (depth + speed * phase, down)
                } else {
                    let u = speed * (phase - stroke);
                    // dT = 2 f z, u = f z^2 / EA until the whole line has turned; then 800 N of drag.
                    let z = (u * ea / friction).sqrt();
                    let taken = friction * depth * depth / ea;
                    let drag = if u > taken {
                        ((u - taken) * ea / depth).min(800.0)
                    } else {
                        0.0
                    };
                    (
                        depth + speed * (2.0 * stroke - phase),
                        down + (2.0 * friction * z).min(500.0) + drag,
                    )
                };
                guard.line(at, line);
                let verdict = guard.load(at, tension + 20.0 * noise(t));
                let first = t < 2.0 * stroke && speed * ea / depth > 1000.0;
                assert!(
                    first || !verdict.approaching,
                    "{depth} m {speed} m/s at {t} s: {verdict:?}"
                );
                assert!(!verdict.overpull && !verdict.pull);
            }
        }
    }
}

#[test]
fn the_reading_at_the_limit_raises_overpull_itself() {
    let mut guard = OverpullGuard::new(GuardModel::new(&job(2000.0)));
    guard.line(0, 2000.0);
    let limit = guard.model().limit_n(Some(2000.0));
    for n in 0..1000 {
        let tension = limit - 10.0 + 0.02 * n as f64;
        let verdict = guard.load(n * 1_000_000, tension);
        assert_eq!(verdict.overpull, tension >= limit, "{verdict:?}");
    }
}

#[test]
fn a_single_impossible_reading_waits_for_the_next_one() {
    let mut guard = OverpullGuard::new(GuardModel::new(&job(2000.0)));
    guard.line(0, 2000.0);
    for n in 0..100 {
        let tension = if n == 50 { 12_500.0 } else { 1250.0 };
        assert!(
            !guard.load(n * 20_000_000, tension).overpull,
            "spike at {n}"
        );
    }
    assert!(!guard.load(2_000_000_000, 12_500.0).overpull);
    assert!(guard.load(2_020_000_000, 12_500.0).overpull);
}

#[test]
fn a_single_impossible_reading_is_no_approach() {
    for rate_hz in [10.0, 30.0, 200.0] {
        let mut guard = OverpullGuard::new(GuardModel::new(&job(2000.0)));
        let lone = (20.0 * rate_hz) as i64;
        let told = run(
            &mut guard,
            rate_hz,
            40.0,
            |t| 2000.0 - 0.4 * t,
            |t| {
                let is_lone = (t * rate_hz).round() as i64 == lone;
                if is_lone { 99_999.0 } else { 1250.0 }
            },
        );
        assert_eq!(told, (None, None), "{rate_hz} Hz");
    }
}

/// Readings at 20 Hz for `seconds`; every `period`th is `high`, the others 0, after two zeros at the start.
fn loose_contact(
    guard: &mut OverpullGuard,
    clock: &mut Nanos,
    (high, period): (f64, u32),
    seconds: u32,
) -> Vec<Verdict> {
    (0..20 * seconds)
        .map(|n| {
            *clock += 50_000_000;
            let is_high = n > 1 && n % period == period - 1;
            guard.load(*clock, if is_high { high } else { 0.0 })
        })
        .collect()
}

#[test]
fn a_loose_contact_does_not_hide_an_overpull() {
    for period in [2, 3, 5] {
        let mut guard = OverpullGuard::new(GuardModel::new(&job(2000.0)));
        guard.line(0, 2000.0);
        let limit = guard.model().limit_n(Some(2000.0));
        let mut clock = 0;
        let verdicts = loose_contact(&mut guard, &mut clock, (limit + 800.0, period), 10);
        let first = verdicts.iter().position(|verdict| verdict.overpull);
        let first = first.expect("the line is pulled to the limit");
        assert!(
            first <= 3 * period as usize + 1,
            "every {period}: at reading {first}"
        );
        // Once, not at each of them, and until a moment after the last.
        assert!(verdicts[first..].iter().all(|verdict| verdict.overpull));
        let after = loose_contact(&mut guard, &mut clock, (0.0, 1), 4);
        assert!(after[30].overpull && !after[50].overpull);
    }
}

#[test]
fn a_loose_contact_does_not_hide_a_pull_above_pick_up_weight() {
    let mut guard = OverpullGuard::new(GuardModel::new(&job(500.0)));
    guard.line(0, 500.0);
    let pulled = guard.model().pick_up_n(500.0) + 2100.0;
    assert!(pulled < guard.model().limit_n(Some(500.0)));
    let verdicts = loose_contact(&mut guard, &mut 0, (pulled, 2), 2);
    assert!(verdicts[10..].iter().all(|v| v.pull && !v.overpull));
}

#[test]
fn spikes_a_second_apart_stay_spikes() {
    let mut guard = OverpullGuard::new(GuardModel::new(&job(2000.0)));
    guard.line(0, 2000.0);
    for n in 0..600 {
        let tension = if n % 25 == 10 { 12_500.0 } else { 1250.0 };
        let verdict = guard.load(n * 50_000_000, tension);
        assert!(!verdict.overpull && !verdict.pull, "{n}");
    }
}

#[test]
fn the_limit_follows_the_weakest_link_with_depth() {
    let model = GuardModel::new(&job(4000.0));
    // Half of the 6000 N weak point, less what 5 bar push out: 5.910 mm2 (statics).
    let shallow = model.limit_n(Some(0.0));
    assert!((shallow - (3000.0 - 2.955)).abs() < 0.01, "{shallow}");
    assert!(model.limit_n(Some(2000.0)) > 3700.0);
    assert!(model.limit_n(Some(4000.0)) <= 4690.0);
    assert_eq!(model.limit_n(None), model.limit_n(Some(0.0)));
}

#[test]
fn pull_above_pick_up_weight_is_told_apart_from_the_limit() {
    let mut guard = OverpullGuard::new(GuardModel::new(&job(500.0)));
    guard.line(0, 500.0);
    let pick_up = guard.model().pick_up_n(500.0);
    let verdict = guard.load(0, pick_up + 1900.0);
    assert!(!verdict.pull && !verdict.overpull, "{verdict:?}");
    let verdict = guard.load(20_000_000, pick_up + 2010.0);
    assert!(verdict.pull && !verdict.overpull, "{verdict:?}");
    // A cell that reads 300 N at no load reads 300 N more here.
    let pull = Pull {
        line_friction: 0.2,
        tool_friction: 0.2,
        weight: 1.0,
        offset_n: 300.0,
        packing_n: job(500.0).line.stuffing_box_friction.si(),
    };
    let learned = Arc::new(PickUpTable::learned(&job(500.0), &pull));
    guard.use_pick_up(&learned);
    assert!((guard.model().pick_up_n(500.0) - pick_up - 300.0).abs() < 1e-9);
    assert!(!guard.load(40_000_000, pick_up + 2010.0).pull);
}

/// Strokes of 5 m at 20 Hz, 0.2 m/s, from 500 m up and down again; whether each up one was told as a pull.
fn strokes(guard: &mut OverpullGuard, number: u32, above_n: f64, clock: &mut Nanos) -> Vec<bool> {
    (0..number)
        .map(|_| {
            let mut told = false;
            for n in 0..1000 {
                let (up, metres) = (n < 500, 0.01 * f64::from(n % 500));
                let line = if up { 500.0 - metres } else { 495.0 + metres };
                *clock += 50_000_000;
                guard.line(*clock, line);
                let pick_up = guard.model().pick_up_n(line);
                let pull = if up { above_n } else { -300.0 };
                told |= guard.load(*clock, pick_up + pull).pull && up;
            }
            told
        })
        .collect()
}

#[test]
fn what_every_stroke_takes_is_told_three_times_and_more_than_that_again() {
    let mut guard = OverpullGuard::new(GuardModel::new(&job(500.0)));
    let mut clock = 0;
    let told = strokes(&mut guard, 6, 2200.0, &mut clock);
    assert_eq!(told, [true, true, true, false, false, false]);
    assert_eq!(strokes(&mut guard, 1, 3300.0, &mut clock), [true]);
    // Elsewhere in the hole it is what the job says.
    clock += 50_000_000;
    guard.line(clock, 100.0);
    let pick_up = guard.model().pick_up_n(100.0);
    guard.load(clock, pick_up + 2050.0);
    assert!(guard.load(clock + 50_000_000, pick_up + 2050.0).pull);
}

#[test]
fn pulls_within_what_the_job_allows_change_nothing() {
    let mut guard = OverpullGuard::new(GuardModel::new(&job(500.0)));
    let mut clock = 0;
    assert!(!strokes(&mut guard, 4, 900.0, &mut clock).contains(&true));
    assert_eq!(strokes(&mut guard, 1, 2010.0, &mut clock), [true]);
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn any_readings_are_judged_without_panic(
        readings in proptest::collection::vec((any::<bool>(), any::<i64>(), any::<f64>()), 0..200)
    ) {
        let mut guard = OverpullGuard::new(GuardModel::new(&job(1000.0)));
        for (is_load, at, value) in readings {
            if is_load {
                guard.load(at, value);
            } else {
                guard.line(at, value);
            }
        }
    }
}

#[test]
fn where_the_depth_is_no_longer_known_the_least_limit_holds() {
    let mut guard = OverpullGuard::new(GuardModel::new(&job(2010.0)));
    let (least, here) = (
        guard.model().limit_n(None),
        guard.model().limit_n(Some(2010.0)),
    );
    assert!(least + 20.0 < here, "{least} N, {here} N");
    guard.line(0, 2010.0);
    let limit_n =
        |guard: &mut OverpullGuard, at_s: i64| guard.load(at_s * NANOS_PER_SECOND, 1000.0).limit_n;
    assert_eq!(limit_n(&mut guard, 1), here);
    assert_eq!(limit_n(&mut guard, 29), here);
    assert_eq!(limit_n(&mut guard, 31), least);
    guard.line(32 * NANOS_PER_SECOND, 2010.0);
    assert_eq!(limit_n(&mut guard, 33), here);
}
