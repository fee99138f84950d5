//! Well path by minimum curvature: position and direction at any measured depth.
//!
//! *Input -> output*: survey stations (measured depth m, inclination rad from vertical, azimuth
//! rad from north) -> true vertical depth, north, east (m), tangent and curvature (1/m).
//! *Assumptions*: between stations the path is one circular arc; above the first station the path
//! starts vertical at measured depth 0; below the last station it goes on straight in the last
//! direction. *Limits*: a change of direction of 180 degrees between stations has no unique arc
//! and is an error. *Source*: minimum curvature, textbook geometry; ratio factor
//! `RF = (2/b) tan(b/2)` with dogleg `b`,
//! `cos b = cos(I2-I1) - sin I1 sin I2 (1 - cos(A2-A1))`.

use crate::job::SurveyStation;

/// Why a survey is no path.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum PathError {
    /// No station at all.
    #[error("the survey has no station: give at least one (md, inc, azi)")]
    Empty,
    /// A number that is not finite.
    #[error("survey station {station}: md, inc and azi must be finite numbers")]
    NotFinite {
        /// Index of the station, from 0.
        station: usize,
    },
    /// Negative measured depth.
    #[error("survey station {station}: measured depth {md_m} m is above the wellhead (negative)")]
    NegativeDepth {
        /// Index of the station, from 0.
        station: usize,
        /// What was given, m.
        md_m: f64,
    },
    /// Measured depth does not increase.
    #[error(
        "survey station {station}: measured depth {md_m} m must be greater than {before_m} m before it"
    )]
    NotIncreasing {
        /// Index of the station, from 0.
        station: usize,
        /// What was given, m.
        md_m: f64,
        /// Measured depth of the station before, m.
        before_m: f64,
    },
    /// Inclination outside 0 to 180 degrees.
    #[error("survey station {station}: inclination {inc_deg} deg must lie in 0 to 180 deg")]
    Inclination {
        /// Index of the station, from 0.
        station: usize,
        /// What was given, degrees.
        inc_deg: f64,
    },
    /// Two stations point in opposite directions.
    #[error(
        "survey station {station}: opposite in direction to the station before; add a station between"
    )]
    Opposite {
        /// Index of the station, from 0.
        station: usize,
    },
}

/// A point in the well, m from the wellhead.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Position {
    /// True vertical depth.
    pub tvd_m: f64,
    /// Towards north.
    pub north_m: f64,
    /// Towards east.
    pub east_m: f64,
}

/// Unit vector down the hole: (north, east, down).
pub type Tangent = [f64; 3];

/// One arc (or straight) from a station to the next.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Leg {
    md_m: f64,
    length_m: f64,
    from: Tangent,
    to: Tangent,
    dogleg_rad: f64,
    at: Position,
}

/// What drag needs to know at one measured depth.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LocalGeometry {
    /// Cosine of inclination.
    pub cos_inc: f64,
    /// Curvature of the path, 1/m; zero on a straight.
    pub curvature_per_m: f64,
    /// Rate of change of `cos_inc` down the hole, 1/m (negative in a build).
    pub cos_inc_rate_per_m: f64,
}

/// A well from the wellhead down; defined for every measured depth.
///
/// ```
/// use kerfwatch::model::wellpath::WellPath;
/// // Vertical to 1000 m, then building to 60 degrees at 1600 m.
/// let deg = f64::to_radians;
/// let path = WellPath::new([(0.0, 0.0, 0.0), (1000.0, 0.0, 0.0), (1600.0, deg(60.0), 0.0)])?;
/// assert!((path.position(1600.0).tvd_m - 1496.196).abs() < 1e-3);
/// assert!((path.inclination_rad(1300.0) - deg(30.0)).abs() < 1e-9);
/// # Ok::<(), kerfwatch::model::wellpath::PathError>(())
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct WellPath {
    legs: Vec<Leg>,
    last_md_m: f64,
    last_tangent: Tangent,
    last_position: Position,
}

fn tangent(inc_rad: f64, azi_rad: f64) -> Tangent {
    [
        inc_rad.sin() * azi_rad.cos(),
        inc_rad.sin() * azi_rad.sin(),
        inc_rad.cos(),
    ]
}

/// Angle between two unit vectors, rad; accurate for small angles, where the arc cosine is not.
fn angle_between(a: Tangent, b: Tangent) -> f64 {
    let difference = norm([a[0] - b[0], a[1] - b[1], a[2] - b[2]]);
    let sum = norm([a[0] + b[0], a[1] + b[1], a[2] + b[2]]);
    2.0 * difference.atan2(sum)
}

fn norm(v: Tangent) -> f64 {
    (v[0] * v[0] + v[1] * v[1] + v[2] * v[2]).sqrt()
}

