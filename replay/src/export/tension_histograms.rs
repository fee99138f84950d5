//! Line tension of each stroke and each stall as a histogram.

use crate::failure::Failure;
use crate::readings::for_each_reading;
use crate::run_folder::RunFolder;
use hdrhistogram::Histogram;
use kerfwatch::input::ChannelId;
use kerfwatch::result::{Direction, RunResult, State};
use kerfwatch::time::seconds;

/// Most newtons that can be counted; far above any slickline.
const NEWTONS_MAX: u64 = 1_000_000;
/// Significant digits kept: tension is known to three at best.
const DIGITS: u8 = 3;

/// One stretch of the run and its tension, in whole newtons.
#[derive(Debug)]
pub struct StretchTension {
    /// `up-cutting`, `up-free`, `down-cutting`, `down-free` or `stalled`.
    pub class: &'static str,
    /// Start, s from run start.
    pub start_s: f64,
    /// Length, s.
    pub length_s: f64,
    /// Counts of readings by tension, N; below zero counts as zero.
    pub histogram: Histogram<u32>,
}

/// Strokes and stalls, in order of start. A stall inside a stroke counts in both.
fn stretches(result: &RunResult) -> Vec<(f64, f64, &'static str)> {
    let mut list: Vec<(f64, f64, &'static str)> = result
        .strokes
        .iter()
        .map(|s| {
            let class = match (s.direction, s.engaged_m > 0.0) {
                (Direction::Up, true) => "up-cutting",
                (Direction::Up, false) => "up-free",
                (Direction::Down, true) => "down-cutting",
                (Direction::Down, false) => "down-free",
            };
            (s.start_s, s.end_s, class)
        })
        .chain(
            result
                .intervals
                .iter()
                .filter(|i| i.state == State::Stalled)
                .map(|i| (i.start_s, i.end_s, "stalled")),
        )
        .collect();
    list.sort_by(|a, b| a.0.total_cmp(&b.0));
    list
}

/// Goes through the recording once more and counts.
///
/// # Errors
/// A job whose instruments cannot be set up.
pub fn tension_histograms(
    folder: &mut RunFolder,
    result: &RunResult,
) -> Result<Vec<StretchTension>, Failure> {
    let mut list: Vec<StretchTension> = Vec::new();
    for (start, end, class) in stretches(result) {
        let histogram = Histogram::new_with_max(NEWTONS_MAX, DIGITS)
            .unwrap_or_else(|_| unreachable!("bounds and digits are constants within range"));
        list.push(StretchTension {
            class,
            start_s: start,
            length_s: end - start,
            histogram,
        });
    }
    // Readings come nearly in order: only stretches that can still hold one are looked at.
    const LATE_S: f64 = 5.0;
    let mut first = 0;
    for_each_reading(folder, |reading| {
        if reading.channel != ChannelId::Load {
            return;
        }
        let at = seconds(reading.at);
        while list
            .get(first)
            .is_some_and(|s| s.start_s + s.length_s + LATE_S < at)
        {
            first += 1;
        }
        for stretch in list[first..].iter_mut().take_while(|s| s.start_s <= at) {
            if at <= stretch.start_s + stretch.length_s {
                let newtons = reading.value.round().clamp(0.0, NEWTONS_MAX as f64);
                stretch.histogram.saturating_record(newtons as u64);
            }
        }
    })?;
    list.retain(|s| !s.histogram.is_empty());
    Ok(list)
}
