//! Quoted quantities: `"2450 m"`, `"3-1/2 in"`, `"8.6 lb/gal"`, `"1.2 degF/100ft"` -> SI number.
//!
//! *Input -> output*: text and the dimension that is wanted -> SI value, or a plain sentence that
//! says what is wrong. *Units*: any product or quotient of the unit names below, with powers
//! (`m3`, `in2`) and numbers (`100ft`). *Limits*: the value is always finite; a comma is never a
//! decimal point; `lb` is a mass, except where a force or a pressure is wanted, as crews write it.
//! *Files*: `number.rs`, `unit.rs`, `dimension.rs`, as a quantity is read from left to right.

mod dimension;
mod number;
mod unit;

pub use dimension::{Dimension, fixed, significant};
pub(super) use number::split_number;
pub use unit::unit_factor;

/// Reads `text` as a quantity of the wanted dimension.
///
/// `Ok(si)` is finite. `Err` is a sentence part that fits behind "found".
/// Zero needs no unit: it is the same in all of them.
///
/// ```
/// use kerfwatch::job::{Dimension, parse_quantity};
/// let outside = parse_quantity("3-1/2 in", Dimension::Length).unwrap();
/// assert!((outside - 0.0889).abs() < 1e-12);
/// let wrong = parse_quantity("2450 kg", Dimension::Length).unwrap_err();
/// assert_eq!(wrong, "\"kg\", a unit of mass, where a length is wanted");
/// ```
pub fn parse_quantity(text: &str, want: Dimension) -> Result<f64, String> {
    let text = text.trim();
    let (number, unit) = split_number(text)?;
    let unit = unit.trim();
    if unit.is_empty() {
        if number == 0.0 {
            return Ok(0.0);
        }
        return Err(format!("\"{text}\" without a unit"));
    }
    let si = number * unit_factor(unit, want)?;
    if si.is_finite() {
        Ok(si)
    } else {
        Err(format!("\"{text}\", which is not a finite number"))
    }
}

#[cfg(test)]
mod tests;
