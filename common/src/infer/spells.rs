//! Spells of one state, as told while the run goes on.
//!
//! *Input*: the state at each moment, and since when it is said to last. *Output*: [`Interval`]s in order, without gap or
//! overlap, each as soon as the next state has lasted for `LEAST_S`.
//!
//! What was told is not taken back: a state that is said to have begun within a spell that is over begins where that ends
//! (a stall is noticed after it has begun). A spell that turns out to have been none, because the next is said to have begun
//! with it, is left out; so two of one state may follow each other.

use crate::result::{Interval, State};

/// What lasts less is no spell, s: it belongs to the one before it.
const LEAST_S: f64 = 0.3;
/// Times are sums of cells, s.
const ROUNDING_S: f64 = 1e-6;

/// A state, and since when, s.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Spell {
    state: State,
    start: f64,
}

impl Spell {
    fn lasts_until(&self, t: f64) -> bool {
        t - self.start >= LEAST_S - ROUNDING_S
    }
}

/// Follows the spells.
#[derive(Debug, Clone, Default)]
pub struct Spells {
    standing: Option<Spell>,
    /// Another state that has not lasted for long enough yet.
    next: Option<Spell>,
}

impl Spells {
    /// Takes the state at a moment that lasts until `t` s, told to last since `since` s; gives the spell that is over.
    pub fn push(&mut self, state: State, since: f64, t: f64) -> Option<Interval> {
        let Some(standing) = self.standing else {
            self.standing = Some(Spell {
                state,
                start: since,
            });
            return None;
        };
        if state == standing.state {
            self.next = None;
            return None;
        }
        let next = self.next.filter(|next| next.state == state);
        let next = next.unwrap_or(Spell {
            state,
            start: since.max(standing.start),
        });
        if next.lasts_until(t) {
            self.change(next)
        } else {
            self.next = Some(next);
            None
        }
    }

    /// There were no data from `from` s until `until` s, the moment that comes next.
    pub fn silence(&mut self, from: f64, until: f64) -> Option<Interval> {
        let standing = self.standing.filter(|_| until - from >= LEAST_S)?;
        self.change(Spell {
            state: State::Unknown,
            start: from.max(standing.start),
        })
    }

    /// The run has ended at `end` s: the last spell.
    pub fn finish(&mut self, end: f64) -> Option<Interval> {
        self.next = None;
        let last = self.standing.take()?;
        last.lasts_until(end).then_some(Interval {
            state: last.state,
            start_s: last.start,
            end_s: end,
            depth_m: None,
        })
    }

    fn change(&mut self, next: Spell) -> Option<Interval> {
        self.next = None;
        let last = self.standing.replace(next)?;
        if !last.lasts_until(next.start) {
            self.standing = Some(Spell {
                start: last.start,
                ..next
            });
            return None;
        }
        Some(Interval {
            state: last.state,
            start_s: last.start,
            end_s: next.start,
            depth_m: None,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::align::CELL_S;
    use State::{Cutting, Free, Stalled, Still, Unknown};

    /// Spells of states that last for so many cells each, with their starts and ends in cells.
    fn spells(states: &[(State, u32)]) -> Vec<(State, i64, i64)> {
        let mut spells = Spells::default();
        let mut found = Vec::new();
        let mut cell = 0;
        for &(state, cells) in states {
            for _ in 0..cells {
                let t = f64::from(cell) * CELL_S;
                found.extend(spells.push(state, t, t + CELL_S));
                cell += 1;
            }
        }
        found.extend(spells.finish(f64::from(cell) * CELL_S));
        found.iter().map(in_cells).collect()
    }

    fn in_cells(spell: &Interval) -> (State, i64, i64) {
        let cells = |s: f64| (s / CELL_S).round() as i64;
        (spell.state, cells(spell.start_s), cells(spell.end_s))
    }

    #[test]
    fn spells_follow_each_other_without_gap() {
        assert_eq!(
            spells(&[(Still, 10), (Cutting, 50), (Still, 3), (Free, 20)]),
            [
                (Still, 0, 10),
                (Cutting, 10, 60),
                (Still, 60, 63),
                (Free, 63, 83)
            ]
        );
        assert_eq!(spells(&[]), []);
    }

    #[test]
    fn a_state_that_flickers_is_no_spell() {
        assert_eq!(
            spells(&[(Cutting, 20), (Still, 2), (Cutting, 20)]),
            [(Cutting, 0, 42)]
        );
        // On the way from one to another neither.
        assert_eq!(
            spells(&[(Cutting, 20), (Still, 2), (Free, 20), (Still, 1)]),
            [(Cutting, 0, 22), (Free, 22, 43)]
        );
    }

    #[test]
    fn a_stall_begins_when_it_did_but_not_within_what_is_over() {
        let mut spells = Spells::default();
        let mut found = Vec::new();
        for (state, since, t) in [
            (Cutting, 0.0, 10.0),
            // Noticed a second after the tool stood.
            (Stalled, 9.0, 10.1),
            (Cutting, 15.0, 15.1),
            (Cutting, 15.0, 20.0),
            // The movement before it is told to have been none, and what is over stays.
            (Stalled, 14.0, 20.1),
        ] {
            found.extend(spells.push(state, since, t));
        }
        found.extend(spells.finish(30.0));
        let found: Vec<_> = found.iter().map(in_cells).collect();
        assert_eq!(
            found,
            [(Cutting, 0, 90), (Stalled, 90, 150), (Stalled, 150, 300)]
        );
    }

    #[test]
    fn silence_is_a_spell_of_its_own() {
        let mut spells = Spells::default();
        let mut found = Vec::new();
        found.extend(spells.push(Cutting, 0.0, 10.0));
        found.extend(spells.silence(10.0, 25.0));
        found.extend(spells.push(Cutting, 25.0, 25.1));
        found.extend(spells.push(Cutting, 25.0, 26.0));
        // Too short to be one: what was told before lasted until something else was.
        found.extend(spells.silence(26.0, 26.2));
        found.extend(spells.push(Still, 26.2, 27.0));
        found.extend(spells.finish(30.0));
        let found: Vec<_> = found.iter().map(in_cells).collect();
        assert_eq!(
            found,
            [
                (Cutting, 0, 100),
                (Unknown, 100, 250),
                (Cutting, 250, 262),
                (Still, 262, 300)
            ]
        );
    }
}
