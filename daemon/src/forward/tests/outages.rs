//! What is shown and told while a server is away.

use super::super::worker::{Forwarder, Limits};
use super::answers::{forward, limits, place};
use super::fake_server::{FakeServer, say};
use super::record::{finished, read, writer};
use crate::progress::Progress;
use kerfwatch::job::Forward;
use std::io::{Read, Write};
use std::net::TcpListener;
use std::sync::Arc;
use std::time::{Duration, Instant};

#[test]
fn the_backlog_shown_grows_with_the_record_while_the_server_refuses() {
    let folder = tempfile::tempdir().unwrap();
    let mut writer = writer(folder.path());
    read(&mut writer, 0, 60);
    writer.sync(0).unwrap();
    let server = FakeServer::start(|_, _| say(500));
    let progress = Arc::<Progress>::default();
    // The pipeline has seen it all, so that there is something to send.
    let at = std::sync::atomic::Ordering::Relaxed;
    progress.core_at_ns.store(i64::MAX, at);
    let forwarder = Forwarder::start(
        place(&server),
        folder.path().to_owned(),
        Arc::clone(&progress),
        Arc::default(),
        limits(),
    )
    .unwrap();
    let reaches = |more_than: u64| {
        let end = Instant::now() + Duration::from_secs(20);
        loop {
            let view = progress.forward.view().unwrap();
            if view.failures > 0 && view.backlog > more_than {
                return view.backlog;
            }
            assert!(Instant::now() < end, "{view:?}");
            std::thread::sleep(Duration::from_millis(10));
        }
    };
    let before = reaches(0);
    read(&mut writer, 60, 120);
    writer.sync(0).unwrap();
    reaches(before + before / 2);
    drop(forwarder);
}

#[test]
fn a_server_without_tls_is_told_at_once_with_what_to_write() {
    let folder = tempfile::tempdir().unwrap();
    finished(folder.path());
    // Answers a greeting of TLS as web servers do.
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let url = format!("https://{}", listener.local_addr().unwrap());
    std::thread::spawn(move || {
        for mut stream in listener.incoming().flatten() {
            let _ = stream.read(&mut [0; 4096]);
            let _ = stream.write_all(b"HTTP/1.1 400 Bad Request\r\n\r\n");
        }
    });
    let place = Forward {
        url,
        ..place(&FakeServer::start(|_, _| say(204)))
    };
    let short = Limits {
        grace: Duration::from_secs(2),
        ..limits()
    };
    let outcome = forward(folder.path(), place, short);
    assert!(!outcome.all_sent);
    let message = &outcome.alarms.views()[0].message;
    assert!(message.contains("url with http://"), "{message}");
}
