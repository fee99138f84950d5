//! One axis of a chart: its scale and its round ticks.

/// So many labelled ticks at least: fewer tell no scale.
const LEAST: usize = 3;
/// More than any axis has room for.
const MOST: u32 = 60;

/// One axis in data units.
#[derive(Debug, Clone)]
pub(crate) struct Axis {
    pub(super) label: String,
    pub(super) from: f64,
    pub(super) to: f64,
    kind: Kind,
}

/// What ticks stand for.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Kind {
    Number,
    /// A count: nothing lies between two whole numbers.
    Whole,
    /// Seconds.
    Clock,
}

impl Axis {
    /// `from` is at the left or bottom; give the larger first to turn the axis round.
    pub(crate) fn new(label: impl Into<String>, from: f64, to: f64) -> Self {
        let (from, to) = match (from.is_finite(), to.is_finite()) {
            (true, true) if (to - from).abs() > 1e-12 * from.abs().max(1e-9) => (from, to),
            (true, _) => (from, from + 1.0),
            _ => (0.0, 1.0),
        };
        Self {
            label: label.into(),
            from,
            to,
            kind: Kind::Number,
        }
    }

    /// Ticks are seconds, written as h:mm or h:mm:ss.
    pub(crate) fn clock(mut self) -> Self {
        self.kind = Kind::Clock;
        self
    }

    /// Ticks are counts.
    pub(crate) fn whole(mut self) -> Self {
        self.kind = Kind::Whole;
        self
    }

    pub(super) fn place(&self, value: f64) -> f64 {
        (value - self.from) / (self.to - self.from)
    }

    /// Ticks with their text: about `most`, and never fewer than [`LEAST`] where so many round values lie on the axis.
    pub(super) fn ticks(&self, most: usize) -> Vec<(f64, String)> {
        let (low, high) = (self.from.min(self.to), self.from.max(self.to));
        let mut step = self.step((high - low) / most.max(1) as f64);
        // A range that a step fits only once or twice, for instance from below zero to just above: one number alone
        // is no scale.
        for _ in 0..3 {
            if values(low, high, step).len() >= LEAST {
                break;
            }
            // Smaller than this one, larger than the next but one.
            step = self.step(0.4 * step);
        }
        (values(low, high, step).into_iter())
            .map(|value| (value, self.tick_text(value, step)))
            .collect()
    }

    fn step(&self, rough: f64) -> f64 {
        match self.kind {
            Kind::Number => round_step(rough),
            Kind::Whole => round_step(rough).max(1.0),
            Kind::Clock => clock_step(rough),
        }
    }

    fn tick_text(&self, value: f64, step: f64) -> String {
        if self.kind == Kind::Clock {
            let whole = value.round() as i64;
            let (h, m, s) = (whole / 3600, whole / 60 % 60, whole % 60);
            return if step < 60.0 {
                format!("{h}:{m:02}:{s:02}")
            } else {
                format!("{h}:{m:02}")
            };
        }
        let decimals = (-step.log10().floor()).clamp(0.0, 6.0) as usize;
        let text = format!("{value:.decimals$}");
        if text.trim_matches(['-', '0', '.']).is_empty() {
            format!("{:.decimals$}", 0.0)
        } else {
            text
        }
    }
}

/// Multiples of `step` on an axis.
fn values(low: f64, high: f64, step: f64) -> Vec<f64> {
    let first = (low / step - 1e-9).ceil();
    (0..MOST)
        .map(|i| (first + f64::from(i)) * step)
        .take_while(|v| *v <= high + step * 1e-6)
        .collect()
}

/// The next 1, 2 or 5 times a power of ten.
fn round_step(rough: f64) -> f64 {
    let power = 10_f64.powf(rough.max(1e-12).log10().floor());
    let lead = rough / power;
    let round = [1.0, 2.0, 5.0, 10.0]
        .into_iter()
        .find(|r| lead <= *r + 1e-9)
        .unwrap_or(10.0);
    round * power
}

fn clock_step(rough_s: f64) -> f64 {
    [
        1.0, 2.0, 5.0, 10.0, 15.0, 30.0, 60.0, 120.0, 300.0, 600.0, 900.0, 1800.0, 3600.0, 7200.0,
        14_400.0, 21_600.0, 43_200.0, 86_400.0,
    ]
    .into_iter()
    .find(|s| rough_s <= *s)
    .unwrap_or(rough_s)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_round_and_inside() {
        let ticks: Vec<String> = Axis::new("x", 0.0, 7.3)
            .ticks(5)
            .into_iter()
            .map(|t| t.1)
            .collect();
        assert_eq!(ticks, ["0", "2", "4", "6"]);
        let ticks: Vec<String> = Axis::new("t", 0.0, 7200.0)
            .clock()
            .ticks(5)
            .into_iter()
            .map(|t| t.1)
            .collect();
        assert_eq!(ticks, ["0:00", "0:30", "1:00", "1:30", "2:00"]);
        let ticks: Vec<String> = Axis::new("d", 1230.0, 1229.0)
            .ticks(4)
            .into_iter()
            .map(|t| t.1)
            .collect();
        assert_eq!(ticks, ["1229.0", "1229.5", "1230.0"]);
    }

    #[test]
    fn there_are_three_numbers_at_least_whatever_the_range() {
        for most in 2..6 {
            for k in 0..400 {
                let low = -1592.0 + 7.7 * f64::from(k);
                for length in [1.3, 9.0, 210.0, 2400.0, 9999.0] {
                    let ticks = Axis::new("y", low, low + length).ticks(most);
                    assert!(
                        (LEAST..=4 * most).contains(&ticks.len()),
                        "{low} {length} {most}: {ticks:?}"
                    );
                }
            }
        }
        // Dots of one stroke: nothing is at half a stroke.
        let texts = Axis::new("stroke", 0.0, 2.0).whole().ticks(9);
        assert_eq!(
            texts.into_iter().map(|t| t.1).collect::<Vec<_>>(),
            ["0", "1", "2"]
        );
        assert!(Axis::new("t", 3601.0, 3631.0).clock().ticks(2).len() >= LEAST);
    }
}
