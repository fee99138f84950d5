//! Couplings as they show in the drag, and what they say about the depth counter.
//!
//! A line that slips on its measuring wheel makes all later depths wrong, and neither tension nor
//! line shows it: only what is fixed to the pipe can. Where drag stands out at a coupling, stroke
//! after stroke, that place must stay where it is; where it wanders, and all such places wander
//! together, the counter has slipped. Without such a signature nothing is corrected, and
//! [`CouplingMarks::seen`] says that slip cannot be told.
//!
//! *Input*: rows of the ledger. *Output*: by how much the depths told are too great, m.
//!
//! Means over a few strokes of one direction are compared with a straight background plus a bump of
//! free height, at all places near the tally's depth; the best place is that of the signature.

use super::drag_model::invert;
use super::ledger::{Bins, Row};
use crate::units::Metres;

/// Strokes that are averaged: waves on the line are as large as a signature in a single one.
const GROUP: u32 = 5;
/// Distance from the tally's depth within which the signature is looked for, m.
const SEARCH_M: f64 = 0.8;
/// Background to either side, m.
const BESIDE_M: f64 = 1.0;
/// Half width of the signature, m: coupling and wheels in line.
const WIDTH_M: f64 = 0.2;
/// Least height over its own error, and in newtons.
const SURE: f64 = 5.0;
const HEIGHT_MIN: f64 = 25.0;
/// From one group to the next its height changes by this factor at most, and its place by this, m.
const HEIGHT_FACTOR: f64 = 2.0;
const STEP_MAX: f64 = 0.35;
/// Groups that make the reference, and as many that are compared with it.
const REFERENCE: usize = 2;
/// Groups that must hang together before a place counts.
const HOLDS: usize = 5;
/// The last ones may differ by this, m: slip within a group is a few centimetres.
const SCATTER_MAX: f64 = 0.10;
/// Least shift that is corrected, and how far places may disagree about it, m.
const SHIFT_MIN: f64 = 0.15;
const DISAGREE_MAX: f64 = 0.10;

/// One coupling, seen by strokes of one direction.
#[derive(Debug, Clone)]
struct Place {
    /// Depth by the tally, m.
    tally: f64,
    /// First bin of the window, drag by bin summed, strokes.
    first: usize,
    sums: Vec<(f64, u32)>,
    strokes: u32,
    /// Distances from the tally's depth, m, group by group, while they hang together.
    seen: Vec<f64>,
    height: f64,
}

/// Watches the couplings of a job.
#[derive(Debug, Clone)]
pub struct CouplingMarks {
    bins: Bins,
    /// Up and down.
    places: [Vec<Place>; 2],
}

impl CouplingMarks {
    /// `couplings`: depths by the tally, m.
    pub fn new(bins: Bins, couplings: &[Metres]) -> Self {
        let half = SEARCH_M + BESIDE_M;
        let place = |tally: &Metres| {
            let tally = tally.si();
            let first = ((tally - half - bins.top) / bins.step).floor();
            let count = (2.0 * half / bins.step).ceil() as usize + 1;
            (first >= 0.0 && first as usize + count <= bins.count).then(|| Place {
                tally,
                first: first as usize,
                sums: vec![(0.0, 0); count],
                strokes: 0,
                seen: Vec::new(),
                height: 0.0,
            })
        };
        let places: Vec<Place> = couplings.iter().filter_map(place).collect();
        Self {
            bins,
            places: [places.clone(), places],
        }
    }

    /// Couplings with a signature that holds still enough to tell slip.
    pub fn seen(&self) -> usize {
        let [up, down] = &self.places;
        let sure = |p: &Place| p.seen.len() >= HOLDS;
        up.iter()
            .zip(down)
            .filter(|(u, d)| sure(u) || sure(d))
            .count()
    }

