//! Surface tension at which the weakest link of the line is loaded to its limit.
//!
//! *Input -> output*: breaking load of the line, weak point of the rope socket, the fractions of
//! them that may be used, a limit in newtons where the job gives one, drag table, depth of the rope socket ->
//! greatest line tension above the stuffing box, N. *Formula*: the line is loaded most at surface, either just above or just below the
//! stuffing box: limit `f B`, less what pressure adds below the box. The weak point sees surface
//! tension less weight and drag of the line above it, so its limit at surface grows with depth.
//! *Assumptions*: drag as in [`super::soft_string`]; a drag that isn't there makes the limit too
//! high, so [`WeakestLink::surface_limit`] should be asked with [`Motion::Rest`] unless friction has
//! been learned. *Limits*: static loads only. A jar blow or a sudden stop adds `EA/c` times the step
//! of speed (see [`LineInFluid::impedance_n_s_m`]). *Source*: statics. Breaking load and weak point
//! come from the certificates, never from a table.

use super::Motion;
use super::line::LineInFluid;
use super::profile_table::ProfileTable;
use crate::job::Job;

/// What may part, and how much of its strength may be used.
///
/// ```
/// use kerfwatch::model::weakest_link::{Link, WeakestLink};
/// use kerfwatch::model::{Motion, line::LineInFluid, profile_table::ProfileTable, wellpath::WellPath};
/// let line = LineInFluid::new(2.7432e-3, 200e9, 7850.0, 1000.0);
/// let table = ProfileTable::new(&WellPath::vertical(), line, 0.25, 0.25, 5000.0);
/// let links = WeakestLink {
///     breaking_load_n: 9381.0, line_fraction: 0.5, weak_point_n: 3500.0, weak_point_fraction: 1.0,
///     given_n: None,
/// };
/// assert_eq!(links.surface_limit(&table, 0.0, Motion::Rest, 1000.0).by, Link::WeakPoint);
/// assert_eq!(links.surface_limit(&table, 0.0, Motion::Rest, 4500.0).by, Link::Line);
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WeakestLink {
    /// Breaking load of the line, N.
    pub breaking_load_n: f64,
    /// Part of the breaking load that may be used, 0 to 1.
    pub line_fraction: f64,
    /// Load at which the weak point parts, N.
    pub weak_point_n: f64,
    /// Part of the weak point's load that may be used, 0 to 1.
    pub weak_point_fraction: f64,
    /// Limit of line tension above the stuffing box that the job gives, N.
    pub given_n: Option<f64>,
}

/// What sets the limit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Link {
    /// The line at surface.
    Line,
    /// The weak point at the rope socket.
    WeakPoint,
    /// The job gives it, below what either bears.
    Given,
}

impl Link {
    /// In a table.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Line => "line",
            Self::WeakPoint => "weak point",
            Self::Given => "given",
        }
    }
}

/// Limit of line tension above the stuffing box.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SurfaceLimit {
    /// The lowest, N.
    pub limit_n: f64,
    /// Which one that is.
    pub by: Link,
    /// Limit by the line, N.
    pub line_n: f64,
    /// Limit by the weak point, N.
    pub weak_point_n: f64,
}

impl WeakestLink {
    /// From the job. Where it gives a limit in newtons, the links are taken whole.
    pub fn from_job(job: &Job) -> Self {
        let fraction = match job.alarm.tension_limit {
            Some(_) => 1.0,
            None => job.alarm.tension_fraction,
        };
        Self {
            breaking_load_n: job.line.breaking_load.si(),
            line_fraction: fraction,
            weak_point_n: job.tool.weak_point.si(),
            weak_point_fraction: fraction,
            given_n: job.alarm.tension_limit.map(|limit| limit.si()),
        }
    }

