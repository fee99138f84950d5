//! Writes recorded frames into the pseudo terminals at their recorded pace.

use super::terminal::Terminal;
use kerfwatch::input::PortNumber;
use kerfwatch::time::Nanos;
use std::time::{Duration, Instant};
use tokio_util::sync::CancellationToken;

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
    /// The instruments' ends, by port number.
    pub ends: Vec<Terminal>,
    /// Times as fast as recorded.
    pub speed: f64,
}

impl Player {
    /// Plays until the end, then says `played`; or until `stop`. The terminals stay open until
    /// `stop`, so that the end looks like instruments gone silent, not unplugged.
    pub fn play(mut self, stop: &CancellationToken, played: &CancellationToken) {
        let start = Instant::now();
        let first = self.frames.first().map_or(0, |frame| frame.at);
        for frame in std::mem::take(&mut self.frames) {
            let due = Duration::from_nanos(((frame.at - first).max(0) as f64 / self.speed) as u64);
            let ahead = due.saturating_sub(start.elapsed());
            // Short waits are left out: a burst of a millisecond is what serial ports do anyway.
            if ahead > Duration::from_millis(1) {
                std::thread::sleep(ahead);
            }
            if stop.is_cancelled() {
                return;
            }
            if let Some(end) = self.ends.get_mut(usize::from(frame.port)) {
                let written = end.write(&frame.bytes, || stop.is_cancelled());
                if let Err(error) = written {
                    tracing::warn!(%error, port = frame.port, "the player cannot write");
                    return;
                }
            }
        }
        // What is still in the terminals is read before the run is told to end.
        std::thread::sleep(Duration::from_millis(300));
        played.cancel();
        while !stop.is_cancelled() {
            std::thread::sleep(Duration::from_millis(50));
        }
    }
}
