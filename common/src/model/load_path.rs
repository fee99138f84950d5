//! Line tension from the force on a load cell that carries a sheave (hay pulley).
//!
//! *Input -> output*: force N or angle rad -> tension N, error per radian. *Formula*:
//! `T = F/(2 cos(a/2))`, `a` the angle between the two parts of line at the sheave (0: parallel, the cell reads
//! twice the line). *Assumptions*: equal tension on both sides. *Limits*: friction of the sheave adds 1 to 3 % with
//! the sign of movement (from memory) and looks like drag; at 180 degrees the cell reads nothing.
//! *Source*: plain statics.

/// Line tension over cell force for the angle between the two parts of line; `None` for an angle outside 0 to
/// below 180 degrees, at which no tension can be told.
///
/// ```
/// use kerfwatch::model::load_path::tension_per_force;
/// let ratio = tension_per_force(90f64.to_radians()).unwrap();
/// assert!((ratio - 0.70711).abs() < 5e-6);
/// assert_eq!(tension_per_force(std::f64::consts::PI), None);
/// ```
pub fn tension_per_force(angle_rad: f64) -> Option<f64> {
    (0.0..std::f64::consts::PI)
        .contains(&angle_rad)
        .then(|| 0.5 / (0.5 * angle_rad).cos())
}

/// Relative error of tension for an error of angle, 1/rad: `tan(a/2)/2`.
pub fn relative_error_per_rad(angle_rad: f64) -> f64 {
    0.5 * (0.5 * angle_rad).tan()
}

#[cfg(test)]
mod tests {
    use super::*;

    // Plain statics, computed outside this project's code.
    #[test]
    #[allow(clippy::approx_constant)] // printed digits of the table, not constants
    fn ratio_of_tension_to_cell_force_by_angle() {
        let rows = [
            (0.0, 2.0, 0.5),
            (30.0, 1.93185, 0.51764),
            (45.0, 1.84776, 0.54120),
            (60.0, 1.73205, 0.57735),
            (75.0, 1.58671, 0.63024),
            (90.0, 1.41421, 0.70711),
            (100.0, 1.28558, 0.77786),
            (120.0, 1.0, 1.0),
            (135.0, 0.76537, 1.30656),
            (150.0, 0.51764, 1.93185),
        ];
        for (degrees, force, tension) in rows {
            let found = tension_per_force(f64::to_radians(degrees)).unwrap();
            assert!((found - tension).abs() < 5.1e-6, "{degrees}: {found}");
            assert!((1.0 / found - force).abs() < 5.1e-6, "{degrees}");
        }
    }

    #[test]
    fn error_of_angle_in_percent_per_degree() {
        for (degrees, percent) in [(60.0, 0.504), (90.0, 0.873), (120.0, 1.511)] {
            let angle = f64::to_radians(degrees);
            let found = relative_error_per_rad(angle) * 1f64.to_radians() * 100.0;
            assert!((found - percent).abs() < 5.1e-4, "{degrees}: {found}");
            // The same by difference.
            let step = 1e-6;
            let slope =
                tension_per_force(angle + step).unwrap() / tension_per_force(angle).unwrap();
            assert!(((slope - 1.0) / step / relative_error_per_rad(angle) - 1.0).abs() < 1e-4);
        }
    }

    #[test]
    fn straight_line_over_the_sheave_and_nonsense_are_refused() {
        for angle in [std::f64::consts::PI, 4.0, -0.1, f64::NAN] {
            assert_eq!(tension_per_force(angle), None);
        }
    }
}
