//! What load cell and counter make of tension and line paid out, as rows of `samples.csv`.
//!
//! Load: lag of first order, span, zero, drift (steady and swinging), noise, hum of the mains, spikes, steps. Counter: steps.
//! Both: own rates or common rows, late arrival (times never go back), rows written twice, gaps. All invented.

use super::dice::Dice;
use super::well::Well;
use std::f64::consts::TAU;
use std::io::{self, Write};

/// Frequency of the mains, Hz: never exactly nominal.
const MAINS: f64 = 49.97;
/// Swing of the drift over what it drifts in an hour.
const DRIFT_SWINGS: f64 = 0.15;

/// What there is to be measured.
#[derive(Debug, Clone, Copy)]
pub struct Signals {
    /// Tension at the load cell, N.
    pub tension: f64,
    /// Line paid out by the counter's wheel, m.
    pub counter: f64,
}

#[derive(Debug, Clone, Copy)]
struct Gap {
    from: f64,
    until: f64,
    load: bool,
    depth: bool,
}

/// Both instruments and what they write to.
pub struct Meter<W> {
    out: W,
    dice: Dice,
    loads: f64,
    depths: f64,
    last_stamp: f64,
    gaps: Vec<Gap>,
    drift_phase: f64,
    drift_period: f64,
    /// What the load cell shows after its lag, N.
    lagged: Option<f64>,
    rows: u64,
}

impl<W: Write> Meter<W> {
    /// Writes the heading.
    pub fn new(well: &Well, mut out: W) -> io::Result<Self> {
        writeln!(out, "time_s,load_n,depth_m")?;
        let mut dice = Dice::new(well.seed + 900_001);
        let gaps = (0..well.instruments.gaps)
            .map(|_| {
                let from = dice.between(100.0, 9000.0);
                let until = from + dice.between(1.5, 12.0);
                let which = dice.whole(1, 3);
                Gap {
                    from,
                    until,
                    load: which != 2,
                    depth: which != 1,
                }
            })
            .collect();
        Ok(Self {
            out,
            drift_phase: dice.between(0.0, TAU),
            drift_period: dice.between(1800.0, 7200.0),
            dice,
            loads: 0.0,
            depths: 0.0,
            last_stamp: 0.0,
            gaps,
            lagged: None,
            rows: 0,
        })
    }

    /// Rows written.
    pub fn rows(&self) -> u64 {
        self.rows
    }

    /// Hands over what was written to.
    pub fn finish(mut self) -> io::Result<W> {
        self.out.flush()?;
        Ok(self.out)
    }

    /// Measures the stretch of time `from..until` (s), over which signals go straight from `before` to `after`.
    pub fn measure(
        &mut self,
        well: &Well,
        (from, until): (f64, f64),
        before: Signals,
        after: Signals,
    ) -> io::Result<()> {
        let lag = well.instruments.lag;
        let shown_before = self.lagged.unwrap_or(before.tension);
        let shown_after = if lag > 0.0 {
            let share = 1.0 - (-(until - from) / lag).exp();
            shown_before + (after.tension - shown_before) * share
        } else {
            after.tension
        };
        self.lagged = Some(shown_after);
        let stretch = Stretch {
            from,
            until,
            tension: (shown_before, shown_after),
            counter: (before.counter, after.counter),
        };
        if well.instruments.same_rows {
            self.common_rows(well, stretch)
        } else {
            self.own_rows(well, stretch)
        }
    }

    fn common_rows(&mut self, well: &Well, stretch: Stretch) -> io::Result<()> {
        let rate = well.instruments.load_rate;
        loop {
            let time = self.loads / rate;
            if time > stretch.until {
                return Ok(());
            }
            self.loads += 1.0;
            let (no_load, no_depth) = self.missing(time);
            if no_load && no_depth {
                continue;
            }
            let stamp = self.stamp(well, time, rate);
            let load = self.load(well, time, stretch.at(time, stretch.tension));
            let depth = stepped(well, stretch.at(time, stretch.counter));
            let again = well.instruments.duplicate_chance;
            let copies = if again > 0.0 && self.dice.chance(again) {
                2
            } else {
                1
            };
            for _ in 0..copies {
                self.row(
                    stamp,
                    (!no_load).then_some(load),
                    (!no_depth).then_some(depth),
                )?;
            }
        }
    }

    fn own_rows(&mut self, well: &Well, stretch: Stretch) -> io::Result<()> {
        let (load_rate, depth_rate) = (well.instruments.load_rate, well.instruments.depth_rate);
        loop {
            let load_time = self.loads / load_rate;
            let depth_time = self.depths / depth_rate;
            if load_time.min(depth_time) > stretch.until {
                return Ok(());
            }
            if load_time <= depth_time {
                self.loads += 1.0;
                if !self.missing(load_time).0 {
                    let stamp = self.stamp(well, load_time, load_rate);
                    let load = self.load(well, load_time, stretch.at(load_time, stretch.tension));
                    self.row(stamp, Some(load), None)?;
                }
            } else {
                self.depths += 1.0;
                if !self.missing(depth_time).1 {
                    let stamp = self.stamp(well, depth_time, depth_rate);
                    let depth = stepped(well, stretch.at(depth_time, stretch.counter));
                    self.row(stamp, None, Some(depth))?;
                }
            }
        }
    }

    fn row(&mut self, stamp: f64, load: Option<f64>, depth: Option<f64>) -> io::Result<()> {
        self.rows += 1;
        write!(self.out, "{stamp:.3},")?;
        if let Some(load) = load {
            write!(self.out, "{load}")?;
        }
        write!(self.out, ",")?;
        if let Some(depth) = depth {
            write!(self.out, "{depth}")?;
        }
        writeln!(self.out)
    }

