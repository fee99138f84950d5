//! Facts about single inputs that go through more than one stage.

use super::*;
use crate::input::{Mark, MarkKind};
use crate::job::{print_default_job, read_job};
use crate::time::NANOS_PER_SECOND;

const STEP: Nanos = NANOS_PER_SECOND / 50;

/// The sample job with a depth instrument that writes lines of text.
fn job() -> Job {
    let text = print_default_job();
    let (head, rest) = text.split_once("[depth]").expect("depth");
    let (_, tail) = rest.split_once("[alarm]").expect("alarm");
    let depth = "port = \"serial:/dev/ttyUSB1\"\nprotocol = \"pattern\"\n\
                 pattern = 'D (?P<depth>[-+0-9.]+)'\nunit = \"m\"\nmin = \"-10 m\"\nmax = \"4000 m\"\n";
    let text = format!("{head}[depth]\n{depth}[alarm]{tail}");
    read_job(&text, "job.toml")
        .unwrap_or_else(|f| panic!("{f}"))
        .job
}

fn push(pipeline: &mut Pipeline, port: u8, at: Nanos, line: String) {
    let bytes = format!("{line}\n").into_bytes();
    pipeline.push(&Input::Received { port, at, bytes }, &mut Vec::new());
}

fn depth(pipeline: &mut Pipeline, at: Nanos, metres: f64) {
    push(pipeline, 1, at, format!("D {metres}"));
}

fn load(pipeline: &mut Pipeline, at: Nanos) {
    push(pipeline, 0, at, "L 300".to_owned());
}

/// The counter reads `metres` for so many seconds, with load beside it; gives the time.
fn stay(pipeline: &mut Pipeline, at: &mut Nanos, metres: f64, seconds: i64) -> Nanos {
    for _ in 0..seconds * 50 {
        *at += STEP;
        depth(pipeline, *at, metres);
        load(pipeline, *at);
    }
    pipeline.push(&Input::Tick { at: *at }, &mut Vec::new());
    *at
}

#[test]
fn a_depth_out_of_range_does_not_raise_the_limit() {
    let mut pipeline = Pipeline::new(&job());
    let limit_n = |p: &Pipeline| p.watch.verdict().expect("load seen").limit_n;
    let mut at = 0;
    let mut send = |p: &mut Pipeline, metres, seconds| stay(p, &mut at, metres, seconds);
    send(&mut pipeline, 100.0, 2);
    let here = limit_n(&pipeline);
    assert_eq!(here, pipeline.watch.limit_n(Some(100.0)));
    send(&mut pipeline, 99_999.0, 5);
    assert_eq!(limit_n(&pipeline), here);
    send(&mut pipeline, 99_999.0, 60);
    assert_eq!(limit_n(&pipeline), pipeline.watch.limit_n(None));
}

#[test]
fn a_leap_of_the_counter_is_told_and_does_not_raise_the_limit_until_it_is_set() {
    let mut pipeline = Pipeline::new(&job());
    let limit_n = |p: &Pipeline| p.watch.verdict().expect("load seen").limit_n;
    let mut at = 0;
    let mut send = |p: &mut Pipeline, metres, seconds| stay(p, &mut at, metres, seconds);
    send(&mut pipeline, 100.0, 2);
    let here = limit_n(&pipeline);
    // Within what the job believes, and where more could be pulled.
    send(&mut pipeline, 2012.0, 5);
    assert_eq!(limit_n(&pipeline), here);
    let told = pipeline.watch.engine.views();
    let leapt = "The depth counter leapt by 1912.0 m: ";
    assert!(told[0].message.starts_with(leapt), "{told:?}");
    let at = send(&mut pipeline, 2012.0, 60);
    assert_eq!(limit_n(&pipeline), pipeline.watch.limit_n(None));
    let mark = Mark {
        kind: MarkKind::Zero(2012.0),
        author: String::new(),
    };
    pipeline.push(&Input::Mark { at, mark }, &mut Vec::new());
    send(&mut pipeline, 2012.0, 5);
    assert_eq!(limit_n(&pipeline), pipeline.watch.limit_n(Some(2012.0)));
    let health = pipeline.instruments.health(ChannelId::Depth);
    assert_eq!(health.fault.word(), "");
    let quality = pipeline.result("r").quality;
    assert_eq!(quality.counter_leaps, 1);
    let [leap] = quality.leaps[..] else {
        panic!("{quality:?}")
    };
    assert!(
        (leap.by_m - 1912.0).abs() < 0.01 && (2.0..3.0).contains(&leap.at_s),
        "{leap:?}"
    );
}

#[test]
fn a_counter_set_while_a_reading_is_held_back_stays_set() {
    let mut pipeline = Pipeline::new(&job());
    let mut at = 0;
    let mut send = |p: &mut Pipeline, metres, times| {
        for _ in 0..times {
            at += STEP;
            depth(p, at, metres);
            load(p, at);
        }
        at
    };
    send(&mut pipeline, 500.0, 200);
    // The encoder starts again at nought: its first reading is held back until the next confirms it.
    let at = send(&mut pipeline, 0.0, 1) + STEP / 2;
    let mark = Mark {
        kind: MarkKind::Zero(500.0),
        author: String::new(),
    };
    pipeline.push(&Input::Mark { at, mark }, &mut Vec::new());
    send(&mut pipeline, 0.0, 500);
    let moment = pipeline.moment.expect("tool placed");
    assert!((moment.counted - 500.0).abs() < 0.01, "{}", moment.counted);
    assert!((moment.depth - 500.0).abs() < 10.0, "{}", moment.depth);
}

