//! The forecast against the bench well, which shares no physics with it: what the evening before says
//! with 90 % must happen about nine times in ten.

use kerfwatch::input::{ChannelId, Input};
use kerfwatch::job::{Job, read_job};
use kerfwatch::pipeline::Pipeline;
use kerfwatch::recording::RunReader;
use kerfwatch::result::{Direction, RunResult};
use kerfwatch_replay::forecast::{Forecast, forecast};
use kerfwatch_replay::simulate::bench::{self, Outcome};
use kerfwatch_replay::simulate::scenario::{Scenario, Start};
use kerfwatch_replay::simulate::{cut_only, files};
use kerfwatch_tests::score::snapshot::scenario_folder;

fn scenario(name: &str) -> Scenario {
    let path = scenario_folder().join(format!("{name}.toml"));
    Scenario::parse(&std::fs::read_to_string(path).unwrap()).unwrap()
}

fn job_of(scenario: &Scenario, outcome: &Outcome) -> Job {
    read_job(&files::job(scenario, outcome), "job.toml")
        .unwrap()
        .job
}

fn foreseen(job: &Job) -> Forecast {
    forecast(job, 0.3, 10.0, 1).unwrap()
}

/// How often something lay in its band.
#[derive(Debug, Default)]
struct Tally {
    inside: usize,
    total: usize,
    outside: Vec<String>,
}

impl Tally {
    fn add(&mut self, what: String, value: f64, (low, high): (f64, f64)) {
        self.total += 1;
        if (low..=high).contains(&value) {
            self.inside += 1;
        } else {
            self.outside
                .push(format!("{what}: {value:.0}, band {low:.0} to {high:.0}"));
        }
    }
}

/// Wells of all kinds of the family.
const WELLS: [&str; 7] = [
    "vertical",
    "incline-45",
    "incline-60",
    "patchy",
    "thick-wall",
    "stick-slip",
    "deep-4000",
];

#[test]
fn strokes_to_open_and_split_a_joint_lie_in_their_bands() {
    let (mut opens, mut split) = (Tally::default(), Tally::default());
    for name in WELLS {
        let mut scenario = scenario(name);
        scenario.work.start = Start::Interval;
        // The job does not depend on the seed: the crew knows nominal values only.
        let none = bench::run(
            &Scenario {
                work: scenario_without_work(&scenario),
                ..scenario.clone()
            },
            1,
        );
        let foreseen = foreseen(&job_of(&scenario, &none));
        for seed in 1..=5 {
            let joints = cut_only::strokes_to_split(&scenario, seed, 600);
            assert_eq!(joints.len(), foreseen.joints.len(), "{name}");
            for (joint, band) in joints.iter().zip(&foreseen.joints) {
                let what = format!("{name} seed {seed} at {:.0} m", joint.top);
                let most = |n: Option<u32>| n.map_or(f64::INFINITY, f64::from);
                let ends = |q: &kerfwatch_replay::forecast::cut::Quantiles| {
                    (q.p05.unwrap(), q.p95.unwrap_or(f64::INFINITY))
                };
                opens.add(what.clone(), most(joint.opens), ends(&band.opens));
                split.add(what, most(joint.split), ends(&band.strokes));
            }
        }
    }
    println!("opens: {opens:#?}\nsplit: {split:#?}");
    for tally in [&opens, &split] {
        let part = tally.inside as f64 / tally.total as f64;
        assert!((0.82..=1.0).contains(&part), "{tally:#?}");
    }
}

fn scenario_without_work(scenario: &Scenario) -> kerfwatch_replay::simulate::scenario::Work {
    kerfwatch_replay::simulate::scenario::Work {
        strokes: 0,
        free_passes: 0,
        weight_checks: 0,
        ..scenario.work.clone()
    }
}

/// What the pipeline sees of a record: result, and mean tension of free strokes in the middle of the
/// interval, up and down.
struct Seen {
    result: RunResult,
    free: (Option<f64>, Option<f64>),
}

fn seen(job: &Job, feed: impl Fn(&mut dyn FnMut(&Input))) -> Seen {
    let mut pipeline = Pipeline::new(job);
    let mut events = Vec::new();
    feed(&mut |input| {
        pipeline.push(input, &mut events);
        events.clear();
    });
    pipeline.finish(&mut events);
    let result = pipeline.result("x");
    let free = |direction| {
        let (mut sum, mut n) = (0.0, 0_u32);
        let strokes: Vec<(f64, f64)> = result
            .strokes
            .iter()
            .filter(|s| s.direction == direction && s.engaged_m == 0.0)
            .filter(|s| {
                s.top_m < job.info.interval_top.si() + 1.0
                    && s.bottom_m > job.info.interval_bottom.si() - 1.0
                    && s.tool_travel_m < 40.0
            })
            .map(|s| {
                let third = (s.end_s - s.start_s) / 3.0;
                (s.start_s + third, s.end_s - third)
            })
            .collect();
        feed(&mut |input| {
            if let Input::Reading {
                channel: ChannelId::Load,
                at,
                value,
            } = input
            {
                let t = *at as f64 * 1e-9;
                if strokes.iter().any(|(a, b)| (*a..*b).contains(&t)) {
                    sum += value;
                    n += 1;
                }
            }
        });
        (n > 0).then(|| sum / f64::from(n))
    };
    let free = (free(Direction::Up), free(Direction::Down));
    Seen { result, free }
}

