//! Bounded hand-over of inputs from the instrument thread to a slower consumer.
//!
//! *Why not a channel of `Input`*: each small frame would carry its own allocation, a minute at
//! 2 kHz would take 12 MB. Here frames are packed into 64 KiB chunks (about 25 bytes a frame), so
//! minutes of a stalled disk fit into a few megabytes.
//! *Never blocks*: when full, what does not fit is counted and set aside, never waited for.
//! *Wake-ups*: the consumer looks every 20 ms; waking it for each frame would cost more
//! than the work itself. Urgent matters (overpull) do not go this way.

use kerfwatch::input::{Input, PortNumber};
use kerfwatch::time::Nanos;
use std::collections::VecDeque;
use std::sync::{Condvar, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

const CHUNK_BYTES: usize = 64 * 1024;
const HEADER_BYTES: usize = 14;
const RECEIVED: u8 = 0;
const SENT: u8 = 1;
const OTHER: u8 = 2;

/// Packed inputs in order.
#[derive(Debug, Default)]
struct Chunk {
    packed: Vec<u8>,
    others: VecDeque<Input>,
}

#[derive(Debug, Default)]
struct State {
    chunks: VecDeque<Chunk>,
    bytes: usize,
    pushed: u64,
    lost: u64,
    closed: bool,
    /// An emptied chunk kept for reuse, so that the steady state allocates nothing.
    spare: Option<Chunk>,
}

/// The queue. One producer, one consumer.
#[derive(Debug)]
pub struct Handover {
    state: Mutex<State>,
    wake: Condvar,
    bytes_max: usize,
}

/// How full a [`Handover`] is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Backlog {
    /// Packed bytes waiting.
    pub bytes: usize,
    /// Most bytes it takes.
    pub bytes_max: usize,
    /// Inputs that found no room since the start.
    pub lost: u64,
}

impl Handover {
    /// An empty queue of at most `bytes_max` packed bytes.
    pub fn new(bytes_max: usize) -> Self {
        Self {
            state: Mutex::default(),
            wake: Condvar::new(),
            bytes_max,
        }
    }

    /// Adds one input; `false` when there was no room (counted).
    pub fn push(&self, input: &Input) -> bool {
        let mut state = self.lock();
        let size = HEADER_BYTES
            + match input {
                Input::Received { bytes, .. } | Input::Sent { bytes, .. } => bytes.len(),
                _ => size_of::<Input>(),
            };
        if state.closed || state.bytes + size > self.bytes_max {
            state.lost += 1;
            return false;
        }
        if state
            .chunks
            .back()
            .is_none_or(|chunk| chunk.packed.len() + size > CHUNK_BYTES)
        {
            let chunk = state.spare.take().unwrap_or_default();
            state.chunks.push_back(chunk);
        }
        state.bytes += size;
        state.pushed += 1;
        if let Some(chunk) = state.chunks.back_mut() {
            chunk.pack(input);
        }
        true
    }

    /// Moves everything that waits into `batch` (cleared first); waits up to `patience` for the
    /// first input. Returns `false` when the queue is closed and empty: the end.
    pub fn take(&self, batch: &mut Batch, patience: Duration) -> bool {
        batch.chunk.clear();
        let mut state = self.lock();
        if state.chunks.is_empty() && !state.closed {
            state = self
                .wake
                .wait_timeout(state, patience)
                .unwrap_or_else(PoisonError::into_inner)
                .0;
        }
        let Some(chunk) = state.chunks.pop_front() else {
            return !state.closed;
        };
        let bytes = chunk.packed.len() + chunk.others.len() * size_of::<Input>();
        state.bytes = state.bytes.saturating_sub(bytes);
        let old = std::mem::replace(&mut batch.chunk, chunk);
        state.spare = Some(old);
        true
    }

    /// No more inputs will come; wakes the consumer.
    pub fn close(&self) {
        self.lock().closed = true;
        self.wake.notify_all();
    }

    /// No more inputs will come.
    pub fn is_closed(&self) -> bool {
        self.lock().closed
    }

    /// Inputs that were given room since the start.
    pub fn pushed(&self) -> u64 {
        self.lock().pushed
    }

    /// How full it is.
    pub fn backlog(&self) -> Backlog {
        let state = self.lock();
        Backlog {
            bytes: state.bytes,
            bytes_max: self.bytes_max,
            lost: state.lost,
        }
    }

