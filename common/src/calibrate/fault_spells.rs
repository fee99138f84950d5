//! From when to when an instrument was silent or frozen: counts say how often, a report also has to say when.
//!
//! *Input*: what a channel found, in order of time. *Output*: all of them counted, the first ones with their times.
//! *Limits*: at most `KEPT` are kept, so that an instrument that comes and goes for a week takes no more room.

use crate::time::Nanos;

/// So many are told one by one; of an instrument that fails more often a list is of no use.
const KEPT: usize = 50;

/// Spells of one kind of fault of one channel.
#[derive(Debug, Clone)]
pub struct FaultSpells {
    count: u64,
    total: Nanos,
    /// Start and end of the first ones, in order.
    kept: Vec<(Nanos, Nanos)>,
    /// The one that goes on: start, and the newest time at which it was seen to last.
    open: Option<(Nanos, Nanos)>,
}

impl Default for FaultSpells {
    fn default() -> Self {
        Self {
            count: 0,
            total: 0,
            // At once, so that no reading allocates.
            kept: Vec::with_capacity(KEPT),
            open: None,
        }
    }
}

impl FaultSpells {
    /// The fault holds at `at`; it began at `since`, which only the first call of a spell says.
    pub fn holds(&mut self, since: Nanos, at: Nanos) {
        match &mut self.open {
            Some((_, seen)) => *seen = at,
            None => {
                self.count += 1;
                self.open = Some((since, at));
            }
        }
    }

    /// The fault does not hold at `at` any more; nothing happens where none did.
    pub fn ends(&mut self, at: Nanos) {
        if let Some((since, _)) = self.open.take() {
            self.total = self.total.saturating_add(at - since);
            if self.kept.len() < KEPT {
                self.kept.push((since, at));
            }
        }
    }

    /// How many, the present one included.
    pub fn count(&self) -> u64 {
        self.count
    }

    /// How long all of them lasted together, the present one up to when it was last seen.
    pub fn total(&self) -> Nanos {
        let open = self.open.map_or(0, |(since, seen)| seen - since);
        self.total.saturating_add(open)
    }

    /// Start and end of the first ones, in order; the present one up to when it was last seen.
    pub fn first(&self) -> impl Iterator<Item = (Nanos, Nanos)> + '_ {
        (self.kept.iter().copied()).chain(self.open).take(KEPT)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_spell_lasts_from_its_start_to_its_end_and_the_present_one_as_far_as_it_was_seen() {
        let mut spells = FaultSpells::default();
        spells.ends(1);
        spells.holds(10, 15);
        spells.holds(99, 20);
        spells.ends(22);
        spells.ends(23);
        spells.holds(30, 37);
        assert_eq!((spells.count(), spells.total()), (2, 19));
        assert_eq!(spells.first().collect::<Vec<_>>(), [(10, 22), (30, 37)]);
    }

    #[test]
    fn all_are_counted_and_only_the_first_kept() {
        let mut spells = FaultSpells::default();
        for k in 0..1000 {
            spells.holds(10 * k, 10 * k + 1);
            spells.ends(10 * k + 2);
        }
        spells.holds(20_000, 20_001);
        assert_eq!((spells.count(), spells.total()), (1001, 2001));
        assert_eq!(spells.first().count(), KEPT);
        assert_eq!(spells.first().last(), Some((490, 492)));
    }
}
