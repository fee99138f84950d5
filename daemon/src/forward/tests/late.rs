//! Decisions that reach the disk late, and a forwarder that starts anew at any moment: the server has the same
//! points in the end.

use super::super::cursor::Cursor;
use super::super::queue::{Next, Queue};
use super::record::{alarm, drain, open, read, unique, writer};
use kerfwatch::recording::Derived;
use kerfwatch::time::NANOS_PER_SECOND;
use std::collections::BTreeSet;
use std::path::Path;

/// Length of a run, s.
const LENGTH_S: u64 = 150;

/// Numbers from a seed (splitmix64).
struct Dice(u64);

impl Dice {
    fn below(&mut self, n: u64) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        (z ^ (z >> 31)) % n
    }
}

/// A server that keeps what it is sent, and the cursor as it is on disk.
struct Forwarder {
    queue: Queue,
    saved: Cursor,
    there: BTreeSet<String>,
}

impl Forwarder {
    fn new(folder: &Path) -> Self {
        Self {
            queue: open(folder, Cursor::default()),
            saved: Cursor::default(),
            there: BTreeSet::new(),
        }
    }

    /// Sends at most so many batches.
    fn send(&mut self, batches: u64, points_max: usize, until_s: u64) {
        self.queue.refresh();
        let until = Some(until_s as i64 * NANOS_PER_SECOND);
        for _ in 0..batches {
            match self.queue.next(points_max, until) {
                Next::Batch(batch) => {
                    let text = batch.points.part(&(0..batch.points.len()));
                    self.there.extend(text.lines().map(str::to_owned));
                    self.queue.delivered(&batch, 0, 0);
                    self.saved = self.queue.cursor.clone();
                }
                Next::More => {}
                Next::Nothing => return,
            }
        }
    }

    fn start_anew(&mut self, folder: &Path) {
        self.queue = open(folder, self.saved.clone());
    }
}

fn history(seed: u64) {
    let mut dice = Dice(seed);
    let folder = tempfile::tempdir().unwrap();
    let mut writer = writer(folder.path());
    // When each alarm is raised, and when the disk has it: at once, or after a minute or more.
    let mut alarms: Vec<(u64, u64)> = (0..4)
        .map(|_| {
            let raised = dice.below(LENGTH_S);
            let late = [0, 1, 20, 40, 100][dice.below(5) as usize];
            (raised, raised + late)
        })
        .collect();
    let mut forwarder = Forwarder::new(folder.path());
    for second in 0..LENGTH_S {
        read(&mut writer, second as i64, second as i64 + 1);
        alarms.retain(|(raised, known)| {
            if *known <= second {
                let at = *raised as f64;
                writer.derive(alarm("overpull", at, at, "unacknowledged"));
            }
            *known > second
        });
        writer
            .turn((second as i64 + 1) * 2 * NANOS_PER_SECOND)
            .unwrap();
        if dice.below(3) > 0 {
            let points_max = [1, 7, 60, 5000][dice.below(4) as usize];
            forwarder.send(dice.below(30), points_max, second);
        }
        match dice.below(12) {
            0 => forwarder.start_anew(folder.path()),
            1 => {
                // The server was away, and may have forgotten.
                let derived = forwarder.saved.derived_next.saturating_sub(dice.below(2));
                let raw = forwarder.saved.raw_next.saturating_sub(dice.below(200));
                forwarder.queue.repeat(derived, raw);
            }
            _ => {}
        }
    }
    for (raised, _) in alarms {
        let at = raised as f64;
        writer.derive(alarm("overpull", at, at, "unacknowledged"));
    }
    writer.derive(Derived::Groove {
        at_s: LENGTH_S as f64,
        bins: Vec::new(),
    });
    writer.finish(1000 * NANOS_PER_SECOND).unwrap();
    if dice.below(2) == 0 {
        forwarder.start_anew(folder.path());
    }
    forwarder.queue.refresh();
    let rest = drain(&mut forwarder.queue, 200, None);
    forwarder.there.extend(rest);
    let whole = drain(&mut open(folder.path(), Cursor::default()), 5000, None);
    let whole = unique(&whole);
    let there: BTreeSet<&str> = forwarder.there.iter().map(String::as_str).collect();
    let missing = whole.difference(&there).count();
    let other = there.difference(&whole).count();
    assert_eq!((missing, other), (0, 0), "seed {seed}: missing, other");
}

#[test]
fn whenever_alarms_become_known_and_forwarding_starts_anew_the_server_has_the_same_points() {
    for seed in 0..12 {
        history(seed);
    }
}
