//! Modbus RTU, master side, without I/O: requests to send, answers to readings.
//!
//! *Input*: what was sent and what came back, each with its time. *Output*: readings.
//! *Limits*: reads only (functions 3 and 4), at most [`WORDS_MAX`] registers in one request.
//! *Errors*: counted. An answer is found wherever it stands in the bytes, so noise before it (the
//! zero byte of a transceiver that turns round, an echo of the request) does not cost it.
//!
//! An answer in Modbus RTU does not say which question it answers. Hence: each answer is taken
//! for the newest question only, once, and only within [`Bus::answer_within`]; what comes later is
//! counted as late and not used, and [`Bus::ambiguous`] tells the poller where it has to wait.
//!
//! *Source*: MODBUS Application Protocol V1.1b3, 6.3 and 6.4, and MODBUS over Serial Line V1.02,
//! 2.5 (both from memory); the tests hold it against servers that others wrote.

use super::{FrameCounts, FrameFault, RawReading, crc16};
use crate::input::ChannelId;
use crate::job::{ModbusRegister, RegisterKind};
use crate::time::Nanos;

/// Most registers in one request: two channels of two words.
pub const WORDS_MAX: u16 = 4;

/// Longest answer, bytes.
const ANSWER_MAX: usize = 5 + 2 * WORDS_MAX as usize;

/// Length of an exception answer, bytes.
const EXCEPTION_LEN: usize = 5;

/// Length of a read request, bytes.
pub const REQUEST_LEN: usize = 8;

/// Time a device may take to think, beside the time on the line. The standard sets no figure;
/// common practice is 0.1 to 1 s (no source).
const THINKING: Nanos = 300_000_000;

/// Registers that make one number.
fn words(kind: RegisterKind) -> u16 {
    match kind {
        RegisterKind::I16 | RegisterKind::U16 => 1,
        RegisterKind::I32 | RegisterKind::U32 | RegisterKind::F32 => 2,
    }
}

/// Number in `data`, which holds its registers, each high byte first; `None` when not finite or
/// when `data` has another length.
pub fn value(data: &[u8], kind: RegisterKind, swap_words: bool) -> Option<f64> {
    let one = || <[u8; 2]>::try_from(data).ok();
    let two = || {
        let [a, b, c, d] = <[u8; 4]>::try_from(data).ok()?;
        Some(if swap_words {
            [c, d, a, b]
        } else {
            [a, b, c, d]
        })
    };
    let value = match kind {
        RegisterKind::I16 => f64::from(i16::from_be_bytes(one()?)),
        RegisterKind::U16 => f64::from(u16::from_be_bytes(one()?)),
        RegisterKind::I32 => f64::from(i32::from_be_bytes(two()?)),
        RegisterKind::U32 => f64::from(u32::from_be_bytes(two()?)),
        RegisterKind::F32 => f64::from(f32::from_be_bytes(two()?)),
    };
    value.is_finite().then_some(value)
}

/// A request to read registers, checksum included.
pub fn read_request(unit: u8, function: u8, register: u16, count: u16) -> [u8; REQUEST_LEN] {
    let [register_high, register_low] = register.to_be_bytes();
    let [count_high, count_low] = count.to_be_bytes();
    let mut frame = [
        unit,
        function,
        register_high,
        register_low,
        count_high,
        count_low,
        0,
        0,
    ];
    let checksum = crc16::modbus(&frame[..6]).to_le_bytes();
    frame[6..].copy_from_slice(&checksum);
    frame
}

/// One channel's number within an answer.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Part {
    channel: ChannelId,
    /// First byte of its data within the answer's data.
    offset: usize,
    kind: RegisterKind,
    swap_words: bool,
}

/// One question that is asked again and again.
#[derive(Debug, Clone, PartialEq)]
pub struct Poll {
    /// The request as sent.
    pub request: [u8; REQUEST_LEN],
    /// From one question to the next.
    pub period: Nanos,
    words: u16,
    parts: Vec<Part>,
}

