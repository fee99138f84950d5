//! What ten more strokes bring, as it was told while the job ran, against what they brought.

use super::estimate::Shown;
use super::truth::Truth;

/// Strokes between two entries of a truth's history that is kept every ten.
const STROKES: std::ops::RangeInclusive<usize> = 9..=11;

/// What ten strokes bring in a joint.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ahead {
    /// By how much the groove deepens where it is not split, on average, mm.
    pub deepen_mm: f64,
    /// Bins that split.
    pub split: f64,
}

/// The same as told and as it came, in one joint at one time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TenStrokes {
    /// As it was told.
    pub told: Ahead,
    /// As it came.
    pub came: Ahead,
    /// Bins of the joint.
    pub bins: usize,
}

impl TenStrokes {
    /// Error of the bins that split, % of the joint's.
    pub fn split_off_pct(&self) -> f64 {
        100.0 * (self.told.split - self.came.split).abs() / self.bins as f64
    }

    /// Error of how much the rest deepens, mm.
    pub fn deepen_off_mm(&self) -> f64 {
        (self.told.deepen_mm - self.came.deepen_mm).abs()
    }
}

/// All that was told of joints not yet split when ten strokes more were made.
pub fn ten_strokes(truth: &Truth, shown: &[Shown]) -> Vec<TenStrokes> {
    let mut out = Vec::new();
    for (shown, pair) in shown.iter().zip(truth.groove_history.windows(2)) {
        let [now, then] = pair else { continue };
        let made = truth.strokes.iter();
        let made = made.filter(|s| now.time_s < s.end_s && s.end_s <= then.time_s);
        if !STROKES.contains(&made.count()) {
            continue;
        }
        for (joint, told) in shown.joints.iter().zip(&shown.ahead) {
            let Some(told) = *told else { continue };
            let inside = |k: &usize| {
                let bin = &truth.groove[*k];
                let middle = 0.5 * (bin.top_m + bin.bottom_m);
                !bin.coupling && joint.top_m <= middle && middle < joint.bottom_m
            };
            let members: Vec<usize> = (0..truth.groove.len()).filter(inside).collect();
            let holds = |k: &&usize| now.split[**k] < 0.5;
            let open: Vec<usize> = members.iter().filter(holds).copied().collect();
            if open.is_empty() {
                continue;
            }
            let deeper = |k: &usize| then.depth_mm[*k] - now.depth_mm[*k];
            out.push(TenStrokes {
                told,
                came: Ahead {
                    deepen_mm: open.iter().map(deeper).sum::<f64>() / open.len() as f64,
                    split: open.iter().filter(|k| then.split[**k] >= 0.5).count() as f64,
                },
                bins: members.len(),
            });
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn splits_are_told_off_by_their_part_of_the_joint() {
        let of = |deepen_mm, split| Ahead { deepen_mm, split };
        let one = TenStrokes {
            told: of(0.3, 4.0),
            came: of(0.4, 10.0),
            bins: 60,
        };
        assert!((one.split_off_pct() - 10.0).abs() < 1e-9);
        assert!((one.deepen_off_mm() - 0.1).abs() < 1e-9);
    }
}
