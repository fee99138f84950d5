//! Columns of numbers and bytes, compressed so that they come back bit for bit.
//!
//! *Integers*: constant step -> two numbers; otherwise offset and common divisor taken out and the rest
//! coded by `pco` (delta order found by itself). *Readings*: when every value is a decimal number of few
//! places, integers of that many places; otherwise the bits. *Bytes*: `zstd`, or as they are when that is
//! shorter. Each encoder decodes its own work before it is believed; what does not come back exactly is
//! stored plain. Decoders take hostile bytes: they return an error, never panic, never allocate more than
//! the caller's count asks for.

use bincode::{Decode, Encode};
use pco::{ChunkConfig, standalone};

/// Effort of `pco`: 8 is its default; the table in the developers' page shows why not more.
const PCO_LEVEL: usize = 8;
/// Effort of `zstd`.
const ZSTD_LEVEL: i32 = 3;
/// Most decimal places looked for in readings.
const PLACES_MAX: u8 = 9;
/// Whole numbers up to here are exact in an f64.
const EXACT_MAX: f64 = 9_007_199_254_740_992.0;

/// A column of integers.
#[derive(Debug, Clone, PartialEq, Encode, Decode)]
pub(super) enum IntColumn {
    /// `first`, `first + step`, ... (wrapping).
    Steps { first: i64, step: i64 },
    /// `offset + divisor * pco`.
    Packed {
        offset: i64,
        divisor: i64,
        pco: Vec<u8>,
    },
    /// Eight bytes each, little endian.
    Plain(Vec<u8>),
}

impl IntColumn {
    pub(super) fn encode(values: &[i64]) -> Self {
        let first = values.first().copied().unwrap_or(0);
        let step = values.get(1).map_or(0, |v| v.wrapping_sub(first));
        if values
            .windows(2)
            .all(|pair| pair[1].wrapping_sub(pair[0]) == step)
        {
            return Self::Steps { first, step };
        }
        let (offset, divisor) = offset_and_divisor(values);
        let scaled: Vec<i64> = values
            .iter()
            .map(|v| v.wrapping_sub(offset) / divisor)
            .collect();
        if let Some(pco) = pack(&scaled) {
            let column = Self::Packed {
                offset,
                divisor,
                pco,
            };
            if column.decode(values.len()).as_deref() == Ok(values) {
                return column;
            }
        }
        Self::Plain(values.iter().flat_map(|v| v.to_le_bytes()).collect())
    }

    pub(super) fn decode(&self, count: usize) -> Result<Vec<i64>, String> {
        match self {
            Self::Steps { first, step } => {
                let mut value = *first;
                Ok((0..count)
                    .map(|_| {
                        let this = value;
                        value = value.wrapping_add(*step);
                        this
                    })
                    .collect())
            }
            Self::Packed {
                offset,
                divisor,
                pco,
            } => {
                let mut values = unpack::<i64>(pco, count)?;
                if (*offset, *divisor) != (0, 1) {
                    for value in &mut values {
                        *value = value.wrapping_mul(*divisor).wrapping_add(*offset);
                    }
                }
                Ok(values)
            }
            Self::Plain(bytes) => Ok(words(bytes, count)?.map(i64::from_le_bytes).collect()),
        }
    }
}

/// First value and greatest common divisor of the distances to it; `(0, 1)` when they overflow.
fn offset_and_divisor(values: &[i64]) -> (i64, i64) {
    let Some(&offset) = values.first() else {
        return (0, 1);
    };
    let mut divisor = 0_u64;
    for value in values {
        let Some(distance) = value.checked_sub(offset) else {
            return (0, 1);
        };
        divisor = gcd(distance.unsigned_abs(), divisor);
        if divisor == 1 {
            return (offset, 1);
        }
    }
    match i64::try_from(divisor) {
        Ok(divisor) if divisor > 0 => (offset, divisor),
        _ => (0, 1),
    }
}

fn gcd(mut a: u64, mut b: u64) -> u64 {
    while b != 0 {
        (a, b) = (b, a % b);
    }
    a
}

fn pack<T: pco::data_types::Number>(values: &[T]) -> Option<Vec<u8>> {
    let config = ChunkConfig::default().with_compression_level(PCO_LEVEL);
    standalone::simple_compress(values, &config).ok()
}

fn unpack<T: pco::data_types::Number + Default>(
    bytes: &[u8],
    count: usize,
) -> Result<Vec<T>, String> {
    let mut values = vec![T::default(); count];
    let progress =
        standalone::simple_decompress_into(bytes, &mut values).map_err(|e| e.to_string())?;
    if progress.n_processed == count && progress.finished {
        Ok(values)
    } else {
        Err(format!(
            "column holds {} numbers, {count} expected",
            progress.n_processed
        ))
    }
}

fn words(bytes: &[u8], count: usize) -> Result<impl Iterator<Item = [u8; 8]>, String> {
    let (words, rest) = bytes.as_chunks::<8>();
    if words.len() == count && rest.is_empty() {
        Ok(words.iter().copied())
    } else {
        Err(format!("{} bytes for {count} numbers", bytes.len()))
    }
}

/// A column of readings.
#[derive(Debug, Clone, PartialEq, Encode, Decode)]
pub(super) enum ReadingColumn {
    /// Whole numbers over `10^places`, apart from some given by their bits (index, bits).
    Decimal {
        places: u8,
        numbers: IntColumn,
        others: Vec<(u32, u64)>,
    },
    /// `pco` on the floating-point numbers.
    Packed(Vec<u8>),
    /// Eight bytes each, little endian.
    Plain(Vec<u8>),
}