fn simulated(scenario: &Scenario, seed: u64) -> (Job, Seen) {
    let outcome = bench::run(scenario, seed);
    let job = job_of(scenario, &outcome);
    let mut inputs: Vec<Input> = Vec::new();
    for row in &outcome.rows {
        let at = (row.time * 1e9) as i64;
        for (channel, value) in [(ChannelId::Load, row.load), (ChannelId::Depth, row.depth)] {
            if let Some(value) = value {
                inputs.push(Input::Reading { channel, at, value });
            }
        }
    }
    let seen = seen(&job, |take| inputs.iter().for_each(take));
    (job, seen)
}

/// Weights and first strokes of a record against the forecast of its job.
fn weigh(name: &str, job: &Job, seen: &Seen, weights: &mut Tally, drag: &mut Tally) {
    let foreseen = foreseen(job);
    let middle = 0.5 * (job.info.interval_top.si() + job.info.interval_bottom.si());
    let at = foreseen
        .weights
        .iter()
        .min_by(|a, b| {
            (a.depth_m - middle)
                .abs()
                .total_cmp(&(b.depth_m - middle).abs())
        })
        .unwrap();
    for (way, found, band) in [
        ("up", seen.free.0, (at.up_low_n, at.up_high_n)),
        ("down", seen.free.1, (at.down_low_n, at.down_high_n)),
    ] {
        weights.add(format!("{name} {way}"), found.unwrap(), band);
    }
    let fresh = &foreseen.drag[0];
    let cutting = |direction| {
        let mut strokes = seen.result.strokes.iter();
        strokes.find(|s| s.direction == direction && s.engaged_m > 0.7 * s.tool_travel_m)
    };
    let (up, down) = (cutting(Direction::Up), cutting(Direction::Down));
    let band = (
        fresh.cutting_n.low + fresh.rolling_n.low,
        fresh.cutting_n.high + fresh.rolling_n.high,
    );
    drag.add(format!("{name} first up"), up.unwrap().mean_drag_n, band);
    let band = (fresh.down_n.low, fresh.down_n.high);
    drag.add(
        format!("{name} first down"),
        down.unwrap().mean_drag_n,
        band,
    );
    // The tool went down after the first stroke up, so the forecast must not have ruled it out.
    assert!(
        foreseen.first.too_light_probability < 0.9,
        "{name}: {:?}",
        foreseen.first
    );
}

#[test]
fn weights_and_first_strokes_lie_in_their_bands() {
    let (mut weights, mut drag) = (Tally::default(), Tally::default());
    for name in WELLS {
        let mut scenario = scenario(name);
        scenario.work.start = Start::Interval;
        scenario.work.strokes = 4;
        scenario.work.stop_chance = 0.0;
        scenario.hold.clear();
        let (job, seen) = simulated(&scenario, 1);
        weigh(name, &job, &seen, &mut weights, &mut drag);
    }
    println!("weights: {weights:#?}\ndrag: {drag:#?}");
    assert!(weights.inside + 2 >= weights.total, "{weights:#?}");
    assert!(drag.inside + 2 >= drag.total, "{drag:#?}");
}

#[test]
fn live_figures_of_the_demonstration_runs_lie_in_the_forecast_of_their_jobs() {
    let (mut weights, mut drag) = (Tally::default(), Tally::default());
    for name in ["brindlemoor-4", "deepwhistle-2"] {
        let folder = scenario_folder().join("..").join(name);
        let head = RunReader::open(&folder).unwrap().head().unwrap().clone();
        let job = read_job(&head.job, "run.toml").unwrap().job;
        let seen = seen(&job, |take| {
            RunReader::open(&folder)
                .unwrap()
                .for_each_input(|input| take(input));
        });
        weigh(name, &job, &seen, &mut weights, &mut drag);
        strokes_left(name, &job, &folder);
    }
    println!("weights: {weights:#?}\ndrag: {drag:#?}");
    assert_eq!(weights.inside, weights.total, "{weights:#?}");
    assert!(drag.inside + 1 >= drag.total, "{drag:#?}");
}

/// Strokes made plus those that the live figures say are left, as the job goes on.
fn strokes_left(name: &str, job: &Job, folder: &std::path::Path) {
    let foreseen = foreseen(job);
    let mut pipeline = Pipeline::new(job);
    let mut events = Vec::new();
    let mut checked = 0;
    RunReader::open(folder).unwrap().for_each_input(|input| {
        pipeline.push(input, &mut events);
        let ended = events
            .iter()
            .any(|e| matches!(e, kerfwatch::input::Event::Stroke(_)));
        events.clear();
        if !ended {
            return;
        }
        pipeline.refresh();
        let snapshot = pipeline.snapshot();
        let made = pipeline.estimate().engaged.iter().filter(|e| **e).count();
        if made < 8 || made % 4 != 0 {
            return;
        }
        for (joint, band) in snapshot.joints.iter().zip(&foreseen.joints) {
            let Some(left) = joint.strokes_left_p50 else {
                continue;
            };
            let total = made as f64 + left;
            let (low, high) = (band.strokes.p05.unwrap(), band.strokes.p95.unwrap());
            assert!(
                (low..=high).contains(&total),
                "{name} after {made} strokes: {left} left, forecast {low} to {high}"
            );
            checked += 1;
        }
    });
    assert!(checked >= 8, "{name}: {checked}");
}
