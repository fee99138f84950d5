//! The exported line protocol is taken by a real server (Debian's `victoria-metrics`, which speaks the
//! InfluxDB write API) and read back from it: every stroke once, at its time.

use kerfwatch_replay::failure::Exit;
use kerfwatch_tests::invented_run::{START_UNIX_S, import, recompute, replay};
use kerfwatch_tests::peers::wait_until;
use serde_json::Value;
use std::io::{Read, Write};
use std::net::{TcpListener, TcpStream};
use std::path::Path;
use std::process::{Child, Command, Stdio};

struct Server {
    child: Child,
    port: u16,
}

impl Drop for Server {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

impl Server {
    fn start(folder: &Path) -> Self {
        let port = TcpListener::bind("127.0.0.1:0")
            .and_then(|l| l.local_addr())
            .unwrap()
            .port();
        let child = Command::new("victoria-metrics")
            .arg(format!("-storageDataPath={}", folder.display()))
            .arg(format!("-httpListenAddr=127.0.0.1:{port}"))
            .args(["-retentionPeriod=100y", "-loggerLevel=ERROR"])
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .expect("victoria-metrics is missing: apt install victoria-metrics");
        let server = Self { child, port };
        wait_until("the server listens", || {
            TcpStream::connect(("127.0.0.1", port)).is_ok()
        });
        server
    }

    /// Status and body of a request.
    fn ask(&self, method: &str, path: &str, body: &[u8]) -> (u16, String) {
        let mut stream = TcpStream::connect(("127.0.0.1", self.port)).unwrap();
        write!(
            stream,
            "{method} {path} HTTP/1.0\r\nHost: localhost\r\nContent-Length: {}\r\n\r\n",
            body.len()
        )
        .unwrap();
        stream.write_all(body).unwrap();
        let mut answer = String::new();
        stream.read_to_string(&mut answer).unwrap();
        let (head, body) = answer.split_once("\r\n\r\n").unwrap();
        let status = head.split_whitespace().nth(1).unwrap().parse().unwrap();
        (status, body.to_owned())
    }

    /// All series of a name: labels, values and times in ms.
    fn series(&self, name: &str) -> Vec<Value> {
        self.ask("GET", "/internal/force_flush", b"");
        let path = format!("/api/v1/export?match%5B%5D={name}&start=0");
        let (status, body) = self.ask("GET", &path, b"");
        assert_eq!(status, 200, "{body}");
        body.lines()
            .map(|line| serde_json::from_str(line).unwrap())
            .collect()
    }
}

#[test]
fn line_protocol_is_taken_by_a_real_server_and_writing_twice_changes_nothing() {
    let dir = tempfile::tempdir().unwrap();
    let run = import(dir.path(), "run", "Invented well, 1=a");
    let file = dir.path().join("run.lp");
    let (run_text, file_text) = (run.display().to_string(), file.display().to_string());
    let (exit, _, err) = replay(&[
        "export",
        &run_text,
        "--format",
        "line-protocol",
        "--out",
        &file_text,
    ]);
    assert_eq!(exit, Exit::Well, "{err}");
    let lines = std::fs::read(&file).unwrap();
    let server = Server::start(&dir.path().join("server"));
    for _ in 0..2 {
        let (status, body) = server.ask("POST", "/api/v2/write?bucket=b&org=o", &lines);
        assert_eq!(status, 204, "{body}");
    }
    let result = recompute(&run);
    let strokes = result["strokes"].as_array().unwrap();
    let mut found: Vec<(i64, i64)> = Vec::new();
    for series in server.series("stroke_n") {
        assert_eq!(series["metric"]["well"], "Invented well, 1=a");
        assert_eq!(series["metric"]["run"], result["run"]["id"]);
        let (values, times) = (&series["values"], &series["timestamps"]);
        for (value, time) in values
            .as_array()
            .unwrap()
            .iter()
            .zip(times.as_array().unwrap())
        {
            found.push((value.as_f64().unwrap() as i64, time.as_i64().unwrap()));
        }
    }
    found.sort_unstable();
    // The server keeps points it was given twice until it merges them: the same points, no others.
    found.dedup();
    assert_eq!(found.len(), strokes.len());
    for ((n, at_ms), stroke) in found.iter().zip(strokes) {
        assert_eq!(Some(*n), stroke["n"].as_i64());
        let want_ms = START_UNIX_S as f64 * 1e3 + stroke["start_s"].as_f64().unwrap() * 1e3;
        assert!(
            (*at_ms as f64 - want_ms).abs() <= 1.0,
            "stroke {n}: {at_ms}"
        );
    }
    assert_eq!(
        server.series("groove_depth_mm").len(),
        result["groove"].as_array().unwrap().len()
    );
}
