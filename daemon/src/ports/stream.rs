//! Opens a port, and finds a serial adapter again that came back under another name.

use super::PortConfig;
use super::address::Address;
use kerfwatch::job::{Parity, SerialLine};
use std::io;
use std::path::{Path, PathBuf};
use std::time::Duration;
use tokio::io::{AsyncRead, AsyncWrite};
use tokio::net::TcpStream;
use tokio_serial::{DataBits, SerialPortBuilder, SerialPortBuilderExt, StopBits};

/// Longest wait for a TCP connection.
const CONNECT_MAX: Duration = Duration::from_secs(3);

/// A TCP connection that brings nothing for so long is given up: when a cable is pulled, nothing
/// else ever tells. Harmless if the instrument was only silent, but the first line after it may be half a one and is
/// not read: so never before twice the silence that the job allows ([`PortConfig::idle_max`]).
pub(super) const TCP_IDLE_MAX: Duration = Duration::from_secs(10);

/// An open port.
pub(super) trait Stream: AsyncRead + AsyncWrite + Unpin + Send {}
impl<T: AsyncRead + AsyncWrite + Unpin + Send> Stream for T {}

/// Which adapter a serial port was when it was first opened: its name by maker and serial number.
/// `ttyUSB0` may come back as `ttyUSB1`, and the other instrument as `ttyUSB0`.
#[derive(Debug, Default)]
pub(super) struct Identity(Option<PathBuf>);

/// Opens the port at `address`.
pub(super) async fn open(
    address: &Address,
    config: &PortConfig,
    identity: &mut Identity,
) -> io::Result<Box<dyn Stream>> {
    match address {
        Address::Tcp(peer) => {
            let connecting = tokio::time::timeout(CONNECT_MAX, TcpStream::connect(peer));
            let stream = connecting.await.map_err(|_| {
                io::Error::new(io::ErrorKind::TimedOut, "no connection within 3 s")
            })??;
            stream.set_nodelay(true)?;
            Ok(Box::new(stream))
        }
        Address::Serial(path) => {
            let path = identity.path(path, &config.by_id);
            let stream = serial(&path, config.serial)
                .open_native_async()
                .map_err(|error| named(&path, error.into()))?;
            identity.remember(&path, &config.by_id);
            Ok(Box::new(stream))
        }
    }
}

/// A serial port, set as the job says.
pub(crate) fn serial(path: &Path, line: SerialLine) -> SerialPortBuilder {
    let framing = line.framing;
    tokio_serial::new(path.to_string_lossy(), line.baud)
        .data_bits(match framing.data_bits {
            7 => DataBits::Seven,
            _ => DataBits::Eight,
        })
        .parity(match framing.parity {
            Parity::None => tokio_serial::Parity::None,
            Parity::Even => tokio_serial::Parity::Even,
            Parity::Odd => tokio_serial::Parity::Odd,
        })
        .stop_bits(match framing.stop_bits {
            2 => StopBits::Two,
            _ => StopBits::One,
        })
}

fn named(path: &Path, error: io::Error) -> io::Error {
    let hint = match error.kind() {
        io::ErrorKind::PermissionDenied => {
            " (only the group that owns the port may open it: `sudo usermod -aG dialout $USER`, then log in again)"
        }
        io::ErrorKind::ResourceBusy => {
            " (another program has it open; as root, `fuser -v PORT` names it)"
        }
        _ if !path.exists() => " (no such port; is it plugged in?)",
        _ => "",
    };
    io::Error::new(error.kind(), format!("{}: {error}{hint}", path.display()))
}

impl Identity {
    /// Where to open: the path of the job, unless it is known which adapter that was and this
    /// adapter now has another name.
    fn path(&self, configured: &Path, by_id: &Path) -> PathBuf {
        match &self.0 {
            Some(known) if known.exists() => known.clone(),
            // The adapter is not there. If the configured path is there, it is another adapter,
            // unless the system does not name it at all.
            Some(known) if name_by_id(configured, by_id).is_some() => known.clone(),
            _ => configured.to_owned(),
        }
    }

    fn remember(&mut self, opened: &Path, by_id: &Path) {
        if self.0.is_none() {
            self.0 = name_by_id(opened, by_id);
        }
    }
}

/// The name in `by_id` that leads to the same device as `path`.
pub(super) fn name_by_id(path: &Path, by_id: &Path) -> Option<PathBuf> {
    let device = path.canonicalize().ok()?;
    let mut names: Vec<PathBuf> = (by_id.read_dir().ok()?.flatten())
        .map(|entry| entry.path())
        .filter(|name| name.canonicalize().is_ok_and(|target| target == device))
        .collect();
    names.sort();
    names.into_iter().next()
}

#[cfg(test)]
mod tests {
    use super::*;
    use rustix::pty;
    use rustix::termios::{ControlModes, tcgetattr};
    use std::ffi::OsStr;
    use std::os::unix::ffi::OsStrExt;

    #[test]
    fn a_port_is_set_as_the_job_says() {
        let set = |baud, framing: &str| {
            let framing = framing.parse().unwrap();
            serial(Path::new("/dev/x"), SerialLine { baud, framing })
        };
        let new = |baud| tokio_serial::new("/dev/x", baud);
        assert_eq!(set(9600, "8N1"), new(9600));
        let even = tokio_serial::Parity::Even;
        assert_eq!(set(19_200, "8E1"), new(19_200).parity(even));
        let odd = new(2400).data_bits(DataBits::Seven);
        let odd = odd.parity(tokio_serial::Parity::Odd);
        assert_eq!(set(2400, "7O2"), odd.stop_bits(StopBits::Two));
    }

    /// A pseudo terminal keeps stop bits, but neither parity nor seven bits.
    #[tokio::test]
    async fn the_kernel_is_told() {
        let host = pty::openpt(pty::OpenptFlags::RDWR | pty::OpenptFlags::NOCTTY).unwrap();
        pty::grantpt(&host).unwrap();
        pty::unlockpt(&host).unwrap();
        let name = pty::ptsname(&host, Vec::new()).unwrap();
        let path = Path::new(OsStr::from_bytes(name.as_bytes()));
        for (framing, two) in [("8N2", true), ("8N1", false)] {
            let framing = framing.parse().unwrap();
            let line = SerialLine {
                baud: 4800,
                framing,
            };
            let _open = serial(path, line).open_native_async().unwrap();
            let set = tcgetattr(&host).unwrap();
            assert_eq!(set.control_modes.contains(ControlModes::CSTOPB), two);
            assert_eq!(set.output_speed(), 4800);
        }
    }
}
