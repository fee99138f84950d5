//! What the lower end of the line does, from what its upper end did: d'Alembert, downwards.
//!
//! On a uniform line `T - Z v` is constant along `dx/dt = +c` and `T + Z v` along `dx/dt = -c`
//! (`Z = EA/c`, `v` positive down). With both `T` and `v` measured at the top, the lower end at
//! time `t` follows from the top at `t - tau` and `t + tau`, `tau = L/c`, whatever the tool does:
//!
//! ```text
//! T_end(t) = [T(t+tau) + T(t-tau)]/2 + Z [v(t+tau) - v(t-tau)]/2
//! u_end(t) = [u(t+tau) + u(t-tau)]/2 + (L/EA) mean of T over [t-tau, t+tau]
//! ```
//!
//! The second line is quasi-static stretch with the tension averaged over one echo: the line's own
//! swinging drops out exactly, at the price of knowing the present `tau` later (0.1 s at 500 m,
//! 0.8 s at 4000 m). *Assumes* small damping over one echo; wall friction is added by
//! [`super::friction_chain`]. *Source*: d'Alembert's solution of the wave equation, any textbook.

use crate::align::CELL_S;

/// Shortest averaging half window, s: below it only noise would be gained.
const HALF_WINDOW_MIN: f64 = 0.15;
/// Half width of the difference that gives line speed, s.
const SPEED_HALF: f64 = 0.2;

/// Both ends of the line at one moment.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ends {
    /// Time, s.
    pub t: f64,
    /// Line paid out, unstretched, mean of both moments, m.
    pub line: f64,
    /// Tension averaged over the echo, N: what stretches the line.
    pub tension_mean: f64,
    /// Tension that reaches the lower end, friction and weight left out, N.
    pub tension_end: f64,
    /// Surface tension at `t` itself, N.
    pub tension_now: f64,
    /// Surface line speed at `t`, unstretched, positive in, m/s.
    pub line_speed: f64,
}

#[derive(Debug, Clone, Copy)]
struct Row {
    line: f64,
    tension: f64,
    /// Integral of tension from the start of the window, N s.
    sum: f64,
}

/// The last few seconds of the top of the line, one row per cell.
#[derive(Debug, Clone)]
pub struct WaveWindow {
    /// The last [`ROWS`] count. In one piece, for they are looked at many times for each that comes.
    kept: Vec<Row>,
    /// Cell index of the newest row.
    newest: i64,
    /// Next cell to give out.
    next: i64,
    impedance: f64,
}

/// Rows kept: enough for 10 km of line.
const ROWS: usize = 96;
/// So many are let come before the older ones are dropped, all at once.
const KEPT: usize = 4 * ROWS;

impl WaveWindow {
    /// `impedance`: EA/c, N s/m.
    pub fn new(impedance: f64) -> Self {
        Self {
            kept: Vec::with_capacity(KEPT),
            newest: 0,
            next: 0,
            impedance,
        }
    }

    /// Forgets the past (after a long silence).
    pub fn clear(&mut self) {
        self.kept.clear();
    }

    /// Adds the cell `index` with line `line` m and tension `tension` N. Indices must be
    /// consecutive; call [`Self::clear`] otherwise.
    pub fn push(&mut self, index: i64, line: f64, tension: f64) {
        let sum = self
            .kept
            .last()
            .map_or(0.0, |r| r.sum + 0.5 * (r.tension + tension) * CELL_S);
        if self.kept.is_empty() {
            self.next = index;
        }
        if self.kept.len() == KEPT {
            self.kept.drain(..=KEPT - ROWS);
        }
        self.kept.push(Row { line, tension, sum });
        self.newest = index;
    }

    #[inline]
    fn rows(&self) -> &[Row] {
        &self.kept[self.kept.len().saturating_sub(ROWS)..]
    }

    /// The next moment that can be told with a travel time of `tau` s.
    pub fn pop(&mut self, tau: f64) -> Option<(i64, Ends)> {
        if self.kept.is_empty() {
            return None;
        }
        let reach = tau.max(HALF_WINDOW_MIN) + SPEED_HALF;
        let ahead = (reach / CELL_S).ceil() as i64;
        if self.next + ahead > self.newest {
            return None;
        }
        let index = self.next;
        self.next += 1;
        Some((index, self.ends(index, tau)))
    }

