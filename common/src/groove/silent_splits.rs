//! Splits that the drag does not show.
//!
//! Wheels may drag along the edges of a split as they did in the groove before. Then drag that stays says nothing about
//! the wall: what is left is passes, force and pressure. How often that is so nobody knows beforehand (prior: our own
//! judgement, no source), but drag tells: where places stand out from the rest, or the mean falls as splits would make it
//! fall, they do show; where passes ought to have split most of the wall and nothing has changed, they may well not.
//!
//! *Input*: the fit with its case of silent splits, what the places say of one another, splits found by drag. *Output*:
//! probability of a split by bin, and the shared reach, over both cases. *Source*: mean over models by their evidence
//! (textbook Bayes).

use super::drag_model::NEVER;
use super::posterior::{LAW_SD, normal_cdf};
use super::through::{LIKELY_TOLD, Through, WindowSeen};
use super::window_share::WindowShare;

/// What holds if splits do not show.
#[derive(Debug, Clone, Copy)]
pub struct Silent {
    /// Probability that they do not.
    pub probability: f64,
    /// Mean and standard deviation of `m` then.
    pub reach: (f64, f64),
}

impl Silent {
    /// After what the places say of one another: `ln_shows`, logarithm of how much likelier that is if splits show.
    pub(super) fn after(self, ln_shows: f64) -> Self {
        let p = self.probability.clamp(1e-9, 1.0 - 1e-9);
        let odds = p / (1.0 - p) * (-ln_shows).exp();
        Self {
            probability: odds / (1.0 + odds),
            ..self
        }
    }

    /// Probability of a split in this case; `local_sd`: what bins have of their own; `ln_x`: logarithm of `x`, by passes.
    fn split(self, local_sd: f64, ln_x: f64) -> f64 {
        let sd = self.reach.1.hypot(local_sd).hypot(LAW_SD);
        normal_cdf((self.reach.0 + ln_x) / sd)
    }

    /// Takes the case into the probabilities of splits, and gives the shared reach of places that hold; `shown`: the
    /// same if splits show; `coupling`: bins in or beside one, whose drag says nothing; `ln_x`: logarithm of `x` by passes.
    pub(super) fn mix_into(
        self,
        through: &mut Through,
        windows: &[WindowShare],
        coupling: &[bool],
        shown: (f64, f64),
        local_sd: f64,
        ln_x: impl Fn(f64) -> f64,
    ) -> (f64, f64) {
        let w = self.probability;
        let (mut holds_silent, mut holds_shown) = (0.0, 0.0);
        for (j, p) in through.probability.iter_mut().enumerate() {
            if through.at[j] != NEVER || through.passes[j] <= 0.0 {
                continue;
            }
            let silent = self.split(local_sd, ln_x(through.passes[j]));
            if !coupling[j] {
                holds_silent += 1.0 - silent;
                holds_shown += 1.0 - *p;
            }
            *p += w * (silent - *p);
            if *p <= LIKELY_TOLD {
                through.since[j] = NEVER;
            } else if through.since[j] == NEVER {
                // No drag says so: since passes do.
                let likely = |window: &&WindowShare| {
                    w * self.split(local_sd, ln_x(window.passes[j])) > LIKELY_TOLD
                };
                let first = windows.iter().find(likely).or(windows.last());
                through.since[j] = first.map_or(NEVER, |window| window.rows.0);
            }
        }
        // That a place holds makes it less likely that many have split unseen.
        let (silent, shows) = (w * holds_silent, (1.0 - w) * holds_shown);
        let w = if silent > 0.0 {
            silent / (silent + shows)
        } else {
            w
        };
        let mean = shown.0 + w * (self.reach.0 - shown.0);
        let square = |(m, sd): (f64, f64)| sd * sd + (m - mean) * (m - mean);
        let var = (1.0 - w) * square(shown) + w * square(self.reach);
        (mean, var.sqrt())
    }

    /// Takes the case into the history of a bin that no drag has shown to be split.
    pub(super) fn mix_into_history(
        self,
        seen: &mut [WindowSeen],
        local_sd: f64,
        ln_x: impl Fn(f64) -> f64,
    ) {
        for seen in seen {
            let silent = self.split(local_sd, ln_x(seen.passes));
            seen.probability += self.probability * (silent - seen.probability);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const LOCAL: f64 = 0.06;

    /// Invented: ten bins after 500 wheel passes, all said to hold by their drag, but the first, which is split.
    fn through() -> Through {
        let mut through = Through::nothing(10);
        through.passes.fill(500.0);
        through.probability.fill(0.02);
        (through.at[0], through.probability[0]) = (20, 1.0);
        through.passes[9] = 0.0;
        through.probability[9] = 0.0;
        through
    }

    fn ln_x(n: f64) -> f64 {
        n.cbrt().ln()
    }

    #[test]
    fn places_that_stand_out_rule_silent_splits_out() {
        let silent = Silent {
            probability: 0.5,
            reach: (-1.8, 0.15),
        };
        assert!(silent.after(6.0).probability < 0.01);
        assert!((silent.after(0.0).probability - 0.5).abs() < 1e-9);
        for sure in [0.0, 1.0] {
            let silent = Silent {
                probability: sure,
                ..silent
            };
            assert!((silent.after(2.0).probability - sure).abs() < 1e-6);
        }
    }

    #[test]
    fn where_splits_may_not_show_passes_speak_for_the_wall() {
        // Passes say that the wall is split, with some 1.4 standard deviations to spare; drag, that it holds.
        let (mut sure, mut half) = (through(), through());
        let at = |probability| Silent {
            probability,
            reach: (-1.8, 0.15),
        };
        let shown = (-2.4, 0.05);
        let none = [false; 10];
        assert_eq!(
            at(0.0).mix_into(&mut sure, &[], &none, shown, LOCAL, ln_x),
            shown
        );
        assert_eq!(sure.probability, through().probability);
        let (m, sd) = at(0.5).mix_into(&mut half, &[], &none, shown, LOCAL, ln_x);
        for (j, p) in half.probability.iter().enumerate() {
            match j {
                // Seen in the drag; never passed.
                0 => assert_eq!(*p, 1.0),
                9 => assert_eq!(*p, 0.0),
                _ => assert!((0.4..0.52).contains(p), "{p}"),
            }
        }
        // Places that hold are still likelier to be as deep as drag says, with more doubt.
        assert!((-2.4..-2.2).contains(&m) && sd > 0.1, "{m} {sd}");
    }
}
