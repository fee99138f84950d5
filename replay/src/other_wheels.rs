//! Wheels that came in mid-job in words, for summary, report and result.

use crate::units_shown::clock;
use kerfwatch::result::OtherWheels;

/// What is to be said of each set of them.
pub(crate) fn told(wheels: &[OtherWheels]) -> impl Iterator<Item = String> {
    wheels.iter().map(|wheels| {
        let OtherWheels {
            from_stroke,
            at_s,
            counts,
        } = wheels;
        let (more, how) = if *counts > 1.0 {
            ("more", "sharper or pressed harder")
        } else {
            ("less", "blunter or pressed less hard")
        };
        format!(
            "from stroke {from_stroke} ({}) on they bite {more}, as if {how}: one pass counts about {counts:.1} of those \
             before the pause, told from the drag alone",
            clock(*at_s)
        )
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn wheels_are_told_with_their_stroke_and_what_their_passes_count() {
        let wheels = OtherWheels {
            from_stroke: 49,
            at_s: 3164.0,
            counts: 1.98,
        };
        let words: Vec<String> = told(&[wheels]).collect();
        assert!(
            words[0].starts_with("from stroke 49 (0:52:44) on they bite more, as if sharper"),
            "{words:?}"
        );
        assert!(words[0].contains("about 2.0 of those before"), "{words:?}");
    }
}
