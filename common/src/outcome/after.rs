//! The result of all inputs so far: strokes with their work, tool track, counts of what was wrong.

use super::states::{cuts, intervals};
use super::time;
use crate::calibrate::fault_spells::FaultSpells;
use crate::groove::GrooveEstimate;
use crate::input::ChannelId;
use crate::pipeline::Pipeline;
use crate::result::{
    ChannelFaults, DepthCheck, Direction, FORMAT, FaultSpell, Friction, Quality, RunInfo,
    RunResult, Stroke, ToolTrack,
};
use crate::time::seconds;

/// Step of the tool track in the result, s.
const TRACK_STEP: f64 = 1.0;

/// The result of all inputs so far.
pub fn result(p: &Pipeline, id: &str) -> RunResult {
    let estimate = p.estimate();
    let (up, down) = p.motion.friction();
    RunResult {
        format: FORMAT,
        run: RunInfo {
            id: id.to_owned(),
            name: p.job.info.name.clone(),
            duration_s: p.first.map_or(0.0, |f| (p.last - f).max(0.0)),
            samples: p.samples,
            what_if: Vec::new(),
            doubts: Vec::new(),
        },
        strokes: strokes(p, &estimate),
        intervals: intervals(p, &estimate),
        joints: estimate.joints.clone(),
        groove: estimate.bins,
        alarms: p.watch.engine.records_at_end(),
        tool: track(p),
        friction: Friction { up, down },
        line_wear: p.bends.wear(),
        quality: Quality {
            channels: channel_faults(p),
            ..quality(p)
        },
        depth_check: DepthCheck {
            couplings: p.coupling_marks.seen() as u64,
            slip_m: p.slip_m,
        },
        other_wheels: estimate.other_wheels,
    }
}

pub(super) fn quality(p: &Pipeline) -> Quality {
    let a = p.aligner.counts();
    let load = p.instruments.health(ChannelId::Load);
    let depth = p.instruments.health(ChannelId::Depth);
    let imported = p.imported_loads.set_aside();
    let shared = p
        .job
        .load
        .as_ref()
        .zip(p.job.depth.as_ref())
        .is_some_and(|(l, d)| l.channel.port == d.channel.port);
    Quality {
        bad_frames: load.bad_frames + if shared { 0 } else { depth.bad_frames },
        // The merging sees each silence of an instrument once more, and spells that were set aside: it counts only
        // where readings came calibrated and nobody else does.
        gaps: match p.imported_loads.has_taken() {
            true => a.gaps,
            false => load.gaps + depth.gaps,
        },
        late: a.late,
        lost_blocks: 0,
        out_of_range: a.out_of_range
            + load.out_of_range
            + depth.out_of_range
            + imported.out_of_range,
        spikes: a.spikes + load.spikes + depth.spikes + imported.spikes,
        counter_leaps: a.counter_steps,
        leaps: p.aligner.leaps().to_vec(),
        zero_steps: p.zero_steps.clone(),
        channels: Vec::new(),
    }
}

/// By instrument; none where readings came calibrated: nothing is known of the instruments then.
fn channel_faults(p: &Pipeline) -> Vec<ChannelFaults> {
    if p.imported_loads.has_taken() {
        return Vec::new();
    }
    let names = [
        (ChannelId::Load, "load", p.job.load.is_some()),
        (ChannelId::Depth, "depth", p.job.depth.is_some()),
    ];
    (names.into_iter().filter(|(.., is_read)| *is_read))
        .map(|(channel, name, _)| {
            let health = p.instruments.health(channel);
            let (silences, frozen) = p.instruments.fault_spells(channel);
            ChannelFaults {
                channel: name.to_owned(),
                readings: health.readings,
                silences: health.gaps,
                silent_s: seconds(silences.total()),
                frozen_spells: frozen.count(),
                frozen_s: seconds(frozen.total()),
                frozen_readings: health.frozen,
                out_of_range: health.out_of_range,
                spikes: health.spikes,
                duplicates: health.duplicates,
                reordered: health.reordered,
                missing: health.missing,
                port_losses: health.port_losses,
                silent_at: spells(silences),
                frozen_at: spells(frozen),
            }
        })
        .collect()
}

fn spells(of: &FaultSpells) -> Vec<FaultSpell> {
    of.first()
        .map(|(start, end)| FaultSpell {
            start_s: seconds(start),
            end_s: seconds(end),
        })
        .collect()
}

fn strokes(p: &Pipeline, estimate: &GrooveEstimate) -> Vec<Stroke> {
    let bins = p.ledger.bins;
    p.ledger
        .rows
        .iter()
        .enumerate()
        .map(|(k, row)| {
            let base = estimate.fit.as_ref().map_or(0.0, |f| {
                (if row.up { f.base.0 } else { f.base.1 }) + f.drift[k]
            });
            let (mut work, mut engaged) = (0.0, 0.0);
            for j in row.first..row.first + row.drag.len() {
                let Some(y) = row.at(j) else { continue };
                if cuts(estimate, &p.ledger.rows, k, j) {
                    work += (y - base) * bins.step;
                    engaged += bins.step;
                }
            }
            Stroke {
                n: k as u32 + 1,
                direction: if row.up {
                    Direction::Up
                } else {
                    Direction::Down
                },
                start_s: row.start,
                end_s: row.end,
                top_m: row.top,
                bottom_m: row.bottom,
                tool_travel_m: row.bottom - row.top,
                mean_drag_n: row.mean_drag(),
                peak_tension_n: p.peaks[k],
                cut_work_j: f64::max(work, 0.0),
                engaged_m: engaged,
            }
        })
        .collect()
}

fn track(p: &Pipeline) -> ToolTrack {
    let steps = if p.last > 0.0 {
        (p.last / TRACK_STEP) as usize + 1
    } else {
        0
    };
    let mut depth = Vec::with_capacity(steps);
    let mut speed = Vec::with_capacity(steps);
    let points = p.track.points();
    let mut i = 0;
    for s in 0..steps {
        let t = s as f64 * TRACK_STEP;
        while i + 1 < points.len() && time(&points[i + 1]) <= t {
            i += 1;
        }
        let value = points.get(i).and_then(|a| {
            let b = points.get(i + 1).unwrap_or(a);
            let (ta, tb) = (time(a), time(b));
            if t < ta - 0.5 || t > tb + 0.5 || tb - ta > 2.0 {
                return None;
            }
            let f = if tb > ta {
                ((t - ta) / (tb - ta)).clamp(0.0, 1.0)
            } else {
                0.0
            };
            let mix = |x: f32, y: f32| f64::from(x) + f * (f64::from(y) - f64::from(x));
            Some((mix(a.depth, b.depth), mix(a.speed, b.speed)))
        });
        depth.push(value.map(|v| v.0));
        speed.push(value.map(|v| v.1));
    }
    ToolTrack {
        every_s: TRACK_STEP,
        depth_m: depth,
        speed_m_s: speed,
    }
}
