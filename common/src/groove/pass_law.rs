//! How a groove deepens pass by pass, without units.
//!
//! With `kappa = N/(2 s tan b sqrt(2R))` (m^1.5) one wheel pass solves
//! `sqrt(p)(d0 + 2p/3) = kappa`; in `x = d/kappa^(2/3)` the constant drops out and one sequence
//! `x(n)` serves every tool, wall and hardness: `d = kappa^(2/3) x(n)`, drag of a pass
//! `u tan b kappa^(4/3) [x(n)^2 - x(n-1)^2]`. Passes that bite less count as part of a pass,
//! since depth cubed adds up in `kappa^2`.
//!
//! Springs relax and wheels blunt as they go deeper; both act as a `kappa` that falls with depth,
//! `kappa (1 - fade x/x_wall)`, and are told from it no further. What is left of the wall yields the more easily the
//! thinner it is against the groove's width: `s` falls there, `kappa` rises, and a groove deepens faster the nearer
//! it is to the back.
//!
//! *Source*: recursion of [`crate::model::groove_law`] (derived there from the chord of contact).

/// How the law leaves the plain recursion.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Bend {
    /// Part of `kappa` lost at full wall.
    pub fade: f64,
    /// Part of the resistance lost when nothing is left of the wall.
    pub softening: f64,
}

impl Bend {
    /// From both parts.
    pub const fn new(fade: f64, softening: f64) -> Self {
        Self { fade, softening }
    }

    /// Resistance at a part of the wall, in terms of that of a thick one.
    fn resistance(self, part: f64) -> f64 {
        let left = (1.0 - part).max(0.0) / part.max(1e-9);
        1.0 - self.softening * (1.0 - left / SOFT_FROM).max(0.0)
    }
}

/// Wall left over depth below which it resists less: a slip line from the bottom of the groove then reaches the back
/// (a groove half as wide as deep, and one and a half widths of wall left: common practice, no source).
const SOFT_FROM: f64 = 0.8;
/// Part of the wall at `x_wall`: it gives way before the groove is through.
pub(super) const PART_AT_WALL: f64 = 0.92;

/// Sequence `x(n)` for one way of bending it.
#[derive(Debug, Clone)]
pub struct PassLaw {
    x: Vec<f64>,
    /// Work up to there: `x^2` where the wall resists fully.
    work: Vec<f64>,
}

impl PassLaw {
    /// `passes`: wheel passes to tabulate; `x_wall`: `x` at full wall.
    pub fn new(passes: usize, x_wall: f64, bend: Bend) -> Self {
        let [law] = Self::with_bends(passes, x_wall, [bend]);
        law
    }

    /// Laws that bend in several ways. Each pass has to wait for the one before; those of the other laws fill the time.
    pub(super) fn with_bends<const N: usize>(
        passes: usize,
        x_wall: f64,
        bends: [Bend; N],
    ) -> [Self; N] {
        let mut laws = bends.map(|_| Self {
            x: Vec::with_capacity(passes + 2),
            work: Vec::with_capacity(passes + 2),
        });
        let mut reached = [(0.0, 0.0); N];
        for _ in 0..=passes {
            for i in 0..N {
                let (at, work): (f64, f64) = reached[i];
                laws[i].x.push(at);
                laws[i].work.push(work);
                let resistance = bends[i].resistance(PART_AT_WALL * at / x_wall);
                let kappa = (1.0 - bends[i].fade * (at / x_wall).min(1.2)).max(0.2) / resistance;
                let next = at + advance(at, kappa);
                reached[i] = (next, work + resistance * (next * next - at * at));
            }
        }
        for (law, (at, work)) in laws.iter_mut().zip(reached) {
            law.x.push(at);
            law.work.push(work);
        }
        laws
    }

    /// `x` after `n` wheel passes (any real number from 0).
    pub fn x(&self, n: f64) -> f64 {
        self.at(n).0
    }

    /// `x` after `n` wheel passes, and the work up to there.
    pub(super) fn at(&self, n: f64) -> (f64, f64) {
        let last = self.x.len() - 1;
        let n = n.clamp(0.0, last as f64);
        let i = (n as usize).min(last - 1);
        let (a, b) = (self.x[i], self.x[i + 1]);
        // Cube of depth is nearly linear in passes: interpolate there; work goes with its square.
        let (a3, b3) = (a * a * a, b * b * b);
        let x = (a3 + (n - i as f64) * (b3 - a3)).cbrt();
        let part = (x * x - a * a) / (b * b - a * a).max(1e-300);
        let work = self.work[i] + part * (self.work[i + 1] - self.work[i]);
        (x, work)
    }

