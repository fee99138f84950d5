//! Which serial ports this machine has.
//!
//! *Input*: the folders `/dev` and `/sys/class/tty`; no library of the system is needed. *Output*:
//! ports in a steady order, adapters first, each with the name that it keeps when it is plugged in
//! elsewhere.

use super::stream::name_by_id;
use std::path::{Path, PathBuf};

/// A serial port of this machine.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FoundPort {
    /// Device file, for instance `/dev/ttyUSB0`.
    pub path: PathBuf,
    /// Name by maker and serial number, which stays the same; write this one into the job file.
    pub lasting: Option<PathBuf>,
}

impl FoundPort {
    /// What to write into the job file.
    pub fn address(&self) -> String {
        let path = self.lasting.as_ref().unwrap_or(&self.path);
        format!("serial:{}", path.display())
    }
}

/// The serial ports below `root` (`/`, but for tests).
pub fn serial_ports(root: &Path) -> Vec<FoundPort> {
    let by_id = root.join("dev/serial/by-id");
    let mut names: Vec<String> = (root.join("dev").read_dir().into_iter().flatten().flatten())
        .filter_map(|entry| entry.file_name().into_string().ok())
        .filter(|name| match number(name) {
            Some(("ttyUSB" | "ttyACM" | "ttyAMA", _)) => true,
            Some(("ttyS", _)) => has_hardware(root, name),
            _ => false,
        })
        .collect();
    names.sort_by_key(|name| {
        let (kind, number) = number(name).unwrap_or_default();
        let order = ["ttyUSB", "ttyACM", "ttyAMA", "ttyS"];
        (order.iter().position(|known| *known == kind), number)
    });
    names
        .into_iter()
        .map(|name| {
            let path = root.join("dev").join(name);
            FoundPort {
                lasting: name_by_id(&path, &by_id),
                path,
            }
        })
        .collect()
}

/// `ttyUSB12` -> (`ttyUSB`, 12).
fn number(name: &str) -> Option<(&str, u32)> {
    let kind = name.trim_end_matches(|digit: char| digit.is_ascii_digit());
    Some((kind, name[kind.len()..].parse().ok()?))
}

/// Kernels offer 32 `ttyS` files whether or not there is a chip; its type is then 0.
fn has_hardware(root: &Path, name: &str) -> bool {
    let kind = root.join("sys/class/tty").join(name).join("type");
    std::fs::read_to_string(kind).is_ok_and(|text| text.trim() != "0")
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::fs;

    #[test]
    fn ports_are_listed_with_the_name_that_lasts() {
        let root = tempfile::tempdir().unwrap();
        let at = |path: &str| root.path().join(path);
        fs::create_dir_all(at("dev/serial/by-id")).unwrap();
        for name in [
            "ttyUSB10", "ttyUSB2", "ttyACM0", "ttyS0", "ttyS1", "tty1", "null",
        ] {
            fs::write(at("dev").join(name), "").unwrap();
        }
        for (name, kind) in [("ttyS0", "4\n"), ("ttyS1", "0\n")] {
            fs::create_dir_all(at("sys/class/tty").join(name)).unwrap();
            fs::write(at("sys/class/tty").join(name).join("type"), kind).unwrap();
        }
        std::os::unix::fs::symlink("../../ttyUSB2", at("dev/serial/by-id/usb-Invented_01"))
            .unwrap();
        let ports = serial_ports(root.path());
        let names: Vec<_> = (ports.iter())
            .map(|port| port.path.file_name().unwrap().to_str().unwrap())
            .collect();
        assert_eq!(names, ["ttyUSB2", "ttyUSB10", "ttyACM0", "ttyS0"]);
        assert!(
            ports[0]
                .address()
                .ends_with("dev/serial/by-id/usb-Invented_01")
        );
        assert!(ports[1].lasting.is_none());
    }

    #[test]
    fn machine_without_ports_gives_an_empty_list() {
        assert!(serial_ports(Path::new("/nonexistent")).is_empty());
    }
}
