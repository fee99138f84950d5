use super::*;

const BASE: (f64, f64, f64) = (4000.0, 1.2e9, 0.01);

fn base_pass(d: f64) -> f64 {
    pass(d, BASE.0, BASE.1, BASE.2, 15f64.to_radians().tan())
}

#[test]
fn pass_recursion_gives_the_base_case_table() {
    // 4000 N, 10 mm, 15 deg, 1.2 GPa: depth in mm after so many passes.
    let table = [
        (1, 1.6327),
        (2, 2.1331),
        (3, 2.4793),
        (5, 2.9816),
        (10, 3.8044),
        (15, 4.3763),
        (20, 4.8295),
        (21, 4.9106),
    ];
    let mut depth = 0.0;
    let mut done = 0;
    let mut energy = 0.0;
    let tangent = 15f64.to_radians().tan();
    for (passes, expected) in table {
        while done < passes {
            let next = base_pass(depth);
            energy += BASE.1 * tangent * (next * next - depth * depth);
            depth = next;
            done += 1;
        }
        assert!((depth * 1e3 - expected).abs() < 5e-5, "{passes}: {depth}");
    }
    assert!((energy - 7753.5526).abs() < 0.01, "{energy}");
}

#[test]
fn depth_grows_as_the_cube_root_of_passes_in_the_long_run() {
    let mut depth = 0.0;
    let mut at = [0.0; 2];
    for n in 1..=8000 {
        depth = base_pass(depth);
        if n == 1000 {
            at[0] = depth;
        }
    }
    at[1] = depth;
    assert!((at[1] / at[0] - 2.0).abs() < 0.005, "{at:?}");
}

#[test]
fn work_of_rolling_equals_the_energy_of_the_groove() {
    let spec = Spec {
        hardness_sd: 0.0,
        coupling_at: super::super::quantity::Length(5000.0),
        joint_length: super::super::quantity::Length(1000.0),
        wall: super::super::quantity::Length(0.02),
        ..Spec::default()
    };
    let mut pipe = Pipe::draw(&spec, 1000.0, 1010.0, &mut Rng::new(1, "pipe"));
    let wheels = [-0.1, 0.0, 0.1]
        .map(|o| Wheel::new(o, 1.0, 0.0, 0.0))
        .to_vec();
    let mut cutter = Cutter::new(wheels, 2000.0, 1.2e9, 0.01, 15f64.to_radians().tan(), 0.02);
    cutter.set_out(true);
    let mut work = 0.0;
    let mut x = 1001.0;
    for (down, target) in [(true, 1009.0), (false, 1001.0), (true, 1009.0)] {
        let step: f64 = if down { 0.0007 } else { -0.0007 };
        while (target - x) * step > 0.0 {
            work += step.abs() * cutter.drag(&pipe, x, down).cutting;
            x += step;
            cutter.roll(&mut pipe, x, down, 0.0);
        }
    }
    let stored: f64 = pipe
        .groove
        .iter()
        .map(|d| 1.2e9 * 15f64.to_radians().tan() * d * d * CELL)
        .sum();
    assert!((work / stored - 1.0).abs() < 0.01, "{work} {stored}");
}

#[test]
fn a_split_cell_takes_no_more_force() {
    let spec = Spec {
        wall: super::super::quantity::Length(2e-3),
        ..Spec::default()
    };
    let mut pipe = Pipe::draw(&spec, 1001.0, 1006.0, &mut Rng::new(2, "pipe"));
    let wheels = vec![Wheel::new(0.0, 1.0, 0.0, 0.0)];
    let mut cutter = Cutter::new(wheels, 4000.0, 1.2e9, 0.01, 0.268, 0.02);
    cutter.set_out(true);
    for round in 0..6 {
        for k in 0..4000 {
            let f = k as f64 / 1000.0;
            let (x, down) = if round % 2 == 0 {
                (1001.5 + f, true)
            } else {
                (1005.5 - f, false)
            };
            cutter.roll(&mut pipe, x, down, f64::from(round));
        }
    }
    let k = pipe.cell(1003.0).unwrap();
    assert!(pipe.through_s[k].is_finite());
    cutter.roll(&mut pipe, 1002.99, true, 9.0);
    cutter.roll(&mut pipe, 1003.005, true, 9.0);
    assert_eq!(cutter.drag(&pipe, 1003.005, true).cutting, 0.0);
}

#[test]
fn worked_metal_takes_more_passes_and_a_thin_wall_fewer() {
    // Passes of one wheel until the wall is through.
    let passes = |hardening: f64, thin_wall: f64| {
        let spec = Spec {
            hardness_sd: 0.0,
            hardening,
            thin_wall,
            ..Spec::default()
        };
        let mut pipe = Pipe::draw(&spec, 1001.0, 1003.0, &mut Rng::new(4, "pipe"));
        let mut cutter = Cutter::new(
            vec![Wheel::new(0.0, 1.0, 0.0, 0.0)],
            4000.0,
            1.2e9,
            0.01,
            0.268,
            0.02,
        );
        cutter.set_out(true);
        let k = pipe.cell(1002.0).unwrap();
        (1..2000)
            .find(|n| {
                let down = n % 2 == 1;
                let to = if down { 1002.5 } else { 1001.5 };
                cutter.roll(&mut pipe, 2004.0 - to, down, 0.0);
                cutter.roll(&mut pipe, to, down, 0.0);
                pipe.through_s[k].is_finite()
            })
            .unwrap()
    };
    let plain = passes(0.0, 0.0);
    assert!(passes(0.2, 0.0) > plain + plain / 10);
    assert!(passes(-0.2, 0.0) < plain);
    assert!(passes(0.0, 0.4) < plain - plain / 10);
}
