//! The bodies of the fuzz targets over the small corpora in `tests/fuzz/corpus`: seeds, and whatever once
//! made one fail.

use kerfwatch::decode::fuzz as decode;
use kerfwatch::recording;
use std::path::Path;

/// Runs `body` over every file of a corpus.
fn each(target: &str, body: impl Fn(&[u8])) {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("fuzz/corpus")
        .join(target);
    let mut count = 0;
    for entry in std::fs::read_dir(&folder).unwrap() {
        body(&std::fs::read(entry.unwrap().path()).unwrap());
        count += 1;
    }
    assert!(count > 0, "{} is empty", folder.display());
}

#[test]
fn decoders() {
    each("pattern", |data| {
        decode::pattern_lines(data);
        decode::pattern_text(data);
    });
    each("packet", decode::packet_frames);
    each("modbus_rtu", decode::modbus_answers);
    each("learn", decode::learned_bytes);
}

#[test]
fn recording_reader() {
    each("recording", |data| {
        recording::fuzz_segment(data);
        recording::fuzz_blocks(data);
        recording::fuzz_payload(data);
        recording::fuzz_blocks(&data[1..]);
        recording::fuzz_payload(&data[1..]);
    });
}

#[test]
fn job_file() {
    each("job_file", |data| {
        kerfwatch::job::fuzz::job_text(data);
    });
}

#[test]
fn csv_import() {
    each("csv_import", kerfwatch_replay::import::fuzz::csv_text);
}

#[cfg(feature = "daemon")]
#[test]
fn page_api() {
    each("page_api", kerfwatchd::web::fuzz::request);
}
