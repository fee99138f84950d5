//! Connections that ask for nothing: they end, and keep neither the crew nor the record from anything.

#![cfg(feature = "daemon")]

use kerfwatch::job::print_default_job;
use kerfwatch_tests::http::{get, open_stream, post};
use kerfwatch_tests::rig::{Rig, Setup};
use std::io::{BufRead, ErrorKind, Read, Write};
use std::net::{SocketAddr, TcpStream};
use std::sync::atomic::Ordering;
use std::time::{Duration, Instant};

const TOKEN: &str = "0123456789abcdef0123456789abcdef";
/// Connections that the page bears, and streams among them.
const SEATS: usize = 128;
const STREAMS: u64 = 100;

fn rig(patience: Duration) -> (Rig, tempfile::TempDir) {
    let folder = tempfile::tempdir().unwrap();
    let setup = Setup {
        token: Some(TOKEN.to_owned()),
        patience,
        ..Setup::default()
    };
    let rig = Rig::start(print_default_job(), folder.path(), setup);
    (rig, folder)
}

fn connect(at: SocketAddr, said: &str) -> TcpStream {
    let mut stream = TcpStream::connect(at).unwrap();
    stream
        .set_read_timeout(Some(Duration::from_secs(30)))
        .unwrap();
    // It may have been closed already.
    let _ = stream.write_all(said.as_bytes());
    stream
}

/// Reads until the other side hangs up.
fn until_closed(mut stream: TcpStream) -> (Vec<u8>, Instant) {
    let mut heard = Vec::new();
    if let Err(error) = stream.read_to_end(&mut heard) {
        assert_eq!(error.kind(), ErrorKind::ConnectionReset, "{error}");
    }
    (heard, Instant::now())
}

fn is_closed(mut stream: &TcpStream) -> bool {
    stream.set_nonblocking(true).unwrap();
    match stream.read(&mut [0; 16]) {
        Ok(count) => count == 0,
        Err(error) => error.kind() != ErrorKind::WouldBlock,
    }
}

#[test]
fn whoever_asks_for_nothing_is_closed_and_a_stream_goes_on() {
    let (rig, _folder) = rig(Duration::from_millis(500));
    let at = rig.page();
    let start = Instant::now();
    let mut lines = open_stream(at, "/api/v1/stream").lines();
    let idle = [
        ("silent", ""),
        (
            "half a head",
            "GET /api/v1/snapshot HTTP/1.1\r\nHost: localhost\r\n",
        ),
        (
            "half a body",
            "POST /api/v1/marks HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/json\r\nContent-Length: 90\r\n\r\n{",
        ),
        (
            "answered",
            "GET /openapi.json HTTP/1.1\r\nHost: localhost\r\n\r\n",
        ),
    ]
    .map(|(name, said)| (name, connect(at, said)));
    for (name, stream) in idle {
        let (heard, closed) = until_closed(stream);
        let lived = closed - start;
        assert!(lived >= Duration::from_millis(400), "{name}: {lived:?}");
        assert!(lived < Duration::from_secs(20), "{name}: {lived:?}");
        assert_eq!(
            heard.starts_with(b"HTTP/1.1 200"),
            name == "answered",
            "{name}: {}",
            String::from_utf8_lossy(&heard)
        );
    }
    // A request that comes in pieces, one after the other, has no longer.
    let mut dripping = connect(at, "GET / HTTP/1.1\r\n");
    let begun = Instant::now();
    while !is_closed(&dripping) {
        assert!(begun.elapsed() < Duration::from_secs(20));
        let _ = dripping.write_all(b"X-More: 1\r\n");
        std::thread::sleep(Duration::from_millis(50));
    }
    // Four times the patience, and nobody has said anything to the stream.
    while start.elapsed() < Duration::from_secs(2) {
        lines.next().unwrap().unwrap();
    }
    lines.next().unwrap().unwrap();
    rig.stop().unwrap();
}

#[test]
fn a_crowd_keeps_nobody_out_and_holds_no_more_than_its_seats() {
    // Nobody is closed for being idle.
    let (rig, _folder) = rig(Duration::from_secs(600));
    let at = rig.page();
    let progress = &rig.started.published.progress;
    let mut streams: Vec<_> = (0..STREAMS)
        .map(|_| open_stream(at, "/api/v1/stream").lines())
        .collect();
    let crowd: Vec<TcpStream> = (0..400)
        .map(|n| connect(at, if n % 2 == 0 { "" } else { "GET / HTTP/1.1\r\n" }))
        .collect();
    let bearer = format!("Bearer {TOKEN}");
    for action in ["acknowledge", "reset"] {
        let path = format!("/api/v1/alarms/stall/{action}");
        let answer = post(at, &path, &[("Authorization", &bearer)], "{}");
        assert_eq!(answer.status, 202, "{}", answer.text());
    }
    assert_eq!(get(at, "/api/v1/snapshot").status, 200);
    let beyond = crowd.len() + streams.len() - SEATS;
    rig.wait_for("the crowd has made room", |_| {
        crowd.iter().filter(|stream| is_closed(stream)).count() >= beyond
    });
    assert!(progress.crowded_out.load(Ordering::Relaxed) >= beyond as u64);
    let start = Instant::now();
    for lines in streams.iter_mut().take(5) {
        while start.elapsed() < Duration::from_secs(1) {
            lines.next().unwrap().unwrap();
        }
        lines.next().unwrap().unwrap();
    }
    assert_eq!(progress.streams.load(Ordering::Relaxed), STREAMS);
    drop(crowd);
    rig.stop().unwrap();
}
