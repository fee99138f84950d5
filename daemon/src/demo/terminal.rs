//! A pseudo terminal: the instrument's end here, the daemon opens the other by its path.

use rustix::fs::OFlags;
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use rustix::termios::{OptionalActions, tcgetattr, tcsetattr};
use std::ffi::OsString;
use std::fs::File;
use std::io::{self, ErrorKind, Write};
use std::os::unix::ffi::OsStringExt;
use std::path::PathBuf;
use std::time::Duration;

/// The instrument's end.
#[derive(Debug)]
pub struct Terminal {
    /// What the daemon opens.
    pub path: PathBuf,
    end: File,
    /// Held open so that the line settings stay and nothing is lost before the daemon opens it.
    _other: File,
}

impl Terminal {
    /// A new pair in raw mode.
    pub fn open() -> io::Result<Self> {
        // Not handed on to programs that are started: one that held an end would keep the line alive after
        // the instrument was pulled out.
        let end = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC)?;
        grantpt(&end)?;
        unlockpt(&end)?;
        let path = PathBuf::from(OsString::from_vec(ptsname(&end, Vec::new())?.into_bytes()));
        let other = rustix::fs::open(
            &path,
            OFlags::RDWR | OFlags::NOCTTY | OFlags::CLOEXEC,
            rustix::fs::Mode::empty(),
        )?;
        // Without raw mode the terminal would echo what the instrument says back to it.
        let mut settings = tcgetattr(&other)?;
        settings.make_raw();
        tcsetattr(&other, OptionalActions::Now, &settings)?;
        let flags = rustix::fs::fcntl_getfl(&end)?;
        rustix::fs::fcntl_setfl(&end, flags | OFlags::NONBLOCK)?;
        Ok(Self {
            path,
            end: File::from(end),
            _other: File::from(other),
        })
    }

    /// Another handle on the instrument's end, for reading what the daemon says; does not block.
    pub fn end(&self) -> io::Result<File> {
        self.end.try_clone()
    }

    /// Writes all bytes; gives up when `stopped` says so while the reader takes nothing.
    pub fn write(&mut self, mut bytes: &[u8], stopped: impl Fn() -> bool) -> io::Result<()> {
        while !bytes.is_empty() {
            match self.end.write(bytes) {
                Ok(count) => bytes = bytes.get(count..).unwrap_or(&[]),
                Err(error) if error.kind() == ErrorKind::WouldBlock => {
                    if stopped() {
                        return Ok(());
                    }
                    std::thread::sleep(Duration::from_millis(1));
                }
                Err(error) if error.kind() == ErrorKind::Interrupted => {}
                Err(error) => return Err(error),
            }
        }
        Ok(())
    }
}
