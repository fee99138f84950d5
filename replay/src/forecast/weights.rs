//! Line tension, stretch and margins with the tool at each depth, before anything is cut.
//!
//! *Model*: soft-string drag from the rope socket to the surface (`kerfwatch::model`); the tool slides
//! or rolls with a friction of its own; stuffing-box friction and wellhead pressure on top. *Bands*
//! (5 to 95 %): each unknown moved by its standard deviation, effects added in squares. *Limit*: that of the overpull
//! alarm (`kerfwatch::model::weakest_link`), which counts on no friction to keep load off the rope socket.

use super::unknowns::{LINE_FRICTION_SD, TOOL_FRICTION, TOOL_WEIGHT_SD};
use kerfwatch::job::Job;
use kerfwatch::model::Motion;
use kerfwatch::model::line::{LineInFluid, tool_weight_in_fluid_n};
use kerfwatch::model::profile_table::ProfileTable;
use kerfwatch::model::soft_string::{FrictionPair, carry_tension_n, tool_pull_n};
use kerfwatch::model::weakest_link::{SurfaceLimit, WeakestLink};
use kerfwatch::model::wellpath::{PathError, WellPath};
use serde::Serialize;
use std::sync::Arc;

/// Stretch is summed over this many parts of the line.
const STRETCH_PARTS: usize = 60;

/// Standard deviations from the middle to the 95 % quantile of a normal error.
pub(super) const TO_95: f64 = 1.645;
/// Standard deviations of what else moves a weight: fluid density, wellhead pressure and packing
/// friction as parts, reading of the cell as part and N, fluid drag of running N. Common practice, no
/// source.
const DENSITY_SD: f64 = 0.01;
const PRESSURE_SD: f64 = 0.03;
const PACKING_SD: f64 = 0.25;
const CELL_SD: (f64, f64) = (0.008, 12.0);
const RUNNING_SD_N: f64 = 15.0;

/// What is known of line and well, ready for calculation.
#[derive(Debug, Clone)]
pub struct Hang {
    path: WellPath,
    line: LineInFluid,
    friction: FrictionPair,
    tool_friction: f64,
    tool_weight_n: f64,
    packing_n: f64,
    offset_m: f64,
    links: WeakestLink,
    /// For the limit; without friction it does not depend on what is moved in the bands.
    table: Arc<ProfileTable>,
}

/// One row: the wheels are at `depth_m`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Weights {
    /// Depth of the wheels along hole.
    pub depth_m: f64,
    /// Inclination there.
    pub inclination_deg: f64,
    /// Surface tension pulling up slowly, cutter in.
    pub up_n: f64,
    /// 5 %.
    pub up_low_n: f64,
    /// 95 %.
    pub up_high_n: f64,
    /// Without friction.
    pub static_n: f64,
    /// 5 %.
    pub static_low_n: f64,
    /// 95 %.
    pub static_high_n: f64,
    /// Surface tension running in slowly, cutter in.
    pub down_n: f64,
    /// 5 %.
    pub down_low_n: f64,
    /// 95 %.
    pub down_high_n: f64,
    /// Stretch of the line, without friction: elastic, thermal and by pressure.
    pub stretch_m: f64,
    /// Line that moves at a reversal before the tool does.
    pub dead_band_m: f64,
    /// Line movement per newton with the tool held, as stiffness.
    pub stiffness_n_m: f64,
    /// Highest surface tension allowed.
    pub limit_n: f64,
    /// `line`, `weak point` or `given`.
    pub limited_by: &'static str,
    /// Limit less pick-up weight.
    pub overpull_margin_n: f64,
    /// Pull that arrives at the tool, above its own, when the surface is at the limit.
    pub pull_at_tool_n: f64,
    /// Change of surface tension per change of drag at the tool, pulling up.
    pub gain_up: f64,
    /// Force that drives the tool down, before any cutting drag.
    pub drive_down_n: f64,
}

impl Hang {
    /// From a job.
    ///
    /// # Errors
    /// A survey that makes no path.
    pub fn new(job: &Job) -> Result<Self, PathError> {
        let path = WellPath::from_survey(&job.survey)?;
        let line = LineInFluid::from_job(&job.line, &job.fluid);
        let friction = FrictionPair {
            up: job.line.friction_up,
            down: job.line.friction_down,
        };
        let surveyed = job.survey.last().map_or(0.0, |station| station.md.si());
        let deepest = surveyed.max(job.info.interval_bottom.si());
        let table = ProfileTable::new(&path, line, friction.up, friction.down, deepest);
        Ok(Self {
            path,
            line,
            friction,
            tool_friction: TOOL_FRICTION.0,
            tool_weight_n: tool_weight_in_fluid_n(
                job.tool.mass.si(),
                job.tool.displaced_volume.si(),
                job.fluid.density.si(),
            ),
            packing_n: job.line.stuffing_box_friction.si(),
            offset_m: job.tool.cutter_offset.si(),
            links: WeakestLink::from_job(job),
            table: Arc::new(table),
        })
    }

