//! What happens on a port while it is open.

use super::poll::Poller;
use super::stream::Stream;
use super::{NobodyListens, PortChange, Reporter};
use kerfwatch::decode::modbus_rtu::Bus;
use std::time::Duration;
use tokio::io::{AsyncReadExt, AsyncWriteExt};

/// Longest wait until the port has taken a request.
const WRITE_MAX: Duration = Duration::from_secs(1);

/// Bytes taken by one read. More than a tty holds for one reader.
const READ_MAX: usize = 4096;

/// Why a port was lost that the other end closed.
pub(super) const CLOSED_BY_OTHER: &str = "the other end closed the port";

/// Why it is no longer open.
#[derive(Debug)]
pub(super) enum End {
    /// The port was lost.
    Lost(String),
    /// The daemon is going down.
    NobodyListens,
}

impl From<NobodyListens> for End {
    fn from(_: NobodyListens) -> Self {
        Self::NobodyListens
    }
}

/// An open port with its reporter.
pub(super) struct Line<'a> {
    stream: Box<dyn Stream>,
    buffer: Box<[u8]>,
    reporter: &'a Reporter,
    idle_max: Option<Duration>,
    newest: tokio::time::Instant,
}

impl Line<'_> {
    /// Waits for bytes, at most `wait`, and reports them. `Ok(None)`: none came.
    ///
    /// A read of no bytes means that the port is gone (so says a pseudo terminal, and a serial
    /// adapter that was unplugged); taking it for "nothing yet" would spin.
    pub(super) async fn receive(&mut self, wait: Duration) -> Result<Option<&[u8]>, End> {
        let idle_left = (self.idle_max).map(|max| max.saturating_sub(self.newest.elapsed()));
        let wait = idle_left.map_or(wait, |left| wait.min(left));
        let read = tokio::time::timeout(wait, self.stream.read(&mut self.buffer)).await;
        let at = (self.reporter.clock)();
        match read {
            Ok(Ok(0)) => Err(End::Lost(CLOSED_BY_OTHER.to_owned())),
            Ok(Ok(count)) => {
                self.newest = tokio::time::Instant::now();
                let bytes = &self.buffer[..count];
                let received = PortChange::Received(bytes.to_vec());
                self.reporter.say_at(at, received).await?;
                Ok(Some(&self.buffer[..count]))
            }
            Ok(Err(error)) => Err(End::Lost(error.to_string())),
            Err(_) => match self.idle_max {
                Some(max) if self.newest.elapsed() >= max => {
                    Err(End::Lost(format!("nothing came for {} s", max.as_secs())))
                }
                _ => Ok(None),
            },
        }
    }

    /// Sends a request and reports it.
    pub(super) async fn send(&mut self, bytes: &[u8]) -> Result<kerfwatch::time::Nanos, End> {
        let writing = async {
            self.stream.write_all(bytes).await?;
            self.stream.flush().await
        };
        match tokio::time::timeout(WRITE_MAX, writing).await {
            Ok(Ok(())) => {}
            Ok(Err(error)) => return Err(End::Lost(error.to_string())),
            Err(_) => return Err(End::Lost("the port takes no more bytes".to_owned())),
        }
        let at = (self.reporter.clock)();
        let sent = PortChange::Sent(bytes.to_vec());
        self.reporter.say_at(at, sent).await?;
        Ok(at)
    }

    /// The time of the run.
    pub(super) fn now(&self) -> kerfwatch::time::Nanos {
        (self.reporter.clock)()
    }
}

/// Serves an open port until it is lost.
pub(super) async fn run(
    stream: Box<dyn Stream>,
    bus: Option<&Bus>,
    idle_max: Option<Duration>,
    reporter: &Reporter,
) -> End {
    let mut line = Line {
        stream,
        buffer: vec![0; READ_MAX].into_boxed_slice(),
        reporter,
        idle_max,
        newest: tokio::time::Instant::now(),
    };
    match bus {
        Some(bus) => Poller::new(bus).run(&mut line).await,
        None => loop {
            // An hour, only so that the wait has an end; silence is judged by the core.
            if let Err(end) = line.receive(Duration::from_secs(3600)).await {
                return end;
            }
        },
    }
}
