//! The bench well as two live instruments: ASCII lines on pseudo terminals or TCP, at real or
//! multiplied speed, with mangled bytes if the scenario asks for them.
//!
//! Load lines are `L 2034.0`, depth lines `D 1480.1240`, each ended by CR LF. Whoever does not read
//! loses the oldest lines, as with a real instrument; the bench never waits.

use super::bench::Bench;
use super::rng::Rng;
use super::scenario::Scenario;
pub use crate::args::PortKind as Kind;
use crate::console::Console;
use crate::failure::{Failure, Finding};
use rustix::fs::{Mode, OFlags};
use rustix::io::Errno;
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use rustix::termios::{OptionalActions, tcgetattr, tcsetattr};
use std::fmt::Write as _;
use std::io::{self, Write};
use std::net::{TcpListener, TcpStream};
use std::os::fd::OwnedFd;
use std::time::{Duration, Instant};

#[derive(Debug)]
enum Port {
    /// The slave is kept open so that a reader may come and go.
    Pty {
        master: OwnedFd,
        _slave: OwnedFd,
        name: String,
    },
    Tcp {
        listener: TcpListener,
        peers: Vec<TcpStream>,
    },
}

impl Port {
    fn open(kind: Kind) -> io::Result<Self> {
        match kind {
            Kind::Pty => {
                let flags = OpenptFlags::RDWR | OpenptFlags::NOCTTY;
                let master = openpt(flags)?;
                grantpt(&master)?;
                unlockpt(&master)?;
                let name = ptsname(&master, Vec::new())?.to_string_lossy().into_owned();
                let slave =
                    rustix::fs::open(name.as_str(), OFlags::RDWR | OFlags::NOCTTY, Mode::empty())?;
                let mut modes = tcgetattr(&slave)?;
                modes.make_raw();
                tcsetattr(&slave, OptionalActions::Now, &modes)?;
                let now = rustix::fs::fcntl_getfl(&master)?;
                rustix::fs::fcntl_setfl(&master, now | OFlags::NONBLOCK)?;
                Ok(Self::Pty {
                    master,
                    _slave: slave,
                    name,
                })
            }
            Kind::Tcp => {
                let listener = TcpListener::bind("127.0.0.1:0")?;
                listener.set_nonblocking(true)?;
                Ok(Self::Tcp {
                    listener,
                    peers: Vec::new(),
                })
            }
        }
    }

    fn address(&self) -> io::Result<String> {
        Ok(match self {
            Self::Pty { name, .. } => format!("serial:{name}"),
            Self::Tcp { listener, .. } => format!("tcp:{}", listener.local_addr()?),
        })
    }

    /// Sends what the other side takes; returns how many bytes were lost on a full pseudo terminal.
    fn send(&mut self, bytes: &[u8]) -> io::Result<usize> {
        match self {
            Self::Pty { master, .. } => match rustix::io::write(&*master, bytes) {
                Ok(taken) => Ok(bytes.len() - taken),
                Err(Errno::AGAIN) => Ok(bytes.len()),
                Err(error) => Err(error.into()),
            },
            Self::Tcp { listener, peers } => {
                while let Ok((peer, _)) = listener.accept() {
                    peer.set_nonblocking(true)?;
                    peer.set_nodelay(true)?;
                    peers.push(peer);
                }
                peers.retain_mut(|peer| match peer.write(bytes) {
                    Ok(_) => true,
                    Err(error) => error.kind() == io::ErrorKind::WouldBlock,
                });
                Ok(0)
            }
        }
    }
}

/// Plays a scenario until its end.
pub fn play(
    scenario: &Scenario,
    seed: u64,
    kind: Kind,
    speed: f64,
    console: &mut Console<'_>,
) -> Result<(), Failure> {
    if !(speed.is_finite() && speed > 0.0) {
        let problem = format!("--speed: found {speed}, must be above zero");
        return Err(Finding::new("command line", problem, "write e.g. --speed 10").into());
    }
    let failed = |error: io::Error| Failure::write("instrument ports", error);
    let mut load = Port::open(kind).map_err(failed)?;
    let mut depth = Port::open(kind).map_err(failed)?;
    console.line(format_args!("load:  {}", load.address().map_err(failed)?))?;
    console.line(format_args!("depth: {}", depth.address().map_err(failed)?))?;
    console.flush()?;
    console
        .talk("patterns: 'L (?P<load>[-+0-9.]+)' in newtons, 'D (?P<depth>[-+0-9.]+)' in metres");
    let mut bench = Bench::new(scenario, seed);
    let mut noise = Rng::new(seed, "wire noise");
    let began = Instant::now();
    let (mut loads, mut depths) = (String::new(), String::new());
    let mut lost = 0;
    while !bench.done() {
        let due = began.elapsed().as_secs_f64() * speed;
        while bench.time() < due && !bench.done() {
            bench.advance();
        }
        for row in bench.rows().drain(..) {
            if let Some(value) = row.load {
                let _ = write!(loads, "L {value:.1}\r\n");
            }
            if let Some(value) = row.depth {
                let _ = write!(depths, "D {value:.4}\r\n");
            }
        }
        for (port, lines) in [(&mut load, &mut loads), (&mut depth, &mut depths)] {
            if !lines.is_empty() {
                let bytes = mangle(lines, scenario.record.mangled, &mut noise);
                lost += port.send(&bytes).map_err(failed)?;
                lines.clear();
            }
        }
        std::thread::sleep(Duration::from_millis(5));
    }
    if lost > 0 {
        console.talk(format_args!("{lost} bytes were not read in time and lost"));
    }
    Ok(())
}

/// Damages some lines: a byte flipped, or the line cut short.
fn mangle(lines: &str, fraction: f64, noise: &mut Rng) -> Vec<u8> {
    let mut out = Vec::with_capacity(lines.len());
    for line in lines.split_inclusive('\n') {
        let start = out.len();
        out.extend_from_slice(line.as_bytes());
        if fraction > 0.0 && noise.chance(fraction) {
            let at = start + (noise.unit() * line.len() as f64) as usize;
            if noise.chance(0.5) {
                out[at] ^= 1 << ((noise.unit() * 8.0) as u32).min(7);
            } else {
                out.truncate(at);
            }
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn mangling_damages_about_the_asked_fraction_and_nothing_at_zero() {
        let lines = "L 2034.0\r\n".repeat(1000);
        let mut noise = Rng::new(1, "noise");
        assert_eq!(mangle(&lines, 0.0, &mut noise), lines.as_bytes());
        let damaged = mangle(&lines, 0.1, &mut noise);
        let whole = String::from_utf8_lossy(&damaged)
            .matches("L 2034.0\r\n")
            .count();
        assert!((850..=950).contains(&whole), "{whole}");
    }

    #[test]
    fn a_pseudo_terminal_gives_the_lines_to_whoever_reads() {
        let mut port = Port::open(Kind::Pty).unwrap();
        let name = port.address().unwrap();
        let path = name.strip_prefix("serial:").unwrap();
        let reader = std::fs::File::open(path).unwrap();
        assert_eq!(port.send(b"L 1.0\r\n").unwrap(), 0);
        let mut buffer = [0; 7];
        io::Read::read_exact(&mut &reader, &mut buffer).unwrap();
        assert_eq!(&buffer, b"L 1.0\r\n");
    }
}