/// Ratio factor `(2/b) tan(b/2)` of minimum curvature for a dogleg `b` in rad; 1 for a straight.
pub fn ratio_factor(dogleg_rad: f64) -> f64 {
    if dogleg_rad.abs() < 1e-4 {
        1.0 + dogleg_rad * dogleg_rad / 12.0
    } else {
        2.0 / dogleg_rad * (0.5 * dogleg_rad).tan()
    }
}

fn advance(at: Position, length_m: f64, from: Tangent, to: Tangent, dogleg_rad: f64) -> Position {
    let half = 0.5 * length_m * ratio_factor(dogleg_rad);
    Position {
        tvd_m: at.tvd_m + half * (from[2] + to[2]),
        north_m: at.north_m + half * (from[0] + to[0]),
        east_m: at.east_m + half * (from[1] + to[1]),
    }
}

impl Leg {
    fn tangent_at(&self, fraction: f64) -> Tangent {
        let b = self.dogleg_rad;
        if b < 1e-9 {
            return self.from;
        }
        let p = ((1.0 - fraction) * b).sin() / b.sin();
        let q = (fraction * b).sin() / b.sin();
        [
            p * self.from[0] + q * self.to[0],
            p * self.from[1] + q * self.to[1],
            p * self.from[2] + q * self.to[2],
        ]
    }

    fn visit(
        &self,
        depth_max_m: f64,
        visit: &mut impl FnMut(f64, f64, f64, &dyn Fn(f64) -> LocalGeometry),
    ) {
        let bottom = (self.md_m + self.length_m).min(depth_max_m);
        let curvature = self.dogleg_rad / self.length_m;
        visit(self.md_m, bottom, curvature, &|md: f64| {
            self.geometry_at((md - self.md_m) / self.length_m)
        });
    }

    fn geometry_at(&self, fraction: f64) -> LocalGeometry {
        let b = self.dogleg_rad;
        if b < 1e-9 {
            return LocalGeometry {
                cos_inc: self.from[2],
                curvature_per_m: 0.0,
                cos_inc_rate_per_m: 0.0,
            };
        }
        let curvature = b / self.length_m;
        let (s1, c1) = ((1.0 - fraction) * b).sin_cos();
        let (s2, c2) = (fraction * b).sin_cos();
        let inv = 1.0 / b.sin();
        LocalGeometry {
            cos_inc: inv * (s1 * self.from[2] + s2 * self.to[2]),
            curvature_per_m: curvature,
            cos_inc_rate_per_m: curvature * inv * (c2 * self.to[2] - c1 * self.from[2]),
        }
    }
}

impl WellPath {
    /// A path through stations `(md m, inclination rad, azimuth rad)`, in order of depth.
    ///
    /// # Errors
    /// [`PathError`] names the station and what is wrong with it.
    pub fn new(stations: impl IntoIterator<Item = (f64, f64, f64)>) -> Result<Self, PathError> {
        let mut legs = Vec::new();
        let mut before: Option<(f64, Tangent)> = None;
        let mut at = Position::default();
        for (station, (md_m, inc_rad, azi_rad)) in stations.into_iter().enumerate() {
            if !(md_m.is_finite() && inc_rad.is_finite() && azi_rad.is_finite()) {
                return Err(PathError::NotFinite { station });
            }
            if md_m < 0.0 {
                return Err(PathError::NegativeDepth { station, md_m });
            }
            if !(0.0..=std::f64::consts::PI).contains(&inc_rad) {
                return Err(PathError::Inclination {
                    station,
                    inc_deg: inc_rad.to_degrees(),
                });
            }
            let to = tangent(inc_rad, azi_rad);
            // A survey that begins below the wellhead is tied in to a vertical start at surface.
            let tie_in = (md_m > 0.0).then_some((0.0, [0.0, 0.0, 1.0]));
            if let Some((before_m, from)) = before.or(tie_in) {
                if md_m <= before_m {
                    return Err(PathError::NotIncreasing {
                        station,
                        md_m,
                        before_m,
                    });
                }
                let dogleg_rad = angle_between(from, to);
                if dogleg_rad > std::f64::consts::PI - 1e-6 {
                    return Err(PathError::Opposite { station });
                }
                let length_m = md_m - before_m;
                legs.push(Leg {
                    md_m: before_m,
                    length_m,
                    from,
                    to,
                    dogleg_rad,
                    at,
                });
                at = advance(at, length_m, from, to, dogleg_rad);
            }
            before = Some((md_m, to));
        }
        let (last_md_m, last_tangent) = before.ok_or(PathError::Empty)?;
        Ok(Self {
            legs,
            last_md_m,
            last_tangent,
            last_position: at,
        })
    }

