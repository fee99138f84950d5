//! `import`: a calibrated CSV record becomes a run folder like those the daemon writes.
//!
//! Rows become readings in file order (late ones too), marks are merged in by time. A row that repeats the one before,
//! time and values, brings nothing new: it is taken once and counted. Bad rows are set aside and reported; `--strict`
//! refuses them. The run appears under its name only when it is complete.

mod doubts;
pub mod fuzz;
pub(crate) mod header;
pub(crate) mod marks;
pub(crate) mod number;
mod order;
pub(crate) mod samples;
pub(crate) mod set_aside;
mod shown;

pub use crate::args::ImportArgs as Args;
use crate::console::Console;
use crate::failure::{Exit, Failure, Finding};
use crate::job_source::read_job_file;
use crate::run_folder::record_failure;
use crate::units_shown::{count, counted, duration};
use doubts::Doubts;
use kerfwatch::input::{ChannelId, Input, Mark};
use kerfwatch::job::Job;
use kerfwatch::recording::{Folder, Policy, RecordError, RunHead, RunWriter};
use kerfwatch::time::{NANOS_PER_SECOND, Nanos, nanos, seconds};
use order::Order;
use samples::Row;
use set_aside::SetAside;
use std::fs::File;
use std::io::{BufReader, Read, Seek, SeekFrom};
use std::path::{Path, PathBuf};

/// Seconds since 1970 are beyond this since 2001: such a zero is taken for universal time.
const UNIX_SECONDS_MIN: f64 = 1e9;

/// A mark may be made so long before the first reading or after the last.
const MARK_AWAY: Nanos = 60 * NANOS_PER_SECOND;

/// Inputs between two writes to disk; bounds the memory of the writer.
const WRITE_EVERY: u64 = 1 << 17;

/// Runs it.
///
/// # Errors
/// Unusable job, samples or marks; `--out` exists; disk trouble.
pub fn run(args: &Args, console: &mut Console<'_>) -> Result<Exit, Failure> {
    let job = read_job_file(&args.job, &[], console)?;
    let start_utc_ns = start_time(args)?;
    let marks = read_mark_file(args)?;
    let samples = File::open(&args.samples).map_err(|e| Failure::read(&args.samples, e))?;
    check_free(&args.out, args.force)?;
    let head = RunHead {
        format: kerfwatch::recording::HEAD_FORMAT,
        run_id: run_id(&job.text, &samples, &args.samples)?,
        software: concat!("kerfwatch-replay ", env!("CARGO_PKG_VERSION"), " import").to_owned(),
        started_unix_ns: start_utc_ns,
        started_utc: utc_text(start_utc_ns),
        job: job.text.clone(),
    };
    let part = part_name(&args.out);
    remove_folder(&part)?;
    let done = write_run(args, &part, &head, &job.job, samples, marks.0, console);
    let (aside, writer_summary) = match done {
        Ok(done) => done,
        Err(failure) => {
            // Half a run must not look like a run; the reason is already known.
            let _ = std::fs::remove_dir_all(&part);
            return Err(failure);
        }
    };
    if args.force {
        remove_folder(&args.out)?;
    }
    std::fs::rename(&part, &args.out).map_err(|e| Failure::write(args.out.display(), e))?;
    report(args, &aside, &marks.1, &writer_summary, console)
}

/// What was written.
struct Written {
    readings: u64,
    marks: usize,
    first: Nanos,
    last: Nanos,
    /// Rows that are the same as the one before, and where the first stands.
    repeated: u64,
    first_repeated: Option<u64>,
    /// Marks more than a minute before the first or after the last reading.
    marks_outside: usize,
    /// The earliest of those a little before the first reading, and how many there are.
    marks_before: Option<(Nanos, usize)>,
    /// Rows that go back in time.
    order: Vec<Finding>,
    doubts: Vec<Finding>,
}

