//! bincode, kept in this one place.
//!
//! *Maintenance status*: bincode 2.0.1 works but is no longer maintained (RUSTSEC-2025-0141; release
//! 3.0.0 is an empty notice). Nothing outside this file names it apart from the derive macros on the
//! row types, and every block header has the number of its payload's encoding, so another encoding can be
//! brought in under a new number while old runs stay readable.
//!
//! *Limits*: a payload decodes to at most [`DECODED_MAX`] bytes; larger claims are an error, not an
//! allocation.

use bincode::config::{Configuration, Limit, LittleEndian, Varint};
use serde::Serialize;
use serde::de::DeserializeOwned;

/// Encoding from which on payloads may hold [`super::polled`]: 1 had none.
pub(super) const POLLED: u8 = 2;
/// Encoding from which on alarms of derived records say what they are about.
pub(super) const ALARMS_ABOUT: u8 = 3;

/// Whether payloads of this encoding can be read.
pub(super) const fn is_known(encoding: u8) -> bool {
    matches!(encoding, 1..=ALARMS_ABOUT)
}

/// Most bytes that one payload may claim when decoded.
pub(super) const DECODED_MAX: usize = 64 << 20;

const CONFIG: Configuration<LittleEndian, Varint, Limit<DECODED_MAX>> =
    bincode::config::standard().with_limit::<DECODED_MAX>();

/// A row type of ours to bytes.
pub(super) fn encode<T: bincode::Encode>(value: &T) -> Result<Vec<u8>, String> {
    bincode::encode_to_vec(value, CONFIG).map_err(|e| e.to_string())
}

/// Bytes back to a row type of ours; bytes left over are an error.
pub(super) fn decode<T: bincode::Decode<()>>(bytes: &[u8]) -> Result<T, String> {
    let (value, used) = bincode::decode_from_slice(bytes, CONFIG).map_err(|e| e.to_string())?;
    if used == bytes.len() {
        Ok(value)
    } else {
        Err(format!("{} bytes left over", bytes.len() - used))
    }
}

/// A shared result type (serde) to bytes.
pub(super) fn encode_shared<T: Serialize>(value: &T) -> Result<Vec<u8>, String> {
    bincode::serde::encode_to_vec(value, CONFIG).map_err(|e| e.to_string())
}

/// Bytes back to a shared result type.
pub(super) fn decode_shared<T: DeserializeOwned>(bytes: &[u8]) -> Result<T, String> {
    let (value, used) =
        bincode::serde::decode_from_slice(bytes, CONFIG).map_err(|e| e.to_string())?;
    if used == bytes.len() {
        Ok(value)
    } else {
        Err(format!("{} bytes left over", bytes.len() - used))
    }
}
