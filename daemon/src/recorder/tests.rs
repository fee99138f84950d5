//! What is held back, and what is told of a disk in trouble.

use super::*;
use crate::disk::Brake;
use kerfwatch::recording::{Folder, HEAD_FORMAT, RunHead};
use kerfwatch::result::{Interval, State};

fn decision(n: i64) -> Derived {
    Derived::Interval(Interval {
        state: State::Free,
        start_s: n as f64,
        end_s: n as f64,
        depth_m: None,
    })
}

#[test]
fn a_decision_is_held_back_until_the_inputs_it_follows_from_are_taken() {
    let inputs = Handover::new(1 << 20);
    let (decisions, decided) = Decisions::channel();
    let (mut held, mut batch) = (Held::default(), Batch::default());
    let mut taken = 0;
    // Enough for several chunks: the disk has been slow.
    for at in 0..20_000 {
        inputs.push(&Input::Received {
            port: 0,
            at,
            bytes: vec![b'1'; 8],
        });
    }
    assert!(decisions.tell(decision(1)));
    held.take(&decided, &inputs);
    assert!(decisions.tell(decision(2)));
    let mut released = Vec::new();
    while taken < 20_000 {
        assert!(inputs.take(&mut batch, LOOK));
        batch.drain(|_| taken += 1);
        while let Some(record) = held.next(taken) {
            released.push((taken, record));
        }
    }
    assert_eq!(released, [(20_000, decision(1))]);
    inputs.push(&Input::Tick { at: 20_000 });
    held.take(&decided, &inputs);
    assert_eq!(held.next(20_000), None);
    assert_eq!(held.next(20_001), Some(decision(2)));
}

/// A recorder at work on a disk that can be braked.
struct Recording {
    inputs: Arc<Handover>,
    progress: Arc<Progress>,
    thread: std::thread::JoinHandle<Result<(), RecordError>>,
    at: i64,
}

impl Recording {
    fn start(folder: &std::path::Path, brake: &Brake) -> Self {
        let head = RunHead {
            format: HEAD_FORMAT,
            run_id: "test".to_owned(),
            software: "test".to_owned(),
            started_unix_ns: 0,
            started_utc: "unknown".to_owned(),
            job: String::new(),
        };
        let disk = Disk::new(Folder::create(folder).unwrap(), brake.clone());
        let writer = RunWriter::create(disk, &head, policy(0.05)).unwrap();
        let (inputs, progress) = (Arc::new(Handover::new(1 << 20)), Arc::<Progress>::default());
        let (_, decisions) = Decisions::channel();
        let (again, brake) = (folder.to_owned(), brake.clone());
        let recorder = Recorder {
            writer: Some(writer),
            reopen: Box::new(move || {
                let disk = Disk::new(Folder::open(&again), brake.clone());
                RunWriter::resume(disk, policy(0.05)).map(|(writer, ..)| writer)
            }),
            inputs: Arc::clone(&inputs),
            decisions,
            progress: Arc::clone(&progress),
            alarms: Arc::default(),
        };
        Self {
            inputs,
            progress,
            thread: std::thread::spawn(move || recorder.run()),
            at: 0,
        }
    }

    /// Sends inputs, and counts them as the ingest does, until recording works or does not, as `wanted`.
    fn send_until(&mut self, wanted: bool) {
        let start = Instant::now();
        while self.progress.is_well() != wanted {
            assert!(start.elapsed() < Duration::from_secs(30), "never {wanted}");
            self.send(10);
            std::thread::sleep(Duration::from_millis(5));
        }
    }

    fn send(&mut self, count: i64) {
        for at in self.at..self.at + count {
            if !self.inputs.push(&Input::Tick { at }) {
                super::count(&self.progress.record_lost);
            }
        }
        self.at += count;
    }

    fn end(self) {
        self.inputs.close();
        self.thread.join().unwrap().unwrap();
    }
}

#[test]
fn a_disk_counts_as_in_trouble_while_it_is_and_no_longer() {
    let folder = tempfile::tempdir().unwrap();
    let brake = Brake::default();
    let mut recording = Recording::start(&folder.path().join("run"), &brake);
    recording.send(10);
    assert!(recording.progress.is_well());
    // A full disk is no error of the writer, which goes on trying.
    brake.fill(true);
    recording.send_until(false);
    assert_eq!(read(&recording.progress.record_errors), 0);
    brake.fill(false);
    recording.send_until(true);
    // A failed sync is, and costs this writer.
    brake.fail_syncs(1);
    recording.send_until(false);
    recording.send_until(true);
    assert_eq!(read(&recording.progress.record_errors), 1);
    recording.end();
}

#[test]
fn inputs_that_found_no_room_are_trouble_for_some_seconds() {
    let (progress, start) = (Progress::default(), Instant::now());
    let mut losses = Losses {
        lost: 0,
        since: start,
    };
    let well_at = |losses: &mut Losses, seconds| {
        losses.look(&progress, start + Duration::from_secs(seconds));
        progress.is_well()
    };
    assert!(well_at(&mut losses, 20));
    count(&progress.record_lost);
    assert!(
        !progress.is_well(),
        "also while the disk holds the recorder up"
    );
    assert!(!well_at(&mut losses, 21));
    assert!(!well_at(&mut losses, 30));
    assert!(well_at(&mut losses, 31));
    count(&progress.record_lost);
    assert!(!well_at(&mut losses, 60));
}