fn write_run(
    args: &Args,
    part: &Path,
    head: &RunHead,
    job: &Job,
    samples: File,
    marks: Vec<(Nanos, Mark)>,
    console: &mut Console<'_>,
) -> Result<(SetAside, Written), Failure> {
    let failed = |e: RecordError| record_failure(part, &e);
    let folder = Folder::create(part).map_err(|e| Failure::write(part.display(), e))?;
    let mut writer = RunWriter::create(folder, head, Policy::bulk()).map_err(failed)?;
    let size = samples.metadata().map_or(0, |m| m.len());
    let bar = console.progress(size, "importing");
    let reader = BufReader::with_capacity(1 << 18, bar.wrap_read(samples));
    let mut written = Written {
        readings: 0,
        marks: marks.len(),
        first: Nanos::MAX,
        last: Nanos::MIN,
        repeated: 0,
        first_repeated: None,
        marks_outside: 0,
        marks_before: None,
        order: Vec::new(),
        doubts: Vec::new(),
    };
    let mark_times: Vec<Nanos> = marks.iter().map(|(at, _)| *at).collect();
    let (mut doubts, mut order) = (Doubts::new(job), Order::default());
    let mut waiting = marks.into_iter().peekable();
    let mut unwritten = 0_u64;
    let mut before: Option<Row> = None;
    let file = args.samples.display().to_string();
    let aside = samples::read_samples(&file, reader, args.time_zero, |row: Row, line| {
        if before.replace(row) == Some(row) {
            written.repeated += 1;
            written.first_repeated.get_or_insert(line);
            return Ok(());
        }
        while let Some((at, mark)) = waiting.next_if(|(at, _)| *at <= row.at) {
            writer.append(&Input::Mark { at, mark }).map_err(failed)?;
        }
        doubts.take(&row, line);
        order.take(row.at, line);
        written.first = written.first.min(row.at);
        written.last = written.last.max(row.at);
        for (channel, value) in [
            (ChannelId::Load, row.load_n),
            (ChannelId::Depth, row.depth_m),
        ] {
            if let Some(value) = value {
                let at = row.at;
                writer
                    .append(&Input::Reading { channel, at, value })
                    .map_err(failed)?;
                written.readings += 1;
                unwritten += 1;
            }
        }
        if unwritten >= WRITE_EVERY {
            unwritten = 0;
            writer.turn(written.last).map_err(failed)?;
            refuse_lost(part, &writer)?;
        }
        Ok(())
    })?;
    for (at, mark) in waiting {
        writer.append(&Input::Mark { at, mark }).map_err(failed)?;
    }
    if args.strict && aside.count() > 0 {
        return Err(Failure::Input(aside.findings(&file)));
    }
    writer.sync(written.last).map_err(failed)?;
    refuse_lost(part, &writer)?;
    writer.finish(written.last).map_err(failed)?;
    bar.finish_and_clear();
    let span = written.first.saturating_sub(MARK_AWAY)..=written.last.saturating_add(MARK_AWAY);
    written.marks_outside = mark_times.iter().filter(|at| !span.contains(at)).count();
    let shortly_before = span.start()..&written.first;
    let before = mark_times.iter().filter(|at| shortly_before.contains(at));
    written.marks_before = before.clone().min().map(|at| (*at, before.count()));
    written.order = order.findings(&file);
    written.doubts = doubts.findings(&file, job);
    Ok((aside, written))
}

/// The recorder of the daemon goes on when the disk is full; an import must not.
fn refuse_lost(part: &Path, writer: &RunWriter<Folder>) -> Result<(), Failure> {
    let health = writer.health();
    match health.fault {
        Some(fault) if health.disk_full || health.raw_lost > 0 => {
            Err(Failure::write(part.display(), std::io::Error::other(fault)))
        }
        _ => Ok(()),
    }
}

fn report(
    args: &Args,
    aside: &SetAside,
    marks_aside: &SetAside,
    written: &Written,
    console: &mut Console<'_>,
) -> Result<Exit, Failure> {
    for (aside, file) in [
        (aside, Some(&args.samples)),
        (marks_aside, args.marks.as_ref()),
    ] {
        let Some(file) = file.filter(|_| aside.count() > 0) else {
            continue;
        };
        let file = file.display().to_string();
        console.warn(format_args!("{file}: set aside: {}", aside.summary()));
        for finding in aside.findings(&file) {
            console.warn(finding);
        }
    }
    for finding in &written.order {
        console.warn(finding);
    }
    if let Some(line) = written.first_repeated {
        console.warn(repeated_rows(args, aside, written).at(line));
    }
    if let Some(line) = aside.torn_end {
        console.warn(
            Finding::new(
                args.samples.display(),
                "the last line has no line end: the table may be cut off there, its last number too",
                "compare it with the table on the logger; end the last line if it is whole",
            )
            .at(line),
        );
    }
    if let Some(marks) = args.marks.as_ref().filter(|_| written.marks_outside > 0) {
        console.warn(
            Finding::new(
                marks.display(),
                format!(
                    "{} outside the time of the samples, 0 being its start",
                    match (written.marks_outside, written.marks) {
                        (_, 1) => "the only mark lies".to_owned(),
                        (outside, all) => format!("{outside} of {all} marks lie"),
                    }
                ),
                "write seconds as in the samples: the same clock, --time-zero taken from both",
            )
            .field("time_s"),
        );
    }
    if let Some((marks, told)) = args.marks.as_ref().zip(before_start(written)) {
        console.warn(
            Finding::new(
                marks.display(),
                told,
                "nothing to do where it was made before the logger was started; else put its time right",
            )
            .field("time_s"),
        );
    }
    for doubt in &written.doubts {
        console.warn(doubt);
    }
    console.line(format_args!(
        "{}: {} readings from {} of {} rows, {}, {}",
        args.out.display(),
        count(written.readings),
        count(aside.used - written.repeated),
        count(aside.rows),
        counted(written.marks, "mark", "marks"),
        duration(seconds(written.last.saturating_sub(written.first)))
    ))?;
    Ok(Exit::Well)
}

