//! SI numbers as people read them, metric or field. Only for text and pages: files keep SI.

pub use crate::args::Units;
use kerfwatch::job::{Display, fixed};
use kerfwatch::units::{METRES_PER_FOOT, METRES_PER_INCH, NEWTONS_PER_LBF, PASCALS_PER_PSI};

impl From<Display> for Units {
    fn from(display: Display) -> Self {
        match display {
            Display::Metric => Self::Metric,
            Display::Field => Self::Field,
        }
    }
}

/// One kind of quantity in a unit system: factor from SI, unit sign, decimals worth showing.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scale {
    /// Multiply the SI number by this.
    pub factor: f64,
    /// Sign of the unit.
    pub unit: &'static str,
    /// Decimals worth showing.
    pub decimals: usize,
}

impl Scale {
    /// The number alone.
    pub fn bare(self, si: f64) -> String {
        let text = fixed(si * self.factor, self.decimals);
        // A rounded small negative number is plain zero to a reader.
        match text.strip_prefix('-') {
            Some(digits) if digits.bytes().all(|b| matches!(b, b'0' | b'.')) => digits.to_owned(),
            _ => text,
        }
    }

    /// The number with its unit.
    pub fn show(self, si: f64) -> String {
        format!("{} {}", self.bare(si), self.unit)
    }
}

impl Units {
    fn pick(self, metric: (f64, &'static str, usize), field: (f64, &'static str, usize)) -> Scale {
        let (factor, unit, decimals) = match self {
            Self::Metric => metric,
            Self::Field => field,
        };
        Scale {
            factor,
            unit,
            decimals,
        }
    }

    /// Depths and lengths of line, from m.
    pub fn depth(self) -> Scale {
        self.pick((1.0, "m", 1), (1.0 / METRES_PER_FOOT, "ft", 1))
    }

    /// Depths where a bin matters, from m.
    pub fn fine_depth(self) -> Scale {
        self.pick((1.0, "m", 2), (1.0 / METRES_PER_FOOT, "ft", 2))
    }

    /// Forces, from N.
    pub fn force(self) -> Scale {
        self.pick((1.0, "N", 0), (1.0 / NEWTONS_PER_LBF, "lbf", 0))
    }

    /// Groove and wall, from mm.
    pub fn groove(self) -> Scale {
        self.pick((1.0, "mm", 2), (1e-3 / METRES_PER_INCH, "in", 3))
    }

    /// Line speed, from m/s.
    pub fn speed(self) -> Scale {
        self.pick((60.0, "m/min", 1), (60.0 / METRES_PER_FOOT, "ft/min", 0))
    }

    /// Work, from J.
    pub fn work(self) -> Scale {
        self.pick(
            (1e-3, "kJ", 2),
            (1.0 / (NEWTONS_PER_LBF * METRES_PER_FOOT), "ft lbf", 0),
        )
    }

    /// Stresses, from Pa.
    pub fn stress(self) -> Scale {
        self.pick((1e-6, "MPa", 0), (1e-3 / PASCALS_PER_PSI, "ksi", 0))
    }

    /// Pressure of a wheel on the pipe, from Pa.
    pub fn contact_pressure(self) -> Scale {
        self.pick((1e-9, "GPa", 2), (1e-3 / PASCALS_PER_PSI, "ksi", 0))
    }

    /// Work along a groove, from J/m.
    pub fn work_along(self) -> Scale {
        self.pick(
            (1.0, "J per metre", 0),
            (1.0 / NEWTONS_PER_LBF, "ft lbf per foot", 0),
        )
    }

    /// Force for a unit of what a load cell says, from N.
    pub fn cell_span(self) -> Scale {
        self.pick(
            (1.0, "N per unit", 6),
            (1.0 / NEWTONS_PER_LBF, "lbf per unit", 6),
        )
    }

    /// Length for a unit of what a depth counter says, from m.
    pub fn counter_step(self) -> Scale {
        self.pick(
            (1.0, "m per unit", 8),
            (1.0 / METRES_PER_FOOT, "ft per unit", 8),
        )
    }

