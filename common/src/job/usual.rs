//! How a quantity of a key is usually written: by the sample job. For remedies, which people copy.
//!
//! A number that was written without its unit is repeated in a remedy only where a unit makes it about as great as the
//! sample's: `wall = "5.51 m"` would be taken for right.

use super::print_default_job;
use super::quantity::{Dimension, parse_quantity, split_number, unit_factor};

/// A number may be so many times the sample's or a part of it, in the usual unit,
const ALIKE: f64 = 10.0;
/// and in another one, which would be a guess at what was meant.
const MUCH_ALIKE: f64 = 3.0;
/// Stands where no number is known.
const ANY: &str = "...";

/// What the sample job has for a key.
struct Sampled {
    /// One for each place where it stands.
    si: Vec<f64>,
    unit: &'static str,
    dimension: Dimension,
}

/// `number` of a key with the unit that is meant, most likely: `5.51 mm`; `... mm` where it can hardly be that. `None`:
/// the sample job has no quantity there. `section` may be numbered.
pub fn in_usual_unit(section: &str, key: &str, number: &str) -> Option<String> {
    let sampled = sampled(section, key)?;
    let digits = number_of(number);
    let value = split_number(digits).map(|(value, _)| value).ok();
    let like = |unit: &str, times: f64| {
        let factor = unit_factor(unit, sampled.dimension).ok()?;
        let value = value? * factor;
        let alike = |si: &f64| match value / si {
            part if part.is_finite() => part >= 1.0 / times && part <= times,
            // Of a zero nothing can be said.
            _ => true,
        };
        (sampled.si.iter().any(alike)).then(|| format!("{digits} {unit}"))
    };
    let others = sampled.dimension.units().iter();
    let written = like(sampled.unit, ALIKE)
        .or_else(|| others.clone().find_map(|unit| like(unit, MUCH_ALIKE)));
    Some(written.unwrap_or_else(|| format!("{ANY} {}", sampled.unit)))
}

/// `value` as it is where it is a quantity that the key may have, else with the unit that is meant, most likely.
pub fn with_usual_unit(section: &str, key: &str, value: &str) -> String {
    let fits = |s: Sampled| parse_quantity(value, s.dimension).is_ok();
    match sampled(section, key).is_none_or(fits) {
        true => value.to_owned(),
        false => in_usual_unit(section, key, value).unwrap_or_else(|| value.to_owned()),
    }
}

/// The number at the start of a text as it is written; the whole of it where there is none.
fn number_of(text: &str) -> &str {
    let text = text.trim().trim_matches('"');
    split_number(text).map_or(text, |(_, rest)| text[..text.len() - rest.len()].trim_end())
}

/// Keys that may be left out stand in the sample too, as comments.
fn sampled(section: &str, key: &str) -> Option<Sampled> {
    let section = section.trim_end_matches(|c: char| c.is_ascii_digit() || matches!(c, ' ' | '.'));
    let mut here = "";
    let mut found: Option<Sampled> = None;
    for line in print_default_job().lines() {
        let line = line.trim_start_matches('#');
        if let Some(name) = line.trim_start_matches('[').split(']').next()
            && line.starts_with('[')
        {
            here = name;
            continue;
        }
        let Some((name, value)) = line.split_once('=') else {
            continue;
        };
        if here != section || name.trim() != key {
            continue;
        }
        let text = value.trim().strip_prefix('"')?.split('"').next()?;
        let (_, unit) = split_number(text).ok()?;
        let measures = |d: &Dimension| unit_factor(unit.trim(), *d).is_ok();
        let dimension = Dimension::ALL.into_iter().find(measures)?;
        let si = parse_quantity(text, dimension).ok()?;
        match &mut found {
            Some(sampled) => sampled.si.push(si),
            None => {
                found = Some(Sampled {
                    si: vec![si],
                    unit: unit.trim(),
                    dimension,
                });
            }
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    fn usual(section: &str, key: &str, number: &str) -> String {
        in_usual_unit(section, key, number).unwrap_or_default()
    }

    #[test]
    fn a_number_gets_the_unit_usual_for_its_key() {
        assert_eq!(usual("tubular", "wall", "5.51"), "5.51 mm");
        assert_eq!(usual("tubular", "wall", "5.51 N"), "5.51 mm");
        assert_eq!(usual("tubular", "od", "114.3"), "114.3 mm");
        assert_eq!(usual("cutter", "radius", "10"), "10 mm");
        assert_eq!(usual("cutter", "contact_pressure", "1.1"), "1.1 GPa");
        assert_eq!(usual("job", "interval_top", "1890"), "1890 m");
        assert_eq!(usual("joint 3", "coupling", "1896.63"), "1896.63 m");
        assert_eq!(usual("line.sheave 2", "diameter", "20"), "20 in");
        assert_eq!(usual("line.sheave 2", "path", "16"), "16 m");
        assert_eq!(usual("survey 2", "md", "700"), "700 m");
        assert_eq!(usual("tubular", "coupling_length", "0.2"), "0.2 m");
    }

    #[test]
    fn a_number_that_can_hardly_be_in_the_usual_unit_gets_another_or_is_not_repeated() {
        assert_eq!(usual("tubular", "wall", "0.217"), "0.217 in");
        assert_eq!(usual("tubular", "coupling_length", "156"), "156 mm");
        assert_eq!(usual("tubular", "wall", "5510"), "... mm");
        assert_eq!(usual("tubular", "wall", "-5.51"), "... mm");
        assert_eq!(usual("tubular", "wall", "thick"), "... mm");
    }

    #[test]
    fn what_is_no_quantity_or_has_a_unit_stays_as_it_is() {
        assert_eq!(in_usual_unit("cutter", "wheels", "3"), None);
        assert_eq!(with_usual_unit("cutter", "wheels", "3"), "3");
        assert_eq!(with_usual_unit("tubular", "wall", "0.25 in"), "0.25 in");
        assert_eq!(with_usual_unit("tubular", "wall", "3"), "3 mm");
        assert_eq!(with_usual_unit("tubular", "wall", "5.51 N"), "5.51 mm");
    }
}
