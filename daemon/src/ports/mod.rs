//! Ports: bytes in and out of instruments, with the time they came.
//!
//! [`run_port`] keeps one port of the job open for as long as the daemon runs, and reports all that
//! happens on it as [`PortEvent`]s. One task for each port: nothing that one instrument does can
//! hold up the other. A port that is lost is opened again, first at once, then ever more slowly up
//! to every two seconds; no restart is ever needed.
//!
//! *Times* are taken from the clock that is passed in, right after the read (or write) returned, so
//! they must come from a clock that never steps. *Limits*: the channel is bounded; when the
//! receiver does not keep up, reading stops and the kernel's buffer of the port takes over (4 KiB
//! for a serial port: four seconds at 9600 baud).
//!
//! Serial lines come from `tokio-serial`. The Modbus master is not `tokio-modbus`: what it decodes
//! cannot be decoded again from a recording, and a replay must see the same bytes through the same
//! code. The sans-I/O codec of the core does it in both; `tokio-modbus` and a Python server are
//! its referees in the tests.
//!
//! Reading order: [`address`], `stream` (open), `session` (what happens while it is open),
//! [`poll`] (questions to polled devices), [`backoff`]; for setting up: [`discover`], [`listen`],
//! [`learn`].

pub mod address;
pub mod backoff;
pub mod discover;
pub mod learn;
pub mod listen;
pub mod poll;
mod session;
pub(crate) mod stream;

use address::Address;
use backoff::Backoff;
use kerfwatch::decode::modbus_rtu::Bus;
use kerfwatch::decode::{PortDecoder, SetupError, job_ports};
use kerfwatch::input::PortNumber;
use kerfwatch::job::{Framing, Job, SerialLine};
use kerfwatch::time::Nanos;
use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;
use stream::Identity;
use tokio::sync::mpsc;
use tokio_util::sync::CancellationToken;

/// Tells the run's time; never steps.
pub type Clock = Arc<dyn Fn() -> Nanos + Send + Sync>;

/// What happened on a port.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PortEvent {
    /// Which port.
    pub port: PortNumber,
    /// When.
    pub at: Nanos,
    /// What.
    pub change: PortChange,
}

/// Kinds of [`PortEvent`].
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum PortChange {
    /// The port is open; bytes may follow.
    Opened,
    /// The port was lost, or could not be opened the first time. Said once for each loss.
    Closed(String),
    /// Bytes arrived.
    Received(Vec<u8>),
    /// Bytes were sent (questions to polled devices).
    Sent(Vec<u8>),
}

/// One port to be kept open.
#[derive(Clone)]
pub struct PortConfig {
    /// Its number in the job.
    pub number: PortNumber,
    /// `serial:/dev/...` or `tcp:host:port`.
    pub address: String,
    /// How a serial port is set.
    pub serial: SerialLine,
    /// What to poll, for polled protocols.
    pub bus: Option<Bus>,
    /// The run's clock.
    pub clock: Clock,
    /// Where the system names serial adapters by maker and serial number.
    pub by_id: PathBuf,
}

impl PortConfig {
    /// A port that is only listened to; a serial one as 8N1.
    pub fn new(number: PortNumber, address: &str, baud: u32, clock: Clock) -> Self {
        Self {
            number,
            address: address.to_owned(),
            serial: SerialLine {
                baud,
                framing: Framing::default(),
            },
            bus: None,
            clock,
            by_id: PathBuf::from("/dev/serial/by-id"),
        }
    }

    /// The ports of a job, one or two.
    pub fn of_job(job: &Job, clock: &Clock) -> Result<Vec<Self>, SetupError> {
        job_ports(job)
            .into_iter()
            .map(|(number, channel)| {
                let decoder = PortDecoder::new(job, number)?;
                Ok(Self {
                    bus: decoder.bus().cloned(),
                    serial: channel.serial,
                    ..Self::new(number, &channel.port, 0, Arc::clone(clock))
                })
            })
            .collect()
    }
}

/// Sends events of one port.
struct Reporter {
    port: PortNumber,
    clock: Clock,
    events: mpsc::Sender<PortEvent>,
}

/// Nobody takes the events any more: the daemon is going down.
#[derive(Debug)]
struct NobodyListens;

impl Reporter {
    async fn say(&self, change: PortChange) -> Result<(), NobodyListens> {
        self.say_at((self.clock)(), change).await
    }

    async fn say_at(&self, at: Nanos, change: PortChange) -> Result<(), NobodyListens> {
        let port = self.port;
        let event = PortEvent { port, at, change };
        self.events.send(event).await.map_err(|_| NobodyListens)
    }
}

/// Keeps one port open and reports what happens on it, until `shutdown` or until nobody takes the
/// events. Never fails: what cannot be opened is reported once as closed and tried again.
pub async fn run_port(
    config: PortConfig,
    events: mpsc::Sender<PortEvent>,
    shutdown: CancellationToken,
) {
    tokio::select! {
        () = shutdown.cancelled() => {}
        () = keep_open(config, events) => {}
    }
}

async fn keep_open(config: PortConfig, events: mpsc::Sender<PortEvent>) {
    let reporter = Reporter {
        port: config.number,
        clock: Arc::clone(&config.clock),
        events,
    };
    let address = match Address::parse(&config.address) {
        Ok(address) => address,
        Err(error) => {
            tracing::error!(port = config.number, %error, "port cannot be used");
            let _ = reporter.say(PortChange::Closed(error.to_string())).await;
            return;
        }
    };
    let mut identity = Identity::default();
    let mut backoff = Backoff::default();
    let mut said_closed = false;
    loop {
        let reason = match stream::open(&address, &config, &mut identity).await {
            Ok(stream) => {
                tracing::info!(port = config.number, address = %config.address, "port opened");
                if reporter.say(PortChange::Opened).await.is_err() {
                    return;
                }
                said_closed = false;
                let opened = tokio::time::Instant::now();
                let idle_max = address.is_tcp().then_some(stream::TCP_IDLE_MAX);
                let end = session::run(stream, config.bus.as_ref(), idle_max, &reporter).await;
                backoff.worked_for(opened.elapsed());
                match end {
                    session::End::Lost(reason) => reason,
                    session::End::NobodyListens => return,
                }
            }
            Err(error) => error.to_string(),
        };
        if !said_closed {
            said_closed = true;
            tracing::warn!(port = config.number, address = %config.address, %reason, "port lost");
            if reporter.say(PortChange::Closed(reason)).await.is_err() {
                return;
            }
        }
        wait_or_gone(backoff.next_wait(), &reporter).await;
        if reporter.events.is_closed() {
            return;
        }
    }
}

async fn wait_or_gone(wait: Duration, reporter: &Reporter) {
    tokio::select! {
        () = tokio::time::sleep(wait) => {}
        () = reporter.events.closed() => {}
    }
}
