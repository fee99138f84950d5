//! Friction and weight, learned while the tool runs free.
//!
//! *Input*: [`Moment`]s while the cutter is known to be in (running in, weight checks, strokes
//! before the cutter goes out). *Output*: [`Learned`]: line friction up and down, tool friction,
//! tool weight, cell offset, fluid drag and friction at surface, by least squares with priors around the job's nominal
//! values.
//!
//! Tension over depth tells friction from weight (friction grows with depth, weight and offset do
//! not); up against down tells drag from offset. What the data do not tell stays at its prior.
//! Surface tensions are means over up to `SPAN_M` of steady movement one way.

use crate::model::Motion;
use crate::model::profile_table::ProfileTable;
use crate::motion::{Hanging, Moment};

/// Longest stretch of hole that makes one mean, m.
const SPAN_M: f64 = 25.0;
/// Shortest, m.
const SPAN_MIN_M: f64 = 1.5;
/// Slowest movement that counts, m/s.
const SPEED_MIN: f64 = 0.06;
/// Times by which the swinging of a tool is averaged out, in terms of the time its line takes to settle.
const SWINGS: f64 = 1.5;
/// Standard deviation of one mean, N: sheave friction, speed, waves.
const MEAN_SD: f64 = 12.0;
/// Prior standard deviations: line friction (part of nominal), tool friction, tool weight (part),
/// cell offset (N), fluid drag of the line (N s/m2) and of the tool (N s/m), friction at surface (N: packing, and
/// sheaves, whose hundredth part of the tension nobody has in a job file).
const FRICTION_PART: f64 = 0.18;
const TOOL_FRICTION: (f64, f64) = (0.15, 0.08);
const WEIGHT_PART: f64 = 0.05;
/// A tool that seems to weigh so much more or less than the job says is not what hangs there, or does not run free.
const WEIGHT_MAX: f64 = 0.25;
const OFFSET_SD: f64 = 12.0;
/// Drift of a load cell in an hour, N: common practice, no source.
const DRIFT_N_H: f64 = 15.0;
const LINE_FLUID: (f64, f64) = (0.015, 0.03);
const TOOL_FLUID: (f64, f64) = (40.0, 150.0);
const SURFACE_SD: f64 = 15.0;
const SURFACE_PART: f64 = 0.15;
/// Rounds of least squares: for outliers, for priors that give way, and for the others to make up for unknowns held at a
/// bound.
const ROUNDS: usize = 6;
/// The first unknowns are frictions, of line and tool. From so many standard deviations on, their priors hold no harder:
/// small bends that no survey shows add friction, and what is not let into it would go into weight, fluid and packing.
const FRICTIONS: usize = 3;
const FAR: f64 = 1.0;
/// Most means kept.
const MEANS_MAX: usize = 600;

/// A steady stretch one way.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Steady {
    /// Going up.
    pub up: bool,
    /// Length of line, m.
    pub length: f64,
    /// Mean surface tension, N.
    pub tension: f64,
    /// Metres covered.
    pub metres: f64,
    /// Mean speed, m/s, without sign.
    pub speed: f64,
    /// When it ended, s.
    pub end: f64,
}

impl Steady {
    /// When it began, s.
    pub fn began(&self) -> f64 {
        self.end - self.metres / self.speed
    }
}

/// What was learned.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Learned {
    /// Line on pipe, pulling out.
    pub up: f64,
    /// Line on pipe, running in.
    pub down: f64,
    /// Tool on pipe.
    pub tool: f64,
    /// Tool weight over nominal.
    pub weight: f64,
    /// Offset of the cell, N.
    pub offset: f64,
    /// Fluid drag on the line, N per m/s and metre.
    pub line_fluid: f64,
    /// Fluid drag on the tool, N per m/s.
    pub tool_fluid: f64,
    /// Friction at surface: packing and sheaves, N.
    pub surface: f64,
    /// Means used.
    pub means: usize,
    /// They went up and down: of one way only, weight and friction cannot be told apart.
    pub both_ways: bool,
}

/// Collects steady stretches.
#[derive(Debug, Clone, Default)]
pub struct FreeRuns {
    means: Vec<Steady>,
    now: Option<(bool, f64, f64, f64, f64, f64)>,
    moving_since: f64,
    /// Speed of tool and line, averaged over the swinging of the tool on its line, m/s.
    mean_speed: (f64, f64),
}

