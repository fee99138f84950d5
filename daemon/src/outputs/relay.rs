//! A horn or relay on a line: a Modbus coil, or text lines.
//!
//! *Heartbeat*: "well" is repeated each period, but only if the sample path has moved since the last
//! time; an alarm is sent at once and repeated. At the end of the daemon the alarm word is sent, as
//! nobody watches from then on.

use super::Common;
use crate::ports::address::Address;
use crate::ports::stream::serial;
use crate::progress::read;
use kerfwatch::job::OutputLine;
use rustix::io::Errno;
use rustix::net::sockopt::set_tcp_user_timeout;
use std::fmt::Debug;
use std::io;
use std::net::SocketAddr;
use std::time::Duration;
use tokio::io::{AsyncRead, AsyncWrite, AsyncWriteExt};
use tokio::net::{TcpSocket, TcpStream};
use tokio_modbus::client::{Context, Writer, rtu};
use tokio_modbus::slave::Slave;
use tokio_serial::SerialStream;

/// How long a device may take to answer or accept.
const ANSWER: Duration = Duration::from_millis(500);
const RETRY: Duration = Duration::from_secs(2);
/// What was sent over a network and is not acknowledged for so long was sent into a dead link. Text is never answered,
/// and the system itself would take it, and wait, for a quarter of an hour.
const UNHEARD: Duration = Duration::from_secs(3);

/// What is said on the line.
#[derive(Debug, Clone)]
pub(super) enum Words {
    /// Coil on: well. Off: alarm.
    Coil { unit: u8, coil: u16 },
    /// One line each.
    Text { well: String, alarm: String },
}

trait Line: AsyncRead + AsyncWrite + Debug + Unpin + Send {}
impl<T: AsyncRead + AsyncWrite + Debug + Unpin + Send> Line for T {}

/// An open line.
enum Device {
    Coil {
        context: Context,
        coil: u16,
    },
    Text {
        line: Box<dyn Line>,
        well: String,
        alarm: String,
    },
}

pub(super) async fn follow(mut common: Common, line: OutputLine, words: Words) {
    let heartbeat = Duration::from_secs_f64(line.heartbeat.0);
    let mut here = None;
    loop {
        let device = match open(&line, &words, &mut here).await {
            Ok(device) => device,
            Err(error) => {
                if error.kind() == io::ErrorKind::AddrNotAvailable {
                    here = None;
                }
                common.failing(&format!("{}: {error}", line.port));
                tokio::select! {
                    () = common.stop.cancelled() => return,
                    () = tokio::time::sleep(RETRY) => continue,
                }
            }
        };
        match beat(&mut common, device, heartbeat).await {
            Ok(()) => return,
            Err(error) => {
                if error.raw_os_error() != Some(Errno::TIMEDOUT.raw_os_error()) {
                    here = None;
                }
                common.failing(&format!("{}: {error}", line.port));
                tokio::select! {
                    () = common.stop.cancelled() => return,
                    () = tokio::time::sleep(RETRY) => {}
                }
            }
        }
    }
}

/// Talks until `stop`.
async fn beat(common: &mut Common, mut device: Device, heartbeat: Duration) -> io::Result<()> {
    let mut timer = tokio::time::interval(heartbeat);
    timer.set_missed_tick_behavior(tokio::time::MissedTickBehavior::Delay);
    let mut seen = 0;
    let mut said = None;
    loop {
        let due = tokio::select! {
            biased;
            () = common.stop.cancelled() => {
                device.say(false).await?;
                return Ok(());
            }
            changed = common.horn.changed() => {
                if changed.is_err() {
                    return Ok(());
                }
                false
            }
            _ = timer.tick() => true,
        };
        let (well, overpulls, is_known) = {
            let horn = common.horn.borrow_and_update();
            let well = horn.sounding(&common.alarms).is_empty();
            (well, horn.overpulls, !horn.is_catching_up)
        };
        if well && !is_known {
            // The relay stays dropped out, as the end of the daemon before had left it.
            continue;
        }
        if due {
            let ticks = read(&common.progress.ticks);
            let moves = ticks != seen;
            seen = ticks;
            // Silence is the message when the sample path stands still.
            if well && !moves {
                continue;
            }
        } else if said == Some((well, overpulls)) {
            continue;
        }
        device.say(well).await?;
        said = Some((well, overpulls));
        common.working();
    }
}

