//! Quoted quantities: `"2450 m"`, `"3-1/2 in"`, `"8.6 lb/gal"`, `"1.2 degF/100ft"` -> SI number.
//!
//! *Input -> output*: text and the dimension that is wanted -> SI value, or a plain sentence that
//! says what is wrong. *Units*: any product or quotient of the unit names below, with powers
//! (`m3`, `in2`) and numbers (`100ft`). *Limits*: the value is always finite; a comma is never a
//! decimal point; `lb` is a mass, except where a force or a pressure is wanted, as crews write it.
//! *Source of factors*: exact definitions (NIST SP 811, appendix B); a test holds them to `uom`.

use crate::units::{
    GRAVITY, KILOGRAMS_PER_POUND, METRES_PER_FOOT, METRES_PER_INCH, NEWTONS_PER_LBF,
    PASCALS_PER_PSI,
};

/// What kind of quantity a key holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Dimension {
    /// m
    Length,
    /// N
    Force,
    /// kg
    Mass,
    /// kg/m3
    Density,
    /// Pa
    Pressure,
    /// rad
    Angle,
    /// m/s
    Speed,
    /// s
    Time,
    /// m3
    Volume,
    /// K/m
    TemperatureGradient,
    /// 1/K
    Expansion,
    /// 1/s
    Frequency,
}

use Dimension as D;

impl Dimension {
    /// Every dimension, for tests and for naming what a wrong unit measures.
    pub const ALL: [Dimension; 12] = [
        D::Length,
        D::Force,
        D::Mass,
        D::Density,
        D::Pressure,
        D::Angle,
        D::Speed,
        D::Time,
        D::Volume,
        D::TemperatureGradient,
        D::Expansion,
        D::Frequency,
    ];

