//! The soak under way: faults by dice, overpulls all through, a line each minute.

use crate::Args;
use kerfwatch_tests::mangle::Dice;
use kerfwatch_tests::small_disk::SmallDisk;
use kerfwatch_tests::soak::account::Overpull;
use kerfwatch_tests::soak::daemon::{Daemon, Program};
use kerfwatch_tests::soak::instruments::Instruments;
use kerfwatch_tests::soak::proof;
use kerfwatch_tests::soak::server::Server;
use std::collections::BTreeMap;
use std::fs;
use std::io::Write;
use std::path::PathBuf;
use std::sync::mpsc::Receiver;
use std::time::{Duration, Instant};

/// An alarm later than this is missed.
const ALARM_WITHIN: Duration = Duration::from_millis(1000);
/// How long the disk stays full.
const DISK_FULL: Duration = Duration::from_secs(20);
/// The daemon looks at the clock every five seconds.
const CLOCK_NOTICED_WITHIN: Duration = Duration::from_secs(15);

/// What is done to the daemon and its instruments.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Fault {
    Unplug(usize),
    UnplugBoth,
    Kill,
    DiskFull,
    ClockStep,
}

impl Fault {
    pub(crate) fn name(self) -> &'static str {
        match self {
            Self::Unplug(0) => "load unplugged",
            Self::Unplug(_) => "depth unplugged",
            Self::UnplugBoth => "both unplugged",
            Self::Kill => "kill -9, resume",
            Self::DiskFull => "disk full",
            Self::ClockStep => "clock step",
        }
    }
}

/// The daemon's view of the system clock.
#[derive(Debug)]
pub(crate) struct Clock {
    /// What the library that fakes it reads.
    pub(crate) file: PathBuf,
    /// From the true time, s.
    pub(crate) offset_s: i64,
    /// Steps made, and those that the daemon counted, all lives together.
    pub(crate) made: u64,
    pub(crate) noticed: u64,
}

impl Clock {
    pub(crate) fn right(file: PathBuf) -> std::io::Result<Self> {
        let clock = Self {
            file,
            offset_s: 0,
            made: 0,
            noticed: 0,
        };
        clock.set()?;
        Ok(clock)
    }

    fn set(&self) -> std::io::Result<()> {
        fs::write(&self.file, format!("{:+}s\n", self.offset_s))
    }
}

/// The soak under way.
pub(crate) struct Soak {
    pub(crate) program: Program,
    pub(crate) daemon: Option<Daemon>,
    pub(crate) run: PathBuf,
    pub(crate) instruments: Instruments,
    pub(crate) words: Receiver<(Instant, String)>,
    pub(crate) limit_n: f64,
    pub(crate) disk: Option<SmallDisk>,
    pub(crate) clock: Clock,
    pub(crate) plugged: [bool; 2],
    pub(crate) faults: BTreeMap<Fault, u64>,
    pub(crate) false_alarms: u64,
    pub(crate) record_lost: u64,
    /// Kills after which something was missing that had been reported as synced.
    pub(crate) unsynced: u64,
    pub(crate) longest_away: Duration,
}

impl Soak {
    pub(crate) fn daemon(&mut self) -> anyhow::Result<&mut Daemon> {
        self.daemon
            .as_mut()
            .ok_or_else(|| anyhow::anyhow!("the daemon is away"))
    }

    /// All faults; memory at the end of each minute, MiB.
    pub(crate) fn faults(&mut self, args: &Args, server: &Server) -> anyhow::Result<Vec<f64>> {
        let mut dice = Dice::new(args.seed);
        let start = Instant::now();
        let end = Duration::from_secs_f64(args.minutes * 60.0);
        let soon = |dice: &mut Dice, mean: u64| {
            Instant::now() + Duration::from_millis(mean * 500 + dice.below(mean * 1000))
        };
        let mut fault_due = soon(&mut dice, args.fault_every);
        let mut pull_due = soon(&mut dice, 8);
        let mut server_due = soon(&mut dice, 90);
        let mut minute_due = start + Duration::from_secs(60);
        let mut server_down = false;
        let mut memory = Vec::new();
        println!("minute  RSS MiB  most MiB  lines sent  overpulls  seen  faults  lag s  server");
        while start.elapsed() < end {
            std::thread::sleep(Duration::from_millis(20));
            let now = Instant::now();
            if now >= pull_due {
                self.overpull()?;
                pull_due = soon(&mut dice, 8);
            }
            if now >= fault_due {
                let fault = self.choose(args, &mut dice);
                self.play(fault, &mut dice)?;
                *self.faults.entry(fault).or_default() += 1;
                fault_due = soon(&mut dice, args.fault_every);
            }
            if now >= server_due {
                server_down = !server_down;
                server.set_down(server_down);
                server_due = soon(&mut dice, 90);
            }
            if now >= minute_due {
                minute_due += Duration::from_secs(60);
                memory.push(self.minute((now - start).as_secs() / 60, server_down)?);
            }
            anyhow::ensure!(!self.daemon()?.has_died(), "the daemon ended by itself");
        }
        Ok(memory)
    }

