//! Where to cut the line back: the shortest cut after which a next job like this one bends line that is as good as
//! fresh. One rule for the forecast and for the report of the run.
//!
//! *Rule*: a next job at the same interval bends the line at the same distances from the rope socket. With `c` m cut
//! off, the line that lay `x + c` from the socket lies at `x`. The stretches bent often are those with a fifth or more
//! of the bends of the worst; `c` is the least length that brings no line into any of them which was bent more than a
//! twentieth as often as the worst. Several sheaves make several such stretches: line bent at one of them must not
//! come onto another.
//! *Trips*: running in and pulling out bend nearly all of the line a few times. What a quarter of it at least has, which
//! no cut can mend, is taken off all counts before they are compared.
//! *Limits*: a proposal from counts of bends, without tension, corrosion or age: the rules of the line's owner apply.

/// Line bent so many times so far.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Bent {
    /// Distance from the rope socket up the line, m.
    pub(crate) from_m: f64,
    /// End of it.
    pub(crate) to_m: f64,
    /// Of each metre.
    pub(crate) bends: f64,
}

/// A proposal.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct CutBack {
    /// Line to cut off at the rope socket, m.
    pub(crate) length_m: f64,
    /// Most bends so far of the line that then comes where it is bent often.
    pub(crate) bends: f64,
    /// To be rid of all line that was bent often, m.
    pub(crate) all_m: f64,
}

/// Part of the bends of the worst stretch from which on a stretch is bent often: one sheave of several is, the ends of
/// strokes that went too far are not.
const OFTEN: f64 = 0.2;
/// Part up to which line is as good as fresh.
const FRESH: f64 = 0.05;
/// Part of the line that trips have bent as often.
const TRIPS: f64 = 0.25;
/// Less is rounding, m.
const ROUNDING_M: f64 = 1e-6;

/// The shortest cut, where sections in order from the rope socket were bent so; what lies between them never was. `None`:
/// nothing is bent more than trips do.
pub(crate) fn cut_back(sections: &[Bent]) -> Option<CutBack> {
    let trips = bends_of_trips(sections);
    let worst = sections.iter().map(|s| s.bends).fold(trips, f64::max) - trips;
    if worst <= 0.0 {
        return None;
    }
    let more_than = |part: f64| {
        sections
            .iter()
            .filter(move |s| s.bends - trips > part * worst)
    };
    let often: Vec<&Bent> = more_than(OFTEN).collect();
    // Cuts that bring a used section onto one that is bent often.
    let mut bad: Vec<(f64, f64)> = more_than(FRESH)
        .flat_map(|used| {
            often
                .iter()
                .map(|o| (used.from_m - o.to_m, used.to_m - o.from_m))
        })
        .collect();
    bad.sort_by(|a, b| a.0.total_cmp(&b.0));
    // From no cut on, over all of them that leave no gap.
    let mut length_m = 0.0_f64;
    for (from, to) in bad {
        if from < length_m - ROUNDING_M || length_m == 0.0 && from < 0.0 {
            length_m = length_m.max(to);
        }
    }
    let comes_into_use = |used: &&Bent| {
        let (from, to) = (used.from_m - length_m, used.to_m - length_m);
        often
            .iter()
            .any(|o| from < o.to_m - ROUNDING_M && to > o.from_m + ROUNDING_M)
    };
    let of_those = sections.iter().filter(comes_into_use);
    Some(CutBack {
        length_m,
        bends: of_those.map(|s| s.bends).fold(0.0, f64::max),
        all_m: often.last().map_or(0.0, |s| s.to_m),
    })
}

/// What three quarters of the line were bent at least.
fn bends_of_trips(sections: &[Bent]) -> f64 {
    let length = |s: &Bent| s.to_m - s.from_m;
    let mut by_bends: Vec<&Bent> = sections.iter().collect();
    by_bends.sort_by(|a, b| a.bends.total_cmp(&b.bends));
    let whole_m = sections.last().map_or(0.0, |s| s.to_m);
    let mut up_to_m = whole_m - sections.iter().map(length).sum::<f64>();
    for section in by_bends {
        if up_to_m >= TRIPS * whole_m {
            break;
        }
        up_to_m += length(section);
        if up_to_m >= TRIPS * whole_m {
            return section.bends;
        }
    }
    0.0
}

#[cfg(test)]
mod tests {
    use super::*;

    fn bent(list: &[(f64, f64, f64)]) -> Vec<Bent> {
        (list.iter())
            .map(|&(from_m, to_m, bends)| Bent {
                from_m,
                to_m,
                bends,
            })
            .collect()
    }

    fn length(list: &[(f64, f64, f64)]) -> f64 {
        cut_back(&bent(list)).unwrap().length_m
    }

    #[test]
    fn line_bent_at_one_sheave_does_not_come_onto_another() {
        // Strokes of 14 m, sheaves 16 m apart: 14 m would bring the line of the second onto the first.
        let apart = [(100.0, 114.0, 50.0), (116.0, 130.0, 50.0)];
        assert_eq!(length(&apart), 30.0);
        // Strokes of 6 m: the cut fits between them.
        let far = [(100.0, 106.0, 50.0), (116.0, 122.0, 50.0)];
        assert_eq!(length(&far), 6.0);
        // Of 8 m it fits by a hair.
        let just = [(100.0, 108.0, 50.0), (116.0, 124.0, 50.0)];
        assert_eq!(length(&just), 8.0);
        assert_eq!(length(&[(100.0, 120.0, 40.0)]), 20.0);
    }

    #[test]
    fn line_bent_just_under_half_as_often_as_the_worst_is_no_fresh_line() {
        let overlap = [
            (0.0, 1887.0, 4.0),
            (1887.0, 1903.0, 58.0),
            (1903.0, 1907.0, 112.0),
            (1907.0, 1922.0, 54.0),
            (1922.0, 1923.0, 9.0),
            (1923.0, 1924.0, 4.0),
        ];
        let found = cut_back(&bent(&overlap)).unwrap();
        assert_eq!((found.length_m, found.bends), (35.0, 9.0));
        assert_eq!(found.all_m, 1922.0);
    }

    #[test]
    fn trips_alone_ask_for_no_cut_and_do_not_lengthen_one() {
        assert_eq!(cut_back(&bent(&[(0.0, 1000.0, 4.0)])), None);
        assert_eq!(cut_back(&[]), None);
        // A short job: trips are more than a fifth of the worst, and yet on line that stays as it is.
        let short = [(0.0, 900.0, 4.0), (900.0, 910.0, 12.0), (910.0, 950.0, 4.0)];
        let found = cut_back(&bent(&short)).unwrap();
        assert_eq!((found.length_m, found.bends), (10.0, 4.0));
    }
}
