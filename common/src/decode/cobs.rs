//! Consistent overhead byte stuffing: any bytes -> bytes without zero, so that a zero can end a
//! frame.
//!
//! *Layout*: the data are cut at their zeros (the zeros themselves are not sent) and at 254
//! non-zero bytes; each piece is preceded by its length plus one (1 to 255). A code of 255 means
//! "254 bytes and no zero after them".
//! *Source*: Cheshire and Baker, IEEE/ACM Transactions on Networking, 1999 (from memory); check
//! values computed with the Python package `cobs`.

/// Largest size of `length` bytes when stuffed, without the final zero.
pub const fn encoded_len_max(length: usize) -> usize {
    length + 1 + length / 254
}

/// Appends `data`, stuffed, to `out`. The final zero is left to the caller.
pub fn encode(data: &[u8], out: &mut Vec<u8>) {
    let mut code_at = out.len();
    out.push(1);
    let mut code: u8 = 1;
    let mut rest = data.iter().copied().peekable();
    while let Some(byte) = rest.next() {
        if byte != 0 {
            out.push(byte);
            code += 1;
        }
        // A full piece ends by itself; at the end of the data no empty piece follows it.
        if byte == 0 || (code == 255 && rest.peek().is_some()) {
            out[code_at] = code;
            code_at = out.len();
            out.push(1);
            code = 1;
        }
    }
    out[code_at] = code;
}

/// A stuffed frame that cannot be: a code that points past its end, or a zero inside.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Malformed;

/// Unstuffs `frame` (without the final zero) in place; the data are then `frame[..length]`.
pub fn decode_in_place(frame: &mut [u8]) -> Result<usize, Malformed> {
    let (mut read, mut write) = (0, 0);
    while read < frame.len() {
        let code = usize::from(frame[read]);
        let end = read + code;
        if code == 0 || end > frame.len() {
            return Err(Malformed);
        }
        if frame[read + 1..end].contains(&0) {
            return Err(Malformed);
        }
        frame.copy_within(read + 1..end, write);
        write += code - 1;
        read = end;
        if code < 255 && read < frame.len() {
            frame[write] = 0;
            write += 1;
        }
    }
    Ok(write)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn encoded(data: &[u8]) -> Vec<u8> {
        let mut out = Vec::new();
        encode(data, &mut out);
        out
    }

    fn range(first: u8, last: u8) -> Vec<u8> {
        (first..=last).collect()
    }

    // Check values: Python cobs 1.2.2.
    #[test]
    fn stuffing_agrees_with_published_values() {
        let cases: &[(&[u8], &[u8])] = &[
            (&[], &[1]),
            (&[0], &[1, 1]),
            (&[0, 0], &[1, 1, 1]),
            (&[0, 0x11, 0], &[1, 2, 0x11, 1]),
            (&[0x11, 0x22, 0, 0x33], &[3, 0x11, 0x22, 2, 0x33]),
            (&[0x11, 0x22, 0x33, 0x44], &[5, 0x11, 0x22, 0x33, 0x44]),
            (&[0x11, 0, 0, 0], &[2, 0x11, 1, 1, 1]),
        ];
        for (data, stuffed) in cases {
            assert_eq!(encoded(data), *stuffed);
        }
    }

    #[test]
    fn pieces_of_254_bytes_agree_with_published_values() {
        let with = |head: &[u8], middle: Vec<u8>, tail: &[u8]| [head, &middle, tail].concat();
        assert_eq!(encoded(&range(1, 0xFE)), with(&[0xFF], range(1, 0xFE), &[]));
        assert_eq!(
            encoded(&range(0, 0xFE)),
            with(&[1, 0xFF], range(1, 0xFE), &[])
        );
        assert_eq!(
            encoded(&range(1, 0xFF)),
            with(&[0xFF], range(1, 0xFE), &[2, 0xFF])
        );
        assert_eq!(
            encoded(&with(&[], range(2, 0xFF), &[0])),
            with(&[0xFF], range(2, 0xFF), &[1, 1])
        );
        assert_eq!(
            encoded(&with(&[], range(3, 0xFF), &[0, 1])),
            with(&[0xFE], range(3, 0xFF), &[2, 1])
        );
    }

    #[test]
    fn impossible_frames_are_refused() {
        for bad in [&[0][..], &[3, 1], &[2, 0], &[1, 0, 1], &[0xFF, 1]] {
            assert_eq!(
                decode_in_place(&mut bad.to_vec()),
                Err(Malformed),
                "{bad:?}"
            );
        }
        assert_eq!(decode_in_place(&mut []), Ok(0));
    }

    proptest! {
        #[test]
        fn stuffed_data_hold_no_zero_and_come_back(data in prop::collection::vec(0u8..4, 0..700)) {
            let mut frame = encoded(&data);
            prop_assert!(!frame.contains(&0));
            prop_assert!(frame.len() <= encoded_len_max(data.len()));
            let length = decode_in_place(&mut frame).unwrap();
            prop_assert_eq!(&frame[..length], &data[..]);
        }
    }
}
