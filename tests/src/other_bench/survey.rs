//! The way of the hole: stations, inclination and azimuth linear between them.
//!
//! Linear angles are what the survey of this bench *is*, not an approximation of something else: the estimator, which
//! joins stations in its own way, is to meet a hole that is not its own. Shapes and ranges are invented.

use super::dice::Dice;

/// Stations of a hole.
#[derive(Debug, Clone)]
pub struct Survey {
    /// Measured depth of each station, m, growing, the first 0.
    pub depth: Vec<f64>,
    /// Inclination from vertical, rad.
    pub inclination: Vec<f64>,
    /// Azimuth, rad.
    pub azimuth: Vec<f64>,
}

/// Kinds of hole, drawn in turn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shape {
    /// Within 2 degrees of vertical.
    Vertical,
    /// 3 to 15 degrees.
    Slight,
    /// Built to 20 to 60 degrees and held.
    Deviated,
    /// Built to 15 to 50 degrees, often only near the interval, while it turns by up to 60 degrees.
    Turning,
}

impl Survey {
    /// Inclination at a measured depth, rad.
    pub fn inclination(&self, depth: f64) -> f64 {
        self.between(&self.inclination, depth)
    }

    /// Azimuth at a measured depth, rad.
    pub fn azimuth(&self, depth: f64) -> f64 {
        self.between(&self.azimuth, depth)
    }

    /// True vertical depth of a measured depth, m: midpoints of sixty steps, to a decimetre or so at 4000 m.
    pub fn vertical(&self, depth: f64) -> f64 {
        let steps = 60;
        let step = depth / f64::from(steps);
        (0..steps)
            .map(|i| self.inclination((f64::from(i) + 0.5) * step).cos() * step)
            .sum()
    }

    /// `values` at a measured depth; outside the stations that of the nearest.
    fn between(&self, values: &[f64], depth: f64) -> f64 {
        let stations = &self.depth;
        let last = stations.len() - 1;
        if depth <= stations[0] {
            return values[0];
        }
        if depth >= stations[last] {
            return values[last];
        }
        let i = stations.partition_point(|&station| station <= depth) - 1;
        let along = depth - stations[i];
        values[i] + (values[i + 1] - values[i]) * along / (stations[i + 1] - stations[i])
    }

    /// Draws a hole that reaches 120 m below `depth`. Returns it with the inclination it is built to, rad.
    pub fn draw(shape: Shape, depth: f64, dice: &mut Dice) -> (Self, f64) {
        let end = depth + 120.0;
        let azimuth_top = dice.between(0.0, 340.0).to_radians();
        let (built_to, kick_off) = match shape {
            Shape::Vertical => (dice.between(0.0, 2.0), depth * 0.2),
            Shape::Slight => (dice.between(3.0, 15.0), depth * dice.between(0.1, 0.5)),
            Shape::Deviated => (dice.between(20.0, 60.0), depth * dice.between(0.2, 0.6)),
            Shape::Turning => (dice.between(15.0, 50.0), depth * dice.between(0.25, 0.7)),
        };
        let built_to = built_to.to_radians();
        let build_rate = dice.between(1.2, 3.5).to_radians() / 30.0;
        let turn_most = if shape == Shape::Turning { 60.0 } else { 8.0 };
        let turn = dice.between(-turn_most, turn_most).to_radians();
        let mut survey = Self {
            depth: vec![0.0],
            inclination: vec![0.0],
            azimuth: vec![azimuth_top],
        };
        let (mut at, mut inclination) = (0.0, 0.0);
        while at < end {
            let step = if at < kick_off - 60.0 { 90.0 } else { 30.0 };
            at += step;
            let below = at > kick_off;
            if below && inclination < built_to {
                inclination = f64::min(inclination + build_rate * step, built_to);
            }
            let wobble = if below {
                dice.normal() * 0.15_f64.to_radians()
            } else {
                dice.unit() * 0.4_f64.to_radians()
            };
            let turned = ((at - kick_off) / (end - kick_off)).clamp(0.0, 1.0);
            let weave = if below { dice.normal() * 0.003 } else { 0.0 };
            survey.depth.push(at);
            survey
                .inclination
                .push(as_surveyed((inclination + wobble).max(0.0)));
            survey
                .azimuth
                .push(as_surveyed(azimuth_top + turn * turned + weave));
        }
        (survey, built_to)
    }
}

/// Rounded to a hundredth of a degree, as surveys are listed.
fn as_surveyed(angle: f64) -> f64 {
    (angle.to_degrees() * 100.0).round().to_radians() / 100.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn angles_are_linear_between_stations_and_constant_outside() {
        let survey = Survey {
            depth: vec![0.0, 1000.0, 2000.0],
            inclination: vec![0.0, 0.0, 1.0],
            azimuth: vec![0.2, 0.2, 0.4],
        };
        assert_eq!(survey.inclination(-5.0), 0.0);
        assert!((survey.inclination(1250.0) - 0.25).abs() < 1e-12);
        assert!((survey.azimuth(1500.0) - 0.3).abs() < 1e-12);
        assert_eq!(survey.azimuth(9000.0), 0.4);
        // 1000 m straight down, then the integral of cos(x) over x = 0..1 rad, 1000 m to the radian.
        let exact = 1000.0 + 1000.0 * 1.0_f64.sin();
        assert!((survey.vertical(2000.0) - exact).abs() < 0.5);
    }

    #[test]
    fn a_drawn_hole_reaches_below_the_interval_and_is_built_as_asked() {
        for (shape, least, most) in [
            (Shape::Vertical, 0.0, 2.0),
            (Shape::Slight, 3.0, 15.0),
            (Shape::Deviated, 20.0, 60.0),
            (Shape::Turning, 15.0, 50.0),
        ] {
            let (survey, built_to) = Survey::draw(shape, 2000.0, &mut Dice::new(3));
            assert!((least..most).contains(&built_to.to_degrees()));
            assert!(survey.depth.last().copied().unwrap() >= 2120.0);
            assert!(survey.depth.is_sorted());
        }
    }
}
