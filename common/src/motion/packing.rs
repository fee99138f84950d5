//! Friction of the packing: the uppermost element of the chain, of no length.
//!
//! It is against the line on its way; at a standstill it stays as it was, because what then changes is the pull from
//! below, which lets the line creep on the way it went. Once the line comes back, the change is from above: the line
//! below feels nothing of it until the packing has turned.

/// Faster than this the line slips through the packing, m/s.
const SLIPS: f64 = 0.02;
/// Line that has come back by this much, m, turns the packing.
const BACK: f64 = 0.004;
/// Part of the packing's friction that turns in one cell.
const TURNS: f64 = 0.5;
/// Friction learned beyond the job's by this factor may be that of bends that no survey shows.
const DOUBTED: f64 = 1.5;
/// Line by which doubted friction has turned in any case, m.
const TURNED_M: f64 = 0.8;

/// The packing, and how it stands.
#[derive(Debug, Clone, Copy)]
pub(super) struct Packing {
    /// Friction now, N, positive where it holds the line back on its way in.
    drag: f64,
    /// Tension just below it, N.
    below: f64,
    /// Line below it, m.
    line: f64,
    /// It has been seen to slip with its full friction.
    slid: bool,
    /// Which way the line went last, positive in, and how far, m.
    way: f64,
    farthest: f64,
}

impl Default for Packing {
    fn default() -> Self {
        Self {
            drag: 0.0,
            below: 0.0,
            line: 0.0,
            slid: false,
            way: 1.0,
            farthest: f64::NEG_INFINITY,
        }
    }
}

impl Packing {
    /// Takes a moment: tension `above` it, N, its greatest friction, learned and as in the job, N, line below it, m, and
    /// its speed, m/s. Gives the friction.
    pub(super) fn push(
        &mut self,
        above: f64,
        (most, of_job): (f64, f64),
        line: f64,
        line_speed: f64,
    ) -> f64 {
        if line_speed.abs() >= SLIPS {
            self.goes(line_speed.signum(), line);
            let sure = most <= DOUBTED * of_job || !self.slid;
            self.drag = if sure {
                self.drag + TURNS * (most * self.way - self.drag)
            } else {
                self.turning(above, most, line)
            };
            self.slid |= (self.drag - most * self.way).abs() < 0.01 * most;
        } else if self.way * (self.farthest - line) > BACK {
            self.drag = (self.below - above).clamp(-most, most);
            if self.drag * self.way <= -most {
                self.goes(-self.way, line);
            }
        } else {
            self.goes(self.way, line);
            self.drag = self.drag.clamp(-most, most);
        }
        self.below = above + self.drag;
        self.line = line;
        self.drag
    }

    /// Doubted friction while the line slips. As it turns, the line above takes up: the pull below does not change against
    /// the line's way, or only as fast as so much line allows.
    fn turning(&self, above: f64, most: f64, line: f64) -> f64 {
        let next = self.drag + TURNS * (most * self.way - self.drag);
        let unmoved = self.below - above;
        let at_least = 2.0 * most * (line - self.line).abs().min(TURNED_M) / TURNED_M;
        let turned = if self.way < 0.0 {
            next.max(unmoved.min(self.drag - at_least)).min(self.drag)
        } else {
            next.min(unmoved.max(self.drag + at_least)).max(self.drag)
        };
        turned.clamp(-most, most)
    }

    fn goes(&mut self, way: f64, line: f64) {
        if way != self.way || way * (line - self.farthest) > 0.0 {
            (self.way, self.farthest) = (way, line);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const MOST: f64 = 100.0;

    fn on_the_way_in() -> Packing {
        let mut packing = Packing::default();
        for i in 0..20 {
            packing.push(1000.0, (MOST, MOST), 500.0 + 0.05 * f64::from(i), 0.5);
        }
        packing
    }

    #[test]
    fn is_against_the_line_on_its_way() {
        let mut packing = on_the_way_in();
        assert!((packing.drag - MOST).abs() < 0.1);
        for i in 0..20 {
            packing.push(1000.0, (MOST, MOST), 501.0 - 0.05 * f64::from(i), -0.5);
        }
        assert!((packing.drag + MOST).abs() < 0.1);
    }

    #[test]
    fn friction_believed_too_great_moves_nothing_below_as_the_line_turns() {
        let mut packing = on_the_way_in();
        let below = packing.below;
        // It truly has a fifth of the friction: the line above takes up by twice that, and then pulls on the line below.
        let mut fell: f64 = 0.0;
        for i in 0..8 {
            let above = 1000.0 + 40.0 + 5.0 * f64::from(i);
            let drag = packing.push(
                above,
                (MOST, 0.2 * MOST),
                500.95 - 0.01 * f64::from(i),
                -0.1,
            );
            fell = fell.max(below - (above + drag));
        }
        assert!(fell < 0.1 * MOST, "{fell}");
    }

    #[test]
    fn stays_at_a_standstill_whatever_the_pull_from_below() {
        let mut packing = on_the_way_in();
        for above in [1000.0, 1100.0, 1400.0] {
            assert!((packing.push(above, (MOST, MOST), 500.95, 0.0) - MOST).abs() < 0.1);
        }
    }

    #[test]
    fn a_line_that_comes_back_feels_nothing_below_until_the_packing_has_turned() {
        let mut packing = on_the_way_in();
        let below = packing.below;
        for above in [1050.0, 1120.0, 1190.0] {
            let drag = packing.push(above, (MOST, MOST), 500.94, 0.01);
            assert!((above + drag - below).abs() < 0.1, "{above} {drag}");
        }
        let drag = packing.push(1260.0, (MOST, MOST), 500.93, 0.01);
        assert!((drag + MOST).abs() < 1e-9, "{drag}");
    }
}
