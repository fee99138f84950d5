//! The lines of [`crate::instruments`] as they are on record, against those that were sent.

use crate::instruments::line;
use kerfwatch::input::{Input, MarkKind};
use kerfwatch::recording::RunReader;
use std::path::Path;
use std::time::{Duration, Instant};

/// What was found.
#[derive(Debug, Default)]
pub struct Lines {
    /// On record.
    pub recorded: u64,
    /// Sent and heard by nobody, or by a daemon that was killed before it was on disk.
    pub missing: u64,
    /// Most of them at one interruption.
    pub missing_most: u64,
}

/// Holds the record against the numbers of the lines sent, by port.
///
/// # Panics
/// When, within one life of the daemon, a line is missing, wrong, there twice or out of order; or the last is missing.
pub fn check_lines(inputs: &[Input], sent: &[Vec<u64>; 2]) -> Lines {
    let mut lines = Lines::default();
    for (port, sent) in sent.iter().enumerate() {
        let mut place: Option<usize> = None;
        let mut rest: Vec<u8> = Vec::new();
        let mut first_of_life = true;
        for input in inputs {
            match input {
                Input::Mark { mark, .. } if matches!(&mark.kind, MarkKind::Note(text) if text.contains("after an interruption")) =>
                {
                    rest.clear();
                    first_of_life = true;
                }
                Input::Received {
                    port: number,
                    bytes,
                    ..
                } if usize::from(*number) == port => {
                    rest.extend_from_slice(bytes);
                    while let Some(end) = rest.iter().position(|byte| *byte == b'\n') {
                        let text: Vec<u8> = rest.drain(..=end).collect();
                        let n = number_of(&text);
                        let whole = n.is_some_and(|n| line(port, n) == text);
                        if first_of_life && !whole {
                            continue; // its beginning went to the daemon that was killed
                        }
                        let shown = String::from_utf8_lossy(&text).into_owned();
                        assert!(whole, "port {port}: {shown:?} was never sent");
                        let found = sent.binary_search(&n.unwrap());
                        let now = found.unwrap_or_else(|_| panic!("{shown:?} was never sent"));
                        let gap = (now as u64).checked_sub(place.map_or(0, |p| p as u64 + 1));
                        let gap = gap.unwrap_or_else(|| panic!("{shown:?} twice or out of order"));
                        assert!(
                            gap == 0 || first_of_life,
                            "{gap} lines are missing before {shown:?}, where nothing was interrupted"
                        );
                        lines.missing += gap;
                        lines.missing_most = lines.missing_most.max(gap);
                        lines.recorded += 1;
                        place = Some(now);
                        first_of_life = false;
                    }
                }
                _ => {}
            }
        }
        assert_eq!(
            place,
            Some(sent.len() - 1),
            "port {port}: the last line sent is on record"
        );
    }
    lines
}

/// Waits until the last line of each port is on record.
///
/// # Panics
/// After a minute.
pub fn wait_until_recorded(run: &Path, sent: &[Vec<u64>; 2]) {
    let start = Instant::now();
    loop {
        let mut received = [Vec::new(), Vec::new()];
        RunReader::open(run)
            .expect("the run reads")
            .for_each_input(|input| {
                if let Input::Received { port, bytes, .. } = input
                    && let Some(received) = received.get_mut(usize::from(*port))
                {
                    received.extend_from_slice(bytes);
                }
            });
        let is_there = |port: usize| {
            let last = sent[port].last().map(|n| line(port, *n));
            last.is_none_or(|last| received[port].ends_with(&last))
        };
        if is_there(0) && is_there(1) {
            return;
        }
        assert!(
            start.elapsed() < Duration::from_secs(60),
            "the last line is not on record"
        );
        std::thread::sleep(Duration::from_millis(200));
    }
}

fn number_of(text: &[u8]) -> Option<u64> {
    let text = std::str::from_utf8(text).ok()?;
    text.trim_end().rsplit(' ').next()?.parse().ok()
}
