use super::*;

fn degrees(stations: &[(f64, f64, f64)]) -> WellPath {
    WellPath::new(
        stations
            .iter()
            .map(|&(md, inc, azi)| (md, inc.to_radians(), azi.to_radians())),
    )
    .unwrap()
}

// Published example "Minimum Curvature Method" (drillingformulas.com), figures recomputed:
// the page prints RF 1.00408, which its own north and east contradict.
#[test]
fn published_example_of_one_leg_is_met_to_a_micrometre() {
    let path = degrees(&[(0.0, 15.0, 20.0), (100.0, 25.0, 45.0)]);
    let p = path.position(100.0);
    let b = path.doglegs_rad().next().unwrap();
    assert!((b.to_degrees() - 12.951_651).abs() < 1e-6);
    assert!((ratio_factor(b) - 1.004_280_0).abs() < 5e-8);
    assert!((p.tvd_m - 94.012_343).abs() < 1e-6, "{p:?}");
    assert!((p.north_m - 27.218_329).abs() < 1e-6, "{p:?}");
    assert!((p.east_m - 19.450_774).abs() < 1e-6, "{p:?}");
}

// Values computed with wellpathpy 0.5.2.
#[test]
fn several_stations_agree_with_an_independent_package() {
    let path = degrees(&[
        (0.0, 0.0, 0.0),
        (1000.0, 0.0, 0.0),
        (1600.0, 30.0, 45.0),
        (2200.0, 60.0, 90.0),
        (3000.0, 60.0, 135.0),
    ]);
    let expected = [
        (1600.0, 1572.957795, 108.557_563, 108.557_563),
        (2200.0, 2002.489182, 219.728_467, 492.040_454),
        (3000.0, 2418.431908, -34.983_394, 1106.969283),
    ];
    for (md, tvd, north, east) in expected {
        let p = path.position(md);
        assert!((p.tvd_m - tvd).abs() < 1e-6, "{md}: {p:?}");
        assert!((p.north_m - north).abs() < 1e-6, "{md}: {p:?}");
        assert!((p.east_m - east).abs() < 1e-6, "{md}: {p:?}");
    }
    let doglegs: Vec<f64> = path.doglegs_rad().map(f64::to_degrees).collect();
    for (found, wanted) in doglegs[1..].iter().zip([30.0, 42.336_780, 38.709_192]) {
        assert!((found - wanted).abs() < 1e-6);
    }
    for (found, wanted) in path
        .doglegs_rad()
        .skip(1)
        .map(ratio_factor)
        .zip([1.023_491, 1.048_129, 1.039_857])
    {
        assert!((found - wanted).abs() < 1e-6);
    }
}

// Plane geometry: R = 1800/pi m; displacement R (1 - cos 60) + 1400 sin 60.
#[test]
fn build_and_hold_well_reaches_its_depth_and_displacement() {
    let path = degrees(&[(0.0, 0.0, 0.0), (1000.0, 0.0, 0.0), (1600.0, 60.0, 0.0)]);
    assert!((path.position(1600.0).tvd_m - 1496.196).abs() < 1e-3);
    assert!((path.position(3000.0).tvd_m - 2196.196).abs() < 1e-3);
    assert!((path.position(3000.0).north_m - 1498.914).abs() < 1e-3);
}

#[test]
fn position_inside_a_leg_lies_on_the_arc_of_the_leg() {
    let path = degrees(&[(0.0, 0.0, 0.0), (600.0, 60.0, 30.0)]);
    let radius = 600.0 / 60f64.to_radians();
    for md in [1.0, 150.0, 300.0, 599.0] {
        let angle = md / radius;
        let p = path.position(md);
        assert!((p.tvd_m - radius * angle.sin()).abs() < 1e-9);
        let out = p.north_m.hypot(p.east_m);
        assert!((out - radius * (1.0 - angle.cos())).abs() < 1e-9);
        assert!((path.inclination_rad(md) - angle).abs() < 1e-12);
        assert!((path.azimuth_rad(md) - 30f64.to_radians()).abs() < 1e-9);
        let g = path.geometry(md);
        assert!((g.cos_inc_rate_per_m + angle.sin() / radius).abs() < 1e-12);
    }
}

#[test]
fn survey_starting_below_the_wellhead_is_tied_in_to_a_vertical_start() {
    let tied = degrees(&[(600.0, 60.0, 30.0)]);
    let full = degrees(&[(0.0, 0.0, 0.0), (600.0, 60.0, 30.0)]);
    assert_eq!(tied, full);
}

#[test]
fn wrong_surveys_are_refused_with_the_station_named() {
    assert_eq!(WellPath::new([]), Err(PathError::Empty));
    assert_eq!(
        WellPath::new([(0.0, 0.0, 0.0), (10.0, f64::NAN, 0.0)]),
        Err(PathError::NotFinite { station: 1 })
    );
    assert!(matches!(
        WellPath::new([(0.0, 0.0, 0.0), (10.0, 0.0, 0.0), (10.0, 0.1, 0.0)]),
        Err(PathError::NotIncreasing { station: 2, .. })
    ));
    assert!(matches!(
        WellPath::new([(0.0, 0.0, 0.0), (10.0, 3.5, 0.0)]),
        Err(PathError::Inclination { station: 1, .. })
    ));
    assert_eq!(
        WellPath::new([(0.0, 0.0, 0.0), (10.0, std::f64::consts::PI, 0.0)]),
        Err(PathError::Opposite { station: 1 })
    );
    let shown = WellPath::new([(-1.0, 0.0, 0.0)]).unwrap_err().to_string();
    assert!(shown.contains("station 0"), "{shown}");
}
