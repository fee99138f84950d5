//! Wells for the tests of this module.

use super::draw::draw;
use super::survey::Survey;
use super::well::Well;

/// A drawn well, always the same: a line with waves, the law of indentation. What the power law needs is there too.
pub(super) fn well() -> Well {
    let mut well = draw(10).expect("seed 10 gives a well");
    well.metal.power_advance = 0.15;
    well
}

/// The same in a straight hole of this inclination, in degrees.
pub(super) fn straight(inclination: f64, mut well: Well) -> Well {
    let inclination = inclination.to_radians();
    well.hole.survey = Survey {
        depth: vec![0.0, 5000.0],
        inclination: vec![inclination; 2],
        azimuth: vec![0.0; 2],
    };
    well.hole.inclination_most = inclination;
    well.hole.inclination_interval = inclination;
    well
}
