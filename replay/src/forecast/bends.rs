//! Bending of the line by stroking, before the job: which section is bent how often per stroke.
//!
//! A metre of line is bent and straightened once each time it runs over a sheave. With the rope
//! socket at depth z, the line on a sheave `path` metres from the stuffing box is `z + path` from the
//! socket; a stroke over the interval bends the section between its ends once per sheave. Stress and life:
//! `kerfwatch::model::bending`, with its warning.

use kerfwatch::job::Job;
use kerfwatch::model::bending::bending_stress_pa;
use kerfwatch::model::fatigue::cycles_to_failure;
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
    /// Cycles to failure at that stress, where a life is given.
    pub cycles: Option<f64>,
}

/// Stress of each sheave for a wire of `diameter_m`.
pub fn sheaves(job: &Job, diameter_m: f64) -> Vec<SheaveStress> {
    job.line
        .sheaves
        .iter()
        .map(|sheave| {
            let tread = sheave.diameter.si();
            let stress_pa = bending_stress_pa(job.line.modulus.si(), diameter_m, tread);
            SheaveStress {
                name: sheave.name.clone(),
                ratio: tread / diameter_m,
                stress_pa,
                cycles: (job.line.bending_life).map(|life| cycles_to_failure(&life, stress_pa)),
            }
        })
        .collect()
}

/// Sections bent by a stroke between two depths of the wheels, nearest the tool first.
pub fn sections(job: &Job, top_m: f64, bottom_m: f64) -> Vec<BentSection> {
    let offset = job.tool.cutter_offset.si();
    let stresses = sheaves(job, job.line.diameter.si());
    let spans: Vec<(f64, f64, Option<f64>)> = job
        .line
        .sheaves
        .iter()
        .zip(&stresses)
        .map(|(sheave, stress)| {
            let shift = sheave.path.si() - offset;
            (top_m + shift, bottom_m + shift, stress.cycles)
        })
        .collect();
    let mut cuts: Vec<f64> = spans.iter().flat_map(|s| [s.0, s.1]).collect();
    cuts.sort_by(f64::total_cmp);
    cuts.dedup_by(|a, b| (*a - *b).abs() < 1e-9);
    cuts.windows(2)
        .map(|ends| {
            let middle = 0.5 * (ends[0] + ends[1]);
            let over = || spans.iter().filter(move |s| s.0 < middle && middle < s.1);
            let life = over().map(|s| s.2.map(|n| 1.0 / n)).sum::<Option<f64>>();
            BentSection {
                from_m: ends[0],
                to_m: ends[1],
                bends_per_stroke: over().count() as u32,
                life_per_stroke: life,
            }
        })
        .filter(|section| section.bends_per_stroke > 0)
        .collect()
}

/// Line to cut off at the rope socket so that none of the sections bent in stroking comes to lie on a
/// sheave at the same interval again: the widest run of bent sections without a gap, m.
pub fn fresh_line_m(sections: &[BentSection]) -> Option<f64> {
    let mut widest: Option<f64> = None;
    let mut start: Option<f64> = None;
    for (i, section) in sections.iter().enumerate() {
        let from = *start.get_or_insert(section.from_m);
        let goes_on = sections
            .get(i + 1)
            .is_some_and(|next| (next.from_m - section.to_m).abs() < 1e-6);
        if !goes_on {
            let length = section.to_m - from;
            widest = Some(widest.map_or(length, |w| w.max(length)));
            start = None;
        }
    }
    widest
}

/// The section bent most: by life where it is known, else by count.
pub fn worst(sections: &[BentSection]) -> Option<&BentSection> {
    sections.iter().max_by(|a, b| {
        let key = |s: &BentSection| s.life_per_stroke.unwrap_or(f64::from(s.bends_per_stroke));
        key(a).total_cmp(&key(b))
    })
}