#[test]
fn the_highest_tension_stays_in_the_snapshot_with_the_limit_in_force_there() {
    let mut pipeline = Pipeline::new(&job());
    assert_eq!(pipeline.snapshot().highest, None);
    let mut at = 0;
    stay(&mut pipeline, &mut at, 2012.0, 5);
    for n in 0..50 {
        at += STEP;
        depth(&mut pipeline, at, 2012.0);
        push(&mut pipeline, 0, at, format!("L {}", 1200 + n % 3));
    }
    stay(&mut pipeline, &mut at, 2000.0, 5);
    let told = pipeline.snapshot().highest.expect("tension seen");
    let highest_n = 1202.0 * crate::units::NEWTONS_PER_LBF;
    assert!((told.tension_n - highest_n).abs() < 1.0, "{told:?}");
    assert!((5.0..6.1).contains(&told.at_s), "{told:?}");
    assert_eq!(told.limit_n, pipeline.watch.limit_n(Some(2012.0)));
}

/// Invented: strokes of 8 m over the interval, a cut whose drag sinks, and a load cell that reads 240 N less from the
/// seventeenth on.
#[test]
fn a_step_of_the_cell_zero_is_told_and_taken_out() {
    let mut pipeline = Pipeline::new(&job());
    let middle = {
        let info = &job().info;
        0.5 * (info.interval_top.si() + info.interval_bottom.si())
    };
    let drag = |stroke: i64| 250.0 + 500.0 / (1.0 + stroke as f64).powf(0.7);
    let stroke = |p: &mut Pipeline, n: i64| {
        for k in 0..400 {
            let at = (n * 400 + k + 1) * STEP * 5;
            // 8 s at rest, 32 s at 0.25 m/s.
            let moved = 0.1 * 0.25 * (k - 80).max(0) as f64;
            let (depth_m, way) = if n % 2 == 0 {
                (middle + 4.0 - moved, 1.0)
            } else {
                (middle - 4.0 + moved, -1.0)
            };
            let zero = if n >= 16 { -240.0 } else { 0.0 };
            let tension =
                2300.0 + way * (600.0 + drag(n)) + zero + [0.0, 4.0, -3.0][k as usize % 3];
            depth(p, at, depth_m);
            push(
                p,
                0,
                at,
                format!("L {:.1}", tension / crate::units::NEWTONS_PER_LBF),
            );
            p.push(&Input::Tick { at }, &mut Vec::new());
        }
    };
    let shifted = |p: &Pipeline| {
        let views = p.watch.engine.views();
        let load = views
            .into_iter()
            .find(|v| v.message.contains("load cell reads"));
        load.map(|v| v.message)
    };
    for n in 0..19 {
        stroke(&mut pipeline, n);
    }
    assert_eq!(shifted(&pipeline), None);
    for n in 19..26 {
        stroke(&mut pipeline, n);
    }
    let [step] = pipeline.zero_steps[..] else {
        panic!(
            "{:?} {:?}",
            pipeline.zero_steps,
            pipeline
                .ledger()
                .rows
                .iter()
                .map(|r| (r.up, r.mean_drag()))
                .collect::<Vec<_>>()
        )
    };
    assert!((step.by_n + 240.0).abs() < 20.0, "{step:?}");
    let told = shifted(&pipeline).unwrap();
    assert!(
        told.contains("N less than before") && told.contains("late"),
        "{told}"
    );
    pipeline.refresh();
    let now = pipeline.snapshot();
    let out = pipeline.estimate().engaged;
    assert_eq!(now.strokes as usize, out.len());
    assert_eq!(now.strokes_out as usize, out.iter().filter(|o| **o).count());
    assert!(now.strokes_out > 0);
    let rows = &pipeline.ledger().rows;
    let mean = |way: bool| {
        let drags = rows[17..]
            .iter()
            .filter(|r| r.up == way)
            .map(|r| r.mean_drag());
        let (sum, n) = drags.fold((0.0, 0.0), |(s, n), d| (s + d, n + 1.0));
        sum / n
    };
    let before = |way: bool| {
        rows[..16]
            .iter()
            .rfind(|r| r.up == way)
            .unwrap()
            .mean_drag()
    };
    for way in [true, false] {
        assert!(
            (mean(way) - before(way)).abs() < 40.0,
            "{} {}",
            mean(way),
            before(way)
        );
    }
    // Who weighs the tool anew knows.
    let at = (26 * 400 + 1) * STEP * 5;
    let mark = Mark {
        kind: MarkKind::WeightCheck,
        author: String::new(),
    };
    pipeline.push(&Input::Mark { at, mark }, &mut Vec::new());
    stroke(&mut pipeline, 26);
    let views = pipeline.watch.engine.views();
    let load = views.iter().find(|v| v.about == "load").unwrap();
    assert!(load.is_past, "{load:?}");
}
