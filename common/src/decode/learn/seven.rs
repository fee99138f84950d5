//! Text of seven bits with parity, read as eight without: the parity stands in the top bit.

use crate::job::{Framing, Parity};

/// Fewest bytes to judge by, and fewest of them with the top bit set: noise has the right parity half the time.
const BYTES_MIN: usize = 24;
const SET_MIN: usize = 8;

/// The framing that `bytes` show, and what they are without their parity; `None` when they show none.
pub fn seven_bits(bytes: &[u8]) -> Option<(Framing, Vec<u8>)> {
    let set = bytes.iter().filter(|byte| **byte >= 0x80).count();
    if bytes.len() < BYTES_MIN || set < SET_MIN || set == bytes.len() {
        return None;
    }
    let even = bytes.iter().all(|byte| byte.count_ones() % 2 == 0);
    let odd = bytes.iter().all(|byte| byte.count_ones() % 2 == 1);
    let framing = Framing {
        data_bits: 7,
        parity: match (even, odd) {
            (true, _) => Parity::Even,
            (_, true) => Parity::Odd,
            _ => return None,
        },
        stop_bits: 1,
    };
    Some((framing, bytes.iter().map(|byte| byte & 0x7F).collect()))
}

#[cfg(test)]
mod tests {
    use super::super::propose;
    use super::*;

    fn with_parity(text: &[u8], odd: u32) -> Vec<u8> {
        (text.iter())
            .map(|byte| byte | (((byte.count_ones() + odd) % 2) << 7) as u8)
            .collect()
    }

    #[test]
    fn parity_in_the_top_bit_is_made_out_and_taken_off() {
        let text: String = (0..9)
            .map(|n| format!("ST,GS,+{}.5 lbf\r\n", 2000 + n))
            .collect();
        for (odd, name) in [(0, "7E1"), (1, "7O1")] {
            let bytes = with_parity(text.as_bytes(), odd);
            assert!(propose(&bytes).is_empty());
            let (framing, plain) = seven_bits(&bytes).unwrap();
            assert_eq!(
                (framing.to_string().as_str(), plain.as_slice()),
                (name, text.as_bytes())
            );
            assert!(propose(&plain)[0].share > 0.9);
        }
        assert_eq!(seven_bits(text.as_bytes()), None);
    }

    #[test]
    fn noise_and_packets_are_not_taken_for_text() {
        let mut bytes = with_parity(&[b'7'; 40], 1);
        bytes[20] ^= 1;
        assert_eq!(seven_bits(&bytes), None);
        assert_eq!(seven_bits(&[0xFF; 64]), None);
        assert_eq!(seven_bits(&with_parity(b"short\r\n", 0)), None);
    }
}
