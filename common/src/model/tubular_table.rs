//! Common tubing and casing by size and weight, so that a job file may name its pipe.
//!
//! *Input -> output*: `"5-1/2 in 17 lb/ft"` -> outside diameter, wall, coupling, joint length ranges.
//! *Limits*: nominal figures. Wall may be 12.5 % thinner, couplings 1 % wider, joints are as the
//! tally says: figures of the string in the well go before this table.
//! *Errors*: [`LookupError`] names what is known instead.
//! *Sources*: dimensions follow API Specification 5CT / ISO 11960, whose text was not at hand. Each
//! value carries a [`Source`]; those from memory were checked against weight (a test compares the
//! plain-end weight of every row with its nominal weight). `common/src/model/tubular_table/rows.rs`
//! holds the rows.

mod rows;

use crate::units::{KILOGRAMS_PER_POUND, METRES_PER_FOOT, METRES_PER_INCH};
pub use rows::ROWS;

/// Where a value comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Source {
    /// Public page with tubing sizes and walls after the standard:
    /// api-pipes-tubes.blogspot.com, 2014/07, "tubing with threaded non-upset end".
    TubingSizesPage,
    /// Public maker's table of the standard's common sizes (abtersteel.com, "common oil casing
    /// technical standards").
    CommonSizesPage,
    /// Public table "API Round Thread Casing Coupling - Dimensions, Tolerances and Masses"
    /// (usaiforge.com, page e32).
    CouplingPage,
    /// Public drawing of a coupling after API 5B and 5CT (scribd.com 562080850).
    CouplingDrawing,
    /// From memory of the standard.
    Memory,
}

/// How the ends of the pipe are made.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum End {
    /// Tubing, non-upset.
    NonUpset,
    /// Tubing, external upset.
    ExternalUpset,
    /// Casing, long round thread (its coupling is the longer one).
    Casing,
}

/// Length class of joints.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LengthRange {
    /// Range 1.
    One,
    /// Range 2.
    Two,
    /// Range 3.
    Three,
}

/// Shortest and longest joint, m, of a length range, with its source.
pub fn joint_length_m(end: End, range: LengthRange) -> (f64, f64, Source) {
    match (end, range) {
        (End::Casing, LengthRange::One) => (4.88, 7.62, Source::Memory),
        (End::Casing, LengthRange::Two) => (7.62, 10.36, Source::CommonSizesPage),
        (End::Casing, LengthRange::Three) => (10.36, 14.63, Source::CommonSizesPage),
        (_, LengthRange::One) => (6.10, 7.32, Source::CommonSizesPage),
        (_, LengthRange::Two) => (8.53, 9.75, Source::CommonSizesPage),
        (_, LengthRange::Three) => (11.58, 12.80, Source::Memory),
    }
}

/// One pipe of the table. Inches and pounds as published; SI by method.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TubularRow {
    /// Outside diameter, in, as the trade writes it.
    pub size: &'static str,
    /// Outside diameter, in.
    pub od_in: f64,
    /// Nominal weight, threaded and coupled, lb/ft: the second half of the name.
    pub weight_lb_ft: f64,
    /// Nominal wall, in.
    pub wall_in: f64,
    /// Ends.
    pub end: End,
    /// Outside diameter of the coupling, in.
    pub coupling_od_in: f64,
    /// Length of the coupling, in (minimum of the standard).
    pub coupling_length_in: f64,
    /// Source of the wall.
    pub wall_source: Source,
    /// Source of the coupling's outside diameter.
    pub coupling_od_source: Source,
    /// Source of the coupling's length.
    pub coupling_length_source: Source,
}

impl TubularRow {
    /// Outside diameter, m.
    pub fn od_m(&self) -> f64 {
        self.od_in * METRES_PER_INCH
    }
    /// Nominal wall, m.
    pub fn wall_m(&self) -> f64 {
        self.wall_in * METRES_PER_INCH
    }
    /// Nominal inside diameter, m.
    pub fn id_m(&self) -> f64 {
        (self.od_in - 2.0 * self.wall_in) * METRES_PER_INCH
    }
    /// Outside diameter of the coupling, m.
    pub fn coupling_od_m(&self) -> f64 {
        self.coupling_od_in * METRES_PER_INCH
    }
    /// Length of the coupling, m.
    pub fn coupling_length_m(&self) -> f64 {
        self.coupling_length_in * METRES_PER_INCH
    }
    /// Weight of plain pipe, lb/ft, by geometry for steel of 7850 kg/m3.
    pub fn plain_end_weight_lb_ft(&self) -> f64 {
        let area = std::f64::consts::PI * (self.od_m() - self.wall_m()) * self.wall_m();
        area * 7850.0 * METRES_PER_FOOT / KILOGRAMS_PER_POUND
    }
    /// Name that [`lookup`] finds again.
    pub fn name(&self) -> String {
        format!("{} in {} lb/ft", self.size, self.weight_lb_ft)
    }
}