/// `here`: our end of a connection that died without the other end being told. It may hold on to the old one and serve
/// no other; called from the same end again, it finds that out (RFC 9293, 3.10.7.4) and lets go.
async fn open(
    line: &OutputLine,
    words: &Words,
    here: &mut Option<SocketAddr>,
) -> io::Result<Device> {
    let wrong = |error: &dyn std::fmt::Display| {
        io::Error::new(io::ErrorKind::InvalidInput, error.to_string())
    };
    let stream: Box<dyn Line> = match Address::parse(&line.port).map_err(|error| wrong(&error))? {
        Address::Serial(path) => Box::new(SerialStream::open(&serial(&path, line.serial))?),
        Address::Tcp(address) => {
            let stream = tokio::time::timeout(RETRY, connect(&address, *here)).await??;
            *here = stream.local_addr().ok();
            stream.set_nodelay(true)?;
            set_tcp_user_timeout(&stream, UNHEARD.as_millis() as u32)?;
            Box::new(stream)
        }
    };
    Ok(match words {
        Words::Coil { unit, coil } => Device::Coil {
            context: rtu::attach_slave(stream, Slave(*unit)),
            coil: *coil,
        },
        Words::Text { well, alarm } => Device::Text {
            line: stream,
            well: format!("{well}\r\n"),
            alarm: format!("{alarm}\r\n"),
        },
    })
}

async fn connect(address: &str, here: Option<SocketAddr>) -> io::Result<TcpStream> {
    let Some(here) = here else {
        return TcpStream::connect(address).await;
    };
    let mut there = tokio::net::lookup_host(address).await?;
    let there = there
        .find(|there| there.is_ipv4() == here.is_ipv4())
        .ok_or(io::ErrorKind::AddrNotAvailable)?;
    let socket = if here.is_ipv4() {
        TcpSocket::new_v4()?
    } else {
        TcpSocket::new_v6()?
    };
    socket.set_reuseaddr(true)?;
    // Taken by somebody else meanwhile: as if there had been none.
    socket
        .bind(here)
        .map_err(|_| io::ErrorKind::AddrNotAvailable)?;
    socket.connect(there).await
}

impl Device {
    async fn say(&mut self, is_well: bool) -> io::Result<()> {
        let saying = async {
            match self {
                Self::Coil { context, coil } => context
                    .write_single_coil(*coil, is_well)
                    .await
                    .map_err(io::Error::other)?
                    .map_err(|refused| io::Error::other(format!("the device refuses: {refused}"))),
                Self::Text { line, well, alarm } => {
                    let text = if is_well { well } else { alarm };
                    line.write_all(text.as_bytes()).await?;
                    line.flush().await
                }
            }
        };
        tokio::time::timeout(ANSWER, saying)
            .await
            .map_err(|_| io::Error::new(io::ErrorKind::TimedOut, "no answer"))?
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use kerfwatch::job::SerialLine;
    use kerfwatch::units::Seconds;
    use rustix::net::sockopt::set_socket_recv_buffer_size;
    use std::time::Instant;

    /// A peer that takes nothing more stands for a dead link: here too the system takes what is written and waits.
    #[tokio::test]
    async fn text_that_nobody_takes_is_noticed() {
        let listener = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
        set_socket_recv_buffer_size(&listener, 4096).unwrap();
        let line = OutputLine {
            port: format!("tcp:{}", listener.local_addr().unwrap()),
            serial: SerialLine::default(),
            heartbeat: Seconds(1.0),
        };
        let words = Words::Text {
            well: "OK".to_owned(),
            alarm: "A".repeat(100_000),
        };
        let mut device = open(&line, &words, &mut None).await.unwrap();
        let _held = listener.accept().unwrap();
        device.say(false).await.expect("the system takes it");
        let start = Instant::now();
        while device.say(true).await.is_ok() {
            assert!(start.elapsed() < 5 * UNHEARD, "nothing is noticed");
            tokio::time::sleep(Duration::from_millis(200)).await;
        }
    }
}
