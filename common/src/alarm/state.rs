//! The states of one alarm and the transitions between them.
//!
//! *Source*: ANSI/ISA-18.2, from memory; the letters A to I are those of its diagram, and the table in the tests
//! holds every transition. One that it does not hold leaves the state as it is.

use serde::{Deserialize, Serialize};

/// State of one alarm.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum AlarmState {
    /// A: nothing is wrong.
    Normal,
    /// B: the condition stands and nobody has said so yet.
    Unacknowledged,
    /// C: the condition stands and the operator knows.
    Acknowledged,
    /// D: the condition is gone, but nobody has seen it.
    ReturnedUnacknowledged,
    /// E: gone, held by the latch, and nobody has seen it.
    LatchedUnacknowledged,
    /// F: gone, seen, held until it is reset.
    LatchedAcknowledged,
    /// G: put aside by the operator, for a limited time.
    Shelved,
    /// H: put aside by the logic of the process.
    Suppressed,
    /// I: put aside for maintenance.
    OutOfService,
}

/// What can happen to an alarm.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Stimulus {
    /// The condition has come true (delays passed).
    Raise,
    /// The condition is gone (delays passed).
    Clear,
    /// The operator has seen it.
    Acknowledge,
    /// The operator releases the latch.
    Reset,
    /// The operator puts it aside.
    Shelve,
    /// The logic puts it aside.
    Suppress,
    /// Maintenance puts it aside.
    TakeOut,
    /// End of shelving, suppression or maintenance; the condition decides afresh.
    PutBack,
}

use AlarmState as S;

impl AlarmState {
    /// Every state.
    pub const ALL: [AlarmState; 9] = [
        S::Normal,
        S::Unacknowledged,
        S::Acknowledged,
        S::ReturnedUnacknowledged,
        S::LatchedUnacknowledged,
        S::LatchedAcknowledged,
        S::Shelved,
        S::Suppressed,
        S::OutOfService,
    ];

    /// Name in events, on the page and in metrics.
    pub const fn name(self) -> &'static str {
        match self {
            S::Normal => "normal",
            S::Unacknowledged => "unacknowledged",
            S::Acknowledged => "acknowledged",
            S::ReturnedUnacknowledged => "returned_unacknowledged",
            S::LatchedUnacknowledged => "latched_unacknowledged",
            S::LatchedAcknowledged => "latched_acknowledged",
            S::Shelved => "shelved",
            S::Suppressed => "suppressed",
            S::OutOfService => "out_of_service",
        }
    }

    /// The condition stands and is shown: B or C.
    pub const fn is_standing(self) -> bool {
        matches!(self, S::Unacknowledged | S::Acknowledged)
    }

    /// Somebody should look: B, D or E. The horn sounds in these.
    pub const fn is_unacknowledged(self) -> bool {
        matches!(
            self,
            S::Unacknowledged | S::ReturnedUnacknowledged | S::LatchedUnacknowledged
        )
    }

    /// Its condition is over: D, E or F.
    pub const fn is_over(self) -> bool {
        matches!(
            self,
            S::ReturnedUnacknowledged | S::LatchedUnacknowledged | S::LatchedAcknowledged
        )
    }

    /// What goes with the sentence of the alarm when its condition is over or it is put aside; else empty.
    pub const fn advice(self) -> &'static str {
        match self {
            S::ReturnedUnacknowledged => " It is over; acknowledge it.",
            S::LatchedUnacknowledged => " It is over; acknowledge and reset it.",
            S::LatchedAcknowledged => " It is over; reset it.",
            S::Shelved => " It is shelved.",
            S::OutOfService => " It is out of service.",
            S::Normal | S::Unacknowledged | S::Acknowledged | S::Suppressed => "",
        }
    }

    /// Put aside: G, H or I.
    pub const fn is_aside(self) -> bool {
        matches!(self, S::Shelved | S::Suppressed | S::OutOfService)
    }
}