impl ReadingColumn {
    pub(super) fn encode(values: &[f64]) -> Self {
        if let Some(column) = Self::decimal(values)
            && column.gives(values)
        {
            return column;
        }
        if let Some(packed) = pack(values) {
            let column = Self::Packed(packed);
            if column.gives(values) {
                return column;
            }
        }
        Self::Plain(
            values
                .iter()
                .flat_map(|v| v.to_bits().to_le_bytes())
                .collect(),
        )
    }

    fn gives(&self, values: &[f64]) -> bool {
        self.decode(values.len()).is_ok_and(|back| {
            back.iter()
                .map(|v| v.to_bits())
                .eq(values.iter().map(|v| v.to_bits()))
        })
    }

    /// The fewest places that give back all but a few values; looked for on a sample first.
    fn decimal(values: &[f64]) -> Option<Self> {
        let few = values.len() / 64;
        let stride = (values.len() / 64).max(1);
        'places: for places in 0..=PLACES_MAX {
            let scale = power(places);
            let sample = values.iter().step_by(stride);
            let misses = sample.filter(|v| whole(**v, scale).is_none()).count();
            if misses > 1 {
                continue;
            }
            let mut others = Vec::new();
            let mut last = 0;
            let mut numbers = Vec::with_capacity(values.len());
            for (index, value) in values.iter().enumerate() {
                if let Some(number) = whole(*value, scale) {
                    last = number;
                } else if others.len() < few {
                    others.push((index as u32, value.to_bits()));
                } else {
                    continue 'places;
                }
                numbers.push(last);
            }
            return Some(Self::Decimal {
                places,
                numbers: IntColumn::encode(&numbers),
                others,
            });
        }
        None
    }

    pub(super) fn decode(&self, count: usize) -> Result<Vec<f64>, String> {
        match self {
            Self::Decimal {
                places,
                numbers,
                others,
            } => {
                if *places > PLACES_MAX {
                    return Err(format!("{places} decimal places"));
                }
                let scale = power(*places);
                let mut values: Vec<f64> = numbers
                    .decode(count)?
                    .into_iter()
                    .map(|n| n as f64 / scale)
                    .collect();
                for (index, bits) in others {
                    *values
                        .get_mut(*index as usize)
                        .ok_or("exception past the end of the column")? = f64::from_bits(*bits);
                }
                Ok(values)
            }
            Self::Packed(bytes) => unpack(bytes, count),
            Self::Plain(bytes) => Ok(words(bytes, count)?
                .map(|w| f64::from_bits(u64::from_le_bytes(w)))
                .collect()),
        }
    }
}

fn power(places: u8) -> f64 {
    10_f64.powi(i32::from(places))
}

/// The whole number that, divided by `scale`, is exactly this value (a decimal read from text is, since
/// both reading and dividing round once).
fn whole(value: f64, scale: f64) -> Option<i64> {
    let number = (value * scale).round();
    (number.abs() < EXACT_MAX && (number as i64 as f64 / scale).to_bits() == value.to_bits())
        .then_some(number as i64)
}

/// A run of bytes.
#[derive(Debug, Clone, PartialEq, Encode, Decode)]
pub(super) enum Bytes {
    /// As they are.
    Plain(Vec<u8>),
    /// One byte, many times.
    Same { byte: u8, count: u32 },
    /// `zstd`, with the length of the original.
    Packed { length: u32, zstd: Vec<u8> },
}

impl Bytes {
    pub(super) fn encode(bytes: &[u8]) -> Self {
        if let Some(&byte) = bytes.first()
            && bytes.iter().all(|b| *b == byte)
        {
            return Self::Same {
                byte,
                count: bytes.len() as u32,
            };
        }
        if let Ok(zstd) = zstd::bulk::compress(bytes, ZSTD_LEVEL)
            && zstd.len() + 6 < bytes.len()
            && zstd::bulk::decompress(&zstd, bytes.len()).is_ok_and(|back| back == bytes)
        {
            return Self::Packed {
                length: bytes.len() as u32,
                zstd,
            };
        }
        Self::Plain(bytes.to_vec())
    }

    /// At most `most` bytes.
    pub(super) fn decode(&self, most: usize) -> Result<Vec<u8>, String> {
        self.decode_with(most, &mut Unzipper::default())
    }

    /// The same for one column of many.
    pub(super) fn decode_with(
        &self,
        most: usize,
        unzipper: &mut Unzipper,
    ) -> Result<Vec<u8>, String> {
        let check = |length: usize| {
            if length <= most {
                Ok(length)
            } else {
                Err(format!("{length} bytes where at most {most} fit"))
            }
        };
        match self {
            Self::Plain(bytes) => check(bytes.len()).map(|_| bytes.clone()),
            Self::Same { byte, count } => check(*count as usize).map(|n| vec![*byte; n]),
            Self::Packed { length, zstd } => {
                let length = check(*length as usize)?;
                let bytes = unzipper.unzip(zstd, length).map_err(|e| e.to_string())?;
                if bytes.len() == length {
                    Ok(bytes)
                } else {
                    Err(format!("{} bytes, {length} expected", bytes.len()))
                }
            }
        }
    }
}

/// `zstd` with its working memory, which costs more to make than a column costs to decode.
#[derive(Default)]
pub(super) struct Unzipper(Option<zstd::bulk::Decompressor<'static>>);

impl Unzipper {
    fn unzip(&mut self, zstd: &[u8], length: usize) -> std::io::Result<Vec<u8>> {
        let made = match self.0.take() {
            Some(made) => made,
            None => zstd::bulk::Decompressor::new()?,
        };
        self.0.insert(made).decompress(zstd, length)
    }
}