/// Why a name was not found.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum LookupError {
    /// Not of the form size and weight.
    #[error("\"{text}\" is not size and weight of a pipe")]
    NotUnderstood {
        /// What was given.
        text: String,
    },
    /// Size not in the table.
    #[error(
        "no pipe of {size} in the table; known sizes are {known} in: give od, wall and coupling as numbers"
    )]
    UnknownSize {
        /// What was given.
        size: String,
        /// Sizes that are known.
        known: String,
    },
    /// Weight not in the table for this size.
    #[error(
        "no {size} in pipe of {weight} lb/ft in the table; known are {known}: give od, wall and coupling as numbers"
    )]
    UnknownWeight {
        /// Size.
        size: String,
        /// What was given.
        weight: String,
        /// Weights that are known.
        known: String,
    },
}

/// Finds a pipe by name. Accepted: `5-1/2`, `5 1/2` or `5.5`, with `in`, `inch` or `"`; the weight
/// with `lb/ft`, `lbf/ft`, `ppf` or `#`.
///
/// ```
/// use kerfwatch::model::tubular_table::lookup;
/// let pipe = lookup("5-1/2 in 17 lb/ft")?;
/// assert!((pipe.wall_m() - 7.72e-3).abs() < 5e-6);
/// assert!(lookup("5-1/2 in 18 lb/ft").unwrap_err().to_string().contains("15.5, 17, 20"));
/// # Ok::<(), kerfwatch::model::tubular_table::LookupError>(())
/// ```
///
/// # Errors
/// [`LookupError`].
pub fn lookup(text: &str) -> Result<&'static TubularRow, LookupError> {
    let not_understood = || LookupError::NotUnderstood {
        text: text.to_owned(),
    };
    let (size, weight) = size_and_weight(text).ok_or_else(not_understood)?;
    let of_size: Vec<&TubularRow> = ROWS
        .iter()
        .filter(|row| (row.od_in - size).abs() < 5e-4)
        .collect();
    let Some(first) = of_size.first() else {
        let mut known: Vec<&str> = ROWS.iter().map(|row| row.size).collect();
        known.dedup();
        return Err(LookupError::UnknownSize {
            size: format!("{size} in"),
            known: known.join(", "),
        });
    };
    let found = of_size
        .iter()
        .find(|row| (row.weight_lb_ft - weight).abs() < 5e-3);
    found.copied().ok_or_else(|| LookupError::UnknownWeight {
        size: first.size.to_owned(),
        weight: weight.to_string(),
        known: of_size
            .iter()
            .map(|row| row.weight_lb_ft.to_string())
            .collect::<Vec<_>>()
            .join(", "),
    })
}

/// Size in inches and weight in lb/ft.
fn size_and_weight(text: &str) -> Option<(f64, f64)> {
    let lower = text.trim().to_ascii_lowercase();
    let (size, weight) = ["inch", "in", "\""]
        .iter()
        .find_map(|unit| lower.split_once(unit))?;
    let weight = weight.trim_start_matches(['.', ',']).trim();
    let number = ["lb/ft", "lbf/ft", "lbs/ft", "ppf", "#"]
        .iter()
        .find_map(|unit| weight.strip_suffix(unit))?;
    let weight: f64 = number.trim().parse().ok()?;
    let size = inches(size.trim())?;
    (size.is_finite() && weight.is_finite()).then_some((size, weight))
}

