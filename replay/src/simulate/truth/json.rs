//! The truth as it is written: strokes, states and groove from the history.

use super::{EVERY, Recorder, SHORTEST, State};
use crate::simulate::cut::Pipe;
use serde_json::{Value, json};

impl Recorder {
    /// Turning points of the tool (indices into the moments), at least 0.5 m apart.
    pub(super) fn turns(&self) -> Vec<usize> {
        let depth = |k: usize| self.moments[k].depth;
        let mut turns = vec![0];
        let (mut low, mut high) = (0, 0);
        let mut going_down: Option<bool> = None;
        for k in 0..self.moments.len() {
            if depth(k) > depth(high) {
                high = k;
            }
            if depth(k) < depth(low) {
                low = k;
            }
            match going_down {
                None if depth(k) - depth(low) >= 0.5 => {
                    turns[0] = low;
                    going_down = Some(true);
                    high = k;
                }
                None if depth(high) - depth(k) >= 0.5 => {
                    turns[0] = high;
                    going_down = Some(false);
                    low = k;
                }
                Some(true) if depth(high) - depth(k) >= 0.5 => {
                    turns.push(high);
                    going_down = Some(false);
                    low = k;
                }
                Some(false) if depth(k) - depth(low) >= 0.5 => {
                    turns.push(low);
                    going_down = Some(true);
                    high = k;
                }
                _ => {}
            }
        }
        match going_down {
            Some(true) => turns.push(high),
            Some(false) => turns.push(low),
            None => {}
        }
        turns
    }

    fn strokes(&self) -> Vec<Value> {
        let turns = self.turns();
        let mut out = Vec::new();
        for pair in turns.windows(2) {
            let (from, to) = (pair[0], pair[1]);
            let (a, b) = (&self.moments[from], &self.moments[to]);
            let start = (from..=to)
                .rfind(|k| (self.moments[*k].depth - a.depth).abs() <= 0.05)
                .unwrap_or(from);
            let end = (start..=to)
                .find(|k| (self.moments[*k].depth - b.depth).abs() <= 0.05)
                .unwrap_or(to);
            let travel = (b.depth - a.depth).abs();
            let peak = self.moments[from..=to]
                .iter()
                .map(|m| m.tension)
                .fold(0.0, f64::max);
            out.push(json!({
                "n": out.len() + 1,
                "direction": if b.depth > a.depth { "down" } else { "up" },
                "start_s": round(start as f64 * EVERY, 1e3),
                "end_s": round(end as f64 * EVERY, 1e3),
                "top_m": round(a.depth.min(b.depth), 1e4),
                "bottom_m": round(a.depth.max(b.depth), 1e4),
                "tool_travel_m": round(travel, 1e4),
                "mean_drag_n": round((b.drag_work - a.drag_work) / travel, 10.0),
                "peak_tension_n": round(peak, 10.0),
                "cut_work_j": round(b.cut_work - a.cut_work, 10.0),
                "engaged_m": round(b.engaged - a.engaged, 1e3),
            }));
        }
        out
    }

    fn intervals(&self) -> Vec<Value> {
        let mut runs: Vec<(State, usize)> = Vec::new();
        for moment in &self.moments {
            match runs.last_mut() {
                Some((state, length)) if *state == moment.state => *length += 1,
                _ => runs.push((moment.state, 1)),
            }
        }
        let shortest = (SHORTEST / EVERY) as usize;
        let mut kept: Vec<(State, usize)> = Vec::new();
        for (state, length) in runs {
            match kept.last_mut() {
                Some((last, total)) if length < shortest || *last == state => *total += length,
                _ => kept.push((state, length)),
            }
        }
        let mut at = 0;
        kept.iter()
            .map(|(state, length)| {
                let start = at;
                at += length;
                json!({
                    "state": state.name(),
                    "start_s": round(start as f64 * EVERY, 1e3),
                    "end_s": round(at as f64 * EVERY, 1e3),
                })
            })
            .collect()
    }

    fn groove_json(&self, pipe: &Pipe) -> Vec<Value> {
        let last = self.groove(0, self.end, pipe);
        self.bins()
            .enumerate()
            .map(|(k, (top, bottom))| {
                let cells = self.cells(pipe, top, bottom);
                let wall = 1e3 * pipe.wall[cells.clone()].iter().sum::<f64>() / cells.len() as f64;
                let through = last.split[k] >= 0.5;
                let open = &pipe.through_s[cells.clone()];
                let first = open.iter().copied().fold(f64::INFINITY, f64::min);
                let all = open.iter().copied().fold(0.0, f64::max);
                let time = |t: f64| {
                    if t.is_finite() {
                        json!(round(t, 1e2))
                    } else {
                        Value::Null
                    }
                };
                json!({
                    "top_m": round(top, 1e4),
                    "bottom_m": round(bottom, 1e4),
                    "depth_mm": round(last.depth_mm[k], 1e4),
                    "wall_mm": round(wall, 1e4),
                    "passes": self.passes[k],
                    "through": through,
                    "split": round(last.split[k], 1e3),
                    "first_through_s": time(first),
                    "through_s": time(all),
                    "coupling": pipe.coupling[cells].iter().any(|c| *c),
                })
            })
            .collect()
    }

    /// The whole truth; `every` is the step of the tool track in history steps of 0.05 s.
    pub fn json(&self, pipe: &Pipe, unknowns: &Value, name: &str, every: usize) -> Value {
        let track: Vec<usize> = (0..self.moments.len()).step_by(every).collect();
        let speed = |k: usize| {
            let (a, b) = (k.saturating_sub(1), (k + 1).min(self.moments.len() - 1));
            (self.moments[b].depth - self.moments[a].depth) / ((b - a).max(1) as f64 * EVERY)
        };
        json!({
            "format": 1,
            "run": {"id": "truth", "name": name, "duration_s": round(self.end, 1e3), "samples": 0},
            "strokes": self.strokes(),
            "intervals": self.intervals(),
            "groove": self.groove_json(pipe),
            "groove_history": self.history.iter().map(|groove| json!({
                "time_s": round(groove.time, 1e2),
                "strokes": groove.strokes,
                "depth_mm": groove.depth_mm.iter().map(|d| round(*d, 1e3)).collect::<Vec<_>>(),
                "split": groove.split.iter().map(|s| round(*s, 1e2)).collect::<Vec<_>>(),
            })).collect::<Vec<_>>(),
            "alarms": self.alarms.iter().map(|alarm| json!({
                "kind": "overpull",
                "level": "high",
                "against": if alarm.excess { "expected pick-up weight" } else { "tension limit" },
                "raised_s": round(alarm.raised, 1e3),
                "cleared_s": alarm.cleared.map(|t| round(t, 1e3)),
                "peak_n": round(alarm.peak, 10.0),
            })).collect::<Vec<_>>(),
            "tool": {
                "every_s": every as f64 * EVERY,
                "depth_m": track.iter().map(|k| round(self.moments[*k].depth, 1e3)).collect::<Vec<_>>(),
                "speed_m_s": track.iter().map(|k| round(speed(*k), 1e3)).collect::<Vec<_>>(),
            },
            "unknowns": unknowns,
        })
    }
}

fn round(value: f64, per: f64) -> f64 {
    (value * per).round() / per
}