    /// The same where the table may end before: beyond it the cube of depth goes on as it last did.
    pub(super) fn x_beyond(&self, n: f64) -> f64 {
        let last = self.x.len() - 1;
        if n <= last as f64 {
            return self.x(n);
        }
        let (a, b) = (self.x[last - 1].powi(3), self.x[last].powi(3));
        (b + (n - last as f64) * (b - a)).cbrt()
    }

    /// Drag shape of passes from `n0` to `n1`: `x(n1)^2 - x(n0)^2` where the wall resists fully.
    pub fn drag(&self, n0: f64, n1: f64) -> f64 {
        self.at(n1).1 - self.at(n0).1
    }

    /// Wheel passes that reach `x`; beyond the table, extrapolated with the cube law.
    pub fn passes_to(&self, x: f64) -> f64 {
        let last = self.x.len() - 1;
        if x >= self.x[last] {
            let (a, b) = (self.x[last - 1].powi(3), self.x[last].powi(3));
            return last as f64 + (x.powi(3) - b) / (b - a).max(1e-9);
        }
        let i = self.x.partition_point(|&v| v <= x).max(1) - 1;
        let (a, b) = (self.x[i].powi(3), self.x[i + 1].powi(3));
        i as f64 + (x.powi(3) - a) / (b - a).max(1e-12)
    }
}

/// Solves `sqrt(p)(x0 + 2p/3) = kappa` for `p`.
fn advance(x0: f64, kappa: f64) -> f64 {
    // Newton in s = sqrt(p): f = 2/3 s^3 + x0 s - kappa is increasing and convex for s > 0, so
    // starting above the root it converges without overshooting.
    let mut s = if x0 > 1.0 {
        kappa / x0
    } else {
        (1.5 * kappa).cbrt()
    };
    for _ in 0..30 {
        let f = (2.0 / 3.0 * s * s + x0) * s - kappa;
        let step = f / (2.0 * s * s + x0);
        s -= step;
        // Convergence is quadratic: what is left is the square of this.
        if step.abs() < 1e-8 * s {
            break;
        }
    }
    s * s
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Base case of the shared check table (4 kN, 10 mm, 15 deg, 1.2 GPa): depths after passes
    /// 1, 2, 3, 5, 10, 20 in mm.
    #[test]
    fn sequence_matches_the_base_case_of_the_pass_recursion() {
        let kappa = 4000.0 / (2.0 * 1.2e9 * 15f64.to_radians().tan() * (2.0 * 0.01f64).sqrt());
        let scale = kappa.powf(2.0 / 3.0) * 1e3;
        let law = PassLaw::new(50, 10.0, Bend::default());
        for (n, mm) in [
            (1.0, 1.6327),
            (2.0, 2.1331),
            (3.0, 2.4793),
            (5.0, 2.9816),
            (10.0, 3.8044),
            (20.0, 4.8295),
        ] {
            assert!((law.x(n) * scale - mm).abs() < 1e-4, "pass {n}");
            assert!((law.passes_to(mm / scale) - n).abs() < 1e-3);
        }
    }

    #[test]
    fn the_last_of_a_wall_that_softens_goes_faster_and_takes_less_work() {
        let (plain, soft) = (
            PassLaw::new(600, 8.0, Bend::default()),
            PassLaw::new(600, 8.0, Bend::new(0.0, 0.4)),
        );
        // The same until what is left is 0.8 of the depth, at 0.56 of the wall.
        let early = plain.passes_to(0.5 * 8.0 / PART_AT_WALL);
        assert!((soft.x(early) - plain.x(early)).abs() < 1e-9);
        let n = plain.passes_to(8.0);
        assert!(soft.passes_to(8.0) < 0.85 * n);
        // What is left resists with 0.6 to 1 of its strength.
        let all = soft.drag(0.0, soft.passes_to(8.0)) / 64.0;
        assert!((0.7..0.95).contains(&all), "{all}");
        let sum: f64 = (0..400)
            .map(|k| soft.drag(f64::from(k), f64::from(k) + 1.0))
            .sum();
        assert!((sum - soft.drag(0.0, 400.0)).abs() < 1e-9);
    }
}
