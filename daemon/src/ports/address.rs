//! Where a port is: `serial:/dev/...` or `tcp:host:port`.

use std::path::PathBuf;

/// A port's address, read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Address {
    /// A serial line, by device file.
    Serial(PathBuf),
    /// A TCP server, such as a serial device server: `host:port`.
    Tcp(String),
}

/// An address that cannot be read.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error(
    "`{0}` is not an address of a port; write serial:/dev/ttyUSB0, or tcp:192.0.2.7:4001 for a \
     serial device server (set to TCP server; UDP and Modbus TCP are not spoken)"
)]
pub struct AddressError(String);

impl Address {
    /// Reads `text`.
    pub fn parse(text: &str) -> Result<Self, AddressError> {
        let wrong = || AddressError(text.to_owned());
        match text.split_once(':') {
            Some(("serial", path)) if path.starts_with('/') => Ok(Self::Serial(path.into())),
            Some(("tcp", peer)) => {
                let (host, port) = peer.rsplit_once(':').ok_or_else(wrong)?;
                let numbered = port.parse::<u16>().is_ok_and(|port| port > 0);
                if host.is_empty() || !numbered {
                    return Err(wrong());
                }
                Ok(Self::Tcp(peer.to_owned()))
            }
            _ => Err(wrong()),
        }
    }

    /// Whether it is a TCP address.
    pub fn is_tcp(&self) -> bool {
        matches!(self, Self::Tcp(_))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn addresses_are_read() {
        let serial = Address::parse("serial:/dev/ttyUSB0");
        assert_eq!(serial, Ok(Address::Serial("/dev/ttyUSB0".into())));
        let tcp = Address::parse("tcp:[::1]:4001");
        assert_eq!(tcp, Ok(Address::Tcp("[::1]:4001".into())));
    }

    #[test]
    fn unreadable_addresses_say_what_to_write() {
        for text in [
            "",
            "COM3",
            "/dev/ttyS0",
            "serial:ttyS0",
            "tcp:host",
            "tcp::1",
            "tcp:h:0",
        ] {
            let error = Address::parse(text).unwrap_err().to_string();
            assert!(error.contains("write serial:"), "{error}");
        }
    }
}
