//! Names of units and what they are worth: any product or quotient of them, with powers and numbers.
//!
//! *Source of factors*: exact definitions (NIST SP 811, appendix B); a test holds them to `uom`.

use super::Dimension;
use super::Dimension as D;
use crate::units::{
    GRAVITY, KILOGRAMS_PER_POUND, METRES_PER_FOOT, METRES_PER_INCH, NEWTONS_PER_LBF,
    PASCALS_PER_PSI,
};

pub(super) const GALLON: f64 = 231.0 * METRES_PER_INCH * METRES_PER_INCH * METRES_PER_INCH;
pub(super) const POUND_PER_GALLON: f64 = KILOGRAMS_PER_POUND / GALLON;
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