/// The state after `stimulus`. `latching`: the rule of the kind. `active`: whether the condition
/// holds now, which is what decides when an alarm comes back from being put aside.
pub const fn next_state(
    state: AlarmState,
    stimulus: Stimulus,
    latching: bool,
    active: bool,
) -> AlarmState {
    use Stimulus as T;
    match (state, stimulus) {
        // A condition that returns is a new occurrence, also behind a latch.
        (
            S::Normal
            | S::ReturnedUnacknowledged
            | S::LatchedUnacknowledged
            | S::LatchedAcknowledged,
            T::Raise,
        ) => S::Unacknowledged,
        (S::Unacknowledged, T::Acknowledge) => S::Acknowledged,
        (S::Unacknowledged, T::Clear) if latching => S::LatchedUnacknowledged,
        (S::Unacknowledged, T::Clear) => S::ReturnedUnacknowledged,
        (S::Acknowledged, T::Clear) if latching => S::LatchedAcknowledged,
        (S::Acknowledged, T::Clear) => S::Normal,
        (S::ReturnedUnacknowledged, T::Acknowledge) => S::Normal,
        (S::LatchedUnacknowledged, T::Acknowledge) => S::LatchedAcknowledged,
        (S::LatchedAcknowledged, T::Reset) => S::Normal,
        (
            S::Normal | S::Unacknowledged | S::Acknowledged | S::ReturnedUnacknowledged,
            T::Shelve,
        ) => S::Shelved,
        (
            S::Normal | S::Unacknowledged | S::Acknowledged | S::ReturnedUnacknowledged,
            T::Suppress,
        ) => S::Suppressed,
        (
            S::Normal | S::Unacknowledged | S::Acknowledged | S::ReturnedUnacknowledged,
            T::TakeOut,
        ) => S::OutOfService,
        (S::Shelved | S::Suppressed | S::OutOfService, T::PutBack) => {
            if active {
                S::Unacknowledged
            } else {
                S::Normal
            }
        }
        (same, _) => same,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use Stimulus as T;

    const A: S = S::Normal;
    const B: S = S::Unacknowledged;
    const C: S = S::Acknowledged;
    const D: S = S::ReturnedUnacknowledged;
    const E: S = S::LatchedUnacknowledged;
    const F: S = S::LatchedAcknowledged;
    const G: S = S::Shelved;
    const H: S = S::Suppressed;
    const I: S = S::OutOfService;

    /// Every state in [`S::ALL`] order against one stimulus: plain, then latching.
    const TABLE: &[(T, bool, [S; 9], [S; 9])] = &[
        (
            T::Raise,
            true,
            [B, B, C, B, B, B, G, H, I],
            [B, B, C, B, B, B, G, H, I],
        ),
        (
            T::Clear,
            false,
            [A, D, A, D, E, F, G, H, I],
            [A, E, F, D, E, F, G, H, I],
        ),
        (
            T::Acknowledge,
            true,
            [A, C, C, A, F, F, G, H, I],
            [A, C, C, A, F, F, G, H, I],
        ),
        (
            T::Acknowledge,
            false,
            [A, C, C, A, F, F, G, H, I],
            [A, C, C, A, F, F, G, H, I],
        ),
        (
            T::Reset,
            false,
            [A, B, C, D, E, A, G, H, I],
            [A, B, C, D, E, A, G, H, I],
        ),
        (
            T::Shelve,
            true,
            [G, G, G, G, E, F, G, H, I],
            [G, G, G, G, E, F, G, H, I],
        ),
        (
            T::Suppress,
            false,
            [H, H, H, H, E, F, G, H, I],
            [H, H, H, H, E, F, G, H, I],
        ),
        (
            T::TakeOut,
            true,
            [I, I, I, I, E, F, G, H, I],
            [I, I, I, I, E, F, G, H, I],
        ),
        (
            T::PutBack,
            false,
            [A, B, C, D, E, F, A, A, A],
            [A, B, C, D, E, F, A, A, A],
        ),
        (
            T::PutBack,
            true,
            [A, B, C, D, E, F, B, B, B],
            [A, B, C, D, E, F, B, B, B],
        ),
    ];

    // ANSI/ISA-18.2, from memory.
    #[test]
    fn every_transition_is_that_of_the_table() {
        for (stimulus, active, plain, latching) in TABLE {
            for (position, from) in S::ALL.into_iter().enumerate() {
                for (latch, expected) in [(false, plain), (true, latching)] {
                    assert_eq!(
                        next_state(from, *stimulus, latch, *active),
                        expected[position],
                        "{from:?} {stimulus:?} latching {latch} active {active}"
                    );
                }
            }
        }
    }

    #[test]
    fn state_names_are_distinct_and_the_same_in_serde() {
        let names: std::collections::BTreeSet<_> = S::ALL.iter().map(|s| s.name()).collect();
        assert_eq!(names.len(), S::ALL.len());
        for state in S::ALL {
            let json = serde_json::to_string(&state).expect("json");
            assert_eq!(json, format!("\"{}\"", state.name()));
        }
    }
}