impl FreeRuns {
    /// Takes a moment; `settle`: seconds after a change of speed until tension is steady.
    pub fn push(&mut self, m: &Moment, settle: f64, cutter_offset: f64) {
        let part = (crate::align::CELL_S / (SWINGS * settle).max(crate::align::CELL_S)).min(1.0);
        let (tool, line) = &mut self.mean_speed;
        *tool += part * (m.speed - *tool);
        *line += part * (m.line_speed - *line);
        let (tool, line) = self.mean_speed;
        let up = tool < 0.0;
        let steady =
            tool.abs() > SPEED_MIN && (tool - line).abs() < 0.2 * tool.abs() && !m.after_gap;
        if !steady {
            self.close();
            self.moving_since = m.t;
            return;
        }
        if m.t - self.moving_since < settle + 0.5 {
            return;
        }
        let metres = m.speed.abs() * crate::align::CELL_S;
        let length = m.depth - cutter_offset;
        match &mut self.now {
            Some((way, tension, depth, n, sum, end)) if *way == up && *sum < SPAN_M => {
                *tension += m.tension;
                *depth += length;
                *n += 1.0;
                *sum += metres;
                *end = m.t;
            }
            _ => {
                self.close();
                self.now = Some((up, m.tension, length, 1.0, metres, m.t));
            }
        }
    }

    fn close(&mut self) {
        if let Some((up, tension, depth, n, metres, end)) = self.now.take()
            && metres >= SPAN_MIN_M
            && self.means.len() < MEANS_MAX
        {
            self.means.push(Steady {
                up,
                length: depth / n,
                tension: tension / n,
                metres,
                speed: metres / (n * crate::align::CELL_S),
                end,
            });
        }
    }

    /// End of the last stretch before the tool first came below `depth` m, s.
    pub fn arrived_below(&self, depth: f64) -> Option<f64> {
        self.means
            .iter()
            .take_while(|s| s.length < depth)
            .last()
            .map(|s| s.end)
    }

    /// Stretches that began after `from` and ended by `until`, s, and those that ended by `arrived`.
    pub fn arriving_and_within(&self, arrived: f64, from: f64, until: f64) -> Vec<Steady> {
        let free = |s: &&Steady| s.end <= arrived || (s.began() >= from && s.end <= until);
        self.means.iter().filter(free).copied().collect()
    }

    /// Stretches that ended by `until`, s.
    pub fn until(&self, until: f64) -> &[Steady] {
        let n = self.means.partition_point(|s| s.end <= until);
        &self.means[..n]
    }
}

/// Unknowns: line friction up and down, tool friction, weight over nominal, offset, fluid drag of
/// line and tool, friction at surface.
const UNKNOWNS: usize = 8;
type Theta = [f64; UNKNOWNS];

