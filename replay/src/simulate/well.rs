//! The hole as the line feels it: direction, curvature, free strain, tabulated along hole.
//!
//! Minimum curvature between stations, evaluated every metre. Strain of unloaded line is thermal
//! expansion less lateral compression, `alpha (T - T0) - (1 - 2 nu) p / E`, with effective tension
//! doing the rest.

use super::scenario::Well as Spec;
use kerfwatch::units::GRAVITY;

/// Tables along hole with a step of one metre.
#[derive(Debug, Clone)]
pub struct Hole {
    places: Vec<Place>,
}

/// What the line feels at one depth.
#[derive(Debug, Clone, Copy)]
pub struct Place {
    /// Cosine of inclination.
    pub cosine: f64,
    /// Sine of inclination.
    pub sine: f64,
    /// Change of inclination per metre.
    pub build: f64,
    /// Sine of inclination times change of azimuth per metre.
    pub turn: f64,
    /// Strain without effective tension.
    pub free_strain: f64,
}

impl Place {
    /// Force per metre that presses the line on the pipe: weight across and the pull round the
    /// bend, which partly cancel in a build.
    #[inline]
    pub fn contact(&self, tension: f64, weight: f64) -> f64 {
        let across = tension * self.build - weight * self.sine;
        let aside = tension * self.turn;
        (across * across + aside * aside).sqrt()
    }
}

/// Properties needed for the strain of unloaded line.
#[derive(Debug, Clone, Copy)]
pub struct FreeStrain {
    /// Young's modulus, Pa.
    pub modulus: f64,
    /// Thermal expansion, 1/K.
    pub expansion: f64,
    /// Temperature gradient over vertical depth, K/m.
    pub gradient: f64,
    /// Wellhead pressure, Pa.
    pub pressure: f64,
    /// Fluid density, kg/m3.
    pub density: f64,
}

/// Poisson's ratio of steel.
const POISSON: f64 = 0.29;

impl Hole {
    /// Tabulates down to `depth`.
    pub fn new(spec: &Spec, free: FreeStrain, depth: f64) -> Self {
        let count = depth.ceil() as usize + 3;
        let tangents: Vec<[f64; 3]> = (0..count).map(|k| tangent(spec, k as f64)).collect();
        let mut places = Vec::with_capacity(count);
        let mut vertical = 0.0;
        for k in 0..count {
            let t = tangents[k];
            let cosine = t[2].clamp(-1.0, 1.0);
            let sine = (1.0 - cosine * cosine).max(0.0).sqrt();
            let (a, b) = (
                tangents[k.saturating_sub(1)],
                tangents[(k + 1).min(count - 1)],
            );
            let span = ((k + 1).min(count - 1) - k.saturating_sub(1)) as f64;
            // Change of direction per metre, split into the plane of the hole and across it.
            let change = [
                (b[0] - a[0]) / span,
                (b[1] - a[1]) / span,
                (b[2] - a[2]) / span,
            ];
            let total = (change[0].powi(2) + change[1].powi(2) + change[2].powi(2)).sqrt();
            let build = if sine > 1e-6 {
                -change[2] / sine
            } else {
                total
            };
            let turn = (total * total - build * build).max(0.0).sqrt();
            let pressure = free.pressure + free.density * GRAVITY * vertical;
            places.push(Place {
                cosine,
                sine,
                build,
                turn,
                free_strain: free.expansion * free.gradient * vertical
                    - (1.0 - 2.0 * POISSON) * pressure / free.modulus,
            });
            vertical += cosine;
        }
        Self { places }
    }

    /// Linear interpolation.
    #[inline]
    pub fn at(&self, depth: f64) -> Place {
        let last = self.places.len() - 2;
        let clipped = depth.max(0.0);
        let k = (clipped as usize).min(last);
        let f = (clipped - k as f64).min(1.0);
        let (a, b) = (&self.places[k], &self.places[k + 1]);
        let mix = |a: f64, b: f64| a + f * (b - a);
        Place {
            cosine: mix(a.cosine, b.cosine),
            sine: mix(a.sine, b.sine),
            build: mix(a.build, b.build),
            turn: mix(a.turn, b.turn),
            free_strain: mix(a.free_strain, b.free_strain),
        }
    }

    /// Strain of unloaded line.
    #[inline]
    pub fn free_strain(&self, depth: f64) -> f64 {
        let k = (depth.max(0.0) as usize).min(self.places.len() - 2);
        let f = (depth.max(0.0) - k as f64).min(1.0);
        let (a, b) = (self.places[k].free_strain, self.places[k + 1].free_strain);
        a + f * (b - a)
    }
}

/// Unit vector (north, east, down) along the hole: great-circle interpolation between stations,
/// which is what minimum curvature means.
fn tangent(spec: &Spec, md: f64) -> [f64; 3] {
    let vector = |k: usize| {
        let s = &spec.survey[k];
        [
            s.inc.0.sin() * s.azi.0.cos(),
            s.inc.0.sin() * s.azi.0.sin(),
            s.inc.0.cos(),
        ]
    };
    let next = spec.survey.partition_point(|s| s.md.0 <= md);
    if next >= spec.survey.len() {
        return vector(spec.survey.len() - 1);
    }
    let (a, b) = (vector(next - 1), vector(next));
    let (from, to) = (spec.survey[next - 1].md.0, spec.survey[next].md.0);
    let f = (md - from) / (to - from);
    let dot = (a[0] * b[0] + a[1] * b[1] + a[2] * b[2]).clamp(-1.0, 1.0);
    let angle = dot.acos();
    if angle < 1e-9 {
        return a;
    }
    let (p, q) = (
        ((1.0 - f) * angle).sin() / angle.sin(),
        (f * angle).sin() / angle.sin(),
    );
    [
        p * a[0] + q * b[0],
        p * a[1] + q * b[1],
        p * a[2] + q * b[2],
    ]
}
