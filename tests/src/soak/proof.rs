//! What was recorded, against what was sent.

use super::account::Account;
use kerfwatch::input::Input;
use kerfwatch::recording::{RunReader, time_of};
use kerfwatch::result::AlarmRecord;
use kerfwatch::time::seconds;
use std::collections::BTreeMap;
use std::path::Path;

/// Lines of one channel.
#[derive(Debug, Default)]
pub struct Lines {
    /// Sent.
    pub sent: usize,
    /// Found in the record.
    pub recorded: usize,
    /// Found more than once.
    pub doubled: usize,
    /// Missing, by the reason why they may be.
    pub excused: BTreeMap<&'static str, usize>,
    /// Missing without excuse: the first few numbers, and how many.
    pub lost: (Vec<usize>, usize),
}

/// What the record holds.
#[derive(Debug)]
pub struct Proof {
    /// Load and depth.
    pub lines: [Lines; 2],
    /// Overpulls of which at least two readings were recorded.
    pub overpulls_recorded: usize,
    /// Those of them at whose time a replay of the record has the alarm standing. One alarm may cover several:
    /// it stands until it is acknowledged, over and reset.
    pub overpulls_replayed: usize,
    /// Entries that the recorder itself counts as lost, inputs it could not keep.
    pub damage: Vec<String>,
    /// Inputs in the record.
    pub inputs: u64,
}

/// Reads a run folder back.
pub fn read(run: &Path, account: &Account) -> anyhow::Result<Proof> {
    let mut reader = RunReader::open(run)?;
    let mut seen = [0, 1].map(|channel: usize| vec![0_u8; account.sent_ms[channel].len()]);
    let mut rest: [Vec<u8>; 2] = [Vec::new(), Vec::new()];
    let mut inputs = 0;
    // For each overpull: readings recorded, and the run time of the first.
    let mut pulls = vec![(0_usize, f64::INFINITY); account.overpulls.len()];
    reader.for_each_input(|input| {
        inputs += 1;
        let at_s = seconds(time_of(input));
        match input {
            Input::Port { port, .. } => rest[usize::from(*port)].clear(),
            Input::Received { port, bytes, .. } => {
                let channel = usize::from(*port);
                let text = &mut rest[channel];
                text.extend_from_slice(bytes);
                let whole = text
                    .iter()
                    .rposition(|&b| b == b'\n')
                    .map_or(0, |at| at + 1);
                for line in text.drain(..whole).as_slice().split(|&b| b == b'\n') {
                    let Some(number) = number(line) else {
                        continue;
                    };
                    if let Some(count) = seen[channel].get_mut(number) {
                        *count = count.saturating_add(1);
                    }
                    let place = account.overpulls.partition_point(|o| o.end <= number);
                    let overpull = account.overpulls.get(place);
                    if channel == 0 && overpull.is_some_and(|o| o.first <= number) {
                        let (count, first_s) = &mut pulls[place];
                        *count += 1;
                        *first_s = first_s.min(at_s);
                    }
                }
            }
            _ => {}
        }
    });
    let lines = [0, 1].map(|channel| count(channel, &seen[channel], account));
    let recorded: Vec<f64> = pulls
        .iter()
        .filter(|(count, _)| *count >= 2)
        .map(|(_, first_s)| *first_s)
        .collect();
    let alarms = replay(run)?;
    let stands = |at_s: f64| {
        alarms.iter().any(|alarm| {
            alarm.kind == "overpull"
                && alarm.level == "high"
                && alarm.raised_s - 0.1 <= at_s
                && alarm
                    .cleared_s
                    .is_none_or(|cleared_s| at_s <= cleared_s + 0.1)
        })
    };
    Ok(Proof {
        lines,
        overpulls_recorded: recorded.len(),
        overpulls_replayed: recorded.iter().filter(|&&at_s| stands(at_s)).count(),
        damage: reader.damage().iter().map(ToString::to_string).collect(),
        inputs,
    })
}

/// Where a record ends: time of its newest input, s, and for each channel the number after the last whole
/// line.
pub fn end_of(run: &Path) -> anyhow::Result<(f64, [usize; 2])> {
    let mut reader = RunReader::open(run)?;
    let mut newest_s = 0.0;
    let mut next = [0; 2];
    let mut text: [Vec<u8>; 2] = [Vec::new(), Vec::new()];
    reader.for_each_input_from(reader.raw_end().saturating_sub(20_000), |_, input| {
        newest_s = f64::max(newest_s, seconds(time_of(input)));
        if let Input::Received { port, bytes, .. } = input {
            text[usize::from(*port)].extend_from_slice(bytes);
        }
    });
    for (next, text) in next.iter_mut().zip(&text) {
        let whole = text.iter().rposition(|&b| b == b'\n').unwrap_or(0);
        let mut lines = text[..whole].rsplit(|&b| b == b'\n');
        *next = lines.find_map(number).map_or(0, |number| number + 1);
    }
    Ok((newest_s, next))
}

/// Number of a whole line, `L 3000.12 #17`.
fn number(line: &[u8]) -> Option<usize> {
    let text = std::str::from_utf8(line.trim_ascii_end()).ok()?;
    let (value, number) = text.split_once(" #")?;
    let mut words = value.split(' ');
    let is_whole = matches!(words.next(), Some("L" | "D"))
        && words.next().is_some_and(|v| v.parse::<f64>().is_ok())
        && words.next().is_none();
    if is_whole { number.parse().ok() } else { None }
}

fn count(channel: usize, seen: &[u8], account: &Account) -> Lines {
    let mut lines = Lines {
        sent: seen.len(),
        ..Lines::default()
    };
    for (number, &times) in seen.iter().enumerate() {
        match times {
            0 => match account.excuse_for(channel, account.sent_ms[channel][number]) {
                Some(why) => *lines.excused.entry(why).or_default() += 1,
                None => {
                    lines.lost.1 += 1;
                    if lines.lost.0.len() < 10 {
                        lines.lost.0.push(number);
                    }
                }
            },
            _ => {
                lines.recorded += 1;
                lines.doubled += usize::from(times > 1);
            }
        }
    }
    lines
}

/// Alarms of a replay of the record.
fn replay(run: &Path) -> anyhow::Result<Vec<AlarmRecord>> {
    let mut reader = RunReader::open(run)?;
    let job = {
        let head = reader.head().map_err(|e| anyhow::anyhow!("{e}"))?;
        kerfwatch::job::read_job(&head.job, "run.toml")
            .map_err(|f| anyhow::anyhow!("{f}"))?
            .job
    };
    let mut pipeline = kerfwatch::pipeline::Pipeline::new(&job);
    let mut events = Vec::new();
    reader.for_each_input(|input| {
        pipeline.push(input, &mut events);
        events.clear();
    });
    Ok(pipeline.result("soak").alarms)
}

#[cfg(test)]
mod tests {
    use super::number;

    #[test]
    fn only_a_whole_line_counts() {
        assert_eq!(number(b"L 3000.12 #17\r"), Some(17));
        assert_eq!(number(b"D 2010.1234 #0\r"), Some(0));
        assert_eq!(number(b"L 3000.1L 3000.12 #18\r"), None);
        assert_eq!(number(b"00.12 #18"), None);
    }
}
