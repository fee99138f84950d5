//! How a groove deepens pass by pass, without units.
//!
//! With `kappa = N/(2 s tan b sqrt(2R))` (m^1.5) one wheel pass solves
//! `sqrt(p)(d0 + 2p/3) = kappa`; in `x = d/kappa^(2/3)` the constant drops out and one sequence
//! `x(n)` serves every tool, wall and hardness: `d = kappa^(2/3) x(n)`, drag of a pass
//! `u tan b kappa^(4/3) [x(n)^2 - x(n-1)^2]`. Passes that bite less count as part of a pass,
//! since depth cubed adds up in `kappa^2`.
//!
//! Springs relax and wheels blunt as they go deeper; both act as a `kappa` that falls with depth,
//! `kappa (1 - fade x/x_wall)`, and are told from it no further.
//!
//! *Source*: recursion of [`crate::model::groove_law`] (derived there from the chord of contact).

/// Sequence `x(n)` for one fade.
#[derive(Debug, Clone)]
pub struct PassLaw {
    x: Vec<f64>,
}

impl PassLaw {
    /// `passes`: wheel passes to tabulate; `x_wall`: `x` at full wall; `fade`: part of `kappa`
    /// lost at full wall.
    pub fn new(passes: usize, x_wall: f64, fade: f64) -> Self {
        let [law] = Self::with_fades(passes, x_wall, [fade]);
        law
    }

    /// Laws for several fades. Each pass has to wait for the one before; those of the other laws fill the time.
    pub(super) fn with_fades<const N: usize>(
        passes: usize,
        x_wall: f64,
        fades: [f64; N],
    ) -> [Self; N] {
        let mut laws = fades.map(|_| Self {
            x: Vec::with_capacity(passes + 2),
        });
        let mut reached = [0.0; N];
        for _ in 0..=passes {
            for i in 0..N {
                let at: f64 = reached[i];
                laws[i].x.push(at);
                let kappa = (1.0 - fades[i] * (at / x_wall).min(1.2)).max(0.2);
                reached[i] = at + advance(at, kappa);
            }
        }
        for (law, at) in laws.iter_mut().zip(reached) {
            law.x.push(at);
        }
        laws
    }

    /// `x` after `n` wheel passes (any real number from 0).
    pub fn x(&self, n: f64) -> f64 {
        let last = self.x.len() - 1;
        let n = n.clamp(0.0, last as f64);
        let i = (n as usize).min(last - 1);
        // Cube of depth is nearly linear in passes: interpolate there.
        let (a, b) = (self.x[i].powi(3), self.x[i + 1].powi(3));
        (a + (n - i as f64) * (b - a)).cbrt()
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

    /// Drag shape of passes from `n0` to `n1`: `x(n1)^2 - x(n0)^2`.
    pub fn drag(&self, n0: f64, n1: f64) -> f64 {
        let (a, b) = (self.x(n0), self.x(n1));
        b * b - a * a
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
        let law = PassLaw::new(50, 10.0, 0.0);
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
}
