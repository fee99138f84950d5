//! Frames of binary instruments that always have the same length, byte by byte.
//!
//! A frame is a few constant bytes, a value, and a check. Taken as one column per byte position, the constant ones
//! cost nothing and the value what its noise is worth. Nothing is interpreted, and the bytes come back exactly. Runs
//! recorded before polled registers had a coder of their own (`polled`) have their frames here, without a right CRC-16.

use super::column::IntColumn;
use super::layout::ENTRIES_MAX;
use bincode::{Decode, Encode};
use crc::{CRC_16_MODBUS, Crc, Table};

const CRC: Crc<u16, Table<1>> = Crc::<u16, Table<1>>::new(&CRC_16_MODBUS);
/// Longer frames are left to the general coder.
const WIDTH_MAX: usize = 64;
/// Fewer frames are not worth the columns.
const COUNT_MIN: usize = 8;

/// Frames of one length.
#[derive(Debug, Clone, PartialEq, Encode, Decode)]
pub(super) struct Records {
    count: u32,
    /// Whether each frame ends with its right CRC-16, which is not stored; in older runs only.
    checked: bool,
    columns: Vec<IntColumn>,
}

impl Records {
    /// `None` when the bytes are not `count` frames of one moderate length.
    pub(super) fn encode(bytes: &[u8], width: usize) -> Option<Self> {
        let count = bytes.len().checked_div(width)?;
        if width > WIDTH_MAX
            || count * width != bytes.len()
            || !(COUNT_MIN..=ENTRIES_MAX).contains(&count)
        {
            return None;
        }
        let columns = (0..width)
            .map(|position| {
                let column: Vec<i64> = bytes
                    .iter()
                    .skip(position)
                    .step_by(width)
                    .map(|b| i64::from(*b))
                    .collect();
                IntColumn::encode(&column)
            })
            .collect();
        Some(Self {
            count: count as u32,
            checked: false,
            columns,
        })
    }

    /// At most `most` bytes.
    pub(super) fn decode(&self, most: usize) -> Result<Vec<u8>, String> {
        let count = self.count as usize;
        let width = self.columns.len() + if self.checked { 2 } else { 0 };
        if width > WIDTH_MAX || count > ENTRIES_MAX || count * width > most {
            return Err(format!("{count} frames of {width} bytes"));
        }
        let mut bytes = vec![0; count * width];
        for (position, column) in self.columns.iter().enumerate() {
            let values = column.decode(count)?;
            for (byte, value) in bytes.iter_mut().skip(position).step_by(width).zip(values) {
                *byte = value as u8;
            }
        }
        if self.checked {
            for frame in bytes.chunks_exact_mut(width) {
                if let Some((body, check)) = frame.split_last_chunk_mut::<2>() {
                    *check = CRC.checksum(body).to_le_bytes();
                }
            }
        }
        Ok(bytes)
    }
}