    /// A plain word for messages.
    pub fn name(self) -> &'static str {
        match self {
            D::Length => "length",
            D::Force => "force",
            D::Mass => "mass",
            D::Density => "density",
            D::Pressure => "pressure",
            D::Angle => "angle",
            D::Speed => "speed",
            D::Time => "time",
            D::Volume => "volume",
            D::TemperatureGradient => "temperature gradient",
            D::Expansion => "thermal expansion",
            D::Frequency => "rate",
        }
    }

    /// The usual units, for messages; every one of them is accepted.
    pub fn units(self) -> &'static [&'static str] {
        match self {
            D::Length => &["m", "mm", "ft", "in"],
            D::Force => &["N", "kN", "lbf", "kgf"],
            D::Mass => &["kg", "lb"],
            D::Density => &["kg/m3", "g/cm3", "sg", "lb/gal", "lb/ft3"],
            D::Pressure => &["bar", "MPa", "GPa", "psi", "ksi"],
            D::Angle => &["deg", "rad"],
            D::Speed => &["m/s", "m/min", "ft/s", "ft/min"],
            D::Time => &["s", "ms", "min", "h"],
            D::Volume => &["L", "m3", "cm3", "gal", "in3"],
            D::TemperatureGradient => &["K/m", "degC/100m", "degF/100ft"],
            D::Expansion => &["1/K", "1/degF"],
            D::Frequency => &["Hz", "1/s"],
        }
    }

    /// Powers of (m, kg, s, K, rad).
    fn powers(self) -> [i32; 5] {
        match self {
            D::Length => [1, 0, 0, 0, 0],
            D::Force => [1, 1, -2, 0, 0],
            D::Mass => [0, 1, 0, 0, 0],
            D::Density => [-3, 1, 0, 0, 0],
            D::Pressure => [-1, 1, -2, 0, 0],
            D::Angle => [0, 0, 0, 0, 1],
            D::Speed => [1, 0, -1, 0, 0],
            D::Time => [0, 0, 1, 0, 0],
            D::Volume => [3, 0, 0, 0, 0],
            D::TemperatureGradient => [-1, 0, 0, 1, 0],
            D::Expansion => [0, 0, 0, -1, 0],
            D::Frequency => [0, 0, -1, 0, 0],
        }
    }

    fn of_powers(powers: [i32; 5]) -> Option<Dimension> {
        Self::ALL.into_iter().find(|d| d.powers() == powers)
    }

    /// `si` in a metric and a field unit, for people: `6.45 mm (0.254 in)`.
    pub fn show(self, si: f64) -> String {
        let (metric, field): ((f64, &str), Option<(f64, &str)>) = match self {
            D::Length if si.abs() < 1.0 => ((si * 1e3, "mm"), Some((si / METRES_PER_INCH, "in"))),
            D::Length => ((si, "m"), Some((si / METRES_PER_FOOT, "ft"))),
            D::Force => ((si, "N"), Some((si / NEWTONS_PER_LBF, "lbf"))),
            D::Mass => ((si, "kg"), Some((si / KILOGRAMS_PER_POUND, "lb"))),
            D::Density => ((si, "kg/m3"), Some((si / POUND_PER_GALLON, "lb/gal"))),
            D::Pressure if si.abs() >= 1e9 => {
                ((si / 1e9, "GPa"), Some((si / PASCALS_PER_PSI / 1e3, "ksi")))
            }
            D::Pressure => ((si / 1e6, "MPa"), Some((si / PASCALS_PER_PSI, "psi"))),
            D::Angle => ((si.to_degrees(), "deg"), None),
            D::Speed => ((si, "m/s"), Some((si / METRES_PER_FOOT * 60.0, "ft/min"))),
            D::Time => ((si, "s"), None),
            D::Volume => ((si * 1e3, "L"), Some((si / GALLON, "gal"))),
            D::TemperatureGradient => (
                (si, "K/m"),
                Some((si * METRES_PER_FOOT * 180.0, "degF/100ft")),
            ),
            D::Expansion => ((si, "1/K"), Some((si / 1.8, "1/degF"))),
            D::Frequency => ((si, "Hz"), None),
        };
        let number = |value: f64| {
            // A depth is told to the decimetre, however great.
            if self == D::Length && (1e3..1e6).contains(&value.abs()) {
                let text = format!("{value:.1}");
                return text.trim_end_matches('0').trim_end_matches('.').to_owned();
            }
            significant(value)
        };
        let mut text = format!("{} {}", number(metric.0), metric.1);
        if let Some((value, unit)) = field {
            text.push_str(&format!(" ({} {unit})", number(value)));
        }
        text
    }
}

/// A number with four significant figures, no needless zeros, no exponent in the usual range.
pub fn significant(value: f64) -> String {
    if value == 0.0 || !value.is_finite() {
        return format!("{value}");
    }
    let magnitude = value.abs().log10().floor() as i32;
    if !(-4..9).contains(&magnitude) {
        return format!("{value:.3e}");
    }
    let decimals = (3 - magnitude).max(0) as usize;
    let text = format!("{value:.decimals$}");
    if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        text
    }
}

const GALLON: f64 = 231.0 * METRES_PER_INCH * METRES_PER_INCH * METRES_PER_INCH;
const POUND_PER_GALLON: f64 = KILOGRAMS_PER_POUND / GALLON;
/// Fresh water at 4 degC, the reference of specific gravity here (common practice, no source).
const WATER: f64 = 1000.0;

type Unit = (f64, [i32; 5]);

const M: [i32; 5] = [1, 0, 0, 0, 0];
const KG: [i32; 5] = [0, 1, 0, 0, 0];
const S: [i32; 5] = [0, 0, 1, 0, 0];
const K: [i32; 5] = [0, 0, 0, 1, 0];
const RAD: [i32; 5] = [0, 0, 0, 0, 1];
const N: [i32; 5] = [1, 1, -2, 0, 0];
const PA: [i32; 5] = [-1, 1, -2, 0, 0];
const M3: [i32; 5] = [3, 0, 0, 0, 0];
const RHO: [i32; 5] = [-3, 1, 0, 0, 0];

