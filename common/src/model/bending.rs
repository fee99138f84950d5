//! How often each section of line was bent over sheaves and wheels, from line movement alone.
//!
//! *Input -> output*: line paid out (m), line tension (N) -> bends per section of line, with a
//! Miner sum if the user gave a stress-life line. Sections are counted from the rope socket up the line.
//! *Formula*: with `L` m paid out, the point of line that lies `p` m past the stuffing box is `L + p`
//! from the rope socket. Each wheel holds an arc of line of length `wrap x D/2` around its `path`; a
//! point that enters or leaves the arc has been bent or straightened, half a bend.
//! Outer-fibre stress `E d/(D + d) + T/A`, `D` tread diameter.
//! *Assumptions*: line runs without slip; its length changes by stretch (0.1-0.3 %) are left out.
//! *Limits*: the elastic stress of bending is above yield for common wheels: a measure of strain,
//! good for comparison with the user's own tests only. Never call a Miner sum a safe life.
//! With no stress-life line given, bends are counted and no life is claimed. A bend begun counts as one; where the
//! job does not give the wrap it is half a turn. A shorter arc on the real wheel gives the same count for every stroke
//! longer than half a turn of the wheel, and up to twice as many for shorter jogs: give `wrap` where line is jogged.
//! *Sources*: bending stress: textbook; ratio `D/d` of at least 120: common practice, from memory.

use super::fatigue::cycles_to_failure;
use crate::job;
use crate::result::LineWear;
use crate::rounding::floor;

/// Tread diameter over line diameter that common practice asks for (from memory).
pub const SHEAVE_RATIO_ADVISED: f64 = 120.0;

/// Reversals of line movement shorter than this are jitter of the encoder, m.
const DEAD_BAND_M: f64 = 0.02;

/// A jump longer than this between two readings is a new zero of the counter, not movement, m.
const JUMP_MAX_M: f64 = 50.0;

/// Longest line that is kept count of, m; more is an encoder gone wrong.
const LINE_MAX_M: f64 = 30_000.0;

/// More than rounding makes of a distance, m.
const ROUNDING_M: f64 = 1e-6;

/// Elastic stress of the outer fibre of wire of `diameter_m` on a tread of `tread_m`, Pa:
/// `E d/(D + d)` (radius of bending at the axis of the wire is `(D + d)/2`).
///
/// ```
/// use kerfwatch::model::bending::bending_stress_pa;
/// // 0.108 in wire on a 16 in sheave: beyond yield, a measure of strain only.
/// let stress = bending_stress_pa(200e9, 0.108 * 0.0254, 16.0 * 0.0254);
/// assert!((stress / 1e6 - 1341.0).abs() < 0.5);
/// ```
pub fn bending_stress_pa(modulus_pa: f64, diameter_m: f64, tread_m: f64) -> f64 {
    modulus_pa * diameter_m / (tread_m + diameter_m)
}

/// Elastic stress of the outer fibre on a sheave, Pa: of bending, and what line tension adds.
pub fn stress_on_sheave_pa(bending_pa: f64, tension_n: f64, area_m2: f64) -> f64 {
    bending_pa + tension_n.max(0.0) / area_m2
}

/// One sheave or wheel.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Wheel {
    /// Where the arc begins, m past the stuffing box.
    from_m: f64,
    /// Where it ends.
    to_m: f64,
    bending_pa: f64,
}

/// What happened to one section of line.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
struct Section {
    half_bends: u32,
    life_used: f64,
    tension_max_n: f64,
}

/// Counter; see the module doc.
#[derive(Debug, Clone, PartialEq)]
pub struct BendCounter {
    wheels: Vec<Wheel>,
    area_m2: f64,
    life: Option<job::BendingLife>,
    section_m: f64,
    sections: Vec<Section>,
    /// Line paid out as the counter follows it, with play of [`DEAD_BAND_M`].
    followed_m: Option<f64>,
    last_m: f64,
    /// While the line followed stays between these, no section passes an edge, m.
    quiet_m: (f64, f64),
    half_bends_max: u32,
    life_used_max: f64,
}

impl BendCounter {
    /// A counter for the wheels of a job, with sections of `section_m` (1 m is usual).
    pub fn new(line: &job::Line, section_m: f64) -> Self {
        let wheels = line
            .sheaves
            .iter()
            .map(|sheave| {
                let half_arc = 0.25 * sheave.wrap.si() * sheave.diameter.si();
                Wheel {
                    from_m: sheave.path.si() - half_arc,
                    to_m: sheave.path.si() + half_arc,
                    bending_pa: bending_stress_pa(
                        line.modulus.si(),
                        line.diameter.si(),
                        sheave.diameter.si(),
                    ),
                }
            })
            .collect();
        Self {
            wheels,
            area_m2: super::line::wire_area_m2(line.diameter.si()),
            life: line.bending_life,
            section_m: section_m.max(0.01),
            sections: Vec::new(),
            followed_m: None,
            last_m: 0.0,
            quiet_m: (f64::INFINITY, f64::NEG_INFINITY),
            half_bends_max: 0,
            life_used_max: 0.0,
        }
    }

