//! Lines on standard output and standard error that no thread of a run waits for.
//!
//! A terminal may stop taking lines: Ctrl-S, a frozen session, a pager that waits for a key. Whoever writes
//! to it then stands still, and the overpull guard and the pipeline both have something to say. So lines are
//! handed to a thread for each of the two outputs. While it is stuck, what exceeds 256 KiB is left out and
//! counted, and said when the output takes lines again: all of it is on record and on the page anyway.
//!
//! An output that has gone (closed pipe, closed terminal) ends nothing.

use std::collections::VecDeque;
use std::io::Write;
use std::sync::{Arc, Condvar, Mutex, MutexGuard, OnceLock, PoisonError};
use std::time::{Duration, Instant};

/// Lines of so many bytes may wait: some hours of strokes.
const BYTES_MAX: usize = 256 << 10;

/// Takes lines and never blocks.
#[derive(Debug)]
pub struct LinesOut {
    shared: Arc<Shared>,
}

#[derive(Debug, Default)]
struct Shared {
    waiting: Mutex<Waiting>,
    changed: Condvar,
}

#[derive(Debug, Default)]
struct Waiting {
    lines: VecDeque<Vec<u8>>,
    bytes: usize,
    left_out: u64,
    /// A line is being written.
    writing: bool,
}

impl Shared {
    fn lock(&self) -> MutexGuard<'_, Waiting> {
        self.waiting.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Writes what comes, for ever.
    fn write_to(&self, mut output: impl Write) {
        let mut waiting = self.lock();
        loop {
            if let Some(line) = waiting.lines.pop_front() {
                waiting.bytes -= line.len();
                let left_out = match waiting.lines.is_empty() {
                    true => std::mem::take(&mut waiting.left_out),
                    false => 0,
                };
                waiting.writing = true;
                drop(waiting);
                let _ = output.write_all(&line);
                if left_out > 0 {
                    let _ = writeln!(
                        output,
                        "({left_out} lines left out here: the terminal took none)"
                    );
                }
                let _ = output.flush();
                waiting = self.lock();
                waiting.writing = false;
            } else {
                self.changed.notify_all();
                waiting = self
                    .changed
                    .wait(waiting)
                    .unwrap_or_else(PoisonError::into_inner);
            }
        }
    }
}

impl LinesOut {
    /// Writes to `output` from a thread of its own.
    pub fn new(name: &str, output: impl Write + Send + 'static) -> Self {
        let shared = Arc::<Shared>::default();
        let theirs = Arc::clone(&shared);
        // Without the thread lines are left out; a run is worth more.
        let _ = std::thread::Builder::new()
            .name(name.to_owned())
            .spawn(move || theirs.write_to(output));
        Self { shared }
    }

    /// Hands over one line with its end, or several.
    pub fn send(&self, line: Vec<u8>) {
        let mut waiting = self.shared.lock();
        if waiting.bytes + line.len() > BYTES_MAX {
            waiting.left_out += 1;
        } else {
            waiting.bytes += line.len();
            waiting.lines.push_back(line);
            self.shared.changed.notify_all();
        }
    }

    /// Waits until all is written, at most `patience`; whether it is.
    pub fn finish(&self, patience: Duration) -> bool {
        let end = Instant::now() + patience;
        let mut waiting = self.shared.lock();
        while waiting.writing || !waiting.lines.is_empty() {
            let left = end.saturating_duration_since(Instant::now());
            if left.is_zero() {
                return false;
            }
            (waiting, _) = self
                .shared
                .changed
                .wait_timeout(waiting, left)
                .unwrap_or_else(PoisonError::into_inner);
        }
        true
    }
}

/// Standard output.
pub fn out() -> &'static LinesOut {
    static OUT: OnceLock<LinesOut> = OnceLock::new();
    OUT.get_or_init(|| LinesOut::new("kw-out", std::io::stdout()))
}

/// Standard error.
pub fn err() -> &'static LinesOut {
    static ERR: OnceLock<LinesOut> = OnceLock::new();
    ERR.get_or_init(|| LinesOut::new("kw-err", std::io::stderr()))
}

/// Standard error for the log: each of its lines comes in one piece.
#[derive(Debug)]
pub struct LogLines;

impl Write for LogLines {
    fn write(&mut self, line: &[u8]) -> std::io::Result<usize> {
        err().send(line.to_vec());
        Ok(line.len())
    }

    fn flush(&mut self) -> std::io::Result<()> {
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::mpsc;

    /// Takes a write only when it is let.
    struct Stuck {
        go: mpsc::Receiver<()>,
        written: Arc<Mutex<Vec<u8>>>,
    }

    impl Write for Stuck {
        fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
            let _ = self.go.recv();
            self.written.lock().unwrap().extend_from_slice(bytes);
            Ok(bytes.len())
        }

        fn flush(&mut self) -> std::io::Result<()> {
            Ok(())
        }
    }

    #[test]
    fn a_stuck_terminal_holds_nobody_up_and_what_it_missed_is_said() {
        let (go, let_go) = mpsc::channel();
        let written = Arc::<Mutex<Vec<u8>>>::default();
        let stuck = Stuck {
            go: let_go,
            written: Arc::clone(&written),
        };
        let lines = LinesOut::new("stuck", stuck);
        let line = || format!("{:0>99}\n", 7).into_bytes();
        let sent = BYTES_MAX / 100 + 50;
        for _ in 0..sent {
            lines.send(line());
        }
        assert!(!lines.finish(Duration::from_millis(20)), "it is stuck");
        drop(go);
        assert!(lines.finish(Duration::from_secs(20)));
        let written = String::from_utf8(written.lock().unwrap().clone()).unwrap();
        let whole = written.lines().filter(|line| line.len() == 99).count();
        let told = written.lines().last().unwrap();
        // One may have been taken out of the queue before it was full.
        assert!((BYTES_MAX / 100..=BYTES_MAX / 100 + 1).contains(&whole));
        assert_eq!(
            told,
            format!(
                "({} lines left out here: the terminal took none)",
                sent - whole
            )
        );
    }
}