    /// The limit with the rope socket at `socket_md_m`, for drag of `motion` and packing friction
    /// `packing_friction_n` (both help to hold the load off the rope socket when pulling).
    pub fn surface_limit(
        &self,
        table: &ProfileTable,
        packing_friction_n: f64,
        motion: Motion,
        socket_md_m: f64,
    ) -> SurfaceLimit {
        let line: &LineInFluid = table.line();
        let allowed = self.breaking_load_n * self.line_fraction;
        // Below the box the line carries pressure force more and packing friction less.
        let line_n = allowed.min(line.above_stuffing_box_n(allowed, packing_friction_n, motion));
        let at_socket = self.weak_point_n * self.weak_point_fraction;
        let below_box = table.surface_tension(motion, at_socket, socket_md_m);
        let weak_point_n = line.above_stuffing_box_n(below_box, packing_friction_n, motion);
        let (link_n, link) = if weak_point_n < line_n {
            (weak_point_n, Link::WeakPoint)
        } else {
            (line_n, Link::Line)
        };
        let (limit_n, by) = match self.given_n {
            Some(given) if given < link_n => (given, Link::Given),
            _ => (link_n, link),
        };
        SurfaceLimit {
            limit_n,
            by,
            line_n,
            weak_point_n,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::wellpath::WellPath;
    use super::*;
    use proptest::prelude::*;

    fn link() -> WeakestLink {
        WeakestLink {
            breaking_load_n: 9381.0,
            line_fraction: 0.5,
            weak_point_n: 3500.0,
            weak_point_fraction: 1.0,
            given_n: None,
        }
    }

    fn line(pressure: f64) -> LineInFluid {
        LineInFluid {
            wellhead_pressure_pa: pressure,
            ..LineInFluid::new(2.7432e-3, 200e9, 7850.0, 1000.0)
        }
    }

    // Statics: weak point plus weight of line above it.
    #[test]
    fn vertical_well_adds_the_weight_of_line_to_the_weak_point_until_the_line_governs() {
        let table = ProfileTable::new(&WellPath::vertical(), line(0.0), 0.3, 0.2, 5000.0);
        let shallow = link().surface_limit(&table, 0.0, Motion::Rest, 500.0);
        assert_eq!(shallow.by, Link::WeakPoint);
        assert!((shallow.limit_n - (3500.0 + 500.0 * line(0.0).weight_n_m)).abs() < 1e-6);
        let deep = link().surface_limit(&table, 0.0, Motion::Rest, 4500.0);
        assert_eq!(deep.by, Link::Line);
        assert!((deep.limit_n - 0.5 * 9381.0).abs() < 1e-9);
    }

    #[test]
    fn a_given_limit_holds_only_below_what_the_links_bear() {
        let table = ProfileTable::new(&WellPath::vertical(), line(0.0), 0.3, 0.2, 5000.0);
        let limit = |given: f64| {
            let links = WeakestLink {
                given_n: Some(given),
                ..link()
            };
            links.surface_limit(&table, 0.0, Motion::Rest, 4500.0)
        };
        assert_eq!(
            (limit(2000.0).limit_n, limit(2000.0).by),
            (2000.0, Link::Given)
        );
        assert_eq!(limit(9000.0).by, Link::Line);
    }

    #[test]
    fn pressure_loads_the_line_below_the_box_and_lowers_what_the_cell_may_read() {
        let table = ProfileTable::new(&WellPath::vertical(), line(20e6), 0.3, 0.2, 5000.0);
        let limit = link().surface_limit(&table, 0.0, Motion::Rest, 4500.0);
        assert!(
            (limit.limit_n - (0.5 * 9381.0 - 118.2)).abs() < 0.05,
            "{limit:?}"
        );
    }

    #[test]
    fn packing_friction_never_raises_the_limit_of_the_line_itself() {
        let table = ProfileTable::new(&WellPath::vertical(), line(0.0), 0.3, 0.2, 5000.0);
        let limit = link().surface_limit(&table, 200.0, Motion::Up, 4500.0);
        assert!((limit.line_n - 0.5 * 9381.0).abs() < 1e-9);
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(24))]
        #[test]
        fn limit_without_drag_is_never_above_the_limit_with_drag_and_grows_with_depth(
            inc in 0.0..1.2f64, mu in 0.0..0.4f64, md in 100.0..4000.0f64,
        ) {
            let path = WellPath::new([(0.0, 0.0, 0.0), (1000.0, inc, 0.0)]).unwrap();
            let table = ProfileTable::new(&path, line(0.0), mu, mu, 4500.0);
            let at = |motion, md| link().surface_limit(&table, 0.0, motion, md);
            prop_assert!(at(Motion::Rest, md).limit_n <= at(Motion::Up, md).limit_n + 0.2);
            prop_assert!(at(Motion::Rest, md + 100.0).weak_point_n >= at(Motion::Rest, md).weak_point_n);
        }
    }
}