    fn lock(&self) -> MutexGuard<'_, State> {
        // A panic of the other side leaves whole chunks behind: they are still good.
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Chunk {
    fn clear(&mut self) {
        self.packed.clear();
        self.others.clear();
    }

    fn pack(&mut self, input: &Input) {
        match input {
            Input::Received { port, at, bytes } => self.header(RECEIVED, *port, *at, bytes),
            Input::Sent { port, at, bytes } => self.header(SENT, *port, *at, bytes),
            other => {
                self.header(OTHER, 0, 0, &[]);
                self.others.push_back(other.clone());
            }
        }
    }

    fn header(&mut self, tag: u8, port: PortNumber, at: Nanos, bytes: &[u8]) {
        self.packed.extend_from_slice(&[tag, port]);
        self.packed.extend_from_slice(&at.to_le_bytes());
        let length = u32::try_from(bytes.len()).unwrap_or(u32::MAX);
        self.packed.extend_from_slice(&length.to_le_bytes());
        self.packed.extend_from_slice(bytes);
    }
}

/// What was taken at once.
#[derive(Debug, Default)]
pub struct Batch {
    chunk: Chunk,
}

impl Batch {
    /// Hands each input in order to `sink`. The byte buffer is reused between calls.
    pub fn drain(&mut self, mut sink: impl FnMut(&Input)) {
        let mut rest = self.chunk.packed.as_slice();
        let mut received = Input::Received {
            port: 0,
            at: 0,
            bytes: Vec::new(),
        };
        while let Some((header, tail)) = rest.split_first_chunk::<HEADER_BYTES>() {
            let [tag, number, times @ .., l0, l1, l2, l3] = *header;
            let length = u32::from_le_bytes([l0, l1, l2, l3]) as usize;
            let (data, after) = tail.split_at_checked(length).unwrap_or((tail, &[]));
            rest = after;
            let time = Nanos::from_le_bytes(times);
            match tag {
                RECEIVED => {
                    if let Input::Received { port, at, bytes } = &mut received {
                        *port = number;
                        *at = time;
                        bytes.clear();
                        bytes.extend_from_slice(data);
                    }
                    sink(&received);
                }
                SENT => sink(&Input::Sent {
                    port: number,
                    at: time,
                    bytes: data.to_vec(),
                }),
                _ => {
                    if let Some(other) = self.chunk.others.pop_front() {
                        sink(&other);
                    }
                }
            }
        }
        self.chunk.clear();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn received(at: Nanos, text: &str) -> Input {
        Input::Received {
            port: 1,
            at,
            bytes: text.as_bytes().to_vec(),
        }
    }

    fn drained(queue: &Handover) -> Vec<Input> {
        let mut all = Vec::new();
        let mut batch = Batch::default();
        while queue.take(&mut batch, Duration::ZERO) {
            let before = all.len();
            batch.drain(|input| all.push(input.clone()));
            if all.len() == before {
                break;
            }
        }
        all
    }

    #[test]
    fn inputs_come_out_in_order_and_unchanged() {
        let queue = Handover::new(1 << 20);
        let inputs: Vec<Input> = (0..20_000)
            .map(|n| match n % 4 {
                0 => received(n, "1234.5\r\n"),
                1 => Input::Tick { at: n },
                2 => Input::Sent {
                    port: 0,
                    at: n,
                    bytes: vec![1, 3],
                },
                _ => received(n, ""),
            })
            .collect();
        for input in &inputs {
            assert!(queue.push(input));
        }
        assert_eq!(drained(&queue), inputs);
        assert_eq!(queue.backlog().bytes, 0);
    }

    #[test]
    fn a_full_queue_counts_and_never_waits() {
        let queue = Handover::new(1000);
        let taken = (0..1000)
            .filter(|n| queue.push(&received(*n, "12345678")))
            .count();
        assert_eq!(taken, 1000 / 22);
        assert_eq!(queue.backlog().lost as usize, 1000 - taken);
    }

    #[test]
    fn three_minutes_at_two_kilohertz_fit_into_ten_megabytes() {
        let queue = Handover::new(10 << 20);
        for n in 0..3 * 60 * 2000 {
            assert!(queue.push(&received(n, "  12345.6\r\n")));
        }
    }

    #[test]
    fn the_end_comes_after_the_last_input() {
        let queue = Handover::new(1000);
        queue.push(&received(1, "x"));
        queue.close();
        let mut batch = Batch::default();
        assert!(queue.take(&mut batch, Duration::from_secs(5)));
        let mut count = 0;
        batch.drain(|_| count += 1);
        assert_eq!(count, 1);
        assert!(!queue.take(&mut batch, Duration::from_secs(5)));
    }
}
