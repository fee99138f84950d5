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
            sudden,
        } = wheels;
        let (more, how) = match (*counts > 1.0, *sudden) {
            (true, false) => ("more", "sharper or pressed harder"),
            (false, false) => ("less", "blunter or pressed less hard"),
            (true, true) => ("more at once, up and down alike", "a stuck one ran free again"),
            (false, true) => ("less at once, up and down alike", "one was lost or is stuck"),
        };
        let before = if *sudden { "" } else { " the pause" };
        format!(
            "from stroke {from_stroke} ({}) on they bite {more}, as if {how}: one pass counts about {counts:.1} of those \
             before{before}, told from the drag alone",
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
            sudden: false,
        };
        let lost = OtherWheels {
            counts: 0.8,
            sudden: true,
            ..wheels
        };
        let words: Vec<String> = told(&[wheels, lost]).collect();
        assert!(
            words[0].starts_with("from stroke 49 (0:52:44) on they bite more, as if sharper"),
            "{words:?}"
        );
        assert!(
            words[0].contains("about 2.0 of those before the pause"),
            "{words:?}"
        );
        assert!(
            words[1].contains("bite less at once, up and down alike, as if one was lost"),
            "{words:?}"
        );
        assert!(
            words[1].contains("about 0.8 of those before, told"),
            "{words:?}"
        );
    }
}
