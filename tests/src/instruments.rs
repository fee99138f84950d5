//! Two instruments on pseudo terminals that send a thousand lines a second each, whether anybody listens or not.
//!
//! What line `n` of a port says follows from `n` alone, so that a record can be held against what was sent. A line for
//! which the terminal has no room (nobody listens) is not sent, as on a real wire.

use crate::invented_run;
use kerfwatch::job::{apply_set, read_job};
use kerfwatchd::demo::terminal::Terminal;
use std::io::{ErrorKind, Write};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

/// Lines a second of each instrument.
pub const RATE: u64 = 1000;

/// Line `n` of port 0 (load, N) or 1 (line paid out, m): strokes of 2.8 m, two seconds each, with a pause.
pub fn line(port: usize, n: u64) -> Vec<u8> {
    const STROKE: u64 = 2000;
    const PAUSE: u64 = 300;
    let (stroke, within) = (n / (STROKE + PAUSE), n % (STROKE + PAUSE));
    let up = stroke.is_multiple_of(2);
    let moved = 1.4 * within.min(STROKE) as f64 / RATE as f64;
    let text = if port == 0 {
        // The drag turns over within the first decimetres; it grows less as the groove deepens.
        let drag = 60.0 + 700.0 / (1.0 + 0.1 * stroke as f64);
        let turned = (4.0 * moved).min(2.0) - 1.0;
        let tension = 1093.0
            + if up {
                drag * turned
            } else {
                -0.6 * drag * turned
            };
        format!("L {tension:.1} {n}\r\n")
    } else {
        let depth = if up { 606.0 - moved } else { 603.2 + moved };
        format!("D {depth:.4} {n}\r\n")
    };
    text.into_bytes()
}

/// Sends until told to stop; gives what was sent, by instrument.
type Sender = JoinHandle<[Vec<u64>; 2]>;

/// The two, at rest until told to start.
#[derive(Debug)]
pub struct Instruments {
    ends: [Terminal; 2],
    sending: Option<(Arc<AtomicBool>, Sender)>,
}

impl Instruments {
    /// Opens the terminals.
    ///
    /// # Panics
    /// When the system has none.
    #[allow(clippy::new_without_default)]
    pub fn new() -> Self {
        let open = || Terminal::open().expect("a pseudo terminal");
        Self {
            ends: [open(), open()],
            sending: None,
        }
    }

    /// Writes `job.toml` into `folder`, with these instruments, recording below `runs`; `more` goes to its end.
    ///
    /// # Panics
    /// When the job does not read.
    pub fn job(&self, folder: &Path, runs: &Path, more: &str) -> PathBuf {
        let mut text = invented_run::job("Invented-1")
            // A limit that each stroke crosses, for alarms to count.
            .replace("[alarm]", "[alarm]\ntension_limit = \"1300 N\"");
        for (name, letter, unit, end) in [
            ("load", 'L', 'N', &self.ends[0]),
            ("depth", 'D', 'm', &self.ends[1]),
        ] {
            let port = end.path.display();
            text.push_str(&format!(
                "\n[{name}]\nport = \"serial:{port}\"\nprotocol = \"pattern\"\n\
                 pattern = '{letter} (?P<{name}>[-+0-9.]+) (?P<seq>[0-9]+)'\nspan = \"1 {unit}\"\n"
            ));
        }
        text.push_str("\n[record]\n\n[page]\n");
        for (key, value) in [
            ("record.folder", runs.display().to_string()),
            ("page.listen", "127.0.0.1:0".to_owned()),
        ] {
            text = apply_set(&text, &format!("{key}={value:?}")).expect("a value is set");
        }
        text.push_str(more);
        read_job(&text, "test job").unwrap_or_else(|findings| panic!("{findings}"));
        let file = folder.join("job.toml");
        std::fs::write(&file, text).expect("the job is written");
        file
    }

    /// Sends from now on.
    ///
    /// # Panics
    /// When it sends already.
    pub fn start(&mut self) {
        assert!(self.sending.is_none(), "sends already");
        let stop = Arc::new(AtomicBool::new(false));
        let stopped = Arc::clone(&stop);
        let ends = self
            .ends
            .each_ref()
            .map(|end| end.end().expect("a second handle"));
        let thread = std::thread::spawn(move || {
            let start = Instant::now();
            let mut wires = ends.map(|end| Wire {
                end,
                rest: Vec::new(),
                sent: Vec::new(),
            });
            let mut next = 0;
            while !stopped.load(Ordering::Relaxed) {
                let due = start.elapsed().as_millis() as u64 * RATE / 1000;
                for n in next..due {
                    for (port, wire) in wires.iter_mut().enumerate() {
                        wire.send(port, n);
                    }
                }
                next = due.max(next);
                std::thread::sleep(Duration::from_millis(2));
            }
            wires.map(Wire::finish)
        });
        self.sending = Some((stop, thread));
    }

    /// Sends no more; the numbers of the lines that went out, by port.
    ///
    /// # Panics
    /// When it was not sending.
    pub fn stop(&mut self) -> [Vec<u64>; 2] {
        let (stop, thread) = self.sending.take().expect("is sending");
        stop.store(true, Ordering::Relaxed);
        thread.join().expect("the instruments do not panic")
    }
}

struct Wire {
    end: std::fs::File,
    /// Of a line that went out by half.
    rest: Vec<u8>,
    sent: Vec<u64>,
}

impl Wire {
    fn send(&mut self, port: usize, n: u64) {
        if self.rest.is_empty() {
            self.rest = line(port, n);
            let whole = self.rest.len();
            self.put();
            if self.rest.len() == whole {
                self.rest.clear(); // no room at all: nobody will ever see it
            } else {
                self.sent.push(n);
            }
        } else {
            self.put();
        }
    }

    /// A line that went out by half is finished, for as long as somebody may listen.
    fn finish(mut self) -> Vec<u64> {
        let start = Instant::now();
        while !self.rest.is_empty() && start.elapsed() < Duration::from_secs(60) {
            self.put();
            std::thread::sleep(Duration::from_millis(2));
        }
        self.sent
    }

    fn put(&mut self) {
        while !self.rest.is_empty() {
            match self.end.write(&self.rest) {
                Ok(count) => {
                    self.rest.drain(..count);
                }
                Err(error) if error.kind() == ErrorKind::Interrupted => {}
                Err(_) => return,
            }
        }
    }
}