    /// Wire and sheave diameters, from m.
    pub fn diameter(self) -> Scale {
        self.pick((1e3, "mm", 2), (1.0 / METRES_PER_INCH, "in", 3))
    }
}

/// "once", "3 times"
pub fn times(n: impl std::fmt::Display) -> String {
    match n.to_string().as_str() {
        "1" => "once".to_owned(),
        n => format!("{n} times"),
    }
}

/// Hours, minutes and seconds.
pub fn duration(seconds: f64) -> String {
    if !seconds.is_finite() {
        return "unknown".to_owned();
    }
    let sign = if seconds < 0.0 { "-" } else { "" };
    let whole = seconds.abs().round() as u64;
    let (h, m, s) = (whole / 3600, whole / 60 % 60, whole % 60);
    if h > 0 {
        format!("{sign}{h} h {m:02} min")
    } else if m > 0 {
        format!("{sign}{m} min {s:02} s")
    } else {
        format!("{sign}{:.1} s", seconds.abs())
    }
}

/// Time of a run as a clock shows it: `1:02:03`.
pub fn clock(seconds: f64) -> String {
    let sign = if seconds < 0.0 { "-" } else { "" };
    let whole = seconds.abs().round() as u64;
    format!(
        "{sign}{}:{:02}:{:02}",
        whole / 3600,
        whole / 60 % 60,
        whole % 60
    )
}

/// Thousands set apart by a thin blank, for counts.
pub fn count(n: u64) -> String {
    let digits = n.to_string();
    let mut text = String::new();
    for (i, digit) in digits.chars().enumerate() {
        if i > 0 && (digits.len() - i).is_multiple_of(3) {
            text.push(' ');
        }
        text.push(digit);
    }
    text
}

/// A count with its noun.
pub fn counted(n: usize, one: &str, many: &str) -> String {
    format!("{n} {}", if n == 1 { one } else { many })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn field_units_are_feet_pounds_force_and_inches() {
        assert_eq!(Units::Field.depth().show(304.8), "1000.0 ft");
        assert_eq!(Units::Field.force().show(4_448.221_615), "1000 lbf");
        assert_eq!(Units::Field.groove().show(25.4), "1.000 in");
        assert_eq!(Units::Metric.groove().show(2.345), "2.35 mm");
        assert_eq!(Units::Field.work().show(1_355.817_948_33), "1000 ft lbf");
        // 160 ksi; a joule per metre is a newton, a foot pound-force per foot a pound-force.
        assert_eq!(Units::Field.contact_pressure().show(1.103_161e9), "160 ksi");
        assert_eq!(Units::Metric.contact_pressure().show(1.1e9), "1.10 GPa");
        assert_eq!(
            Units::Field.work_along().show(444.822_161_5),
            "100 ft lbf per foot"
        );
        assert_eq!(
            Units::Field.cell_span().show(4.448_221_615),
            "1.000000 lbf per unit"
        );
        assert_eq!(
            Units::Field.counter_step().show(0.3048),
            "1.00000000 ft per unit"
        );
    }

    #[test]
    fn small_negatives_do_not_show_as_minus_zero() {
        assert_eq!(Units::Metric.force().bare(-0.3), "0");
        assert_eq!(Units::Metric.force().bare(-1.3), "-1");
    }

    #[test]
    fn a_reading_that_is_no_reading_does_not_fill_the_screen() {
        assert_eq!(Units::Metric.force().show(1e300), "1.0e300 N");
        assert_eq!(Units::Field.force().show(-4e10), "-9.0e9 lbf");
    }

    #[test]
    fn durations_and_counts_read_well() {
        assert_eq!(duration(12.34), "12.3 s");
        assert_eq!(duration(754.0), "12 min 34 s");
        assert_eq!(duration(7_540.0), "2 h 05 min");
        assert_eq!(clock(3723.4), "1:02:03");
        assert_eq!(count(1_234_567), "1 234 567");
    }
}
