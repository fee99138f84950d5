//! A small disk that can be filled: a file system in memory, which takes the right to mount one.

use std::fs;
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::process::Command;

/// Mounted until dropped.
#[derive(Debug)]
pub struct SmallDisk(PathBuf);

impl SmallDisk {
    /// Mounts one of so many bytes at a folder, which is made if it is missing. Without the right to do so it says
    /// what is then not tested, and gives `None`.
    pub fn mount(at: &Path, bytes: u64) -> Option<Self> {
        fs::create_dir_all(at).ok()?;
        let mounted = Command::new("mount")
            .args(["-t", "tmpfs", "-o", &format!("size={bytes}"), "tmpfs"])
            .arg(at)
            .output();
        match mounted {
            Ok(output) if output.status.success() => Some(Self(at.to_owned())),
            other => {
                eprintln!(
                    "SKIPPED: a full disk was NOT tested, mounting a tmpfs failed: {other:?}"
                );
                None
            }
        }
    }

    /// Where it is.
    pub fn path(&self) -> &Path {
        &self.0
    }

    fn ballast(&self) -> PathBuf {
        self.0.join("ballast")
    }

    /// Takes all room that is left.
    pub fn fill(&self) -> io::Result<()> {
        let mut ballast = fs::File::create(self.ballast())?;
        // Ever smaller pieces, so that not a page is left.
        for size in [1 << 20, 4096, 1] {
            let piece = vec![0_u8; size];
            while ballast.write_all(&piece).is_ok() {}
        }
        Ok(())
    }

    /// Gives it back.
    pub fn free(&self) -> io::Result<()> {
        fs::remove_file(self.ballast())
    }
}

impl Drop for SmallDisk {
    fn drop(&mut self) {
        let _ = Command::new("umount").arg("-l").arg(&self.0).status();
    }
}
