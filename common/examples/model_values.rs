//! Prints values of the models as JSON, for comparison with independent packages
//! (`tests/peers/check_models.py`). With `--time`, prints instead how long the drag table takes to
//! build and to look up.

use kerfwatch::model::Motion;
use kerfwatch::model::groove_law::advance;
use kerfwatch::model::line::LineInFluid;
use kerfwatch::model::profile_table::ProfileTable;
use kerfwatch::model::rainflow::Rainflow;
use kerfwatch::model::soft_string::{FrictionPair, carry_tension_n};
use kerfwatch::model::wellpath::WellPath;
use serde_json::json;

/// A survey every 30 m that winds in inclination and azimuth (invented).
fn survey_degrees() -> Vec<(f64, f64, f64)> {
    (0..150)
        .map(|i| {
            let n = f64::from(i);
            let inc = 25.0 - 25.0 * (n * 0.035).cos() + 1.2 * (n * 1.7).sin() * f64::from(i.min(1));
            (n * 30.0, inc.max(0.0), 40.0 + 70.0 * (n * 0.03).sin())
        })
        .collect()
}

/// A series of tensions with many reversals (invented; whole newtons).
fn series() -> Vec<f64> {
    (0..3000)
        .map(|i| {
            let n = f64::from(i);
            (2000.0
                + 600.0 * (n * 0.7).sin()
                + 350.0 * (n * 1.93).cos()
                + 90.0 * (n * n * 0.011).sin())
            .round()
        })
        .collect()
}

fn main() {
    let survey = survey_degrees();
    let path = WellPath::new(
        survey
            .iter()
            .map(|&(md, inc, azi)| (md, inc.to_radians(), azi.to_radians())),
    )
    .expect("the survey above is sound");
    let line = LineInFluid::new(2.7432e-3, 200e9, 7850.0, 1000.0);
    let friction = FrictionPair { up: 0.3, down: 0.2 };
    let depth_max = 4470.0;

    if std::env::args().any(|argument| argument == "--time") {
        let start = std::time::Instant::now();
        let table = ProfileTable::new(&path, line, friction.up, friction.down, depth_max);
        let built = start.elapsed();
        let start = std::time::Instant::now();
        let mut sum = 0.0;
        for i in 0..1_000_000u32 {
            let md = f64::from(i % 4000);
            sum += table.tension_at(Motion::Up, 2000.0 + f64::from(i % 977), md);
        }
        let looked_up = start.elapsed();
        let start = std::time::Instant::now();
        for i in 0..1_000_000u32 {
            let md = f64::from(i % 4000);
            sum += table.surface_tension(Motion::Up, 500.0 + f64::from(i % 977), md);
        }
        println!(
            "table for {depth_max} m with {} stations: built in {:.1} ms; tension_at {:.0} ns, surface_tension {:.0} ns (checksum {sum:.0})",
            survey.len(),
            built.as_secs_f64() * 1e3,
            looked_up.as_secs_f64() * 1e3,
            start.elapsed().as_secs_f64() * 1e3,
        );
        return;
    }

    let positions: Vec<[f64; 4]> = survey
        .iter()
        .map(|&(md, _, _)| {
            let p = path.position(md);
            [md, p.tvd_m, p.north_m, p.east_m]
        })
        .collect();

    let table = ProfileTable::new(&path, line, friction.up, friction.down, depth_max);
    let mut drag = Vec::new();
    for (name, motion) in [
        ("up", Motion::Up),
        ("rest", Motion::Rest),
        ("down", Motion::Down),
    ] {
        for tool in [300.0, 900.0, 2500.0] {
            for md in [1000.0, 2750.0, 4450.0] {
                drag.push(json!({
                    "motion": name, "tool_n": tool, "md_m": md,
                    "integrated_n": carry_tension_n(&path, line.weight_n_m, friction, motion, md, tool, 0.0),
                    "table_n": table.surface_tension(motion, tool, md),
                }));
            }
        }
    }

    let series = series();
    let mut cycles: Vec<(f64, f64)> = Vec::new();
    let mut counter = Rainflow::new(0.0);
    for &value in &series {
        counter.push(value, |c| cycles.push((c.range, c.count)));
    }
    counter.finish(|c| cycles.push((c.range, c.count)));

    let kappa = 4000.0 / (2.0 * 1.2e9 * 15f64.to_radians().tan() * 0.02f64.sqrt());
    let mut depth = 0.0;
    let depths: Vec<f64> = (0..60)
        .map(|_| {
            depth = advance(depth, kappa);
            depth
        })
        .collect();

    let values = json!({
        "survey_deg": survey,
        "positions": positions,
        "weight_n_m": line.weight_n_m,
        "friction": {"up": friction.up, "down": friction.down},
        "drag": drag,
        "series": series,
        "cycles": cycles,
        "groove": {"kappa": kappa, "depths_m": depths},
    });
    println!("{values}");
}
