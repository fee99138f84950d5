//! The invented run as instruments would have sent it: a run folder of bytes, as the daemon records it.

use crate::invented_run::{START_UNIX_S, START_UTC, job, samples};
use kerfwatch::input::{Input, Mark, MarkKind};
use kerfwatch::recording::{Folder, HEAD_FORMAT, Policy, RunHead, RunWriter};
use std::path::{Path, PathBuf};

/// Newtons of one count of the load cell; tare in counts.
pub const NEWTONS_PER_COUNT: f64 = 0.5;
/// Reading of the cell at no load.
pub const TARE: f64 = 400.0;

/// Job text with two instruments that speak in lines.
pub fn raw_job(well: &str) -> String {
    job(well)
        + r#"
[load]
port = "tcp:127.0.0.1:1"
protocol = "pattern"
pattern = 'L (?P<load>[-+0-9.]+)'
span = "0.5 N"
tare = 400

[depth]
port = "tcp:127.0.0.1:2"
protocol = "pattern"
pattern = 'D (?P<depth>[-+0-9.]+)'
unit = "ft"
"#
}

/// Every so many readings a garbage line follows.
const GARBAGE_EVERY: usize = 500;
const GARBAGE_AT: usize = 250;

/// Garbage lines in the recording.
pub fn garbage_lines() -> u64 {
    let readings = samples().lines().skip(1).count();
    (0..readings)
        .filter(|i| i % GARBAGE_EVERY == GARBAGE_AT)
        .count() as u64
}

/// Records the invented run into `folder/name` as bytes in uneven pieces, some of them garbage.
///
/// # Panics
/// When it cannot be written.
pub fn record(folder: &Path, name: &str, well: &str) -> PathBuf {
    record_with(folder, name, well, |_, load_n| Some(load_n))
}

/// The same with a load cell that sends what `cell` makes of time, s, and load, N; `None`: nothing.
///
/// # Panics
/// When it cannot be written.
pub fn record_with(
    folder: &Path,
    name: &str,
    well: &str,
    mut cell: impl FnMut(f64, f64) -> Option<f64>,
) -> PathBuf {
    let out = folder.join(name);
    let head = RunHead {
        format: HEAD_FORMAT,
        run_id: format!("raw-{name}"),
        software: "tests".into(),
        started_unix_ns: START_UNIX_S * 1_000_000_000,
        started_utc: START_UTC.into(),
        job: raw_job(well),
    };
    let disk = Folder::create(&out).expect("folder is made");
    let mut writer = RunWriter::create(disk, &head, Policy::bulk()).expect("run is begun");
    let mut put = |input: Input| writer.append(&input).expect("input is taken");
    let (load, depth) = (0, 1);
    let mut marked = false;
    let mut last = 0;
    for (i, line) in samples().lines().skip(1).enumerate() {
        let cells: Vec<f64> = line
            .split(',')
            .map(|c| c.parse().expect("a number"))
            .collect();
        let at = (cells[0] * 1e9) as i64;
        if !marked && cells[0] >= 106.5 {
            marked = true;
            let mark = Mark {
                kind: MarkKind::CutterOut,
                author: "test".into(),
            };
            put(Input::Mark { at, mark });
        }
        let text = cell(cells[0], cells[1]).map_or_else(String::new, |load_n| {
            format!("L {:.1}\r\n", load_n / NEWTONS_PER_COUNT + TARE)
        });
        let (a, b) = text.as_bytes().split_at(i % text.len().max(1));
        for bytes in [a, b].into_iter().filter(|b| !b.is_empty()) {
            let bytes = bytes.to_vec();
            put(Input::Received {
                port: load,
                at,
                bytes,
            });
        }
        if i % GARBAGE_EVERY == GARBAGE_AT {
            let bytes = b"\xffL\xfe 12.x\r\n".to_vec();
            put(Input::Received {
                port: load,
                at,
                bytes,
            });
        }
        let bytes = format!("D {:.4}\r\n", cells[2] / 0.3048).into_bytes();
        put(Input::Received {
            port: depth,
            at,
            bytes,
        });
        last = at;
    }
    writer.sync(last).expect("run is written");
    writer.finish(last).expect("run is ended");
    out
}
