//! The state of the tool as told live: each spell is an event once it is over.
//!
//! Told by what the inputs alone decide, at every moment the same in replay ([`outcome::told`]); the page may know a
//! little more, by a groove estimate that it has had time to make. The first moments of a state are told late and from when it
//! began ([`Spells`](crate::infer::spells::Spells)).

use super::Pipeline;
use crate::align::CELL_S;
use crate::groove::engagement;
use crate::input::Event;
use crate::motion::Moment;
use crate::outcome;

impl Pipeline {
    /// The state at this moment; after all else that the moment changes.
    pub(super) fn tell_state(&mut self, m: &Moment, events: &mut Vec<Event>) {
        let Some(phase) = self.hold.phases().last().map(|phase| phase.start) else {
            return;
        };
        let until = m.t + CELL_S;
        let before = self.told.replace((phase, until));
        if let Some((_, seen_until)) = before.filter(|_| m.after_gap) {
            let over = self.spells.silence(seen_until, m.t);
            events.extend(over.map(Event::Interval));
        }
        // Within one phase of the motion the tool comes to cut, or ceases to, now.
        let is_same = before.is_some_and(|(before, _)| before == phase);
        let since = if is_same { m.t } else { phase };
        let over = self.spells.push(outcome::told(self), since, until);
        events.extend(over.map(Event::Interval));
    }

    /// A stroke has ended: whether it was made with the cutter out.
    pub(super) fn ask_engaged(&mut self) {
        self.engaged_told = if outcome::is_before_cut(self) {
            None
        } else {
            engagement::engaged(&self.ledger).pop()
        };
    }

    /// The run has ended: so has the state.
    pub(super) fn end_told_state(&mut self, events: &mut Vec<Event>) {
        self.told = None;
        let over = self.spells.finish(self.last);
        events.extend(over.map(Event::Interval));
    }
}
