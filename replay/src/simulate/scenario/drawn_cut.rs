//! How cutter and pipe of one well differ from what all wells of the scenario have in common.
//!
//! Two cutters of one drawing do not relax, blunt or bite alike, nor do two strings of one grade harden or give way
//! alike. The ranges are invented.

use super::Scenario;
use crate::simulate::rng::Rng;

impl Scenario {
    /// The scenario with the cut of one well, drawn within `[spread]`.
    #[must_use]
    pub fn with_drawn_cut(&self, rng: &mut Rng) -> Self {
        let mut drawn = self.clone();
        let spread = &self.spread;
        let mut off = |range: f64| range * rng.between(-1.0, 1.0);
        let (cutter, pipe) = (&mut drawn.cutter, &mut drawn.pipe);
        cutter.wear.0 *= 1.0 + off(spread.wear.min(1.0));
        cutter.force_slope.0 += off(spread.force_slope.0);
        cutter.bite_down = (cutter.bite_down + off(spread.bite_down)).clamp(0.1, 1.0);
        pipe.hardening += off(spread.hardening);
        pipe.hardness_sd = (pipe.hardness_sd + off(spread.hardness_sd)).max(0.0);
        pipe.wall_mean += off(spread.wall);
        pipe.break_low = (pipe.break_low + off(spread.break_low)).clamp(0.5, 1.0);
        drawn
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const VERTICAL: &str = include_str!("../../../../fixtures/scenarios/vertical.toml");

    #[test]
    fn wells_of_a_scenario_differ_within_its_spread() {
        let scenario = Scenario::parse(VERTICAL).unwrap();
        let drawn = |seed| scenario.with_drawn_cut(&mut Rng::new(seed, "cut"));
        let hardening: Vec<f64> = (0..20).map(|seed| drawn(seed).pipe.hardening).collect();
        let spread = scenario.spread.hardening;
        assert!(spread > 0.0);
        let off = |h: &f64| (h - scenario.pipe.hardening).abs();
        assert!(hardening.iter().all(|h| off(h) <= spread));
        assert!(hardening.iter().any(|h| off(h) > 0.5 * spread));
    }
}