/// Least squares with priors; `None` when there is nothing to learn from.
pub fn learn(
    hanging: &Hanging,
    nominal: (f64, f64),
    means: &[Steady],
    deepest: f64,
) -> Option<Learned> {
    let deep: f64 = means.iter().map(|s| s.length).fold(0.0, f64::max);
    let metres: f64 = means.iter().map(|s| s.metres).sum();
    if metres < 5.0 {
        return None;
    }
    let mut prior: Theta = [
        nominal.0,
        nominal.1,
        TOOL_FRICTION.0,
        1.0,
        0.0,
        LINE_FLUID.0,
        TOOL_FLUID.0,
        hanging.packing,
    ];
    let mut sd: Theta = [
        (FRICTION_PART * nominal.0).max(0.02),
        (FRICTION_PART * nominal.1).max(0.02),
        TOOL_FRICTION.1,
        WEIGHT_PART,
        OFFSET_SD,
        LINE_FLUID.1,
        TOOL_FLUID.1,
        SURFACE_SD + SURFACE_PART * hanging.packing,
    ];
    // Shallow means say little of friction and much of the unevenness of the surface lay-out.
    let used: Vec<&Steady> = means
        .iter()
        .filter(|s| s.length > 0.05 * deep && s.length > 20.0)
        .collect();
    if used.is_empty() {
        return None;
    }
    // The cell may have drifted since the run began.
    let hours = used.iter().map(|s| s.end).sum::<f64>() / (3600.0 * used.len() as f64);
    sd[4] = OFFSET_SD.hypot(DRIFT_N_H * hours.max(0.0));
    let mut theta = prior;
    for round in 0..ROUNDS {
        let step = 0.02;
        let here = table(hanging, theta[0], theta[1], deepest);
        let moved = table(hanging, theta[0] + step, theta[1] + step, deepest);
        let mut m = [[0.0; UNKNOWNS]; UNKNOWNS];
        let mut v = [0.0; UNKNOWNS];
        for i in 0..UNKNOWNS {
            let off = prior[i] - theta[i];
            let far = if i < FRICTIONS {
                off.abs() / (FAR * sd[i])
            } else {
                0.0
            };
            m[i][i] = 1.0 / (sd[i] * sd[i] * far.max(1.0));
            v[i] = off * m[i][i];
        }
        for s in &used {
            let f = predict(hanging, &here, s, &theta);
            let r = s.tension - f;
            let mut g = [0.0; UNKNOWNS];
            g[usize::from(!s.up)] = (predict(hanging, &moved, s, &theta) - f) / step;
            for (i, h) in [
                (2, 0.02),
                (3, 0.01),
                (4, 1.0),
                (5, 0.01),
                (6, 10.0),
                (7, 1.0),
            ] {
                let mut t = theta;
                t[i] += h;
                g[i] = (predict(hanging, &here, s, &t) - f) / h;
            }
            let soft = if round > 0 && r.abs() > 4.0 * MEAN_SD {
                4.0 * MEAN_SD / r.abs()
            } else {
                1.0
            };
            // Neighbouring means share their errors: a run-in of hundreds counts as tens.
            let w = soft * (s.metres / SPAN_M).clamp(0.2, 1.0) / (MEAN_SD * MEAN_SD);
            for i in 0..UNKNOWNS {
                for j in 0..UNKNOWNS {
                    m[i][j] += w * g[i] * g[j];
                }
                v[i] += w * g[i] * r;
            }
        }
        let d = solve(m, v)?;
        for i in 0..UNKNOWNS {
            theta[i] += d[i].clamp(-2.5 * sd[i], 2.5 * sd[i]);
        }
        theta[0] = theta[0].clamp(0.3 * nominal.0, 3.0 * nominal.0 + 0.05);
        theta[1] = theta[1].clamp(0.3 * nominal.1, 3.0 * nominal.1 + 0.05);
        theta[3] = theta[3].clamp(1.0 - WEIGHT_MAX, 1.0 + WEIGHT_MAX);
        // Nothing drives the tool but gravity and the line: drags that come out below zero are none.
        for i in [5, 6, 7] {
            if theta[i] < 0.0 {
                (theta[i], prior[i], sd[i]) = (0.0, 0.0, 1e-3 * sd[i]);
            }
        }
    }
    Some(Learned {
        up: theta[0],
        down: theta[1],
        tool: theta[2].clamp(0.0, 0.6),
        weight: theta[3],
        offset: theta[4],
        line_fluid: theta[5],
        tool_fluid: theta[6],
        surface: theta[7],
        means: used.len(),
        both_ways: used.iter().any(|s| s.up) && used.iter().any(|s| !s.up),
    })
}

fn table(h: &Hanging, up: f64, down: f64, deepest: f64) -> ProfileTable {
    ProfileTable::new(&h.path, h.wire, up, down, deepest)
}

fn predict(h: &Hanging, table: &ProfileTable, s: &Steady, theta: &Theta) -> f64 {
    let motion = if s.up { Motion::Up } else { Motion::Down };
    let pull = theta[3] * h.tool_pull(motion, s.length, theta[2]);
    let fluid = s.speed * (theta[5] * s.length + theta[6]);
    let drag = if s.up {
        theta[7] + fluid
    } else {
        -theta[7] - fluid
    };
    table.surface_tension(motion, pull, s.length) - h.pressure_force + drag + theta[4]
}

/// Gauss elimination with pivots for a few unknowns.
fn solve(mut m: [[f64; UNKNOWNS]; UNKNOWNS], mut v: [f64; UNKNOWNS]) -> Option<[f64; UNKNOWNS]> {
    for i in 0..UNKNOWNS {
        let p = (i..UNKNOWNS).max_by(|&a, &b| m[a][i].abs().total_cmp(&m[b][i].abs()))?;
        m.swap(i, p);
        v.swap(i, p);
        if m[i][i].abs() < 1e-12 {
            return None;
        }
        for r in i + 1..UNKNOWNS {
            let f = m[r][i] / m[i][i];
            for c in i..UNKNOWNS {
                m[r][c] -= f * m[i][c];
            }
            v[r] -= f * v[i];
        }
    }
    for i in (0..UNKNOWNS).rev() {
        for c in i + 1..UNKNOWNS {
            v[i] -= m[i][c] * v[c];
        }
        v[i] /= m[i][i];
    }
    Some(v)
}
