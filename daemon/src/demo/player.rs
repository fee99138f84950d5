//! Writes recorded frames into the pseudo terminals at their recorded pace, and drives the clock.
//!
//! Before each frame the clock is set to its recorded arrival time; the next frame waits until the
//! daemon has taken this one in. On a busy machine the play slows down, but no time is wrong.

use super::terminal::Terminal;
use crate::clock::Hand;
use crate::progress::{Progress, read};
use kerfwatch::input::{Mark, PortNumber};
use kerfwatch::time::Nanos;
use std::collections::{BTreeMap, VecDeque};
use std::sync::Arc;
use std::time::{Duration, Instant};
use tokio::sync::mpsc;
use tokio_util::sync::CancellationToken;

/// How long the daemon may take to take in a frame before the player goes on without.
const PATIENCE: Duration = Duration::from_secs(2);
/// Run time between readings of the resting instruments when the record has ended.
const REST_NS: Nanos = 50_000_000;

/// Bytes an instrument once sent.
#[derive(Debug, Clone, PartialEq)]
pub struct Frame {
    /// On which port.
    pub port: PortNumber,
    /// When they arrived.
    pub at: Nanos,
    /// The bytes.
    pub bytes: Vec<u8>,
}

/// Everything to be played.
#[derive(Debug)]
pub struct Player {
    /// In order of arrival.
    pub frames: Vec<Frame>,
    /// The operator's marks, in order.
    pub marks: VecDeque<(Nanos, Mark)>,
    /// Where they go.
    pub marks_out: mpsc::Sender<Mark>,
    /// The instruments' ends, by port number.
    pub ends: Vec<Terminal>,
    /// Drives the run clock.
    pub hand: Hand,
    /// Tells what the daemon has taken in.
    pub progress: Arc<Progress>,
    /// Times as fast as recorded.
    pub speed: f64,
}

impl Player {
    /// Plays until the end, then says `played`; then time goes on with the winch at rest: each
    /// instrument repeats its last frame, until `stop`.
    pub fn play(mut self, stop: &CancellationToken, played: &CancellationToken) {
        self.wait_for_ports(stop);
        let start = Instant::now();
        let mut written = read(&self.progress.bytes_received);
        let mut at = 0;
        let mut last: BTreeMap<PortNumber, Frame> = BTreeMap::new();
        for frame in std::mem::take(&mut self.frames) {
            at = frame.at.max(at);
            self.keep_pace(start, at);
            self.mark_until(at);
            if !self.write(&frame, at, &mut written, stop) {
                return;
            }
            last.insert(frame.port, frame);
        }
        played.cancel();
        while !stop.is_cancelled() {
            at += REST_NS;
            self.keep_pace(start, at);
            self.hand.set(at);
            for frame in last.values() {
                if !self.write(frame, at, &mut written, stop) {
                    return;
                }
            }
        }
    }

    /// Writes one frame at its time; `false` at the end of the run.
    fn write(
        &mut self,
        frame: &Frame,
        at: Nanos,
        written: &mut u64,
        stop: &CancellationToken,
    ) -> bool {
        if stop.is_cancelled() {
            return false;
        }
        self.hand.set(at);
        let Some(end) = self.ends.get_mut(usize::from(frame.port)) else {
            return true;
        };
        if let Err(error) = end.write(&frame.bytes, || stop.is_cancelled()) {
            tracing::warn!(%error, port = frame.port, "the player cannot write");
            return false;
        }
        *written += frame.bytes.len() as u64;
        self.wait_for_bytes(*written);
        true
    }

    fn mark_until(&mut self, at: Nanos) {
        while self.marks.front().is_some_and(|(due, _)| *due <= at) {
            if let Some((_, mark)) = self.marks.pop_front()
                && self.marks_out.blocking_send(mark).is_err()
            {
                return;
            }
        }
    }

    fn keep_pace(&self, start: Instant, at: Nanos) {
        let due = Duration::from_nanos((at as f64 / self.speed) as u64);
        let ahead = due.saturating_sub(start.elapsed());
        if ahead > Duration::from_millis(1) {
            std::thread::sleep(ahead);
        }
    }

    fn wait_for_ports(&self, stop: &CancellationToken) {
        let ports = self.ends.len() as u64;
        while read(&self.progress.ports_opened) < ports && !stop.is_cancelled() {
            std::thread::sleep(Duration::from_millis(5));
        }
    }

    fn wait_for_bytes(&self, written: u64) {
        let start = Instant::now();
        while read(&self.progress.bytes_received) < written && start.elapsed() < PATIENCE {
            std::thread::sleep(Duration::from_micros(20));
        }
    }
}