    /// The same with another line: diameter changed, strength and modulus of the wire kept.
    #[must_use]
    pub fn with_line(job: &Job, diameter_m: f64) -> Option<Self> {
        let mut other = job.clone();
        let ratio = (diameter_m / job.line.diameter.si()).powi(2);
        other.line.diameter.0 = diameter_m;
        other.line.breaking_load.0 *= ratio;
        // A limit in newtons was meant for the line of the job: as a share of its strength it compares lines alike.
        if let Some(limit) = &mut other.alarm.tension_limit {
            limit.0 *= ratio;
        }
        Self::new(&other).ok()
    }

    fn socket_m(&self, wheels_m: f64) -> f64 {
        (wheels_m - self.offset_m).max(0.0)
    }

    /// Tension at the rope socket that moves the tool, N; `drag_n` is extra drag at the tool.
    fn socket_tension(&self, socket_m: f64, motion: Motion, drag_n: f64) -> f64 {
        let inc = self.path.inclination_rad(socket_m);
        let free = tool_pull_n(self.tool_weight_n, inc, self.tool_friction, motion);
        free + motion.friction_sign() * drag_n
    }

    /// Force that drives the tool down with the wheels at a depth, N, for a friction of the tool and
    /// its weight over nominal.
    pub(crate) fn drive_down_n(&self, wheels_m: f64, tool_friction: f64, tool_weight: f64) -> f64 {
        let inc = self.path.inclination_rad(self.socket_m(wheels_m));
        tool_weight * tool_pull_n(self.tool_weight_n, inc, tool_friction, Motion::Down)
    }

    /// The same with one unknown moved by its standard deviation, for each of them.
    fn moved(&self) -> Vec<Self> {
        let with = |change: &dyn Fn(&mut Self)| {
            let mut other = self.clone();
            change(&mut other);
            other
        };
        let pressure_n = self.line.pressure_force_n();
        vec![
            with(&|h| h.friction.up *= 1.0 + LINE_FRICTION_SD),
            with(&|h| h.friction.down *= 1.0 + LINE_FRICTION_SD),
            with(&|h| h.tool_friction += TOOL_FRICTION.1),
            with(&|h| h.tool_weight_n *= 1.0 + TOOL_WEIGHT_SD),
            // Denser fluid carries more of the steel: about an eighth of its weight hangs in it.
            with(&|h| h.line.weight_n_m *= 1.0 - DENSITY_SD / 7.0),
            with(&|h| h.packing_n *= 1.0 + PACKING_SD),
            // Pressure acts like less tension everywhere: as a weight error at the tool.
            with(&|h| h.tool_weight_n -= PRESSURE_SD * pressure_n),
        ]
    }

    /// Surface tension above the stuffing box for a tension at the socket, N.
    fn surface(&self, socket_m: f64, motion: Motion, tension_n: f64) -> f64 {
        let below = self.carry(socket_m, motion, tension_n, 0.0);
        self.line
            .above_stuffing_box_n(below, self.packing_n, motion)
    }

    fn carry(&self, from_m: f64, motion: Motion, tension_n: f64, to_m: f64) -> f64 {
        carry_tension_n(
            &self.path,
            self.line.weight_n_m,
            self.friction,
            motion,
            from_m,
            tension_n,
            to_m,
        )
    }

    /// Surface tension with the wheels at a depth, N.
    pub fn weight_n(&self, wheels_m: f64, motion: Motion, drag_n: f64) -> f64 {
        let socket = self.socket_m(wheels_m);
        self.surface(socket, motion, self.socket_tension(socket, motion, drag_n))
    }

    /// Elastic stretch in a state of motion, m.
    fn stretch(&self, socket_m: f64, motion: Motion, tension_n: f64) -> f64 {
        let parts = STRETCH_PARTS as f64;
        let md: Vec<f64> = (0..=STRETCH_PARTS)
            .map(|i| socket_m * i as f64 / parts)
            .collect();
        let mut tension = vec![tension_n; md.len()];
        for i in (0..STRETCH_PARTS).rev() {
            tension[i] = self.carry(md[i + 1], motion, tension[i + 1], md[i]);
        }
        self.line.stretch_under_profile_m(&md, &tension)
    }