/// `5-1/2`, `5 1/2`, `5.5`, `7`.
fn inches(text: &str) -> Option<f64> {
    let (whole, fraction) = match text.split_once(['-', ' ']) {
        Some((whole, fraction)) => (whole.trim().parse::<u32>().ok()?, fraction.trim()),
        None => return text.parse::<f64>().ok(),
    };
    let (top, bottom) = fraction.split_once('/')?;
    let (top, bottom) = (top.parse::<u32>().ok()?, bottom.parse::<u32>().ok()?);
    (bottom > 0 && top < bottom).then(|| f64::from(whole) + f64::from(top) / f64::from(bottom))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn millimetres(metres: f64, wanted: f64) {
        assert!(
            (metres * 1e3 - wanted).abs() < 6e-3,
            "{} not {wanted}",
            metres * 1e3
        );
    }

    // Sizes, walls and inside diameters of the published tables named in [`Source`].
    #[test]
    fn common_tubing_and_casing_in_millimetres() {
        let rows = [
            ("2-3/8 in 4.6 lb/ft", 60.325, 4.83, 50.67),
            ("2-7/8 in 6.4 lb/ft", 73.025, 5.51, 62.00),
            ("3-1/2 in 9.2 lb/ft", 88.90, 6.45, 76.00),
            ("4-1/2 in 12.6 lb/ft", 114.30, 6.88, 100.54),
            ("4-1/2 in 11.6 lb/ft", 114.30, 6.35, 101.60),
            ("5-1/2 in 17 lb/ft", 139.70, 7.72, 124.26),
            ("5-1/2 in 20 lb/ft", 139.70, 9.17, 121.36),
            ("7 in 23 lb/ft", 177.80, 8.05, 161.70),
            ("7 in 26 lb/ft", 177.80, 9.19, 159.42),
        ];
        for (name, od, wall, id) in rows {
            let pipe = lookup(name).unwrap();
            millimetres(pipe.od_m(), od);
            millimetres(pipe.wall_m(), wall);
            assert!((pipe.id_m() * 1e3 - id).abs() < 0.03, "{name}");
            assert_eq!(pipe.name(), name);
        }
    }

    // From memory of the standard, as noted in the reference figures.
    #[test]
    fn coupling_diameters_in_millimetres() {
        let rows = [
            ("2-3/8 in 4.6 lb/ft", 73.0),
            ("2-3/8 in 4.7 lb/ft", 77.8),
            ("2-7/8 in 6.4 lb/ft", 88.9),
            ("2-7/8 in 6.5 lb/ft", 93.2),
            ("3-1/2 in 9.2 lb/ft", 108.0),
            ("3-1/2 in 9.3 lb/ft", 114.3),
            ("4-1/2 in 12.6 lb/ft", 132.1),
            ("4-1/2 in 12.75 lb/ft", 141.3),
            ("5-1/2 in 17 lb/ft", 153.7),
            ("7 in 23 lb/ft", 194.5),
        ];
        for (name, wanted) in rows {
            let found = lookup(name).unwrap().coupling_od_m() * 1e3;
            assert!((found - wanted).abs() < 0.06, "{name}: {found}");
        }
    }

    // The name of a pipe is its weight with couplings and upsets, which add up to 6 %. Walls of one
    // size and kind lie at least 7 % apart, so a wall on the wrong row cannot pass.
    #[test]
    fn plain_end_weight_of_every_row_agrees_with_its_nominal_weight() {
        for row in ROWS {
            let ratio = row.weight_lb_ft / row.plain_end_weight_lb_ft();
            assert!((0.985..1.06).contains(&ratio), "{}: {ratio}", row.name());
            let neighbours = ROWS.iter().filter(|other| {
                other.od_in == row.od_in && other.end == row.end && other.wall_in != row.wall_in
            });
            for other in neighbours {
                let ratio = other.wall_in / row.wall_in;
                assert!(
                    !(0.93..1.08).contains(&ratio),
                    "{} {}",
                    row.name(),
                    other.name()
                );
            }
        }
    }

    #[test]
    fn every_row_is_found_by_its_name_and_is_sound() {
        for row in ROWS {
            assert_eq!(lookup(&row.name()), Ok(row));
            assert!(row.coupling_od_in > row.od_in && row.wall_in * 2.0 < row.od_in);
            assert!(row.coupling_length_in > 3.0 && row.coupling_length_in < 12.0);
            assert!(
                (inches(row.size).unwrap() - row.od_in).abs() < 1e-9,
                "{}",
                row.size
            );
        }
    }

    #[test]
    fn writings_of_the_trade_mean_the_same_pipe() {
        let wanted = lookup("5-1/2 in 17 lb/ft").unwrap();
        for text in [
            "5 1/2 in 17 lb/ft",
            "5.5 inch 17.0 lb/ft",
            "5-1/2\" 17#",
            " 5-1/2 IN 17 ppf ",
            "5-1/2in 17lb/ft",
        ] {
            assert_eq!(lookup(text), Ok(wanted), "{text}");
        }
    }

    #[test]
    fn unknown_pipes_are_answered_with_what_is_known() {
        let shown = |text: &str| lookup(text).unwrap_err().to_string();
        assert!(
            shown("5-1/2 in 18 lb/ft").contains("14, 15.5, 17, 20, 23"),
            "{}",
            shown("5-1/2 in 18 lb/ft")
        );
        assert!(shown("5-3/4 in 17 lb/ft").contains("2-3/8"));
        for bad in [
            "",
            "tubing",
            "5-1/2 in",
            "in lb/ft",
            "5-1/0 in 17 lb/ft",
            "5-3/2 in 17 lb/ft",
            "nan in nan lb/ft",
        ] {
            assert!(
                matches!(lookup(bad), Err(LookupError::NotUnderstood { .. })),
                "{bad}"
            );
        }
    }

    #[test]
    fn joint_ranges_do_not_overlap_and_tubing_has_its_own() {
        use LengthRange::{One, Three, Two};
        for end in [End::Casing, End::NonUpset, End::ExternalUpset] {
            let ranges = [One, Two, Three].map(|r| joint_length_m(end, r));
            assert!(
                ranges
                    .windows(2)
                    .all(|w| w[0].0 < w[0].1 && w[0].1 <= w[1].0)
            );
        }
        assert_eq!(joint_length_m(End::NonUpset, Two).0, 8.53);
        assert_eq!(joint_length_m(End::Casing, Two).0, 7.62);
    }
}
