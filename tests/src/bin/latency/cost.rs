//! What a process costs: processor time and memory.
//!
//! *Source*: proc(5): utime and stime in clock ticks of 1/100 s; `smaps_rollup` in KiB.

use std::fs;
use std::time::Duration;

/// At one moment.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Cost {
    /// Processor time so far, s.
    pub(crate) cpu_s: f64,
    /// Memory that is resident, shared libraries included, MiB.
    pub(crate) rss_mib: f64,
    /// The part that belongs to no file: heap and stacks.
    pub(crate) own_mib: f64,
}

impl Cost {
    /// Of a process, now.
    pub(crate) fn of(pid: u32) -> anyhow::Result<Self> {
        let stat = fs::read_to_string(format!("/proc/{pid}/stat"))?;
        let fields: Vec<&str> = stat
            .rsplit(')')
            .next()
            .unwrap_or("")
            .split_whitespace()
            .collect();
        let ticks: f64 = [11, 12]
            .iter()
            .filter_map(|&n| fields.get(n)?.parse::<f64>().ok())
            .sum();
        let memory = fs::read_to_string(format!("/proc/{pid}/smaps_rollup"))?;
        let mib = |name: &str| {
            memory
                .lines()
                .find_map(|line| {
                    let (_, rest) = line.split_once(name)?;
                    rest.split_whitespace().next()?.parse::<f64>().ok()
                })
                .unwrap_or(f64::NAN)
                / 1024.0
        };
        Ok(Self {
            cpu_s: ticks / 100.0,
            rss_mib: mib("Rss:"),
            own_mib: mib("Anonymous:"),
        })
    }
}

/// How it went over a run.
#[derive(Debug)]
pub(crate) struct Course {
    samples: Vec<(Duration, Cost)>,
}

impl Course {
    /// From `first` on.
    pub(crate) fn new(first: Cost) -> Self {
        Self {
            samples: vec![(Duration::ZERO, first)],
        }
    }

    /// Takes the cost at `at`, at most once a second.
    pub(crate) fn push(&mut self, at: Duration, pid: u32) -> anyhow::Result<()> {
        if let Some((before, _)) = self.samples.last()
            && at.saturating_sub(*before) < Duration::from_secs(1)
        {
            return Ok(());
        }
        self.samples.push((at, Cost::of(pid)?));
        Ok(())
    }

    /// Processor share, and memory ten times over the run.
    pub(crate) fn report(&self) -> String {
        let (Some((_, first)), Some((end, last))) = (self.samples.first(), self.samples.last())
        else {
            return String::new();
        };
        let share = 100.0 * (last.cpu_s - first.cpu_s) / end.as_secs_f64();
        let most = |part: fn(&Cost) -> f64| {
            let all = self.samples.iter().map(|(_, cost)| part(cost));
            all.fold(0.0, f64::max)
        };
        let course: Vec<String> = (0..=10)
            .map(|tenth| {
                let (at, cost) = &self.samples[tenth * (self.samples.len() - 1) / 10];
                format!(
                    "{:.0} s {:.1} ({:.1})",
                    at.as_secs_f64(),
                    cost.rss_mib,
                    cost.own_mib
                )
            })
            .collect();
        format!(
            "daemon: {share:.2} % of a core ({:.1} s of processor in {:.0} s); RSS at most {:.1} MiB ({:.1} of its own)\nRSS over the run, MiB (own): {}",
            last.cpu_s - first.cpu_s,
            end.as_secs_f64(),
            most(|cost| cost.rss_mib),
            most(|cost| cost.own_mib),
            course.join(", "),
        )
    }
}
