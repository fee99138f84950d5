//! Load cell and encoder, each with its own clock, and the rows they leave.

use super::rng::Rng;
use super::scenario::{Depth, Load, Record};

/// One row of `samples.csv`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Row {
    /// Time, s.
    pub time: f64,
    /// Line tension, N.
    pub load: Option<f64>,
    /// Line paid out, m.
    pub depth: Option<f64>,
}

/// True values between which the instruments read.
#[derive(Debug, Clone, Copy)]
pub struct TrueLine {
    /// Time, s.
    pub time: f64,
    /// Line tension at the cell, N.
    pub tension: f64,
    /// Counter, m.
    pub counter: f64,
}

/// Both instruments.
#[derive(Debug)]
pub struct Sensors {
    load: Load,
    depth: Depth,
    record: Record,
    rng: Rng,
    next_load: f64,
    next_depth: f64,
    lagged: Option<f64>,
    play: f64,
    wander: f64,
    gain: f64,
    last: Option<TrueLine>,
    load_gap_until: f64,
    depth_gap_until: f64,
    held_back: Vec<(usize, Row)>,
    clock: f64,
    /// Rows in order of arrival.
    pub rows: Vec<Row>,
}

impl Sensors {
    /// Instruments at the start of a record.
    pub fn new(load: &Load, depth: &Depth, record: &Record, mut rng: Rng) -> Self {
        let phase = rng.unit();
        Self {
            next_load: 0.0,
            next_depth: if record.together {
                0.0
            } else {
                phase / depth.rate.0
            },
            gain: 1.0 + load.gain_error * rng.between(-1.0, 1.0),
            load: load.clone(),
            depth: depth.clone(),
            record: record.clone(),
            rng,
            lagged: None,
            play: 0.0,
            wander: 0.0,
            last: None,
            load_gap_until: 0.0,
            depth_gap_until: 0.0,
            held_back: Vec::new(),
            clock: -1.0,
            rows: Vec::new(),
        }
    }

    /// True values at the end of a step; emits whatever fell due within it.
    pub fn push(&mut self, now: TrueLine) {
        let before = self.last.replace(now).unwrap_or(now);
        let dt = now.time - before.time;
        if dt > 0.0 {
            let settle = 1.0 - (-dt / self.load.lag.0.max(1e-4)).exp();
            let lagged = self.lagged.get_or_insert(before.tension);
            *lagged += settle * (now.tension - *lagged);
            if self.load.wander.0 > 0.0 {
                let keep = dt / self.load.wander_time.0;
                self.wander += -keep * self.wander
                    + (2.0 * keep).sqrt() * self.load.wander.0 * self.rng.normal();
            }
            for (chance, until) in [
                (self.record.gaps.0, &mut self.load_gap_until),
                (self.record.gaps.0, &mut self.depth_gap_until),
            ] {
                if chance > 0.0 && self.rng.chance(chance * dt) {
                    *until = now.time + self.record.gap_time.0 * self.rng.between(0.3, 2.0);
                }
            }
        }
        let lagged = self.lagged.unwrap_or(now.tension);
        // Play: the cell follows only when the line has moved it by half the hysteresis.
        let half = 0.5 * self.load.hysteresis.0;
        self.play = self.play.clamp(lagged - half, lagged + half);
        loop {
            let due = self.next_load.min(self.next_depth);
            if due > now.time {
                break;
            }
            let f = if dt > 0.0 {
                ((due - before.time) / dt).clamp(0.0, 1.0)
            } else {
                1.0
            };
            let counter = before.counter + f * (now.counter - before.counter);
            let mut row = Row {
                time: 0.0,
                load: None,
                depth: None,
            };
            if self.next_load <= due {
                self.next_load += 1.0 / self.load.rate.0;
                if now.time >= self.load_gap_until {
                    row.load = Some(self.read_load(now.time));
                }
            }
            if self.next_depth <= due {
                self.next_depth += 1.0 / self.depth.rate.0;
                if now.time >= self.depth_gap_until {
                    let step = self.depth.step.0.max(1e-6);
                    row.depth = Some((counter / step).round() * step);
                }
            }
            let jitter = self.record.clock_jitter.0 * self.rng.normal();
            let fastest = self.load.rate.0.max(self.depth.rate.0);
            let jitter = jitter.clamp(-0.4 / fastest, 0.4 / fastest);
            row.time = (due + jitter).max(self.clock + 1e-4).max(0.0);
            if row.load.is_none() && row.depth.is_none() {
                continue;
            }
            self.clock = row.time;
            self.emit(row);
        }
    }

    fn read_load(&mut self, time: f64) -> f64 {
        let stepped = if time >= self.load.zero_step_at.0 {
            self.load.zero_step.0
        } else {
            0.0
        };
        let mut value = self.gain * self.play
            + self.load.noise.0 * self.rng.normal()
            + self.load.drift.0 * time
            + self.wander
            + stepped;
        if self.load.spikes.0 > 0.0 && self.rng.chance(self.load.spikes.0 / self.load.rate.0) {
            value += self.rng.between(-3000.0, 5000.0);
        }
        let step = self.load.step.0.max(1e-6);
        (value / step).round() * step
    }

    fn emit(&mut self, row: Row) {
        if self.rng.chance(self.record.dropped) {
            return;
        }
        if self.rng.chance(self.record.late) {
            let wait = 1 + (self.rng.unit() * 4.0) as usize;
            self.held_back.push((wait, row));
            return;
        }
        self.rows.push(row);
        if self.rng.chance(self.record.duplicated) {
            self.rows.push(row);
        }
        let rows = &mut self.rows;
        self.held_back.retain_mut(|(wait, row)| {
            *wait -= 1;
            if *wait == 0 {
                rows.push(*row);
            }
            *wait > 0
        });
    }
}
