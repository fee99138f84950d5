//! Two instruments on pseudo terminals: numbered lines at a steady rate, plugged and unplugged.
//!
//! Each port is a symbolic link to a terminal, as an adapter that returns gets another device. A line is
//! `L 3000.12 #17` or `D 2010.1234 #17`; its number is its place in [`Account::sent_ms`].

use super::account::Account;
use kerfwatchd::demo::terminal::Terminal;
use std::io;
use std::os::unix::fs::symlink;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

/// Names of the ports below the work folder, load first.
pub const NAMES: [&str; 2] = ["load", "depth"];
/// Half a stroke, m, and line speed, m/s.
const STROKE_M: f64 = 10.0;
const SPEED_M_S: f64 = 0.4;

/// What the feeding thread shares.
#[derive(Debug)]
struct Shared {
    account: Mutex<Account>,
    ends: Mutex<[Option<Terminal>; 2]>,
    /// Nobody listens: a full line buffer must not hold up the other instrument.
    deaf: [AtomicBool; 2],
    /// Bits of the tension of an overpull, N; 0: none.
    pull_n: AtomicU64,
    stop: AtomicBool,
}

/// The instruments, talking.
#[derive(Debug)]
pub struct Instruments {
    folder: PathBuf,
    shared: Arc<Shared>,
    feeding: Option<JoinHandle<io::Result<()>>>,
}

fn held<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Instruments {
    /// Plugs both in below `folder` and starts to talk at `rate` lines a second each, with tensions
    /// of `up_n` and `down_n`.
    pub fn start(folder: &Path, rate: u32, up_n: f64, down_n: f64) -> io::Result<Self> {
        let shared = Arc::new(Shared {
            account: Mutex::new(Account::new()),
            ends: Mutex::new([None, None]),
            deaf: [AtomicBool::new(true), AtomicBool::new(true)],
            pull_n: AtomicU64::new(0),
            stop: AtomicBool::new(false),
        });
        let feeder = Arc::clone(&shared);
        let feeding = std::thread::spawn(move || feed(&feeder, rate, up_n, down_n));
        let this = Self {
            folder: folder.to_owned(),
            shared,
            feeding: Some(feeding),
        };
        for channel in 0..2 {
            this.plug(channel)?;
        }
        Ok(this)
    }

    /// The account, for a moment.
    pub fn account(&self) -> MutexGuard<'_, Account> {
        held(&self.shared.account)
    }

    /// Plugs one in, as another device under the same name.
    pub fn plug(&self, channel: usize) -> io::Result<()> {
        let terminal = Terminal::open()?;
        let link = self.folder.join(NAMES[channel]);
        let _ = std::fs::remove_file(&link);
        symlink(&terminal.path, &link)?;
        held(&self.shared.ends)[channel] = Some(terminal);
        Ok(())
    }

    /// Pulls it out.
    pub fn unplug(&self, channel: usize) {
        self.set_deaf(channel, true);
        held(&self.shared.ends)[channel] = None;
        let _ = std::fs::remove_file(self.folder.join(NAMES[channel]));
    }

    /// Nobody listens there, or somebody does again.
    pub fn set_deaf(&self, channel: usize, deaf: bool) {
        self.shared.deaf[channel].store(deaf, Ordering::SeqCst);
    }

    /// Pulls with `tension_n` for so many lines at least, however slow the machine; numbers of the first line
    /// and after the last, and when it began.
    pub fn pull(&self, tension_n: f64, lines: usize) -> (usize, usize, Instant) {
        let begin = Instant::now();
        let first = self.account().sent_ms[0].len();
        self.shared
            .pull_n
            .store(tension_n.to_bits(), Ordering::SeqCst);
        let mut end = first;
        while end < first + lines {
            std::thread::sleep(Duration::from_millis(2));
            end = self.account().sent_ms[0].len();
        }
        self.shared.pull_n.store(0, Ordering::SeqCst);
        (first, end, begin)
    }

    /// Falls silent, still plugged in: what is in the lines is heard. The account.
    pub fn fall_silent(&mut self) -> anyhow::Result<Account> {
        self.shared.stop.store(true, Ordering::SeqCst);
        if let Some(feeding) = self.feeding.take() {
            feeding
                .join()
                .map_err(|_| anyhow::anyhow!("the instruments panicked"))??;
        }
        Ok(std::mem::take(&mut *held(&self.shared.account)))
    }
}

fn feed(shared: &Shared, rate: u32, up_n: f64, down_n: f64) -> io::Result<()> {
    let step = Duration::from_secs(1) / rate;
    let start = Instant::now();
    let mut due = start;
    while !shared.stop.load(Ordering::Relaxed) {
        due += step;
        std::thread::sleep(due.saturating_duration_since(Instant::now()));
        let (line_m, direction) = stroke((due - start).as_secs_f64());
        let middle = 0.5 * (up_n + down_n);
        let calm = middle - direction * 0.5 * (up_n - down_n);
        let pull = f64::from_bits(shared.pull_n.load(Ordering::SeqCst));
        let tension = if pull > 0.0 { pull } else { calm };
        let number = held(&shared.account).sent_ms[0].len();
        say(
            shared,
            0,
            &format!("L {:.2} #", tension + (number % 7) as f64),
        )?;
        say(shared, 1, &format!("D {line_m:.4} #"))?;
    }
    Ok(())
}

/// Line paid out, m, and the sense of its motion, -1 to 1, positive down, soft at the turns.
fn stroke(time_s: f64) -> (f64, f64) {
    let half = STROKE_M / SPEED_M_S;
    let phase = (time_s / half).rem_euclid(2.0);
    let along = if phase < 1.0 { phase } else { 2.0 - phase };
    let soft = (f64::min(phase.fract(), 1.0 - phase.fract()) * 20.0).min(1.0);
    let sense = if phase < 1.0 { soft } else { -soft };
    (2005.0 + STROKE_M * along, sense)
}

/// Sends one line: waits for room while somebody listens, gives up where nobody does.
fn say(shared: &Shared, channel: usize, text: &str) -> io::Result<()> {
    let number = {
        let mut account = held(&shared.account);
        let now = account.ms(Instant::now());
        account.sent_ms[channel].push(now);
        account.sent_ms[channel].len() - 1
    };
    let gives_up = || shared.deaf[channel].load(Ordering::SeqCst);
    match &mut held(&shared.ends)[channel] {
        Some(end) => end.write(format!("{text}{number}\r\n").as_bytes(), gives_up),
        None => Ok(()),
    }
}