impl Poll {
    fn answer_len(&self) -> usize {
        5 + 2 * usize::from(self.words)
    }
}

/// What is polled on one port, and the line's timing.
#[derive(Debug, Clone, PartialEq)]
pub struct Bus {
    /// The questions, in order of first asking.
    pub polls: Vec<Poll>,
    /// An answer has to be complete this long after its question was sent.
    pub answer_within: Nanos,
    /// Silence that has to be kept between frames: 3.5 characters, and 1.75 ms above 19200 baud.
    pub frame_gap: Nanos,
}

impl Bus {
    /// `channels`: one or two; two numbers in adjoining registers of one device are read by one
    /// request, so that both are of the same moment.
    pub fn new(channels: &[(ChannelId, &ModbusRegister)], baud: u32) -> Self {
        let mut polls: Vec<Poll> = Vec::new();
        for &(channel, at) in channels {
            let part = Part {
                channel,
                offset: 0,
                kind: at.kind,
                swap_words: at.swap_words,
            };
            polls.push(Poll {
                request: read_request(at.unit, at.function, at.register, words(at.kind)),
                period: (1e9 / at.poll_hz.clamp(1e-3, 1e4)) as Nanos,
                words: words(at.kind),
                parts: vec![part],
            });
        }
        if let [(_, first), (_, second)] = channels
            && let Some(joined) = joined(&polls[0], first, &polls[1], second)
        {
            polls = vec![joined];
        }
        // 8 data bits, parity or second stop bit: 11 bits a character.
        let character = 11_000_000_000 / Nanos::from(baud.max(300));
        Self {
            answer_within: THINKING + character * (ANSWER_MAX + REQUEST_LEN) as Nanos,
            frame_gap: if baud > 19_200 {
                1_750_000
            } else {
                character * 7 / 2
            },
            polls,
        }
    }

    /// Whether an answer to `first` that comes late could be taken for an answer to `second`.
    pub fn ambiguous(&self, first: usize, second: usize) -> bool {
        let (first, second) = (&self.polls[first], &self.polls[second]);
        first.request[..2] == second.request[..2] && first.words == second.words
    }
}

fn joined(
    one: &Poll,
    at_one: &ModbusRegister,
    two: &Poll,
    at_two: &ModbusRegister,
) -> Option<Poll> {
    if (at_one.unit, at_one.function) != (at_two.unit, at_two.function) {
        return None;
    }
    let (low, high, start) = if at_one.register.checked_add(one.words) == Some(at_two.register) {
        (one, two, at_one.register)
    } else if at_two.register.checked_add(two.words) == Some(at_one.register) {
        (two, one, at_two.register)
    } else {
        return None;
    };
    let moved = high.parts.iter().map(|part| Part {
        offset: 2 * usize::from(low.words),
        ..*part
    });
    let words = low.words + high.words;
    Some(Poll {
        request: read_request(at_one.unit, at_one.function, start, words),
        period: one.period.min(two.period),
        words,
        parts: low.parts.iter().copied().chain(moved).collect(),
    })
}

/// A question that waits for its answer.
#[derive(Debug, Clone, Copy)]
struct Question {
    poll: usize,
    sent: Nanos,
    answered: bool,
    /// Bytes that came since.
    received: u64,
    checksum_failed: bool,
    late: bool,
}

/// Answers of one port -> readings.
#[derive(Debug, Clone)]
pub struct ModbusDecoder {
    bus: Bus,
    /// The newest bytes, oldest first; an answer is looked for at its end after each byte.
    window: [u8; ANSWER_MAX],
    length: usize,
    question: Option<Question>,
    counts: FrameCounts,
}

impl ModbusDecoder {
    /// `bus`: what the poller asks on this port.
    pub fn new(bus: Bus) -> Self {
        Self {
            bus,
            window: [0; ANSWER_MAX],
            length: 0,
            question: None,
            counts: FrameCounts::default(),
        }
    }