    /// Takes a stroke. Gives by how much the depths told since are too great, m, when
    /// the couplings say so; the caller takes it out of all that follows.
    pub fn stroke(&mut self, row: &Row) -> Option<f64> {
        let mut complete = false;
        for place in &mut self.places[usize::from(!row.up)] {
            complete |= place.add(row, &self.bins);
        }
        if !complete {
            return None;
        }
        let shift = self.shift()?;
        for place in self.places.iter_mut().flatten() {
            place.moved(shift);
        }
        Some(shift)
    }

    /// What all places that hold still say together.
    fn shift(&self) -> Option<f64> {
        let places = self.places.iter().flatten();
        let mut shifts: Vec<f64> = places.filter_map(Place::shift).collect();
        // One place alone may wander for reasons of its own.
        if shifts.len() < 2 {
            return None;
        }
        shifts.sort_by(f64::total_cmp);
        let middle = shifts[shifts.len() / 2];
        let agree = shifts[shifts.len() - 1] - shifts[0] <= DISAGREE_MAX;
        (agree && middle.abs() >= SHIFT_MIN).then_some(middle)
    }
}

impl Place {
    /// Adds a stroke; whether a group is complete.
    fn add(&mut self, row: &Row, bins: &Bins) -> bool {
        let last = self.first + self.sums.len() - 1;
        if row.top > bins.middle(self.first) || row.bottom < bins.middle(last) {
            return false;
        }
        for (i, sum) in self.sums.iter_mut().enumerate() {
            if let Some(drag) = row.at(self.first + i) {
                sum.0 += drag;
                sum.1 += 1;
            }
        }
        self.strokes += 1;
        if self.strokes < GROUP {
            return false;
        }
        let found = self.find(bins);
        self.clear();
        match found {
            Some((at, height)) => {
                let goes_on = self.seen.last().is_none_or(|last| {
                    (at - last).abs() <= STEP_MAX
                        && height < HEIGHT_FACTOR * self.height
                        && height > self.height / HEIGHT_FACTOR
                });
                if !goes_on {
                    self.seen.clear();
                }
                self.seen.push(at);
                self.height = height;
            }
            None => self.seen.clear(),
        }
        true
    }

    /// Place and height of the signature in the strokes summed up.
    fn find(&self, bins: &Bins) -> Option<(f64, f64)> {
        let half_bin = 0.5 * bins.step;
        let steps = (2.0 * SEARCH_M / half_bin).round() as usize;
        let places: Vec<(f64, f64, f64)> = (0..=steps)
            .map(|i| {
                let off = -SEARCH_M + i as f64 * half_bin;
                let (height, sure) = self.bump(bins, self.tally + off).unwrap_or((0.0, 0.0));
                (off, height, sure)
            })
            .collect();
        let best = (0..places.len()).max_by(|&a, &b| places[a].2.total_cmp(&places[b].2))?;
        // At the rim of the search it may lie outside.
        if best == 0 || best == places.len() - 1 {
            return None;
        }
        let (before, at, after) = (places[best - 1].2, places[best], places[best + 1].2);
        let bend = before - 2.0 * at.2 + after;
        let part = if bend < 0.0 {
            0.5 * (before - after) / bend
        } else {
            0.0
        };
        (at.2 >= SURE && at.1 >= HEIGHT_MIN).then_some((at.0 + part * half_bin, at.1))
    }

    /// Height of a bump at `depth`, N, and that over its error, by least squares.
    fn bump(&self, bins: &Bins, depth: f64) -> Option<(f64, f64)> {
        let mut m = [[0.0; 3]; 3];
        let mut v = [0.0; 3];
        let mut points: Vec<([f64; 3], f64)> = Vec::with_capacity(self.sums.len());
        for (i, &(sum, n)) in self.sums.iter().enumerate() {
            let x = bins.middle(self.first + i) - depth;
            if n < GROUP - 1 || x.abs() > BESIDE_M {
                continue;
            }
            let shape = [1.0, x, (-0.5 * (x / WIDTH_M).powi(2)).exp()];
            let y = sum / f64::from(n);
            for a in 0..3 {
                v[a] += shape[a] * y;
                for b in 0..3 {
                    m[a][b] += shape[a] * shape[b];
                }
            }
            points.push((shape, y));
        }
        if points.len() < 12 {
            return None;
        }
        let inverse = invert(m);
        let theta: [f64; 3] = std::array::from_fn(|a| (0..3).map(|b| inverse[a][b] * v[b]).sum());
        let misfit: f64 = points
            .iter()
            .map(|(shape, y)| {
                let model: f64 = (0..3).map(|a| theta[a] * shape[a]).sum();
                (y - model).powi(2)
            })
            .sum();
        let variance = misfit / (points.len() - 3) as f64 * inverse[2][2];
        Some((theta[2], theta[2] / variance.max(1e-9).sqrt()))
    }