/// Unit names; the first hit by exact case wins, then without regard to case.
const NAMES: &[(&[&str], Unit)] = &[
    (
        &["m", "metre", "metres", "meter", "meters", "mMD", "mKB"],
        (1.0, M),
    ),
    (&["km"], (1e3, M)),
    (&["cm"], (1e-2, M)),
    (
        &[
            "mm",
            "millimetre",
            "millimetres",
            "millimeter",
            "millimeters",
        ],
        (1e-3, M),
    ),
    (&["um", "micron", "microns"], (1e-6, M)),
    (&["ft", "foot", "feet", "'"], (METRES_PER_FOOT, M)),
    (&["in", "inch", "inches", "\""], (METRES_PER_INCH, M)),
    (&["thou", "mil"], (METRES_PER_INCH * 1e-3, M)),
    (&["yd"], (METRES_PER_FOOT * 3.0, M)),
    (&["kg", "kilogram", "kilograms", "kgs"], (1.0, KG)),
    (&["g", "gram", "grams"], (1e-3, KG)),
    (&["t", "tonne", "tonnes"], (1e3, KG)),
    (
        &["lb", "lbs", "lbm", "pound", "pounds"],
        (KILOGRAMS_PER_POUND, KG),
    ),
    (&["s", "sec", "second", "seconds"], (1.0, S)),
    (&["ms", "millisecond", "milliseconds"], (1e-3, S)),
    (&["min", "minute", "minutes"], (60.0, S)),
    (&["h", "hr", "hour", "hours"], (3600.0, S)),
    (&["d", "day", "days"], (86_400.0, S)),
    (&["Hz", "hz", "hertz"], (1.0, [0, 0, -1, 0, 0])),
    (&["kHz"], (1e3, [0, 0, -1, 0, 0])),
    (&["K", "degC", "C", "kelvin", "celsius", "degK"], (1.0, K)),
    (&["degF", "F", "fahrenheit", "degR"], (1.0 / 1.8, K)),
    (&["rad", "radian", "radians"], (1.0, RAD)),
    (
        &["deg", "degree", "degrees"],
        (std::f64::consts::PI / 180.0, RAD),
    ),
    (&["mrad"], (1e-3, RAD)),
    (&["N", "newton", "newtons"], (1.0, N)),
    (&["kN"], (1e3, N)),
    (&["daN"], (10.0, N)),
    (&["MN"], (1e6, N)),
    (&["lbf", "lbsf", "poundforce"], (NEWTONS_PER_LBF, N)),
    (
        &["klbf", "klbs", "klb", "kip", "kips"],
        (NEWTONS_PER_LBF * 1e3, N),
    ),
    (&["kgf", "kgforce"], (GRAVITY, N)),
    (&["tf", "tonf_metric"], (GRAVITY * 1e3, N)),
    (&["Pa", "pascal", "pascals"], (1.0, PA)),
    (&["kPa"], (1e3, PA)),
    (&["MPa"], (1e6, PA)),
    (&["GPa"], (1e9, PA)),
    (&["bar", "barg", "bars"], (1e5, PA)),
    (&["mbar"], (1e2, PA)),
    (&["kbar"], (1e8, PA)),
    (&["atm"], (101_325.0, PA)),
    (&["psi", "psig"], (PASCALS_PER_PSI, PA)),
    (&["ksi", "kpsi"], (PASCALS_PER_PSI * 1e3, PA)),
    (&["Mpsi", "Msi"], (PASCALS_PER_PSI * 1e6, PA)),
    (
        &["L", "l", "litre", "litres", "liter", "liters"],
        (1e-3, M3),
    ),
    (&["mL", "ml", "cc", "ccm"], (1e-6, M3)),
    (
        &["gal", "gallon", "gallons", "galUS", "USgal"],
        (GALLON, M3),
    ),
    (&["bbl", "barrel", "barrels"], (GALLON * 42.0, M3)),
    (&["sg", "SG", "s.g."], (WATER, RHO)),
    (&["ppg"], (POUND_PER_GALLON, RHO)),
    (
        &["pcf"],
        (
            KILOGRAMS_PER_POUND / (METRES_PER_FOOT * METRES_PER_FOOT * METRES_PER_FOOT),
            RHO,
        ),
    ),
    (&["fpm"], (METRES_PER_FOOT / 60.0, [1, 0, -1, 0, 0])),
    (&["ppm", "microstrain"], (1e-6, [0; 5])),
];

