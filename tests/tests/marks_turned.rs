//! A crew that says "out" for "in" and "in" for "out" gets the same answer, and is told.

use kerfwatch::input::{Input, MarkKind};
use kerfwatch::job::{Job, read_job};
use kerfwatch::pipeline::Pipeline;
use kerfwatch::recording::RunReader;
use kerfwatch_replay::summary::{MarksRead, summary};
use kerfwatch_replay::units_shown::Units;
use kerfwatch_tests::score::snapshot::scenario_folder;
use std::path::PathBuf;

fn run(name: &str) -> PathBuf {
    scenario_folder().join("..").join(name)
}

fn job(name: &str) -> Job {
    let text = std::fs::read_to_string(run(name).join("job.toml")).unwrap();
    read_job(&text, "job.toml").unwrap().job
}

/// The pipeline after a run, with its marks as they are or turned.
fn after(name: &str, turned: bool) -> Pipeline {
    let folder = run(name);
    let mut pipeline = Pipeline::new(&job(name));
    let mut events = Vec::new();
    RunReader::open(&folder).unwrap().for_each_input(|input| {
        let mut input = input.clone();
        if let Input::Mark { mark, .. } = &mut input {
            mark.kind = match &mark.kind {
                MarkKind::CutterOut if turned => MarkKind::CutterIn,
                MarkKind::CutterIn if turned => MarkKind::CutterOut,
                other => other.clone(),
            };
        }
        pipeline.push(&input, &mut events);
        events.clear();
    });
    pipeline.finish(&mut events);
    pipeline
}

/// What the summary of a run says of its data.
fn data(name: &str, pipeline: &Pipeline) -> String {
    let marks = MarksRead::of(pipeline);
    let text = summary(
        &job(name),
        &pipeline.result("run"),
        &[],
        &marks,
        Units::Metric,
    );
    let line = text.lines().find(|line| line.starts_with("Data"));
    line.unwrap().to_owned()
}

#[test]
fn turned_words_change_no_result_and_are_told() {
    for name in ["brindlemoor-4", "deepwhistle-2"] {
        let (as_meant, turned) = (after(name, false), after(name, true));
        assert!(!as_meant.marks_turned(), "{name}");
        assert!(turned.marks_turned(), "{name}");
        assert!(turned.snapshot().marks_turned, "{name}");
        assert!(!data(name, &as_meant).contains("way round"), "{name}");
        assert!(data(name, &turned).contains("way round"), "{name}");
        let (a, b) = (as_meant.estimate(), turned.estimate());
        assert_eq!(a.engaged, b.engaged, "{name}");
        for (a, b) in a.bins.iter().zip(&b.bins) {
            let within = 0.05 * a.wall_mm;
            assert!(
                (a.depth_mm - b.depth_mm).abs() < within,
                "{name}: {a:?}, {b:?}"
            );
        }
    }
}