    /// How far the place has wandered from its reference, m, once it is known.
    fn shift(&self) -> Option<f64> {
        let n = self.seen.len();
        if n < HOLDS {
            return None;
        }
        let reference = self.seen[..REFERENCE].iter().sum::<f64>() / REFERENCE as f64;
        let (a, b) = (self.seen[n - 2], self.seen[n - 1]);
        ((a - b).abs() <= SCATTER_MAX).then_some(0.5 * (a + b) - reference)
    }

    /// All depths are less by `shift` from now on.
    fn moved(&mut self, shift: f64) {
        let kept = self.seen.len().min(REFERENCE);
        for at in &mut self.seen[kept..] {
            *at -= shift;
        }
        self.clear();
    }

    fn clear(&mut self) {
        self.sums.fill((0.0, 0));
        self.strokes = 0;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const TALLY: f64 = 105.0;

    fn bins() -> Bins {
        Bins {
            top: 100.0,
            step: 0.1,
            count: 100,
            inside: (0, 100),
        }
    }

    /// A stroke over all bins whose drag falls along the pipe, with a bump of `height` N where the coupling
    /// seems to be.
    fn row(up: bool, coupling_at: f64, height: f64) -> Row {
        let bins = bins();
        let drag: Vec<f32> = (0..bins.count)
            .map(|j| {
                let x = bins.middle(j) - coupling_at;
                // Ripple of a passing wave, other in each direction.
                let ripple = 6.0 * (7.0 * x + f64::from(u8::from(up))).sin();
                (300.0 - 4.0 * x + ripple + height * (-0.5 * (x / 0.2).powi(2)).exp()) as f32
            })
            .collect();
        Row {
            up,
            start: 0.0,
            end: 10.0,
            top: 100.0,
            bottom: 110.0,
            speed: 1.0,
            first: 0,
            drag: drag.into(),
            marked_out: None,
            said: 0,
            weight_check: false,
            gain: 1.0,
        }
    }

    /// Strokes with the counter off by `slip(stroke)`; what was left of it after each correction, and what
    /// is seen at the end.
    fn run(height: f64, slip: impl Fn(u32) -> f64) -> (f64, f64, usize) {
        let mut marks = CouplingMarks::new(bins(), &[Metres(TALLY)]);
        let (mut taken, mut worst) = (0.0, 0.0f64);
        for k in 0..200 {
            let off = slip(k) - taken;
            worst = worst.max(f64::abs(off));
            if let Some(shift) = marks.stroke(&row(k % 2 == 0, TALLY + off, height)) {
                taken += shift;
            }
        }
        (taken, worst, marks.seen())
    }

    #[test]
    fn slow_slip_is_taken_out_as_it_grows() {
        let (taken, worst, seen) = run(120.0, |k| 0.004 * f64::from(k));
        assert!((taken - 0.8).abs() < 0.2, "{taken}");
        assert!(worst < 0.35, "{worst}");
        assert_eq!(seen, 1);
    }

    #[test]
    fn counter_that_does_not_slip_is_left_alone() {
        assert_eq!(run(120.0, |_| 0.3), (0.0, 0.3, 1));
    }

    #[test]
    fn without_a_signature_slip_is_not_told() {
        let (taken, _, seen) = run(0.0, |k| 0.004 * f64::from(k));
        assert_eq!((taken, seen), (0.0, 0));
    }
}
