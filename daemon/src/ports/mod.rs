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
    /// A TCP connection that is silent for longer is opened anew.
    pub idle_max: Duration,
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
            idle_max: stream::TCP_IDLE_MAX,
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
                let allowed = silence_allowed(job, &channel.port);
                Ok(Self {
                    idle_max: stream::TCP_IDLE_MAX.max(allowed.saturating_mul(2)),
                    bus: decoder.bus().cloned(),
                    serial: channel.serial,
                    ..Self::new(number, &channel.port, 0, Arc::clone(clock))
                })
            })
            .collect()
    }
}

/// The longest `stale_after` of the instruments on `port`.
fn silence_allowed(job: &Job, port: &str) -> Duration {
    let load = job.load.as_ref().map(|load| &load.channel);
    let depth = job.depth.as_ref().map(|depth| &depth.channel);
    (load.into_iter().chain(depth))
        .filter(|channel| channel.port == port)
        .filter_map(|channel| Duration::try_from_secs_f64(channel.stale_after.si()).ok())
        .max()
        .unwrap_or_default()
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
                let idle_max = address.is_tcp().then_some(config.idle_max);
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

#[cfg(test)]
mod tests {
    use super::*;
    use kerfwatch::job::{print_default_job, read_job};

    #[test]
    fn a_connection_is_never_given_up_within_the_silence_that_the_job_allows() {
        let idle = |stale_after: &str| {
            let keys = format!("protocol = \"pattern\"\nstale_after = \"{stale_after}\"");
            let job = print_default_job().replacen("protocol = \"pattern\"", &keys, 1);
            let job = read_job(&job, "job.toml").unwrap().job;
            let ports = PortConfig::of_job(&job, &(Arc::new(|| 0_i64) as Clock)).unwrap();
            (ports[0].idle_max.as_secs(), ports[1].idle_max.as_secs())
        };
        assert_eq!(idle("2 s"), (10, 10));
        assert_eq!(idle("30 s"), (60, 10));
    }
}
