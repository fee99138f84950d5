//! Delays of alarms compared at an equal number of false ones.
//!
//! An alarm that is raised three thousand times a day is never late. How soon a detector tells says
//! something only together with how often it tells wrongly (Basseville and Nikiforov, *Detection of
//! Abrupt Changes*, 1993, chapter 4: mean delay for a given mean time between false alarms). So the
//! baseline's delays are those it has with the first [`PATIENCE`] at which it is wrong no more often
//! than ours; when there is none, it is credited with nothing told.

use super::baseline::PATIENCE;
use super::measure::Tally;

/// Tallies of the baseline, by its patience.
pub type Patient = [Tally; PATIENCE.len()];

/// One kind of alarm.
struct Kind {
    name: &'static str,
    /// False ones.
    wrong: fn(&Tally) -> u64,
    /// Its delays.
    delays: fn(&mut Tally) -> Vec<&mut Vec<f64>>,
}

const KINDS: [Kind; 3] = [
    Kind {
        name: "stall",
        wrong: |t| t.false_stalls,
        delays: |t| vec![&mut t.stall_delay, &mut t.stall_line],
    },
    Kind {
        name: "slack",
        wrong: |t| t.false_slacks,
        delays: |t| vec![&mut t.slack_delay],
    },
    Kind {
        name: "overpull",
        wrong: |t| t.false_overpulls,
        delays: |t| vec![&mut t.overpull_off],
    },
];

/// The baseline as it is with no patience, but with delays at no more false alarms than ours; and a
/// line on each kind of alarm that says what was taken.
pub fn compared_with(ours: &Tally, patient: &Patient) -> (Tally, Vec<String>) {
    let mut all = patient.clone();
    let mut theirs = patient[0].clone();
    let mut said = Vec::new();
    for kind in &KINDS {
        let daily = |t: &Tally| 24.0 * (kind.wrong)(t) as f64 / t.hours.max(1e-9);
        let found = (0..PATIENCE.len()).find(|k| (kind.wrong)(&patient[*k]) <= (kind.wrong)(ours));
        let to = (kind.delays)(&mut theirs);
        let how = match found {
            Some(k) => {
                for (to, from) in to.into_iter().zip((kind.delays)(&mut all[k])) {
                    to.clone_from(from);
                }
                format!("with a patience of {} s", PATIENCE[k])
            }
            None => {
                for to in to {
                    to.fill(f64::INFINITY);
                }
                format!("with no patience up to {} s", PATIENCE[PATIENCE.len() - 1])
            }
        };
        said.push(format!(
            "delay of {}: ours {:.1} false ones a day; the baseline as few {how}; with none, {:.0} a day",
            kind.name,
            daily(ours),
            daily(&patient[0]),
        ));
    }
    (theirs, said)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tally(false_stalls: u64, delay: f64) -> Tally {
        Tally {
            hours: 24.0,
            false_stalls,
            stall_delay: vec![delay],
            stall_line: vec![delay],
            ..Tally::default()
        }
    }

    #[test]
    fn the_baseline_waits_until_it_is_as_seldom_wrong() {
        let mut patient: Patient = std::array::from_fn(|k| tally(9 - k as u64, k as f64));
        let (theirs, said) = compared_with(&tally(5, 2.0), &patient);
        assert_eq!(theirs.stall_delay, [4.0]);
        assert!(said[0].contains("patience of 2 s"), "{}", said[0]);
        for tally in &mut patient {
            tally.false_stalls = 6;
        }
        let (theirs, said) = compared_with(&tally(5, 2.0), &patient);
        assert_eq!(theirs.stall_delay, [f64::INFINITY]);
        assert!(said[0].contains("no patience up to"), "{}", said[0]);
    }
}