    /// Whether load and depth are missing at a time.
    fn missing(&self, time: f64) -> (bool, bool) {
        let at = |gap: &&Gap| time >= gap.from && time < gap.until;
        let gaps = self.gaps.iter().filter(at);
        gaps.fold((false, false), |(load, depth), gap| {
            (load | gap.load, depth | gap.depth)
        })
    }

    /// Time of arrival, s: late at random, to a millisecond, never before the last.
    fn stamp(&mut self, well: &Well, time: f64, rate: f64) -> f64 {
        let jitter = well.instruments.jitter;
        let arrival = if jitter > 0.0 {
            time + self.dice.unit() * jitter / rate
        } else {
            time
        };
        let rounded = (arrival * 1000.0).round() / 1000.0;
        self.last_stamp = self.last_stamp.max(rounded);
        self.last_stamp
    }

    fn load(&mut self, well: &Well, time: f64, tension: f64) -> f64 {
        let cell = &well.instruments;
        let swing = (TAU * time / self.drift_period + self.drift_phase).sin();
        let mut load = tension * cell.span
            + cell.zero
            + cell.drift * time / 3600.0
            + DRIFT_SWINGS * cell.drift * swing
            + cell.noise * self.dice.normal();
        if cell.mains > 0.0 {
            load += cell.mains * (TAU * MAINS * time).sin();
        }
        // As many spikes an hour at any rate.
        let spike = cell.spike_chance * 20.0 / cell.load_rate.max(10.0);
        if cell.spike_chance > 0.0 && self.dice.chance(spike) {
            let size = self.dice.between(400.0, 3000.0);
            load += if self.dice.chance(0.5) { size } else { -size };
        }
        ((load / cell.load_step).round() * cell.load_step).max(0.0)
    }
}

/// A stretch of time over which what is measured goes straight.
#[derive(Debug, Clone, Copy)]
struct Stretch {
    from: f64,
    until: f64,
    tension: (f64, f64),
    counter: (f64, f64),
}

impl Stretch {
    fn at(&self, time: f64, (before, after): (f64, f64)) -> f64 {
        let along = ((time - self.from) / (self.until - self.from)).clamp(0.0, 1.0);
        before + (after - before) * along
    }
}

/// What the counter shows, m.
fn stepped(well: &Well, counter: f64) -> f64 {
    let step = well.instruments.counter_step;
    ((counter / step).floor() * step * 1e4).round() / 1e4
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::other_bench::sample::well;
    use crate::other_bench::well::Instruments;

    fn rows(well: &Well, seconds: usize) -> Vec<(f64, String, String)> {
        let mut meter = Meter::new(well, Vec::new()).unwrap();
        let at = |time: f64| Signals {
            tension: 1500.0 + time,
            counter: 900.0 + 0.1 * time,
        };
        for k in 0..seconds * 40 {
            let (from, until) = (k as f64 / 40.0, (k + 1) as f64 / 40.0);
            let stretch = (from, until);
            meter.measure(well, stretch, at(from), at(until)).unwrap();
        }
        let count = meter.rows();
        let text = String::from_utf8(meter.finish().unwrap()).unwrap();
        let rows: Vec<_> = text
            .lines()
            .skip(1)
            .map(|line| {
                let cells: Vec<&str> = line.split(',').collect();
                assert_eq!(cells.len(), 3);
                (cells[0].parse().unwrap(), cells[1].into(), cells[2].into())
            })
            .collect();
        assert_eq!(rows.len() as u64, count);
        rows
    }

    #[test]
    fn instruments_never_go_back_in_time() {
        for same_rows in [true, false] {
            let mut well = well();
            well.instruments.same_rows = same_rows;
            well.instruments.jitter = 3.0;
            well.instruments.duplicate_chance = 0.1;
            let rows = rows(&well, 60);
            assert!(rows.windows(2).all(|pair| pair[0].0 <= pair[1].0));
            assert!(rows.len() > 600);
        }
    }

    #[test]
    fn an_instrument_without_faults_reads_what_is_there() {
        let mut well = well();
        well.instruments = Instruments {
            noise: 0.0,
            mains: 0.0,
            load_step: 1.0,
            drift: 0.0,
            span: 1.0,
            lag: 0.0,
            zero: 0.0,
            load_rate: 10.0,
            depth_rate: 10.0,
            same_rows: true,
            counter_step: 0.01,
            slip_up: 0.0,
            slip_down: 0.0,
            jitter: 0.0,
            duplicate_chance: 0.0,
            spike_chance: 0.0,
            gaps: 0,
        };
        let rows = rows(&well, 20);
        let row = rows.iter().find(|row| row.0 == 12.0).unwrap();
        assert_eq!((row.1.as_str(), row.2.as_str()), ("1512", "901.2"));
    }

    #[test]
    fn gaps_leave_cells_empty_or_rows_out() {
        let mut well = well();
        well.instruments.same_rows = true;
        well.instruments.duplicate_chance = 0.0;
        let whole = rows(&well, 900).len();
        well.instruments.gaps = 40;
        let gapped = rows(&well, 900);
        let holes = gapped
            .iter()
            .filter(|row| row.1.is_empty() != row.2.is_empty());
        assert!(holes.count() + whole > gapped.len());
        assert!(
            gapped
                .iter()
                .all(|row| !(row.1.is_empty() && row.2.is_empty()))
        );
    }
}
