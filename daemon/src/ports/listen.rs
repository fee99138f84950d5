//! Listens to a port for a while and tells what came: for `check --ports`.

use super::{PortChange, PortConfig, run_port};
use kerfwatch::decode::{FrameCounts, PortDecoder, RawReading};
use std::time::Duration;
use tokio::sync::mpsc;
use tokio_util::sync::CancellationToken;

/// Bytes and readings kept to be shown.
const SHOWN_BYTES: usize = 2048;
const SHOWN_READINGS: usize = 8;

/// What came on a port.
#[derive(Debug, Clone, Default)]
pub struct Heard {
    /// It could be opened.
    pub opened: bool,
    /// Why it could not, or why it was lost.
    pub trouble: Option<String>,
    /// Bytes that came.
    pub bytes: u64,
    /// The first of them.
    pub beginning: Vec<u8>,
    /// Frames by outcome; all zero without a decoder.
    pub counts: FrameCounts,
    /// Readings that came.
    pub readings: u64,
    /// The newest of them.
    pub newest: Vec<RawReading>,
}

impl Heard {
    /// One plain sentence: what is the matter and what to look at; `None` when all is well.
    pub fn advice(&self) -> Option<String> {
        let counts = &self.counts;
        if let (false, Some(trouble)) = (self.opened, &self.trouble) {
            return Some(format!("cannot be opened: {trouble}"));
        }
        if self.bytes == 0 {
            return Some(
                "nothing comes; check cable, power, transmit and receive lines, and that the \
                 instrument is set to send"
                    .to_owned(),
            );
        }
        if self.readings == 0 {
            let what = (counts.last_fault).map_or("no whole frame", |(_, fault)| fault.phrase());
            return Some(format!(
                "bytes come but no reading: {what}; check `baud`, `protocol` and `pattern` \
                 (kerfwatchd learn proposes them)"
            ));
        }
        if counts.bad > counts.good / 20 {
            let (bad, all) = (counts.bad, counts.bad + counts.good);
            return Some(format!(
                "{bad} of {all} frames are bad; check wiring and `baud`"
            ));
        }
        self.trouble.clone()
    }
}

/// Listens for `time`. `decoder`: `None` only collects bytes. `each` is called with every reading
/// as it comes.
pub async fn listen(
    config: PortConfig,
    mut decoder: Option<PortDecoder>,
    time: Duration,
    mut each: impl FnMut(&RawReading),
) -> Heard {
    let (events, mut arriving) = mpsc::channel(64);
    let shutdown = CancellationToken::new();
    let port = tokio::spawn(run_port(config, events, shutdown.clone()));
    let mut heard = Heard::default();
    let end = tokio::time::Instant::now() + time;
    while let Ok(Some(event)) = tokio::time::timeout_at(end, arriving.recv()).await {
        match event.change {
            PortChange::Opened => {
                heard.opened = true;
                if let Some(decoder) = &mut decoder {
                    decoder.port_changed(true);
                }
            }
            PortChange::Closed(reason) => heard.trouble = Some(reason),
            PortChange::Sent(bytes) => {
                if let Some(decoder) = &mut decoder {
                    decoder.sent(event.at, &bytes);
                }
            }
            PortChange::Received(bytes) => {
                heard.bytes += bytes.len() as u64;
                let room = SHOWN_BYTES - heard.beginning.len();
                heard.beginning.extend(bytes.iter().take(room));
                if let Some(decoder) = &mut decoder {
                    decoder.push(event.at, &bytes, &mut |reading| {
                        each(&reading);
                        heard.readings += 1;
                        if heard.newest.len() == SHOWN_READINGS {
                            heard.newest.remove(0);
                        }
                        heard.newest.push(reading);
                    });
                }
            }
        }
    }
    shutdown.cancel();
    let _ = port.await;
    if let Some(decoder) = &decoder {
        heard.counts = *decoder.counts();
    }
    heard
}
