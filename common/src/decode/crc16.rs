//! CRC-16 as Modbus RTU uses it (polynomial 0x8005 reflected, start 0xFFFF), low byte first on
//! the line.
//!
//! *Source*: MODBUS over Serial Line, appendix B (from memory); check values computed with the
//! Python package `crcmod`.

use crc::{CRC_16_MODBUS, Crc, Table};

const MODBUS: Crc<u16, Table<1>> = Crc::<u16, Table<1>>::new(&CRC_16_MODBUS);

/// Checksum of `bytes`.
pub fn modbus(bytes: &[u8]) -> u16 {
    MODBUS.checksum(bytes)
}

/// Whether `frame` ends in the right checksum of what precedes it; false below 3 bytes.
pub fn ends_in_checksum(frame: &[u8]) -> bool {
    match frame.split_last_chunk::<2>() {
        Some((body, sum)) if !body.is_empty() => modbus(body) == u16::from_le_bytes(*sum),
        _ => false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // Check values: Python crcmod 1.7, `crcmod.predefined.mkCrcFun('modbus')`.
    #[test]
    fn checksum_agrees_with_published_values() {
        assert_eq!(modbus(b"123456789"), 0x4B37);
        assert!(ends_in_checksum(&[0x01, 0x03, 0, 0, 0, 0x0A, 0xC5, 0xCD]));
        assert!(ends_in_checksum(&[
            0x11, 0x03, 0, 0x6B, 0, 0x03, 0x76, 0x87
        ]));
    }

    #[test]
    fn short_or_damaged_frames_do_not_pass() {
        for short in [&[][..], &[0xFF], &[0xFF, 0xFF]] {
            assert!(!ends_in_checksum(short));
        }
        assert!(!ends_in_checksum(&[0x01, 0x03, 0, 0, 0, 0x0B, 0xC5, 0xCD]));
    }
}
