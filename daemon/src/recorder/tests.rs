//! What is held back, and what is told of a disk in trouble.

use super::*;
use crate::disk::Brake;
use kerfwatch::recording::{Folder, HEAD_FORMAT, MANIFEST_FILE, RunHead, RunReader};
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

fn a_run(folder: &std::path::Path, brake: &Brake) -> RunWriter<Disk> {
    let head = RunHead {
        format: HEAD_FORMAT,
        run_id: "test".to_owned(),
        software: "test".to_owned(),
        started_unix_ns: 0,
        started_utc: "unknown".to_owned(),
        job: String::new(),
    };
    let disk = Disk::new(Folder::create(folder).unwrap(), brake.clone());
    RunWriter::create(disk, &head, policy(0.05)).unwrap()
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
        let writer = a_run(folder, brake);
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

/// A run of ten inputs whose first sync comes in the last look at the queue, and fails: what is said of its end, the
/// counters, and what is on record.
fn ends_with_a_failed_sync(reopens: bool) -> (Result<(), RecordError>, Arc<Progress>, Vec<Input>) {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("run");
    let brake = Brake::default();
    let mut writer = a_run(&path, &brake);
    for at in 0..10 {
        writer.append(&Input::Tick { at }).unwrap();
    }
    brake.fail_syncs(1);
    let inputs = Arc::new(Handover::new(1 << 20));
    inputs.close();
    let (again, progress) = (path.clone(), Arc::<Progress>::default());
    let recorder = Recorder {
        writer: Some(writer),
        reopen: Box::new(move || {
            if !reopens {
                return Err(RecordError::Locked);
            }
            // What was not synced is gone from this disk.
            for file in std::fs::read_dir(&again).unwrap().flatten() {
                if file.file_name().to_str().unwrap().ends_with(".kwr") {
                    std::fs::File::create(file.path()).unwrap();
                }
            }
            let disk = Disk::new(Folder::open(&again), Brake::default());
            RunWriter::resume(disk, policy(0.05)).map(|(writer, ..)| writer)
        }),
        inputs,
        decisions: Decisions::channel().1,
        progress: Arc::clone(&progress),
        alarms: Arc::default(),
    };
    let result = recorder.run();
    let mut on_record = Vec::new();
    if path.join(MANIFEST_FILE).exists() {
        let mut reader = RunReader::new(Folder::open(&path)).unwrap();
        reader.for_each_input_from(0, |_, input| on_record.push(input.clone()));
    }
    (result, progress, on_record)
}

#[test]
fn a_sync_that_fails_at_the_very_end_is_made_up_for_and_what_it_cost_is_on_record() {
    let (result, progress, on_record) = ends_with_a_failed_sync(true);
    result.unwrap();
    assert_eq!(read(&progress.record_lost), 10);
    assert_eq!(read(&progress.record_errors), 1);
    let [Input::Mark { mark, .. }] = on_record.as_slice() else {
        panic!("{on_record:?}");
    };
    let MarkKind::Note(text) = &mark.kind else {
        panic!("{mark:?}");
    };
    assert!(text.starts_with("10 inputs"), "{text}");
}

#[test]
fn a_run_whose_end_could_not_be_written_does_not_end_well() {
    let (result, progress, on_record) = ends_with_a_failed_sync(false);
    assert!(matches!(result, Err(RecordError::Locked)), "{result:?}");
    assert_eq!(read(&progress.record_lost), 10);
    assert!(on_record.is_empty());
}
