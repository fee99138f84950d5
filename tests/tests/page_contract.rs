//! The API document held against the server, and the metrics against a parser others wrote.

#![cfg(feature = "daemon")]

use kerfwatch::input::ChannelId;
use kerfwatch::job::print_default_job;
use kerfwatch_tests::http::{get, open_stream, request};
use kerfwatch_tests::outside::judge;
use kerfwatch_tests::rig::{Rig, Setup};
use std::io::BufRead;

fn rig_with_readings() -> (Rig, tempfile::TempDir) {
    let folder = tempfile::tempdir().unwrap();
    // Nobody listens there: the forwarder is shown, in trouble.
    let forward = "\n[forward]\nurl = \"http://127.0.0.1:9\"\norg = \"crew\"\nbucket = \"cuts\"\n";
    let setup = Setup {
        more_job: forward.to_owned(),
        ..Setup::default()
    };
    let mut rig = Rig::start(print_default_job(), folder.path(), setup);
    for n in 0..50 {
        rig.send(ChannelId::Load, 3500.0 + f64::from(n));
        rig.send(ChannelId::Depth, 2010.0 - 0.01 * f64::from(n));
        std::thread::sleep(std::time::Duration::from_millis(10));
    }
    (rig, folder)
}

#[test]
fn every_answer_is_as_the_api_document_says() {
    let (rig, _folder) = rig_with_readings();
    let at = rig.page();
    let document = get(at, "/openapi.json").json();
    let mut values = Vec::new();
    for (path, methods) in document["paths"].as_object().unwrap() {
        let Some(get_it) = methods.get("get") else {
            // Only changes: the method must be refused, not missing.
            let concrete = path
                .replace("{kind}", "stall")
                .replace("{action}", "acknowledge");
            assert_eq!(get(at, &concrete).status, 405, "{path}");
            continue;
        };
        let content = get_it["responses"]["200"]["content"].as_object().unwrap();
        let (kind, said) = content.iter().next().unwrap();
        if kind == "text/event-stream" {
            continue;
        }
        let answer = get(at, path);
        assert_eq!(answer.status, 200, "{path}");
        assert!(
            answer
                .header("content-type")
                .unwrap()
                .starts_with(kind.as_str()),
            "{path}"
        );
        if kind == "application/json" {
            values.push(serde_json::json!([path, said["schema"], answer.json()]));
        }
    }
    let named = |name: &str| serde_json::json!({"$ref": format!("#/components/schemas/{name}")});
    let refused = request(at, "POST", "/api/v1/marks", &[], Some("{}"));
    values.push(serde_json::json!([
        "refusal",
        named("Error"),
        refused.json()
    ]));
    // Events of the stream until each kind has been seen.
    let mut left = vec![
        ("hello", "Job"),
        ("points", "History"),
        ("now", "Snapshot"),
        ("health", "Health"),
    ];
    let mut lines = open_stream(at, "/api/v1/stream?since=0").lines();
    let mut kind = String::new();
    while !left.is_empty() {
        let line = lines.next().unwrap().unwrap();
        if let Some(name) = line.strip_prefix("event: ") {
            name.clone_into(&mut kind);
        } else if let Some(data) = line.strip_prefix("data: ")
            && let Some(n) = left.iter().position(|(name, _)| *name == kind)
        {
            let (name, schema) = left.remove(n);
            let value: serde_json::Value = serde_json::from_str(data).unwrap();
            values.push(serde_json::json!([name, named(schema), value]));
        }
    }
    let case = serde_json::json!({"document": document, "values": values});
    let count = judge("check_answers.py", &case.to_string());
    assert_eq!(count.trim(), values.len().to_string());
    rig.stop().unwrap();
}

#[test]
fn the_metrics_are_openmetrics_to_a_parser_others_wrote() {
    let (rig, _folder) = rig_with_readings();
    // Both instruments fall silent: two alarms of one kind.
    rig.wait_for("both sensor alarms", |up| {
        let snapshot = up.published.snapshot.borrow();
        let about = |name| {
            snapshot
                .alarms
                .iter()
                .any(|alarm| alarm.kind == "sensor" && alarm.about == name)
        };
        about("load") && about("depth")
    });
    let answer = get(rig.page(), "/metrics");
    assert_eq!(
        answer.header("content-type"),
        Some("application/openmetrics-text; version=1.0.0; charset=utf-8")
    );
    let said = judge("check_metrics.py", &answer.text());
    let (families, rest) = said.trim().split_once(' ').unwrap();
    assert!(families.parse::<u32>().unwrap() > 30, "{said}");
    assert_eq!(rest, "True True");
    rig.stop().unwrap();
}
