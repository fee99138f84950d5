//! The recorded run that travels inside the program, read as any run folder is.
//!
//! A demonstration must work from the bare program: on a laptop in the office, without the
//! source folder beside it. The run is `fixtures/brindlemoor-4`, made by the bench well; its well
//! is invented.

use kerfwatch::recording::{Look, part_of};
use std::io::{self, ErrorKind};

/// Its name.
pub const NAME: &str = crate::cli::BUILT_IN_RUN;

macro_rules! file {
    ($name:literal) => {
        (
            $name,
            include_bytes!(concat!(
                env!("CARGO_MANIFEST_DIR"),
                "/../fixtures/brindlemoor-4/",
                $name
            ))
            .as_slice(),
        )
    };
}

static FILES: &[(&str, &[u8])] = &[
    file!("notes.toml"),
    file!("raw-00001.kwr"),
    file!("run.toml"),
];

/// The run folder.
#[derive(Debug)]
pub struct BuiltIn;

fn bytes(name: &str) -> io::Result<&'static [u8]> {
    let found = FILES.iter().find(|(n, _)| *n == name);
    found
        .map(|(_, bytes)| *bytes)
        .ok_or_else(|| ErrorKind::NotFound.into())
}

impl Look for BuiltIn {
    fn list(&self) -> io::Result<Vec<String>> {
        Ok(FILES.iter().map(|(name, _)| (*name).to_owned()).collect())
    }

    fn len(&self, name: &str) -> io::Result<u64> {
        Ok(bytes(name)?.len() as u64)
    }

    fn read(&self, name: &str, offset: u64, length: usize) -> io::Result<Vec<u8>> {
        Ok(part_of(bytes(name)?, offset, length))
    }
}
