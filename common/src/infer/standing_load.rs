//! Spells in which the load read the same while the line went on: a cell, a display or a logger that hung.
//!
//! *Input*: tension, N, and line paid out, m, ten times a second. *Output*: such spells; drag worked out meanwhile is none.
//! *Limits*: the line must have gone a metre, and the spell be several times as long as the load of this line ever read the
//! same in motion: a coarse display stands for seconds with nothing wrong, and shows that before.

use std::collections::VecDeque;

/// So long at least, s, and so far did the line go meanwhile, m.
const LASTS_S: f64 = 3.0;
const MOVED_M: f64 = 1.0;
/// Times the longest spell before that nothing was wrong with.
const LONGER: f64 = 4.0;
/// Line that goes less far from one tenth of a second to the next rests, m.
const RESTS_M: f64 = 1e-3;
/// Changes of the load in motion after which it is known how long it reads the same.
const CHANGES: u32 = 100;
/// Means of equal readings differ by rounding.
const EQUAL: f64 = 1e-9;
/// Spells that are remembered: of those before no stroke is still to come.
const KEPT: usize = 16;

/// The spell that lasts, or is over.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Spell {
    load: f64,
    from: f64,
    to: f64,
    moved_m: f64,
}

/// Follows load and line.
#[derive(Debug, Clone, Default)]
pub struct StandingLoad {
    spell: Option<Spell>,
    line: f64,
    /// Longest in motion that nothing was wrong with, s.
    usual: f64,
    changes: u32,
    found: VecDeque<Spell>,
}

impl StandingLoad {
    /// Takes tension and line at `t` s.
    #[inline]
    pub fn push(&mut self, t: f64, tension: f64, line: f64) {
        let moved = (line - std::mem::replace(&mut self.line, line)).abs();
        if let Some(spell) = &mut self.spell
            && (tension - spell.load).abs() <= EQUAL * spell.load.abs()
        {
            if moved > RESTS_M {
                spell.moved_m += moved;
                spell.to = t;
            }
            return;
        }
        if let Some(spell) = self.spell.filter(|spell| spell.moved_m > 0.0) {
            if self.is_hung(&spell) {
                if self.found.len() == KEPT {
                    self.found.pop_front();
                }
                self.found.push_back(spell);
            } else {
                self.usual = self.usual.max(spell.to - spell.from);
            }
        }
        self.changes = self.changes.saturating_add(u32::from(moved > RESTS_M));
        self.spell = Some(Spell {
            load: tension,
            from: t,
            to: t,
            moved_m: 0.0,
        });
    }

    /// After a silence: what comes is no neighbour of what was.
    pub fn silence(&mut self) {
        self.spell = None;
    }

    fn is_hung(&self, spell: &Spell) -> bool {
        let lasted = spell.to - spell.from;
        self.changes >= CHANGES
            && spell.moved_m >= MOVED_M
            && lasted >= LASTS_S
            && lasted >= LONGER * self.usual
    }

    /// Whether the load hung for a second or more between these times, s.
    pub fn hung_between(&self, from: f64, to: f64) -> bool {
        let now = self.spell.filter(|spell| self.is_hung(spell));
        let mut spells = self.found.iter().copied().chain(now);
        spells.any(|spell| spell.to.min(to) - spell.from.max(from) >= 1.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Strokes of 10 m at 0.4 m/s with pauses of 5 s; the load, in steps of `step` N with some flicker, hangs from 300 s on
    /// for `hangs` s. Whether it is found to have hung in each of the strokes, and their times.
    fn found(step: f64, hangs: f64) -> Vec<(f64, bool)> {
        let mut standing = StandingLoad::default();
        let (mut hung, mut told) = (0.0, Vec::new());
        for k in 0..6000_u32 {
            let t = 0.1 * f64::from(k);
            let (stroke, into) = ((t / 30.0).floor(), (t % 30.0).min(25.0));
            let way = 0.4 * into;
            let is_up = stroke % 2.0 == 0.0;
            let line = if is_up { 1000.0 - way } else { 990.0 + way };
            let flicker = f64::from(k * 7919 % 13);
            let pull = if is_up { 2100.0 } else { 1500.0 } + way + flicker;
            let load = (pull / step).round() * step;
            let hangs_now = (300.0..300.0 + hangs).contains(&t);
            if !hangs_now {
                hung = load;
            }
            standing.push(t, if hangs_now { hung } else { load }, line);
            if k % 300 == 299 {
                told.push((t - 30.0, standing.hung_between(t - 29.9, t)));
            }
        }
        told
    }

    #[test]
    fn strokes_in_which_the_load_hung_are_told() {
        for step in [1.0, 5.0] {
            let strokes = found(step, 50.0);
            for (from, is_told) in strokes {
                assert_eq!(
                    is_told,
                    (295.0..345.0).contains(&from),
                    "{step} N, {from} s"
                );
            }
        }
    }

    #[test]
    fn a_coarse_display_and_a_line_at_rest_are_nothing_wrong() {
        for step in [1.0, 5.0, 20.0, 50.0] {
            assert!(found(step, 0.0).iter().all(|stroke| !stroke.1), "{step} N");
        }
    }
}
