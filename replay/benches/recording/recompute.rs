//! From the files to the result: everything is read, checked, and worked out again, on one thread.

use crate::cost::cpu;
use crate::{Policy, TURNS, write_run};
use kerfwatch::input::{Event, Input};
use kerfwatch::job::{print_default_job, read_job};
use kerfwatch::pipeline::Pipeline;
use kerfwatch::recording::{Run, RunReader};
use std::hint::black_box;
use std::path::Path;
use std::time::{Duration, Instant};

struct Took {
    samples: u64,
    wall: Duration,
    cpu: Duration,
}

fn recompute(run: &Path) -> Took {
    let (start, start_cpu) = (Instant::now(), cpu());
    let mut reader = RunReader::open(run).unwrap();
    let job = read_job(&reader.head().unwrap().job, "run.toml")
        .unwrap()
        .job;
    let mut pipeline = Pipeline::new(&job);
    let mut events: Vec<Event> = Vec::new();
    let mut samples = 0;
    reader.for_each_run(|run| {
        match run {
            Run::Readings(readings) => {
                samples += readings.len() as u64;
                for (channel, at, value) in readings {
                    pipeline.push(&Input::Reading { channel, at, value }, &mut events);
                }
            }
            Run::One(input) => {
                let is_sample = matches!(input, Input::Reading { .. } | Input::Received { .. });
                samples += u64::from(is_sample);
                pipeline.push(input, &mut events);
            }
        }
        events.clear();
    });
    pipeline.finish(&mut events);
    black_box(pipeline.result("bench"));
    Took {
        samples,
        wall: start.elapsed(),
        cpu: cpu() - start_cpu,
    }
}

fn row(name: &str, run: &Path) {
    let turns = std::iter::repeat_with(|| recompute(run)).take(TURNS);
    let took = turns.min_by_key(|took| took.cpu).unwrap();
    let rate = |time: Duration| took.samples as f64 / time.as_secs_f64() / 1e6;
    println!(
        "{name:<36} {:>8} samples | recompute {:>6.2} M/s | by the clock {:.2} M/s",
        took.samples,
        rate(took.cpu),
        rate(took.wall)
    );
}

/// Committed runs, and invented readings of the sample job.
pub(crate) fn table() {
    println!("\nfrom the files to strokes, groove and alarms");
    let fixtures = Path::new(env!("CARGO_MANIFEST_DIR")).join("../fixtures");
    for name in ["brindlemoor-4", "deepwhistle-2"] {
        row(&format!("fixtures/{name}"), &fixtures.join(name));
    }
    for (rate, seconds) in [(50.0, 7200.0), (1000.0, 1800.0)] {
        let folder = tempfile::tempdir().unwrap();
        let run = folder.path().join("run");
        let inputs = crate::imported(rate, seconds);
        write_run(
            &run,
            "recompute",
            print_default_job(),
            &inputs,
            Policy::bulk(),
        );
        row(
            &format!("readings {rate} Hz, {:.1} h", seconds / 3600.0),
            &run,
        );
    }
}