/// Marks shortly before the first reading are kept: whoever starts the logger may have set them. `None`: there are none.
fn before_start(written: &Written) -> Option<String> {
    let (earliest, n) = written.marks_before?;
    Some(format!(
        "{} before the first sample, by up to {}; taken as made at its start",
        counted(n, "mark lies", "marks lie"),
        duration(seconds(written.first.saturating_sub(earliest)))
    ))
}

/// The first of them stands where the finding is put.
fn repeated_rows(args: &Args, aside: &SetAside, written: &Written) -> Finding {
    Finding::new(
        args.samples.display(),
        format!(
            "{} of {} rows {} the row before, time and values; each is taken once",
            count(written.repeated),
            count(aside.used),
            if written.repeated == 1 {
                "repeats"
            } else {
                "repeat"
            },
        ),
        "nothing to do where rows were written twice; where the logger cuts decimals off, let it write all of them",
    )
}

type Marks = Vec<(Nanos, Mark)>;

fn read_mark_file(args: &Args) -> Result<(Marks, SetAside), Failure> {
    let Some(path) = &args.marks else {
        return Ok((Vec::new(), SetAside::default()));
    };
    let file = File::open(path).map_err(|e| Failure::read(path, e))?;
    let name = path.display().to_string();
    let (marks, aside) = marks::read_marks(&name, BufReader::new(file), args.time_zero)?;
    if args.strict && aside.count() > 0 {
        return Err(Failure::Input(aside.findings(&name)));
    }
    Ok((marks, aside))
}

/// Start of the run in ns since 1970; 0 when nobody said it.
fn start_time(args: &Args) -> Result<i64, Failure> {
    if !args.time_zero.is_finite() {
        return Err(Finding::new("--time-zero", "it is not finite", "give seconds").into());
    }
    match &args.start {
        Some(text) => read_utc(text),
        None if args.time_zero >= UNIX_SECONDS_MIN => Ok(nanos(args.time_zero).unwrap_or(0)),
        None => Ok(0),
    }
}

/// A universal time as ns since 1970.
///
/// # Errors
/// Text that is no time with a zone.
pub fn read_utc(text: &str) -> Result<i64, Failure> {
    let refuse = |problem: String| {
        Finding::new(
            "--start",
            problem,
            "write a time with its zone, e.g. 2026-05-01T06:12:00Z or 2026-05-01T08:12:00+02:00",
        )
    };
    let stamp: jiff::Timestamp = text
        .trim()
        .parse()
        .map_err(|e| refuse(format!("`{text}` is no time: {e}")))?;
    i64::try_from(stamp.as_nanosecond())
        .map_err(|_| refuse(format!("`{text}` is out of range")).into())
}

fn utc_text(unix_ns: i64) -> String {
    if unix_ns == 0 {
        return "unknown".to_owned();
    }
    jiff::Timestamp::from_nanosecond(i128::from(unix_ns))
        .map_or_else(|_| "unknown".to_owned(), |t| t.to_string())
}

/// The same job and samples give the same id, so that exports of a repeated import overwrite
/// their own points. FNV-1a over job text, length, and both ends of the samples.
fn run_id(job: &str, samples: &File, path: &Path) -> Result<String, Failure> {
    const END: u64 = 1 << 16;
    let failed = |e| Failure::read(path, e);
    let mut file = samples;
    let length = file.metadata().map_err(failed)?.len();
    let mut bytes = job.as_bytes().to_vec();
    bytes.extend_from_slice(&length.to_le_bytes());
    file.take(END).read_to_end(&mut bytes).map_err(failed)?;
    if length > END {
        let from = length.saturating_sub(END);
        file.seek(SeekFrom::Start(from)).map_err(failed)?;
        file.take(END).read_to_end(&mut bytes).map_err(failed)?;
    }
    file.seek(SeekFrom::Start(0)).map_err(failed)?;
    let hash = bytes.iter().fold(0xcbf2_9ce4_8422_2325_u64, |hash, byte| {
        (hash ^ u64::from(*byte)).wrapping_mul(0x0100_0000_01b3)
    });
    Ok(format!("import-{hash:016x}"))
}

fn check_free(out: &Path, force: bool) -> Result<(), Failure> {
    if out.symlink_metadata().is_err() {
        return Ok(());
    }
    let remedy = if force {
        // Only what looks like a run is removed: a slip of the hand must not cost a home folder.
        if out.join(kerfwatch::recording::RUN_FILE).is_file() {
            return Ok(());
        }
        "it is not a run folder, so --force does not replace it; give another --out"
    } else {
        "give another --out, or --force to replace a run folder"
    };
    Err(Finding::new(out.display(), "exists already", remedy)
        .field("--out")
        .into())
}

fn part_name(out: &Path) -> PathBuf {
    let mut name = out.file_name().unwrap_or_default().to_os_string();
    name.push(".part");
    out.with_file_name(name)
}

fn remove_folder(path: &Path) -> Result<(), Failure> {
    match std::fs::remove_dir_all(path) {
        Err(e) if e.kind() != std::io::ErrorKind::NotFound => {
            Err(Failure::write(path.display(), e))
        }
        _ => Ok(()),
    }
}

#[cfg(test)]
mod tests;
