//! Result files appear whole or not at all: written beside their name, synced, then renamed. Without the sync the name
//! may reach the disk before what it stands for, and a power cut leave an empty file under it.

use crate::console::Console;
use crate::failure::Failure;
use serde::Serialize;
use std::fs::File;
use std::io::{self, BufWriter, Write};
use std::path::Path;

/// Writes `path` through `fill`; an earlier file of that name is replaced only when all went well.
///
/// # Errors
/// [`Failure::Write`] with the name of the file.
pub fn write_file(
    path: &Path,
    fill: impl FnOnce(&mut dyn Write) -> io::Result<()>,
) -> Result<(), Failure> {
    write_file_with(path, |out| {
        fill(out).map_err(|e| Failure::write(path.display(), e))
    })
}

/// The same for writers that have failures of their own.
///
/// # Errors
/// Those of `fill`, and [`Failure::Write`].
pub fn write_file_with(
    path: &Path,
    fill: impl FnOnce(&mut dyn Write) -> Result<(), Failure>,
) -> Result<(), Failure> {
    let failed = |e: io::Error| Failure::write(path.display(), e);
    // A pipe or device (/dev/stdout) is written straight through.
    let special = std::fs::metadata(path).is_ok_and(|m| !m.is_file());
    if special {
        let mut out = BufWriter::new(File::options().write(true).open(path).map_err(failed)?);
        fill(&mut out)?;
        return out.flush().map_err(failed);
    }
    let whole = path.file_name().unwrap_or_default();
    if whole.is_empty() {
        return Err(failed(io::ErrorKind::InvalidFilename.into()));
    }
    // Hidden: what a power cut leaves behind must not be taken for part of a dataset.
    let mut name = std::ffi::OsString::from(".");
    name.push(whole);
    name.push(".part");
    let part = path.with_file_name(name);
    let file = File::create(&part).map_err(failed)?;
    let mut out = BufWriter::new(file);
    let done = fill(&mut out)
        .and_then(|()| out.flush().map_err(failed))
        .and_then(|()| out.get_ref().sync_all().map_err(failed))
        .and_then(|()| std::fs::rename(&part, path).map_err(failed));
    if done.is_err() {
        // What is half written helps nobody; failing to remove it changes nothing.
        let _ = std::fs::remove_file(&part);
    }
    done
}

/// JSON with one line end at the end.
///
/// # Errors
/// Those of `out`.
pub fn json(value: &impl Serialize, out: &mut dyn Write) -> io::Result<()> {
    serde_json::to_writer_pretty(&mut *out, value)?;
    out.write_all(b"\n")
}

/// Answers `--json PATH` (`-`: standard output); without it nothing is written. Whether standard output is taken, and
/// no text may follow there.
///
/// # Errors
/// [`Failure::Write`] with the name of the file.
pub fn write_json(
    value: &impl Serialize,
    path: Option<&Path>,
    console: &mut Console<'_>,
) -> Result<bool, Failure> {
    let Some(path) = path else {
        return Ok(false);
    };
    if path.as_os_str() == "-" {
        let mut bytes = Vec::new();
        json(value, &mut bytes).map_err(|e| Failure::write("JSON", e))?;
        console.data(&bytes)?;
        return Ok(true);
    }
    write_file(path, |out| json(value, out))?;
    console.talk(format_args!("result written to {}", path.display()));
    Ok(false)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn failed_writing_leaves_the_earlier_file_alone() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("a.json");
        write_file(&path, |out| out.write_all(b"old")).unwrap();
        let failure = write_file(&path, |out| {
            out.write_all(b"ne")?;
            Err(io::ErrorKind::StorageFull.into())
        });
        assert!(failure.unwrap_err().to_string().contains("a.json"));
        assert_eq!(std::fs::read(&path).unwrap(), b"old");
        assert_eq!(std::fs::read_dir(dir.path()).unwrap().count(), 1);
    }
}