/// Reads `text` as a quantity of the wanted dimension.
///
/// `Ok(si)` is finite. `Err` is a sentence part that fits behind "found".
/// Zero needs no unit: it is the same in all of them.
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

/// SI value of one `unit` of the wanted dimension, e.g. `"lbf"` -> 4.448...
pub fn unit_factor(unit: &str, want: Dimension) -> Result<f64, String> {
    if unit.len() > 64 {
        return Err("a unit that is longer than any known one".to_owned());
    }
    // Crews write pounds for tension and for pounds per square inch.
    let pound_is_force = matches!(want, D::Force | D::Pressure);
    let (factor, powers) = parse_unit(unit, pound_is_force)?;
    if powers == want.powers() {
        return Ok(factor);
    }
    // A pressure gradient (0.433 psi/ft) is how some write a fluid density.
    if want == D::Density && powers == [-2, 1, -2, 0, 0] {
        return Ok(factor / GRAVITY);
    }
    let measures = Dimension::of_powers(powers).map_or("something else", Dimension::name);
    Err(format!(
        "\"{unit}\", a unit of {measures}, where a {} is wanted",
        want.name()
    ))
}

fn parse_unit(unit: &str, pound_is_force: bool) -> Result<Unit, String> {
    let clean: String = unit
        .replace(" per ", "/")
        .chars()
        .filter(|c| !c.is_whitespace() && *c != '^')
        .flat_map(|c| -> Vec<char> {
            match c {
                '°' | 'º' => vec!['d', 'e', 'g'],
                'µ' | 'μ' => vec!['u'],
                '²' => vec!['2'],
                '³' => vec!['3'],
                '·' | '×' => vec!['*'],
                '−' => vec!['-'],
                other => vec![other],
            }
        })
        .collect();
    let clean = clean.replace("degdeg", "deg");
    if let Some(inverse) = clean.strip_suffix("-1") {
        // K-1 is 1/K.
        let (factor, powers) = parse_unit_clean(inverse, pound_is_force, unit)?;
        return Ok((1.0 / factor, powers.map(|p| -p)));
    }
    parse_unit_clean(&clean, pound_is_force, unit)
}

fn parse_unit_clean(clean: &str, pound_is_force: bool, as_written: &str) -> Result<Unit, String> {
    let mut factor = 1.0;
    let mut powers = [0i32; 5];
    for (position, part) in clean.split('/').enumerate() {
        let sign = if position == 0 { 1 } else { -1 };
        if position == 0 && part.is_empty() {
            continue; // "/K"
        }
        for term in part.split('*') {
            let (term_factor, term_powers) = parse_term(term, pound_is_force)
                .ok_or_else(|| format!("the unit \"{as_written}\", which is not known"))?;
            factor *= f64::powi(term_factor, sign);
            for (sum, power) in powers.iter_mut().zip(term_powers) {
                *sum += sign * power;
            }
        }
    }
    Ok((factor, powers))
}

