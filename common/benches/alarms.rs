//! Cost of judging one load reading: guard and engine, as in the pipeline and on the overpull path.
//!
//! `cargo bench -p kerfwatch --bench alarms`

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use kerfwatch::alarm::{AlarmEngine, GuardModel, OverpullGuard};
use kerfwatch::job::{Display, print_default_job, read_job};

const READINGS: i64 = 60_000;

fn judge(criterion: &mut Criterion) {
    let job = match read_job(print_default_job(), "sample.toml") {
        Ok(read) => read.job,
        Err(findings) => panic!("{findings}"),
    };
    let model = GuardModel::new(&job);
    let mut group = criterion.benchmark_group("judge");
    group.throughput(Throughput::Elements(READINGS as u64));
    // Stroking at up to 0.5 m/s, far from the limit, and so near to it that every slope has to be worked out.
    for (name, tension) in [("far from the limit", 1500.0), ("near the limit", 3500.0)] {
        for rate in [50, 1000] {
            group.bench_function(format!("{name}, {rate} Hz"), |bencher| {
                bencher.iter(|| {
                    let mut guard = OverpullGuard::new(model.clone());
                    let mut engine = AlarmEngine::new(Display::Metric);
                    for n in 0..READINGS {
                        let at = n * 1_000_000_000 / rate;
                        let phase = at as f64 * 1e-9 / 30.0;
                        guard.line(at, 2000.0 + 2.4 * (phase * std::f64::consts::TAU).sin());
                        let verdict =
                            guard.load(at, tension + 20.0 * ((n * 7919) % 13) as f64 / 13.0);
                        engine.judged(at, &verdict);
                    }
                    engine.records().len()
                });
            });
        }
    }
    group.finish();
}

criterion_group!(benches, judge);
criterion_main!(benches);