    /// Everything with the wheels at `depth_m`; `drag_up_n`, `drag_down_n`: drag while cutting, for
    /// the dead band.
    pub fn at(&self, depth_m: f64, drag_up_n: f64, drag_down_n: f64) -> Weights {
        let socket = self.socket_m(depth_m);
        let pull = |motion, drag| self.socket_tension(socket, motion, drag);
        let up_n = self.weight_n(depth_m, Motion::Up, 0.0);
        let static_n = self.weight_n(depth_m, Motion::Rest, 0.0);
        let down_n = self.weight_n(depth_m, Motion::Down, 0.0);
        let moved = self.moved();
        let error = |motion, weight: f64| {
            let parts = moved
                .iter()
                .map(|h| h.weight_n(depth_m, motion, 0.0) - weight);
            let own = [CELL_SD.0 * weight, CELL_SD.1, RUNNING_SD_N];
            let squares: f64 = parts.chain(own).map(|x| x * x).sum();
            TO_95 * squares.sqrt()
        };
        let (up_error, static_error, down_error) = (
            error(Motion::Up, up_n),
            error(Motion::Rest, static_n),
            error(Motion::Down, down_n),
        );
        let SurfaceLimit { limit_n, by, .. } = self.limit(socket);
        let held = self
            .line
            .below_stuffing_box_n(limit_n, self.packing_n, Motion::Up);
        let at_tool = self.carry(0.0, Motion::Up, held, socket);
        let step = 10.0;
        let own = pull(Motion::Up, 0.0);
        let gain_up = (self.surface(socket, Motion::Up, own + step) - up_n) / step;
        let dead_band = self.stretch(socket, Motion::Up, pull(Motion::Up, drag_up_n))
            - self.stretch(
                socket,
                Motion::Down,
                pull(Motion::Down, drag_down_n).max(0.0),
            );
        let tvd_integral = self.tvd_integral(socket);
        let rest = self.stretch(socket, Motion::Rest, pull(Motion::Rest, 0.0))
            + self.line.thermal_stretch_integral(tvd_integral)
            + self.line.pressure_strain_integral(socket, tvd_integral);
        Weights {
            depth_m,
            inclination_deg: self.path.inclination_rad(depth_m).to_degrees(),
            up_n,
            up_low_n: up_n - up_error,
            up_high_n: up_n + up_error,
            static_n,
            static_low_n: static_n - static_error,
            static_high_n: static_n + static_error,
            down_n,
            down_low_n: down_n - down_error,
            down_high_n: down_n + down_error,
            stretch_m: rest,
            dead_band_m: dead_band,
            stiffness_n_m: self.line.stiffness_n_m(socket.max(1.0)),
            limit_n,
            limited_by: by.word(),
            overpull_margin_n: limit_n - up_n,
            pull_at_tool_n: at_tool - own,
            gain_up,
            drive_down_n: pull(Motion::Down, 0.0),
        }
    }

    /// With the wheels at a depth, m: the limit in force, and what the weakest link bears, of which that limit allows a
    /// part or for which the job gives another.
    pub fn limits(&self, depth_m: f64) -> (SurfaceLimit, SurfaceLimit) {
        let socket_m = depth_m - self.offset_m;
        let whole = WeakestLink {
            line_fraction: 1.0,
            weak_point_fraction: 1.0,
            given_n: None,
            ..self.links
        };
        let whole = whole.surface_limit(&self.table, self.packing_n, Motion::Rest, socket_m);
        (self.limit(socket_m), whole)
    }

    fn limit(&self, socket_m: f64) -> SurfaceLimit {
        self.links
            .surface_limit(&self.table, self.packing_n, Motion::Rest, socket_m)
    }

    /// Integral of true vertical depth along hole, m2.
    fn tvd_integral(&self, to_m: f64) -> f64 {
        let parts = STRETCH_PARTS as f64;
        let step = to_m / parts;
        let tvd = |i: usize| self.path.position(step * i as f64).tvd_m;
        (0..STRETCH_PARTS)
            .map(|i| 0.5 * (tvd(i) + tvd(i + 1)) * step)
            .sum()
    }
}

#[cfg(test)]
#[path = "weights_tests.rs"]
mod tests;