/// `100ft`, `in3`, `degF`, `1`.
fn parse_term(term: &str, pound_is_force: bool) -> Option<Unit> {
    let digits = term.bytes().take_while(u8::is_ascii_digit).count();
    let (count, name) = term.split_at(digits);
    let count = if count.is_empty() {
        1.0
    } else {
        count.parse::<f64>().ok().filter(|c| *c > 0.0 && *c < 1e9)?
    };
    if name.is_empty() {
        return (digits > 0).then_some((count, [0; 5]));
    }
    if let Some((factor, powers)) = named(name, pound_is_force) {
        return Some((count * factor, powers));
    }
    let (base, power) = match name.as_bytes().last() {
        Some(b'2') => (&name[..name.len() - 1], 2),
        Some(b'3') => (&name[..name.len() - 1], 3),
        _ => match (name.strip_prefix("sq"), name.strip_prefix("cu")) {
            (Some(base), _) => (base, 2),
            (_, Some(base)) => (base, 3),
            _ => return None,
        },
    };
    let base = base.trim_start_matches('.');
    let (factor, powers) = named(base, pound_is_force)?;
    Some((count * factor.powi(power), powers.map(|p| p * power)))
}

fn named(name: &str, pound_is_force: bool) -> Option<Unit> {
    let hit = NAMES
        .iter()
        .find(|(names, _)| names.contains(&name))
        .or_else(|| {
            NAMES
                .iter()
                .find(|(names, _)| names.iter().any(|n| n.eq_ignore_ascii_case(name)))
        })
        .map(|(_, unit)| *unit)?;
    if pound_is_force && hit == (KILOGRAMS_PER_POUND, KG) {
        return Some((NEWTONS_PER_LBF, N));
    }
    Some(hit)
}

/// Splits `3-1/2 in` into 3.5 and ` in`. The number is finite.
pub(super) fn split_number(text: &str) -> Result<(f64, &str), String> {
    let shown: String = text.chars().take(40).collect();
    let no_number = || format!("\"{shown}\", which does not start with a number");
    let (negative, body) = match text.chars().next() {
        Some('+') => (false, &text[1..]),
        Some(c @ ('-' | '−')) => (true, &text[c.len_utf8()..]),
        Some(_) => (false, text),
        None => return Err("an empty text".to_owned()),
    };
    let length = number_length(body);
    if length == 0 {
        return Err(no_number());
    }
    let (digits, mut rest) = body.split_at(length);
    if rest.starts_with(',') {
        return Err(format!(
            "\"{shown}\" with a comma (write a point for decimals and nothing for thousands)"
        ));
    }
    let mut value: f64 = digits.replace('_', "").parse().map_err(|_| no_number())?;
    if digits.bytes().all(|b| b.is_ascii_digit()) {
        if let Some((fraction, after)) = leading_fraction(rest, &['-', ' ']) {
            value += fraction;
            rest = after;
        } else if let Some(after) = rest.strip_prefix('/') {
            // "1/2 in", with no whole part.
            let below = after.bytes().take_while(u8::is_ascii_digit).count();
            if let Ok(divisor) = after[..below].parse::<f64>()
                && divisor > 0.0
            {
                value /= divisor;
                rest = &after[below..];
            }
        }
    }
    if !value.is_finite() {
        return Err(format!("\"{shown}\", which is not a finite number"));
    }
    Ok((if negative { -value } else { value }, rest))
}

/// `-1/2...` or ` 1/2...` after a whole number.
fn leading_fraction<'t>(text: &'t str, separators: &[char]) -> Option<(f64, &'t str)> {
    let text = text.strip_prefix(separators)?.trim_start_matches(' ');
    let above = text.bytes().take_while(u8::is_ascii_digit).count();
    let after = text.get(above..)?.strip_prefix('/')?;
    let below = after.bytes().take_while(u8::is_ascii_digit).count();
    let numerator: f64 = text.get(..above)?.parse().ok()?;
    let divisor: f64 = after.get(..below)?.parse().ok()?;
    (divisor > 0.0 && numerator < divisor).then(|| (numerator / divisor, &after[below..]))
}

