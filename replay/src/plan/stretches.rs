//! Stretches of the interval that are not surely split, and what it takes to split them.

use kerfwatch::groove::GrooveEstimate;
use kerfwatch::groove::ledger::Ledger;
use kerfwatch::job::Job;
use kerfwatch::result::{GrooveBin, RunResult, Stroke};
use serde::Serialize;
use std::ops::Range;

/// Probability of being split from which a place needs no more strokes: who leaves the well leaves it for good, so more
/// than of one that is told as split.
const SURELY: f64 = 0.9;
/// Stretches nearer to each other than that are worked on as one: no winch turns within less, m (common practice, no
/// source).
const TURN_WITHIN_M: f64 = 1.0;
/// So far the wheels should run over either end, m: they lie in line over some decimetres, and the tool does not turn
/// twice at the same place.
const OVER_END_M: f64 = 0.5;
/// Pace of a crew of which no strokes are known: speed, m/s, and time lost at a turn, s.
const USUAL: (f64, f64) = (0.3, 10.0);

/// How the crew strokes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Pace {
    pub(super) speed_m_s: f64,
    pub(super) turn_s: f64,
}

/// A stretch, as if it were worked on alone.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub(super) struct Stretch {
    /// Where the wheels should turn, along hole: a little beyond what is to be split.
    pub(super) top_m: f64,
    pub(super) bottom_m: f64,
    /// Length that can be cut: couplings left out.
    pub(super) length_m: f64,
    /// Of this, taken as split, and split with 90 % probability or more.
    pub(super) split_m: f64,
    pub(super) surely_split_m: f64,
    /// Mean and least groove, and the wall.
    pub(super) mean_mm: f64,
    pub(super) least_mm: f64,
    pub(super) wall_mm: f64,
    /// Strokes that turn there until all of it is split, even chance and 90 %; `null`: cannot be told.
    pub(super) strokes_p50: Option<f64>,
    pub(super) strokes_p90: Option<f64>,
    /// Time of a stroke, s, and hours for all of them.
    pub(super) stroke_s: f64,
    pub(super) hours_p50: Option<f64>,
    pub(super) hours_p90: Option<f64>,
}

/// What the runs have shown.
pub(super) struct Known<'a> {
    pub(super) estimate: &'a GrooveEstimate,
    pub(super) ledger: &'a Ledger,
    /// Job that the estimate was made with.
    pub(super) job: &'a Job,
    pub(super) result: &'a RunResult,
    pub(super) pace: Pace,
}

impl Pace {
    /// Of the strokes that cut: the middle of each.
    pub(super) fn of(strokes: &[Stroke]) -> Self {
        let cut: Vec<&Stroke> = strokes.iter().filter(|s| s.engaged_m > 0.0).collect();
        let took =
            |s: &&Stroke| (s.end_s > s.start_s).then(|| s.tool_travel_m / (s.end_s - s.start_s));
        let speeds: Vec<f64> = cut.iter().filter_map(took).collect();
        let follows = |pair: &&[&Stroke]| pair[0].n + 1 == pair[1].n;
        let pairs = cut.windows(2).filter(follows);
        let turns: Vec<f64> = pairs.map(|pair| pair[1].start_s - pair[0].end_s).collect();
        Self {
            speed_m_s: middle(speeds).filter(|v| *v > 0.0).unwrap_or(USUAL.0),
            turn_s: middle(turns).map_or(USUAL.1, |s| s.max(0.0)),
        }
    }

    /// Time of one stroke, s.
    pub(super) fn stroke_s(&self, length_m: f64) -> f64 {
        length_m / self.speed_m_s + self.turn_s
    }
}

fn is_sure(bin: &GrooveBin) -> bool {
    bin.through && bin.through_probability >= SURELY
}

/// The middle one, of an even number the greater of both.
pub(super) fn middle(mut values: Vec<f64>) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied()
}

impl Known<'_> {
    /// A stretch; `counts`: what a stroke of the coming wheels counts.
    pub(super) fn stretch(&self, place: Range<f64>, counts: f64) -> Stretch {
        let inside =
            |bin: &&GrooveBin| !bin.coupling && place.contains(&(0.5 * (bin.top_m + bin.bottom_m)));
        let bins: Vec<&GrooveBin> = self.result.groove.iter().filter(inside).collect();
        let length = |bins: &mut dyn Iterator<Item = &&GrooveBin>| -> f64 {
            // The sum of none is -0.
            bins.map(|bin| bin.bottom_m - bin.top_m)
                .fold(0.0, |sum, length| sum + length)
        };
        let left = (self.estimate).strokes_left(self.ledger, self.job, &place, counts, SURELY);
        let (top_m, bottom_m) = (place.start - OVER_END_M, place.end + OVER_END_M);
        let stroke_s = self.pace.stroke_s(bottom_m - top_m);
        let hours = |strokes: f64| strokes * stroke_s / 3600.0;
        let depths = || bins.iter().map(|bin| bin.depth_mm);
        Stretch {
            top_m,
            bottom_m,
            length_m: length(&mut bins.iter()),
            split_m: length(&mut bins.iter().filter(|bin| bin.through)),
            surely_split_m: length(&mut bins.iter().filter(|bin| is_sure(bin))),
            mean_mm: depths().sum::<f64>() / bins.len().max(1) as f64,
            least_mm: depths().reduce(f64::min).unwrap_or(0.0),
            wall_mm: self.job.tubular.wall.as_millimetres(),
            strokes_p50: left.map(|l| l.0),
            strokes_p90: left.map(|l| l.1),
            stroke_s,
            hours_p50: left.map(|l| hours(l.0)),
            hours_p90: left.map(|l| hours(l.1)),
        }
    }

    /// Stretches that are not surely split, top down.
    pub(super) fn open(&self, interval: &Range<f64>, counts: f64) -> Vec<Stretch> {
        let bins = self.result.groove.iter();
        let open = bins.filter(|bin| {
            !bin.coupling && !is_sure(bin) && interval.contains(&(0.5 * (bin.top_m + bin.bottom_m)))
        });
        let mut places: Vec<Range<f64>> = Vec::new();
        for bin in open {
            match places.last_mut() {
                Some(last) if bin.top_m - last.end < TURN_WITHIN_M => last.end = bin.bottom_m,
                _ => places.push(bin.top_m..bin.bottom_m),
            }
        }
        let stretches = places.into_iter().map(|place| self.stretch(place, counts));
        stretches.collect()
    }
}