    /// A path through the stations of a job.
    ///
    /// # Errors
    /// As [`WellPath::new`].
    pub fn from_survey(survey: &[SurveyStation]) -> Result<Self, PathError> {
        Self::new(survey.iter().map(|s| (s.md.si(), s.inc.si(), s.azi.si())))
    }

    /// A vertical well.
    pub fn vertical() -> Self {
        Self {
            legs: Vec::new(),
            last_md_m: 0.0,
            last_tangent: [0.0, 0.0, 1.0],
            last_position: Position::default(),
        }
    }

    fn leg(&self, md_m: f64) -> Option<&Leg> {
        if md_m >= self.last_md_m {
            return None;
        }
        let after = self.legs.partition_point(|leg| leg.md_m <= md_m);
        self.legs.get(after.saturating_sub(1))
    }

    /// Position at a measured depth, m. Above the wellhead (negative) the path is vertical.
    pub fn position(&self, md_m: f64) -> Position {
        if md_m < 0.0 {
            return Position {
                tvd_m: md_m,
                ..Position::default()
            };
        }
        match self.leg(md_m) {
            Some(leg) => {
                let along = md_m - leg.md_m;
                let fraction = along / leg.length_m;
                let to = leg.tangent_at(fraction);
                advance(leg.at, along, leg.from, to, fraction * leg.dogleg_rad)
            }
            None => {
                let beyond = md_m - self.last_md_m;
                let t = self.last_tangent;
                advance(self.last_position, beyond, t, t, 0.0)
            }
        }
    }

    /// Unit vector down the hole at a measured depth.
    pub fn tangent(&self, md_m: f64) -> Tangent {
        match self.leg(md_m) {
            Some(leg) => leg.tangent_at(((md_m - leg.md_m) / leg.length_m).max(0.0)),
            None => self.last_tangent,
        }
    }

    /// Inclination from vertical at a measured depth, rad.
    pub fn inclination_rad(&self, md_m: f64) -> f64 {
        let t = self.tangent(md_m);
        t[0].hypot(t[1]).atan2(t[2])
    }

    /// Azimuth from north at a measured depth, rad in 0 to 2 pi; 0 where the well is vertical.
    pub fn azimuth_rad(&self, md_m: f64) -> f64 {
        let t = self.tangent(md_m);
        if t[0].hypot(t[1]) < 1e-12 {
            return 0.0;
        }
        t[1].atan2(t[0]).rem_euclid(std::f64::consts::TAU)
    }

    /// What drag needs at a measured depth; on a station, the values of the leg below it.
    pub fn geometry(&self, md_m: f64) -> LocalGeometry {
        match self.leg(md_m) {
            Some(leg) => leg.geometry_at(((md_m - leg.md_m) / leg.length_m).max(0.0)),
            None => LocalGeometry {
                cos_inc: self.last_tangent[2],
                curvature_per_m: 0.0,
                cos_inc_rate_per_m: 0.0,
            },
        }
    }

    /// Stretches of constant curvature from the wellhead to `depth_max_m`, in order:
    /// calls `visit(top m, bottom m, curvature 1/m, geometry)` where `geometry(md)` is that of the
    /// stretch itself, also at its ends. Integration must not step across a station, where
    /// curvature jumps.
    pub fn for_each_stretch(
        &self,
        depth_max_m: f64,
        mut visit: impl FnMut(f64, f64, f64, &dyn Fn(f64) -> LocalGeometry),
    ) {
        for leg in self.legs.iter().take_while(|leg| leg.md_m < depth_max_m) {
            leg.visit(depth_max_m, &mut visit);
        }
        self.visit_tail(depth_max_m, &mut visit);
    }

    /// [`Self::for_each_stretch`] from `depth_max_m` upward.
    pub fn for_each_stretch_upward(
        &self,
        depth_max_m: f64,
        mut visit: impl FnMut(f64, f64, f64, &dyn Fn(f64) -> LocalGeometry),
    ) {
        self.visit_tail(depth_max_m, &mut visit);
        for leg in self
            .legs
            .iter()
            .rev()
            .skip_while(|leg| leg.md_m >= depth_max_m)
        {
            leg.visit(depth_max_m, &mut visit);
        }
    }

    /// The straight below the last station.
    fn visit_tail(
        &self,
        depth_max_m: f64,
        visit: &mut impl FnMut(f64, f64, f64, &dyn Fn(f64) -> LocalGeometry),
    ) {
        if depth_max_m > self.last_md_m {
            let straight = self.geometry(f64::INFINITY);
            visit(self.last_md_m, depth_max_m, 0.0, &|_| straight);
        }
    }

    /// Dogleg of each leg, rad, in order of depth.
    pub fn doglegs_rad(&self) -> impl Iterator<Item = f64> + '_ {
        self.legs.iter().map(|leg| leg.dogleg_rad)
    }
}

#[cfg(test)]
#[path = "wellpath_tests.rs"]
mod tests;