    fn minute(&mut self, minute: u64, server_down: bool) -> anyhow::Result<f64> {
        let daemon = self.daemon()?;
        let (rss, most) = daemon.memory_mib().unwrap_or((f64::NAN, f64::NAN));
        let lag = daemon
            .health()
            .map_or(f64::NAN, |h| h.ingest_s - h.recorded_s);
        let faults: u64 = self.faults.values().sum();
        let account = self.instruments.account();
        let seen = account
            .overpulls
            .iter()
            .filter(|o| o.seen_after.is_some())
            .count();
        println!(
            "{minute:6}  {rss:7.1}  {most:8.1}  {:10}  {:9}  {seen:4}  {faults:6}  {lag:5.1}  {}",
            account.sent_ms[0].len() + account.sent_ms[1].len(),
            account.overpulls.len(),
            if server_down { "down" } else { "up" },
        );
        drop(account);
        std::io::stdout().flush()?;
        Ok(rss)
    }

    fn choose(&self, args: &Args, dice: &mut Dice) -> Fault {
        loop {
            match dice.below(7) {
                0 => return Fault::Unplug(0),
                1 => return Fault::Unplug(1),
                2 => return Fault::UnplugBoth,
                3 | 4 => return Fault::Kill,
                5 if self.disk.is_some() => return Fault::DiskFull,
                6 if args.faketime.is_some() => return Fault::ClockStep,
                _ => {}
            }
        }
    }

    fn play(&mut self, fault: Fault, dice: &mut Dice) -> anyhow::Result<()> {
        let pause = Duration::from_millis(300 + dice.below(5000));
        match fault {
            Fault::Unplug(channel) => self.unplug(&[channel], pause),
            Fault::UnplugBoth => self.unplug(&[0, 1], pause),
            Fault::Kill => self.kill(pause),
            Fault::DiskFull => self.fill_disk(),
            Fault::ClockStep => self.step_clock(dice),
        }
    }

    fn unplug(&mut self, channels: &[usize], pause: Duration) -> anyhow::Result<()> {
        let opened = self.ports_opened()?;
        for &channel in channels {
            // What was under way in the line when it was pulled out is gone: its buffer holds 4 KiB.
            let from = Instant::now() - Duration::from_millis(300);
            self.instruments
                .account()
                .excuse(channel, from, "instrument unplugged");
            self.instruments.unplug(channel);
            self.plugged[channel] = false;
        }
        std::thread::sleep(pause / 2);
        self.overpull()?;
        std::thread::sleep(pause / 2);
        for &channel in channels {
            self.instruments.plug(channel)?;
        }
        let want = opened + channels.len() as u64;
        self.daemon()?.wait_until_up(want)?;
        self.heard_again(channels);
        for &channel in channels {
            self.plugged[channel] = true;
        }
        Ok(())
    }

    fn ports_opened(&mut self) -> anyhow::Result<u64> {
        self.counted("ports_opened")
    }

    /// From soon on every line counts again.
    pub(crate) fn heard_again(&mut self, channels: &[usize]) {
        for &channel in channels {
            self.instruments.set_deaf(channel, false);
        }
        // A line that was cut short spoils the next one.
        std::thread::sleep(Duration::from_millis(500));
        for &channel in channels {
            self.instruments
                .account()
                .no_excuse(channel, Instant::now());
        }
    }

    fn kill(&mut self, pause: Duration) -> anyhow::Result<()> {
        self.overpull()?;
        self.note_counts()?;
        let Some(health) = self.daemon()?.health() else {
            anyhow::bail!("the page does not answer");
        };
        let Some(daemon) = self.daemon.take() else {
            return Ok(());
        };
        daemon.kill()?;
        for channel in 0..2 {
            self.instruments.set_deaf(channel, true);
        }
        // What it had said to be on disk has to be there; lines after the last one on disk may be gone.
        let (reached_s, next) = proof::end_of(&self.run)?;
        self.unsynced += u64::from(reached_s < health.recorded_s);
        for channel in 0..2 {
            let why = "killed: not yet written, or away";
            self.instruments
                .account()
                .excuse_from_line(channel, next[channel], why);
        }
        std::thread::sleep(pause);
        let back = Instant::now();
        let mut daemon = Daemon::start(&self.program, Some(&self.run))?;
        daemon.wait_until_up(2)?;
        self.longest_away = self.longest_away.max(back.elapsed());
        self.daemon = Some(daemon);
        self.heard_again(&[0, 1]);
        Ok(())
    }