    /// The moments that are left at the end of a run, with what is there.
    pub fn pop_rest(&mut self, tau: f64) -> Option<(i64, Ends)> {
        if self.kept.is_empty() || self.next > self.newest {
            return None;
        }
        let index = self.next;
        self.next += 1;
        Some((index, self.ends(index, tau)))
    }

    fn ends(&self, index: i64, tau: f64) -> Ends {
        let x = self.position(index);
        let shift = tau / CELL_S;
        let half = tau.max(HALF_WINDOW_MIN) / CELL_S;
        let (a, b) = (
            (x - half).max(0.0),
            (x + half).min(self.rows().len() as f64 - 1.0),
        );
        let span = (b - a) * CELL_S;
        let tension_mean = if span > 0.0 {
            (self.sum_at(b) - self.sum_at(a)) / span
        } else {
            self.at(x).1
        };
        let (line_before, tension_before) = self.at(x - shift);
        let (line_after, tension_after) = self.at(x + shift);
        Ends {
            t: (index as f64 + 0.5) * CELL_S,
            line: 0.5 * (line_before + line_after),
            tension_mean,
            tension_end: 0.5 * (tension_before + tension_after)
                + 0.5 * self.impedance * (self.speed(x + shift) - self.speed(x - shift)),
            tension_now: self.at(x).1,
            line_speed: self.speed(x),
        }
    }

    /// Place of a cell in `rows`.
    fn position(&self, index: i64) -> f64 {
        (index - (self.newest - self.rows().len() as i64 + 1)) as f64
    }

    /// The rows around a place and how far it is from the first to the second.
    #[inline]
    fn around(&self, x: f64) -> (Row, Row, f64) {
        let rows = self.rows();
        let last = rows.len() - 1;
        let x = x.clamp(0.0, last as f64);
        let i = (x as usize).min(last.saturating_sub(1));
        (rows[i], rows[(i + 1).min(last)], x - i as f64)
    }

    fn at(&self, x: f64) -> (f64, f64) {
        let (a, b, f) = self.around(x);
        (
            a.line + f * (b.line - a.line),
            a.tension + f * (b.tension - a.tension),
        )
    }

    fn sum_at(&self, x: f64) -> f64 {
        let (a, b, f) = self.around(x);
        a.sum + f * CELL_S * (a.tension + 0.5 * f * (b.tension - a.tension))
    }

    fn speed(&self, x: f64) -> f64 {
        const HALF: f64 = SPEED_HALF / CELL_S;
        const PER_SECOND: f64 = 1.0 / (2.0 * SPEED_HALF);
        let last = self.rows().len() as f64 - 1.0;
        let (a, b) = (x - HALF, x + HALF);
        if a >= 0.0 && b <= last {
            return (self.at(b).0 - self.at(a).0) * PER_SECOND;
        }
        let (a, b) = (a.clamp(0.0, last), b.clamp(0.0, last));
        if b > a {
            (self.at(b).0 - self.at(a).0) / ((b - a) * CELL_S)
        } else {
            0.0
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A free wave on a fixed lower end, written down in closed form: u(x,t) = f(t - x/c) - f(t -
    /// (2L - x)/c). The lower end stays where it is, whatever the top does.
    #[test]
    fn held_lower_end_does_not_move_while_waves_run_over_the_line() {
        let (length, c, ea) = (3000.0, 5047.5, 1.182e6);
        let tau = length / c;
        let f = |t: f64| {
            if t > 0.0 {
                0.4 * (1.0 - (1.1 * t).cos())
            } else {
                0.0
            }
        };
        let df = |t: f64| {
            if t > 0.0 {
                0.4 * 1.1 * (1.1 * t).sin()
            } else {
                0.0
            }
        };
        let mut window = WaveWindow::new(ea / c);
        let mut worst: f64 = 0.0;
        let mut swing: f64 = 0.0;
        for i in 0..400 {
            let t = (f64::from(i) + 0.5) * CELL_S - 10.0;
            let u = f(t) - f(t - 2.0 * tau);
            let tension = ea / c * (-df(t) - df(t - 2.0 * tau));
            window.push(i64::from(i), u, tension);
            while let Some((index, e)) = window.pop(tau) {
                if index > 20 {
                    worst = worst.max((e.line + length / ea * e.tension_mean).abs());
                    swing = swing.max(e.line.abs());
                }
            }
        }
        assert!(swing > 0.3, "the test must move the line: {swing}");
        assert!(worst < 0.004, "lower end moved {worst} m");
    }
}
