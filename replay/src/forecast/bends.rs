//! Bending of the line by stroking, before the job: which section is bent how often per stroke.
//!
//! A metre of line is bent and straightened once each time it runs over a sheave. With the rope
//! socket at depth z, the line on a sheave `path` metres from the stuffing box is `z + path` from the
//! socket; a stroke over the interval bends the section between its ends once per sheave. Stress and life:
//! `kerfwatch::model::bending`, with its warning, as for a run: so the tension expected while the line runs
//! over the sheaves counts, of a stroke up and of one down alike.

use crate::cut_back::{Bent, CutBack, cut_back};
use kerfwatch::job::Job;
use kerfwatch::model::bending::{bending_stress_pa, stress_on_sheave_pa};
use kerfwatch::model::fatigue::cycles_to_failure;
use kerfwatch::model::line::wire_area_m2;
use serde::Serialize;

/// One section of line during stroking.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BentSection {
    /// Distance from the rope socket up the line.
    pub from_m: f64,
    /// End of it.
    pub to_m: f64,
    /// Bends of each metre in one stroke.
    pub bends_per_stroke: u32,
    /// Part of the bending life used by one stroke, where a life is given.
    pub life_per_stroke: Option<f64>,
}

/// A sheave and what it does to the line.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SheaveStress {
    /// Its name.
    pub name: String,
    /// Tread diameter over wire diameter.
    pub ratio: f64,
    /// Elastic bending stress.
    pub stress_pa: f64,
    /// The same and that of the tension going up.
    pub stress_up_pa: f64,
    /// Likewise going down.
    pub stress_down_pa: f64,
    /// Cycles to failure, half of them going up and half going down, where a life is given.
    pub cycles: Option<f64>,
}

/// Line tension above the stuffing box going up and going down, N.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tension {
    /// Going up.
    pub up_n: f64,
    /// Going down.
    pub down_n: f64,
}

/// Stress of each sheave at these tensions.
pub fn sheaves(job: &Job, tension: Tension) -> Vec<SheaveStress> {
    let diameter_m = job.line.diameter.si();
    let area_m2 = wire_area_m2(diameter_m);
    job.line
        .sheaves
        .iter()
        .map(|sheave| {
            let tread = sheave.diameter.si();
            let stress_pa = bending_stress_pa(job.line.modulus.si(), diameter_m, tread);
            let under = |tension_n| stress_on_sheave_pa(stress_pa, tension_n, area_m2);
            let (up, down) = (under(tension.up_n), under(tension.down_n));
            SheaveStress {
                name: sheave.name.clone(),
                ratio: tread / diameter_m,
                stress_pa,
                stress_up_pa: up,
                stress_down_pa: down,
                cycles: job.line.bending_life.map(|life| {
                    let used = |stress| 1.0 / cycles_to_failure(&life, stress);
                    2.0 / (used(up) + used(down))
                }),
            }
        })
        .collect()
}

/// Sections bent by a stroke between two depths of the wheels, nearest the tool first; `tension`: with the wheels at
/// a depth, m.
pub fn sections(
    job: &Job,
    (top_m, bottom_m): (f64, f64),
    tension: &dyn Fn(f64) -> Tension,
) -> Vec<BentSection> {
    let offset = job.tool.cutter_offset.si();
    let shifts: Vec<f64> = (job.line.sheaves.iter())
        .map(|sheave| sheave.path.si() - offset)
        .collect();
    let ends = |shift: &f64| [top_m + shift, bottom_m + shift];
    let mut cuts: Vec<f64> = shifts.iter().flat_map(ends).collect();
    cuts.sort_by(f64::total_cmp);
    cuts.dedup_by(|a, b| (*a - *b).abs() < 1e-9);
    cuts.windows(2)
        .map(|between| {
            let middle = 0.5 * (between[0] + between[1]);
            let over: Vec<usize> = (0..shifts.len())
                .filter(|&i| {
                    let [from, to] = ends(&shifts[i]);
                    from < middle && middle < to
                })
                .collect();
            // The section lies on a sheave while the wheels are at one depth, another for each sheave.
            let cycles = |&i: &usize| sheaves(job, tension(middle - shifts[i]))[i].cycles;
            let life = over.iter().map(|i| cycles(i).map(|n| 1.0 / n)).sum();
            BentSection {
                from_m: between[0],
                to_m: between[1],
                bends_per_stroke: over.len() as u32,
                life_per_stroke: life,
            }
        })
        .filter(|section| section.bends_per_stroke > 0)
        .collect()
}

/// Line to cut off after stroking, where the next job is at the same interval. A stroke is enough to tell: all are alike.
pub(crate) fn cut_back_after(sections: &[BentSection]) -> Option<CutBack> {
    let bent: Vec<Bent> = (sections.iter())
        .map(|s| Bent {
            from_m: s.from_m,
            to_m: s.to_m,
            bends: f64::from(s.bends_per_stroke),
        })
        .collect();
    cut_back(&bent)
}

/// The section bent most: by life where it is known, else by count.
pub fn worst(sections: &[BentSection]) -> Option<&BentSection> {
    sections.iter().max_by(|a, b| {
        let key = |s: &BentSection| s.life_per_stroke.unwrap_or(f64::from(s.bends_per_stroke));
        key(a).total_cmp(&key(b))
    })
}