    fn fill_disk(&mut self) -> anyhow::Result<()> {
        let Some(disk) = &self.disk else {
            return Ok(());
        };
        disk.fill()?;
        let end = Instant::now() + DISK_FULL;
        while Instant::now() < end {
            self.overpull()?;
            std::thread::sleep(Duration::from_secs(3));
        }
        if let Some(disk) = &self.disk {
            disk.free()?;
        }
        // Until it is written again: what follows must not find it half way.
        let freed = Instant::now();
        let freed_s = self.daemon()?.health().map_or(0.0, |h| h.ingest_s);
        while let Some(health) = self.daemon()?.health() {
            if health.recorded_s > freed_s {
                break;
            }
            anyhow::ensure!(
                freed.elapsed() < Duration::from_secs(120),
                "no record again after the disk was full: {}",
                health.all
            );
            std::thread::sleep(Duration::from_millis(200));
        }
        Ok(())
    }

    /// Forward or back, seconds to an hour; waits until it is noticed.
    fn step_clock(&mut self, dice: &mut Dice) -> anyhow::Result<()> {
        let size = 2 + i64::try_from(dice.below(3600))?;
        // Back towards the true time, so that the steps do not add up.
        let back = self.clock.offset_s > 0 || (self.clock.offset_s == 0 && dice.once_in(2));
        self.clock.offset_s += if back { -size } else { size };
        let before = self.clock_steps_counted()?;
        self.clock.set()?;
        self.clock.made += 1;
        let patience = Instant::now() + CLOCK_NOTICED_WITHIN;
        while Instant::now() < patience && self.clock_steps_counted()? == before {
            std::thread::sleep(Duration::from_millis(200));
        }
        Ok(())
    }

    fn clock_steps_counted(&mut self) -> anyhow::Result<u64> {
        self.counted("clock_steps")
    }

    /// A count of this life of the daemon, from its page.
    fn counted(&mut self, name: &str) -> anyhow::Result<u64> {
        let patience = Instant::now() + Duration::from_secs(10);
        loop {
            let health = self.daemon()?.health();
            if let Some(count) = health.and_then(|h| h.all[name].as_u64()) {
                return Ok(count);
            }
            anyhow::ensure!(Instant::now() < patience, "the page does not tell {name}");
            std::thread::sleep(Duration::from_millis(100));
        }
    }

    /// Before a life of the daemon ends: what it alone counts.
    pub(crate) fn note_counts(&mut self) -> anyhow::Result<()> {
        self.record_lost += self.counted("record_lost")?;
        self.clock.noticed += self.clock_steps_counted()?;
        Ok(())
    }

    /// An overpull, if the load instrument is in; waits until it is told, then takes it back.
    fn overpull(&mut self) -> anyhow::Result<()> {
        if !self.plugged[0] {
            return Ok(());
        }
        while let Ok((_, word)) = self.words.try_recv() {
            self.false_alarms += u64::from(word.contains("ALARM"));
        }
        let (first, end, begin) = self.instruments.pull(1.05 * self.limit_n, 30);
        let seen_after = self
            .wait_for_word(|word| word.contains("ALARM"), begin + ALARM_WITHIN)
            .map(|heard| heard.saturating_duration_since(begin));
        self.instruments.account().overpulls.push(Overpull {
            first,
            end,
            seen_after,
        });
        // Acknowledged and reset, the horn says that all is well: the next is told anew.
        let patience = Instant::now() + Duration::from_secs(10);
        while Instant::now() < patience {
            let daemon = self.daemon()?;
            daemon.post("/api/v1/alarms/overpull/acknowledge");
            daemon.post("/api/v1/alarms/overpull/reset");
            let soon = Instant::now() + Duration::from_millis(1000);
            if self
                .wait_for_word(|word| !word.contains("ALARM"), soon)
                .is_some()
            {
                break;
            }
        }
        Ok(())
    }

    fn wait_for_word(&self, is_it: impl Fn(&str) -> bool, until: Instant) -> Option<Instant> {
        loop {
            let patience = until.checked_duration_since(Instant::now())?;
            let (heard, word) = self.words.recv_timeout(patience).ok()?;
            if is_it(&word) {
                return Some(heard);
            }
        }
    }
}
