//! Listens to a port for a while and tells what came: for `check --ports`.

use super::{PortChange, PortConfig, run_port};
use kerfwatch::decode::{FrameCounts, FrameFault, PortDecoder, RawReading};
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
        let fault = counts.last_fault.map(|(_, fault)| fault);
        if self.bytes == 0 && self.trouble.as_deref() == Some(super::session::CLOSED_BY_OTHER) {
            return Some(
                "connected, but the other end closed the port before anything came; is another program connected to \
                 it already (most device servers serve one), or does it take calls from certain machines only?"
                    .to_owned(),
            );
        }
        // A polled device that stays silent is a fault of its own.
        if self.bytes == 0 && fault.is_none() {
            return Some(
                "nothing comes; check cable, power, transmit and receive lines, and that the \
                 instrument is set to send"
                    .to_owned(),
            );
        }
        if self.readings == 0 {
            let what = fault.map_or_else(|| "no whole frame".to_owned(), FrameFault::phrase);
            let remedy = fault.unwrap_or(FrameFault::Garbage).remedy();
            return Some(if self.bytes == 0 {
                format!("{what}; {remedy}")
            } else {
                format!("bytes come but no reading: {what}; {remedy}")
            });
        }
        // Lines of another kind are none of its readings.
        let bad = counts.bad - counts.other_text;
        if bad > counts.good / 20 {
            let all = bad + counts.good;
            return Some(format!(
                "{bad} of {all} frames are bad; check wiring, `baud` and `parity`"
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

#[cfg(test)]
mod tests {
    use super::super::Clock;
    use super::*;
    use kerfwatch::decode::crc16;
    use kerfwatch::decode::modbus_rtu::{Bus, ModbusDecoder};
    use kerfwatch::input::ChannelId;
    use kerfwatch::job::{ModbusRegister, RegisterKind};
    use std::io::{Read, Write};
    use std::net::{TcpListener, TcpStream};
    use std::sync::Arc;

    /// What is said of a device behind a device server; a polled one, with `polled`.
    fn advice(polled: bool, device: impl Fn(TcpStream) + Send + 'static) -> String {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let address = format!("tcp:{}", listener.local_addr().unwrap());
        std::thread::spawn(move || listener.incoming().flatten().for_each(device));
        let register = ModbusRegister {
            unit: 1,
            function: 3,
            register: 40_001,
            kind: RegisterKind::I16,
            swap_words: false,
            poll_hz: 20.0,
        };
        let bus = polled.then(|| Bus::new(&[(ChannelId::Load, &register)], 9600));
        let decoder = bus
            .clone()
            .map(|bus| PortDecoder::ModbusRtu(ModbusDecoder::new(bus)));
        let start = std::time::Instant::now();
        let clock: Clock = Arc::new(move || start.elapsed().as_nanos() as i64);
        let config = PortConfig {
            bus,
            ..PortConfig::new(0, &address, 9600, clock)
        };
        let runtime = tokio::runtime::Builder::new_current_thread()
            .enable_all()
            .build()
            .unwrap();
        let heard = runtime.block_on(listen(config, decoder, Duration::from_secs(1), |_| {}));
        heard.advice().unwrap()
    }

    #[test]
    fn a_port_that_the_other_end_closes_at_once_is_not_blamed_on_the_cable() {
        let said = advice(false, drop);
        assert!(said.contains("another program connected"), "{said}");
    }

    #[test]
    fn a_refusal_is_told_with_its_code_and_what_to_correct() {
        let said = advice(true, |mut stream| {
            let mut question = [0; 8];
            while stream.read_exact(&mut question).is_ok() {
                let mut answer = vec![1, 0x83, 2];
                answer.extend_from_slice(&crc16::modbus(&answer).to_le_bytes());
                let _ = stream.write_all(&answer);
            }
        });
        assert!(said.contains("exception 2, illegal data address"), "{said}");
        assert!(said.contains("`register`"), "{said}");
    }

    #[test]
    fn a_polled_device_that_stays_silent_is_not_asked_to_send() {
        let said = advice(true, std::mem::forget);
        assert!(said.contains("does not answer"), "{said}");
        assert!(said.contains("`unit_address`"), "{said}");
    }
}