    /// Takes a reading of line paid out, m, and the line tension at that time, N. Readings that are
    /// not finite are passed over; a jump of more than 50 m is taken as a new zero of the counter.
    pub fn push(&mut self, line_m: f64, tension_n: f64) {
        if !line_m.is_finite() {
            return;
        }
        let Some(before) = self.followed_m else {
            (self.followed_m, self.last_m) = (Some(line_m), line_m);
            return;
        };
        let jump = line_m - self.last_m;
        self.last_m = line_m;
        if jump.abs() > JUMP_MAX_M {
            self.followed_m = Some(before + jump);
            return;
        }
        // Play: the line must move on by half the dead band before it counts.
        let play = 0.5 * DEAD_BAND_M;
        let followed = before.clamp(line_m - play, line_m + play);
        if followed == before {
            return;
        }
        self.followed_m = Some(followed);
        let is_quiet = |line_m: f64| self.quiet_m.0 <= line_m && line_m <= self.quiet_m.1;
        if is_quiet(before) && is_quiet(followed) {
            return;
        }
        self.quiet_m = self.quiet_around(followed);
        let tension = if tension_n.is_finite() {
            tension_n.max(0.0)
        } else {
            0.0
        };
        for i in 0..self.wheels.len() {
            let wheel = self.wheels[i];
            let stress = stress_on_sheave_pa(wheel.bending_pa, tension, self.area_m2);
            let damage = self
                .life
                .as_ref()
                .map_or(0.0, |life| 0.5 / cycles_to_failure(life, stress));
            for edge in [wheel.from_m, wheel.to_m] {
                self.cross(before + edge, followed + edge, tension, damage);
            }
        }
    }

    /// Between which lines followed, around this one, no section passes an edge, m. A little less is told than is true,
    /// so that rounding does not matter.
    fn quiet_around(&self, line_m: f64) -> (f64, f64) {
        let edges = self
            .wheels
            .iter()
            .flat_map(|wheel| [wheel.from_m, wheel.to_m]);
        edges.fold((f64::NEG_INFINITY, f64::INFINITY), |(low, high), edge| {
            let below = (self.middles_below(line_m + edge) as f64 - 0.5) * self.section_m - edge;
            (
                low.max(below + ROUNDING_M),
                high.min(below + self.section_m - ROUNDING_M),
            )
        })
    }

    /// How many middles of sections lie up to here, counted from the rope socket; less than none beyond it.
    fn middles_below(&self, m: f64) -> i64 {
        floor(m / self.section_m - 0.5).saturating_add(1)
    }

    /// The line between these distances from the rope socket went over the edge of an arc.
    fn cross(&mut self, a_m: f64, b_m: f64, tension_n: f64, damage: f64) {
        let (low, high) = (a_m.min(b_m), a_m.max(b_m));
        // A section counts when its middle passes: middles in (low, high].
        if high > LINE_MAX_M {
            return;
        }
        let first = self.middles_below(low).max(0) as usize;
        let end = self.middles_below(high).max(0) as usize;
        if first >= end {
            return;
        }
        if end > self.sections.len() {
            self.sections.resize(end, Section::default());
        }
        for section in &mut self.sections[first..end] {
            section.half_bends = section.half_bends.saturating_add(1);
            section.life_used += damage;
            section.tension_max_n = section.tension_max_n.max(tension_n);
            self.half_bends_max = self.half_bends_max.max(section.half_bends);
            self.life_used_max = self.life_used_max.max(section.life_used);
        }
    }

    /// The depth counter was set to `line_m` without movement of line.
    pub fn rezero(&mut self, line_m: f64) {
        // Sections stay with the wire: distances from the rope socket are counted anew from here,
        // since the old zero was wrong by an unknown amount.
        if line_m.is_finite() {
            (self.followed_m, self.last_m) = (Some(line_m), line_m);
        }
    }

    /// Most bends of any section; a bend begun counts as one.
    pub fn bends_max(&self) -> u32 {
        self.half_bends_max.div_ceil(2)
    }

    /// Largest part of bending life used; `None` when the user gave no stress-life line.
    pub fn life_used_max(&self) -> Option<f64> {
        self.life.is_some().then_some(self.life_used_max)
    }

    /// Sections that were bent, from the rope socket up; neighbours with the same number of bends
    /// are joined, with the larger life used.
    pub fn wear(&self) -> Vec<LineWear> {
        let mut out: Vec<LineWear> = Vec::new();
        for (i, section) in self.sections.iter().enumerate() {
            let bends = section.half_bends.div_ceil(2);
            if bends == 0 {
                continue;
            }
            let from_m = i as f64 * self.section_m;
            let to_m = (i + 1) as f64 * self.section_m;
            let life_used = self.life.is_some().then_some(section.life_used);
            match out.last_mut() {
                Some(last) if last.bends == bends && (last.to_m - from_m).abs() < 1e-9 => {
                    last.to_m = to_m;
                    if let (Some(old), Some(new)) = (last.life_used, life_used) {
                        last.life_used = Some(old.max(new));
                    }
                }
                _ => out.push(LineWear {
                    from_m,
                    to_m,
                    bends,
                    life_used,
                }),
            }
        }
        out
    }

    /// Highest tension, N, while the section at `distance_m` from the rope socket was being bent or
    /// straightened; `None` where it never was.
    pub fn tension_max_n(&self, distance_m: f64) -> Option<f64> {
        if distance_m.is_nan() || distance_m < 0.0 {
            return None;
        }
        let section = self.sections.get((distance_m / self.section_m) as usize)?;
        (section.half_bends > 0).then_some(section.tension_max_n)
    }
}

#[cfg(test)]
#[path = "bending_tests.rs"]
mod tests;