    /// What is polled.
    pub fn bus(&self) -> &Bus {
        &self.bus
    }

    /// The port was opened or lost: the question under way is given up.
    pub fn port_changed(&mut self, _open: bool) {
        if self.question.take().is_some_and(|asked| !asked.answered) {
            self.counts.partial += 1;
        }
        self.length = 0;
    }

    /// A request was sent. The question before it, if it is still open, counts as failed.
    pub fn sent(&mut self, at: Nanos, bytes: &[u8]) {
        self.close_question(at);
        self.length = 0;
        self.question = (self.bus.polls.iter())
            .position(|poll| poll.request == bytes)
            .map(|poll| Question {
                poll,
                sent: at,
                answered: false,
                received: 0,
                checksum_failed: false,
                late: false,
            });
    }

    /// Takes bytes; `out` gets each reading.
    pub fn push(&mut self, at: Nanos, bytes: &[u8], out: &mut impl FnMut(RawReading)) {
        for &byte in bytes {
            if self.length == ANSWER_MAX {
                self.window.copy_within(1.., 0);
                self.length -= 1;
            }
            self.window[self.length] = byte;
            self.length += 1;
            self.look(at, out);
        }
    }

    /// Whether the newest question has been answered, be it by an exception.
    pub fn answered(&self) -> bool {
        self.question.is_some_and(|asked| asked.answered)
    }

    /// Counts so far.
    pub fn counts(&self) -> &FrameCounts {
        &self.counts
    }

    fn close_question(&mut self, at: Nanos) {
        let Some(asked) = self.question.take() else {
            return;
        };
        if asked.answered {
            return;
        }
        self.counts.fault(
            at,
            if asked.late {
                FrameFault::Late
            } else if asked.checksum_failed {
                FrameFault::Checksum
            } else if asked.received > 0 {
                FrameFault::Garbage
            } else {
                FrameFault::NoAnswer
            },
        );
    }

    /// Looks whether the newest byte completes the answer.
    fn look(&mut self, at: Nanos, out: &mut impl FnMut(RawReading)) {
        let Some(asked) = &mut self.question else {
            return;
        };
        if asked.answered {
            return;
        }
        asked.received += 1;
        let poll = &self.bus.polls[asked.poll];
        let (unit, function) = (poll.request[0], poll.request[1]);
        let seen = &self.window[..self.length];
        let ending = |length: usize| seen.len().checked_sub(length).map(|start| &seen[start..]);

        let answer = ending(poll.answer_len())
            .filter(|frame| frame[..3] == [unit, function, (2 * poll.words) as u8]);
        let refusal = ending(EXCEPTION_LEN).filter(|frame| frame[..2] == [unit, function | 0x80]);
        let whole = |frame: Option<&[u8]>| frame.is_some_and(crc16::ends_in_checksum);
        if !whole(answer) && !whole(refusal) {
            asked.checksum_failed |= answer.is_some();
            return;
        }
        if at - asked.sent > self.bus.answer_within {
            asked.late = true;
            return;
        }
        asked.answered = true;
        if let Some(frame) = answer.filter(|_| whole(answer)) {
            let mut wrong = false;
            for part in &poll.parts {
                let from = 3 + part.offset;
                let data = &frame[from..from + 2 * usize::from(words(part.kind))];
                match value(data, part.kind, part.swap_words) {
                    Some(raw) => out(RawReading {
                        channel: part.channel,
                        at,
                        raw,
                        seq: None,
                        device_s: None,
                        temperature: None,
                    }),
                    None => wrong = true,
                }
            }
            self.counts.good += 1;
            if wrong {
                self.counts.fault(at, FrameFault::NotANumber);
            }
        } else if let Some(frame) = refusal {
            self.counts.fault(at, FrameFault::Exception(frame[2]));
        }
    }
}

#[cfg(test)]
mod tests;