/// Bytes of a leading decimal number (no sign): digits, one point, an exponent.
fn number_length(text: &str) -> usize {
    let bytes = text.as_bytes();
    let run = |from: usize| {
        bytes[from..]
            .iter()
            .take_while(|b| b.is_ascii_digit() || **b == b'_')
            .count()
    };
    let whole = run(0);
    let mut length = whole;
    let mut fraction = 0;
    if bytes.get(length) == Some(&b'.') {
        fraction = run(length + 1);
        length += 1 + fraction;
    }
    if whole + fraction == 0 {
        return 0;
    }
    if matches!(bytes.get(length), Some(b'e' | b'E')) {
        let sign = usize::from(matches!(bytes.get(length + 1), Some(b'+' | b'-')));
        if bytes.len() > length + 1 + sign {
            let exponent = run(length + 1 + sign);
            if exponent > 0 {
                length += 1 + sign + exponent;
            }
        }
    }
    length
}

#[cfg(test)]
mod tests {
    use super::*;

    fn near(text: &str, want: Dimension, si: f64) {
        let got = parse_quantity(text, want).unwrap_or_else(|e| panic!("{text}: {e}"));
        assert!(
            (got - si).abs() <= 1e-12 * si.abs(),
            "{text}: {got} is not {si}"
        );
    }

    #[test]
    fn the_usual_spellings_of_each_quantity_are_understood() {
        near("2450 m", D::Length, 2450.0);
        near("2450m", D::Length, 2450.0);
        near("2_450 m", D::Length, 2450.0);
        near("8038 ft", D::Length, 8038.0 * 0.3048);
        near("8038 FT", D::Length, 8038.0 * 0.3048);
        near("3.5 in", D::Length, 0.0889);
        near("3-1/2 in", D::Length, 0.0889);
        near("3 1/2 in", D::Length, 0.0889);
        near("1/2 in", D::Length, 0.0127);
        near("3.5\"", D::Length, 0.0889);
        near(".108 in", D::Length, 0.002_743_2);
        near("-5 m", D::Length, -5.0);
        near("1250 lbf", D::Force, 1250.0 * NEWTONS_PER_LBF);
        near("1250 lb", D::Force, 1250.0 * NEWTONS_PER_LBF);
        near("1.25e3 lbf", D::Force, 1250.0 * NEWTONS_PER_LBF);
        near("9.4 kN", D::Force, 9400.0);
        near("100 kgf", D::Force, 980.665);
        near("1.2 GPa", D::Pressure, 1.2e9);
        near("80 ksi", D::Pressure, 80e3 * PASCALS_PER_PSI);
        near("80000 psi", D::Pressure, 80e3 * PASCALS_PER_PSI);
        near("552 N/mm2", D::Pressure, 552e6);
        near("100 lb/in2", D::Pressure, 100.0 * PASCALS_PER_PSI);
        near("10 bar", D::Pressure, 1e6);
        near("8.6 lb/gal", D::Density, 8.6 * POUND_PER_GALLON);
        near("8.6 ppg", D::Density, 8.6 * POUND_PER_GALLON);
        near("1.03 sg", D::Density, 1030.0);
        near("1.03 SG", D::Density, 1030.0);
        near("1000 kg/m3", D::Density, 1000.0);
        near("1000 kg/m^3", D::Density, 1000.0);
        near("1000 kg/m³", D::Density, 1000.0);
        near("7.85 g/cm3", D::Density, 7850.0);
        near("45 deg", D::Angle, std::f64::consts::FRAC_PI_4);
        near("45°", D::Angle, std::f64::consts::FRAC_PI_4);
        near("0.03 K/m", D::TemperatureGradient, 0.03);
        near("3 °C/100 m", D::TemperatureGradient, 0.03);
        near("30 degC/km", D::TemperatureGradient, 0.03);
        near("1.8 degF/100ft", D::TemperatureGradient, 1.0 / 30.48);
        near("11.7e-6 1/K", D::Expansion, 11.7e-6);
        near("11.7e-6 K^-1", D::Expansion, 11.7e-6);
        near("11.7 ppm/K", D::Expansion, 11.7e-6);
        near("6.5e-6 1/degF", D::Expansion, 11.7e-6);
        near("2 s", D::Time, 2.0);
        near("250 ms", D::Time, 0.25);
        near("1 L", D::Volume, 1e-3);
        near("1 cu.ft", D::Volume, 0.3048f64.powi(3));
        near("231 in3", D::Volume, GALLON);
        near("0.5 m/s", D::Speed, 0.5);
        near("100 ft/min", D::Speed, 100.0 * 0.3048 / 60.0);
        near("50 Hz", D::Frequency, 50.0);
        near("68 kg", D::Mass, 68.0);
        near("150 lb", D::Mass, 150.0 * KILOGRAMS_PER_POUND);
        near("0", D::Force, 0.0);
    }

