//! The token is sent to the server and goes nowhere else.

use super::super::worker::{Limits, work};
use super::fake_server::{FakeServer, Reply, say};
use super::record::finished;
use crate::progress::Progress;
use crate::shell_alarm::ShellAlarms;
use kerfwatch::job::Forward;
use std::io::Write;
use std::sync::{Arc, Mutex};
use std::time::Duration;
use tokio_util::sync::CancellationToken;

const TOKEN: &str = "secret-of-the-crew-58b1";

#[derive(Clone, Default)]
struct Log(Arc<Mutex<Vec<u8>>>);

impl Write for Log {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        self.0.lock().unwrap().extend_from_slice(bytes);
        Ok(bytes.len())
    }

    fn flush(&mut self) -> std::io::Result<()> {
        Ok(())
    }
}

#[test]
fn the_token_is_in_no_log_line_alarm_or_file_even_when_the_server_repeats_it() {
    let folder = tempfile::tempdir().unwrap();
    let token_file = tempfile::NamedTempFile::new().unwrap();
    std::fs::write(token_file.path(), format!("{TOKEN}\n")).unwrap();
    finished(folder.path());
    let server = FakeServer::start(|asked, number| {
        let text = format!("your header was {}", asked.authorization);
        match number {
            0 => Reply::Say(401, "", text),
            1 => Reply::Say(500, "", text),
            2 | 3 => Reply::Say(429, "Retry-After: 0\r\n", text),
            4 => Reply::HangUp,
            _ if asked.body.contains(" n=7i,") => Reply::Say(400, "", text),
            _ => say(204),
        }
    });
    let place = Forward {
        url: server.url(),
        org: "crew".to_owned(),
        bucket: "cuts".to_owned(),
        token_env: None,
        token_file: Some(token_file.path().display().to_string()),
        rate_hz: 1.0,
    };
    let limits = Limits {
        wait_first: Duration::from_millis(5),
        wait_longest: Duration::from_millis(5),
        alarm_after: Duration::ZERO,
        ..Limits::default()
    };
    let (progress, alarms) = (Arc::<Progress>::default(), Arc::<ShellAlarms>::default());
    let log = Log::default();
    let writer = log.clone();
    let subscriber = tracing_subscriber::fmt()
        .with_max_level(tracing::Level::TRACE)
        .with_writer(move || writer.clone())
        .finish();
    let ended = CancellationToken::new();
    ended.cancel();
    tracing::subscriber::with_default(subscriber, || {
        tokio::runtime::Builder::new_current_thread()
            .enable_all()
            .build()
            .unwrap()
            .block_on(work(
                place,
                folder.path(),
                Arc::clone(&progress),
                Arc::clone(&alarms),
                limits,
                CancellationToken::new(),
                ended,
            ))
            .unwrap();
    });
    assert!(
        server
            .asked()
            .iter()
            .all(|a| a.authorization.ends_with(TOKEN))
    );
    let log = String::from_utf8(log.0.lock().unwrap().clone()).unwrap();
    assert!(log.contains("forwarding waits"), "the log was caught");
    assert!(log.contains("[token]"), "the repeated token was struck out");
    assert!(!log.contains(TOKEN));
    assert!(!format!("{:?}", alarms.views()).contains(TOKEN));
    assert!(!format!("{:?}", progress.forward).contains(TOKEN));
    for file in std::fs::read_dir(folder.path()).unwrap() {
        let bytes = std::fs::read(file.unwrap().path()).unwrap();
        let found = bytes.windows(TOKEN.len()).any(|w| w == TOKEN.as_bytes());
        assert!(!found, "in a file of the run folder");
    }
}
