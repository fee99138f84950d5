//! The API document held against the server, and the metrics against a parser others wrote.

#![cfg(feature = "daemon")]

use kerfwatch::input::ChannelId;
use kerfwatch::job::print_default_job;
use kerfwatch_tests::http::{get, open_stream, post, request};
use kerfwatch_tests::peers::judge;
use kerfwatch_tests::rig::{Rig, Setup};
use std::collections::BTreeSet;
use std::io::BufRead;
use std::net::SocketAddr;
use std::path::Path;

const TOKEN: &str = "0123456789abcdef0123456789abcdef";

fn rig_with_readings() -> (Rig, tempfile::TempDir) {
    let folder = tempfile::tempdir().unwrap();
    // Nobody listens there: the forwarder is shown, in trouble.
    let forward = "\n[forward]\nurl = \"http://127.0.0.1:9\"\norg = \"crew\"\nbucket = \"cuts\"\n";
    let setup = Setup {
        more_job: forward.to_owned(),
        token: Some(TOKEN.to_owned()),
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
    let (mut rig, _folder) = rig_with_readings();
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
    values.extend(changes(at, &document));
    // Events of the stream until each kind has been seen.
    let list = serde_json::json!({"type": "array", "items": named("Stroke")});
    let mut left = vec![
        ("hello", named("Job")),
        ("strokes", list),
        ("points", named("History")),
        ("now", named("Snapshot")),
        ("groove", named("GrooveView")),
        ("health", named("Health")),
        ("told", named("Told")),
        ("warning", named("Warning")),
    ];
    let mut lines = open_stream(at, "/api/v1/stream?since=0").lines();
    // Far beyond any limit, until the guard has spoken: the present job bears less than 20 kN.
    for _ in 0..5 {
        rig.send(ChannelId::Load, 20_000.0);
    }
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
            values.push(serde_json::json!([name, schema, value]));
        }
    }
    let case = serde_json::json!({"document": document, "values": values});
    let count = judge("check_answers.py", &case.to_string());
    assert_eq!(count.trim(), values.len().to_string());
    rig.stop().unwrap();
}

/// Path as in the document and as asked for, headers, body, status.
type Case<'a> = (&'a str, &'a str, &'a [(&'a str, &'a str)], &'a str, u16);

/// Changes of all sorts, right and wrong: each answer's status must be in the document, and its body
/// as said there.
fn changes(at: SocketAddr, document: &serde_json::Value) -> Vec<serde_json::Value> {
    let bearer = format!("Bearer {TOKEN}");
    let right = ("Authorization", bearer.as_str());
    let cases: &[Case] = &[
        (
            "/api/v1/marks",
            "/api/v1/marks",
            &[right],
            r#"{"mark":"cutter_out","author":"x"}"#,
            202,
        ),
        (
            "/api/v1/marks",
            "/api/v1/marks",
            &[right],
            r#"{"mark":"zero"}"#,
            422,
        ),
        ("/api/v1/marks", "/api/v1/marks", &[right], "{", 400),
        (
            "/api/v1/marks",
            "/api/v1/marks",
            &[right, ("Content-Type", "text/plain")],
            "{}",
            415,
        ),
        (
            "/api/v1/marks",
            "/api/v1/marks",
            &[right, ("Origin", "http://elsewhere.example")],
            "{}",
            403,
        ),
        (
            "/api/v1/marks",
            "/api/v1/marks",
            &[right, ("Host", "elsewhere.example")],
            "{}",
            421,
        ),
        (
            "/api/v1/marks",
            "/api/v1/marks",
            &[("Authorization", "Bearer no")],
            "{}",
            401,
        ),
        (
            "/api/v1/alarms/{kind}/{action}",
            "/api/v1/alarms/stall/acknowledge",
            &[right],
            "{}",
            202,
        ),
        (
            "/api/v1/alarms/{kind}/{action}",
            "/api/v1/alarms/sensor/acknowledge",
            &[right],
            r#"{"about":"depth"}"#,
            202,
        ),
        (
            "/api/v1/alarms/{kind}/{action}",
            "/api/v1/alarms/sensor/acknowledge",
            &[right],
            r#"{"about":"horn"}"#,
            404,
        ),
        (
            "/api/v1/alarms/{kind}/{action}",
            "/api/v1/alarms/overpull/shelve",
            &[right],
            r#"{"seconds":9}"#,
            409,
        ),
        (
            "/api/v1/alarms/{kind}/{action}",
            "/api/v1/alarms/recorder/shelve",
            &[right],
            r#"{"seconds":9}"#,
            409,
        ),
        (
            "/api/v1/alarms/{kind}/{action}",
            "/api/v1/alarms/stall/shelve",
            &[right],
            "{}",
            422,
        ),
        (
            "/api/v1/alarms/{kind}/{action}",
            "/api/v1/alarms/ghost/reset",
            &[right],
            "{}",
            404,
        ),
        (
            "/api/v1/session",
            "/api/v1/session",
            &[],
            r#"{"token":"no"}"#,
            401,
        ),
    ];
    let mut values = Vec::new();
    for (path, concrete, headers, body, status) in cases {
        let answer = post(at, concrete, headers, body);
        let case = format!("{concrete} {body} {headers:?}");
        assert_eq!(answer.status, *status, "{case}: {}", answer.text());
        let said = &document["paths"][path]["post"]["responses"][status.to_string()];
        let schema = &said["content"]["application/json"]["schema"];
        assert!(schema.is_object(), "{case}: not in the document");
        values.push(serde_json::json!([case, schema, answer.json()]));
    }
    let signed_in = post(
        at,
        "/api/v1/session",
        &[],
        &format!(r#"{{"token":"{TOKEN}"}}"#),
    );
    assert_eq!(signed_in.status, 204);
    assert!(document["paths"]["/api/v1/session"]["post"]["responses"]["204"].is_object());
    values
}

#[test]
fn the_api_document_names_every_address_the_server_knows() {
    let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("../daemon/src/web");
    let routes = std::fs::read_to_string(source.join("mod.rs")).unwrap();
    let document: serde_json::Value =
        serde_json::from_str(&std::fs::read_to_string(source.join("openapi.json")).unwrap())
            .unwrap();
    let known: BTreeSet<&str> = routes
        .split(".route(")
        .skip(1)
        .filter_map(|rest| rest.trim_start().strip_prefix('"')?.split('"').next())
        .collect();
    let named = document["paths"].as_object().unwrap();
    assert!(known.len() > 8, "{known:?}");
    assert_eq!(known, named.keys().map(String::as_str).collect());
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
