//! A crew that says "out" for "in" and "in" for "out" gets the same answer, and is told.

use kerfwatch::input::{Input, MarkKind};
use kerfwatch::pipeline::Pipeline;
use kerfwatch::recording::RunReader;
use kerfwatch_tests::score::snapshot::scenario_folder;
use std::path::PathBuf;

fn run(name: &str) -> PathBuf {
    scenario_folder().join("..").join(name)
}

/// The pipeline after a run, with its marks as they are or turned.
fn after(name: &str, turned: bool) -> Pipeline {
    let folder = run(name);
    let text = std::fs::read_to_string(folder.join("job.toml")).unwrap();
    let job = kerfwatch::job::read_job(&text, "job.toml").unwrap().job;
    let mut pipeline = Pipeline::new(&job);
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

#[test]
fn turned_words_change_no_result_and_are_told() {
    for name in ["brindlemoor-4", "deepwhistle-2"] {
        let (as_meant, turned) = (after(name, false), after(name, true));
        assert!(!as_meant.marks_turned(), "{name}");
        assert!(turned.marks_turned(), "{name}");
        assert!(turned.snapshot().marks_turned, "{name}");
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
