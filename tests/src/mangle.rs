//! A bad line: drops, flips, repeats and inserts bytes, in bursts, the same way for the same seed.

/// Small generator (splitmix64); the seed is all its state, so a failure names one number.
#[derive(Debug, Clone)]
pub struct Dice(u64);

impl Dice {
    /// From a seed.
    pub fn new(seed: u64) -> Self {
        Self(seed)
    }

    /// Any number.
    pub fn roll(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        mixed ^ (mixed >> 31)
    }

    /// 0 to `below` - 1.
    pub fn below(&mut self, below: u64) -> u64 {
        self.roll() % below
    }

    /// True once in `times`.
    pub fn once_in(&mut self, times: u64) -> bool {
        self.below(times) == 0
    }
}

/// `clean`, damaged about once in `every` bytes. Also returned: for each clean byte, whether it
/// came through untouched and with nothing put before it.
pub fn mangle(clean: &[u8], every: u64, dice: &mut Dice) -> (Vec<u8>, Vec<bool>) {
    let mut out = Vec::with_capacity(clean.len() + 64);
    let mut intact = Vec::with_capacity(clean.len());
    let mut burst = 0;
    for &byte in clean {
        if burst == 0 && dice.once_in(every) {
            burst = 1 + dice.below(6);
        }
        if burst == 0 {
            out.push(byte);
            intact.push(true);
            continue;
        }
        burst -= 1;
        intact.push(false);
        match dice.below(4) {
            0 => {}
            1 => out.push(byte ^ (1 << dice.below(8))),
            2 => out.extend_from_slice(&[byte, byte]),
            _ => out.extend_from_slice(&[dice.roll() as u8, byte]),
        }
    }
    (out, intact)
}

/// `bytes` in chunks of random size, as a driver might deliver them.
pub fn chunks<'a>(bytes: &'a [u8], dice: &mut Dice) -> Vec<&'a [u8]> {
    let mut rest = bytes;
    let mut chunks = Vec::new();
    while !rest.is_empty() {
        let size = (1 + dice.below(40) as usize).min(rest.len());
        let (chunk, tail) = rest.split_at(size);
        chunks.push(chunk);
        rest = tail;
    }
    chunks
}
