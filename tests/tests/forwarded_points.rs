//! Points sent while a run goes on and points exported of it afterwards lie in one database: where both are the same point
//! they hold the same values, whichever came last.

#![cfg(feature = "daemon")]

use kerfwatch::job::read_job;
use kerfwatch::pipeline::Pipeline;
use kerfwatch::recording::{Derived, Folder, Policy, RunHead, RunReader, RunWriter};
use kerfwatch::time::nanos;
use kerfwatch_tests::invented_run;
use kerfwatch_tests::programs::program;
use kerfwatch_tests::soak::server::Server;
use std::collections::BTreeMap;
use std::path::Path;
use std::process::{Command, Stdio};

/// Fields by name, by measurement with tags and time.
type Points = BTreeMap<(String, String), BTreeMap<String, String>>;

/// The invented run as a daemon records it that has `server` in its job: what was decided beside what came in.
fn record(folder: &Path, server: &Server) -> std::path::PathBuf {
    let imported = invented_run::import(folder, "imported", "Invented-1");
    let mut reader = RunReader::open(&imported).unwrap();
    let head = reader.head().unwrap().clone();
    let head = RunHead {
        job: format!(
            "{}\n[forward]\nurl = \"http://{}\"\norg = \"crew\"\nbucket = \"cuts\"\n",
            head.job, server.address
        ),
        ..head
    };
    let job = read_job(&head.job, "run.toml").unwrap().job;
    let mut pipeline = Pipeline::new(&job);
    let run = folder.join("run");
    let disk = Folder::create(&run).unwrap();
    let mut writer = RunWriter::create(disk, &head, Policy::bulk()).unwrap();
    let mut events = Vec::new();
    reader.for_each_input(|input| {
        writer.append(input).unwrap();
        pipeline.push(input, &mut events);
    });
    pipeline.finish(&mut events);
    for event in &events {
        writer.derive(Derived::from(event));
    }
    pipeline.refresh();
    let now = pipeline.snapshot();
    writer.derive(Derived::Groove {
        at_s: now.at_s,
        bins: now.groove,
    });
    writer.finish(nanos(now.at_s).unwrap()).unwrap();
    run
}

fn points(text: &str) -> Points {
    let mut points = Points::new();
    for line in text.lines() {
        // Neither tags nor texts of this run hold a space or a comma.
        let [place, fields, at] = line.split(' ').collect::<Vec<_>>()[..] else {
            panic!("{line}");
        };
        let fields = fields.split(',').map(|field| {
            let (name, value) = field.split_once('=').unwrap();
            (name.to_owned(), value.to_owned())
        });
        let key = (place.to_owned(), at.to_owned());
        points.entry(key).or_default().extend(fields);
    }
    points
}

#[test]
fn what_is_forwarded_and_exported_as_one_point_has_the_same_values_in_both() {
    let folder = tempfile::tempdir().unwrap();
    let server = Server::start().unwrap();
    server.keep_text();
    let run = record(folder.path(), &server);
    let forward = Command::new(program("kerfwatchd"))
        .arg("forward")
        .arg(&run)
        .env("KERFWATCH_LOG", "error")
        .stdout(Stdio::null())
        .status()
        .unwrap();
    assert_eq!(forward.code(), Some(0));
    // That the server is there was asked of it in a point of its own.
    let text = server.text();
    let lines = text
        .lines()
        .filter(|line| !line.starts_with("forward_check"));
    let forwarded = points(&lines.collect::<Vec<_>>().join("\n"));
    let file = folder.path().join("run.lp").display().to_string();
    let shown = run.display().to_string();
    let (_, _, err) = invented_run::replay(&[
        "export",
        &shown,
        "--format",
        "line-protocol",
        "--out",
        &file,
    ]);
    let exported = points(&std::fs::read_to_string(&file).expect(&err));

    let mut strokes = 0;
    for (key, sent) in &forwarded {
        let Some(written) = exported.get(key) else {
            let measurement = key.0.split(',').next().unwrap();
            assert_ne!(measurement, "stroke", "{key:?} of no stroke of the result");
            continue;
        };
        let both = sent.keys().filter(|name| written.contains_key(*name));
        let both: Vec<&str> = both.map(String::as_str).collect();
        for name in &both {
            assert_eq!(sent[*name], written[*name], "{name} of {key:?}");
        }
        if key.0.starts_with("stroke,") {
            strokes += 1;
            assert_eq!(
                both,
                [
                    "bottom_m",
                    "end_s",
                    "n",
                    "peak_tension_n",
                    "start_s",
                    "tool_travel_m",
                    "top_m"
                ]
            );
        }
    }
    let of = |points: &Points, measurement: &str| {
        let start = format!("{measurement},");
        points
            .keys()
            .filter(|key| key.0.starts_with(&start))
            .count()
    };
    assert!(strokes >= 20, "{strokes}");
    assert_eq!(strokes, of(&exported, "stroke"));
}
