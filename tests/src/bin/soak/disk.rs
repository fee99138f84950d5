//! A small disk that can be filled.

use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::Command;

/// A small file system in memory, unmounted at the end.
pub(crate) struct SmallDisk(PathBuf);

impl SmallDisk {
    pub(crate) fn mount(at: &Path, mib: u64) -> Option<Self> {
        let size = format!("size={mib}m");
        let status = Command::new("mount")
            .args(["-t", "tmpfs", "-o", &size, "tmpfs"])
            .arg(at)
            .status();
        status
            .is_ok_and(|s| s.success())
            .then(|| Self(at.to_owned()))
    }

    pub(crate) fn fill(&self) -> std::io::Result<()> {
        let mut ballast = fs::File::create(self.0.join("ballast"))?;
        // Ever smaller pieces, so that not a page is left.
        for size in [1 << 20, 4096, 1] {
            let piece = vec![0_u8; size];
            while ballast.write_all(&piece).is_ok() {}
        }
        Ok(())
    }

    pub(crate) fn free(&self) -> std::io::Result<()> {
        fs::remove_file(self.0.join("ballast"))
    }
}

impl Drop for SmallDisk {
    fn drop(&mut self) {
        let _ = Command::new("umount").arg(&self.0).status();
    }
}