    #[test]
    fn a_pressure_gradient_is_understood_as_a_density() {
        let density = parse_quantity("0.433 psi/ft", D::Density).expect("psi/ft");
        assert!((density - 998.8).abs() < 0.2, "{density}");
    }

    #[test]
    fn every_unit_a_message_offers_is_accepted() {
        for dimension in Dimension::ALL {
            for unit in dimension.units() {
                assert!(
                    unit_factor(unit, dimension).is_ok(),
                    "{unit} as {}",
                    dimension.name()
                );
            }
        }
    }

    #[test]
    fn wrong_or_missing_units_are_named() {
        let error = parse_quantity("2450 kg", D::Length).expect_err("mass is no length");
        assert!(
            error.contains("unit of mass") && error.contains("length is wanted"),
            "{error}"
        );
        for (text, part) in [
            ("2450", "without a unit"),
            ("2,450 m", "comma"),
            ("m", "does not start with a number"),
            ("", "empty"),
            ("1e999 m", "not a finite number"),
            ("nan m", "does not start with a number"),
            ("5 furlong", "not known"),
            ("5 m/", "not known"),
            ("5 m/0s", "not known"),
        ] {
            let error = parse_quantity(text, D::Length).expect_err(text);
            assert!(error.contains(part), "{text}: {error}");
        }
    }

    #[test]
    fn factors_agree_with_the_uom_crate() {
        use uom::si::f64::{Force, Length, Mass, MassDensity, Pressure, Velocity, Volume};
        use uom::si::{force, length, mass, mass_density, pressure, velocity, volume};
        let near = |ours: f64, theirs: f64| {
            assert!((ours / theirs - 1.0).abs() < 1e-6, "{ours} {theirs}");
        };
        let of = |unit: &str, want| unit_factor(unit, want).expect(unit);
        near(of("ft", D::Length), Length::new::<length::foot>(1.0).value);
        near(of("in", D::Length), Length::new::<length::inch>(1.0).value);
        near(
            of("lbf", D::Force),
            Force::new::<force::pound_force>(1.0).value,
        );
        near(
            of("kgf", D::Force),
            Force::new::<force::kilogram_force>(1.0).value,
        );
        near(of("lb", D::Mass), Mass::new::<mass::pound>(1.0).value);
        near(
            of("psi", D::Pressure),
            Pressure::new::<pressure::psi>(1.0).value,
        );
        near(
            of("bar", D::Pressure),
            Pressure::new::<pressure::bar>(1.0).value,
        );
        near(
            of("gal", D::Volume),
            Volume::new::<volume::gallon>(1.0).value,
        );
        near(
            of("lb/ft3", D::Density),
            MassDensity::new::<mass_density::pound_per_cubic_foot>(1.0).value,
        );
        near(
            of("ft/min", D::Speed),
            Velocity::new::<velocity::foot_per_minute>(1.0).value,
        );
    }

    #[test]
    fn values_are_shown_in_both_unit_systems() {
        assert_eq!(D::Length.show(0.00645), "6.45 mm (0.2539 in)");
        assert_eq!(D::Force.show(5000.0), "5000 N (1124 lbf)");
        assert_eq!(D::Length.show(1992.4), "1992.4 m (6536.7 ft)");
        assert_eq!(D::Angle.show(1.0), "57.3 deg");
        assert_eq!(significant(0.0), "0");
        assert_eq!(significant(1.0e-5), "1.000e-5");
    }
}
