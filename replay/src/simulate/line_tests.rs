use super::super::quantity::*;
use super::super::scenario::{Station, Well};
use super::super::well::FreeStrain;
use super::*;
use kerfwatch::units::GRAVITY;

const MODULUS: f64 = 200e9;

fn vertical(depth: f64, density: f64) -> Hole {
    let spec = Well {
        name: "Test".into(),
        interval_top: Length(500.0),
        interval_bottom: Length(510.0),
        bin: Length(0.1),
        survey: vec![Station {
            md: Length(0.0),
            inc: Angle(0.0),
            azi: Angle(0.0),
        }],
        fluid_density: Density(density),
        wellhead_pressure: Pressure(0.0),
        temperature_gradient: Gradient(0.0),
    };
    let free = FreeStrain {
        modulus: MODULUS,
        expansion: 0.0,
        gradient: 0.0,
        pressure: 0.0,
        density,
    };
    Hole::new(&spec, free, depth)
}

/// 0.108 in wire with a tool of the given weight in fluid, no friction, no fluid drag.
fn ideal(tool_mass: f64, tool_weight: f64, density: f64) -> Wire {
    let area = std::f64::consts::PI * 0.25 * 2.7432e-3f64.powi(2);
    Wire {
        stiffness: MODULUS * area,
        mass: 7850.0 * area,
        weight: (7850.0 - density) * area * GRAVITY,
        area,
        friction_up: 0.0,
        friction_down: 0.0,
        static_ratio: 1.0,
        stribeck: 0.02,
        viscous: 0.0,
        turbulent: 0.0,
        tool_mass,
        tool_weight,
        tool_friction: 0.0,
        tool_static_ratio: 1.0,
        tool_viscous: 0.0,
    }
}

#[test]
fn static_stretch_agrees_with_the_textbook_bar() {
    // delta = W L/(EA) - (1 - 2 nu) rho_f g L2/(2E) + (rho_s - rho_f) g L2/(2E):
    // 2000 m, 2000 N, 0.108 in, water: 4.01453 m with the pressure correction.
    let wire = ideal(200.0, 2000.0, 1000.0);
    let hole = vertical(2100.0, 1000.0);
    let chain = Chain::at_rest(wire, &hole, 2000.0, 40.0);
    let stretch = chain.tool_x() - 2000.0;
    assert!((stretch - 4.014_53).abs() < 0.015, "{stretch}");
    let (tension, unstretched) = slow_motion(&wire, &hole, chain.tool_x(), true, 0.0);
    assert!((tension - (2000.0 + wire.weight * 2004.0)).abs() < 2.0);
    assert!((unstretched - 2000.0).abs() < 0.02, "{unstretched}");
}

#[test]
fn tension_of_the_worked_well_agrees_with_the_soft_string_integration() {
    // Vertical to 1000 m, build 3 deg/30 m to 60 deg at 1600 m, hold to 3000 m; mu 0.25, tool
    // 1000 N sliding with the same mu: 2033.7366 N up, 936.1382 N down at surface.
    let mut wire = ideal(120.0, 1000.0, 1000.0);
    wire.friction_up = 0.25;
    wire.friction_down = 0.25;
    wire.tool_friction = 0.25;
    let spec = Well {
        survey: [(0.0, 0.0), (1000.0, 0.0), (1600.0, 60.0), (3000.0, 60.0)]
            .map(|(md, inc): (f64, f64)| Station {
                md: Length(md),
                inc: Angle(inc.to_radians()),
                azi: Angle(0.0),
            })
            .to_vec(),
        name: "Test".into(),
        interval_top: Length(2900.0),
        interval_bottom: Length(2990.0),
        bin: Length(0.1),
        fluid_density: Density(1000.0),
        wellhead_pressure: Pressure(0.0),
        temperature_gradient: Gradient(0.0),
    };
    let free = FreeStrain {
        modulus: MODULUS,
        expansion: 0.0,
        gradient: 0.0,
        pressure: 0.0,
        density: 0.0,
    };
    let hole = Hole::new(&spec, free, 3100.0);
    let (up, _) = slow_motion(&wire, &hole, 3000.0, true, 0.0);
    let (down, _) = slow_motion(&wire, &hole, 3000.0, false, 0.0);
    assert!((up - 2033.7366).abs() < 3.0, "{up}");
    assert!((down - 936.1382).abs() < 3.0, "{down}");
    // The chain itself, pulled slowly, shows the same to within its coarser lumps.
    let mut chain = Chain::at_rest(wire, &hole, 2990.0, 40.0);
    let dt = chain.longest_step();
    for _ in 0..(40.0 / dt) as usize {
        let paid = -0.2 * dt / (1.0 + chain.top_tension() / wire.stiffness);
        chain.step(&hole, dt, -0.2, paid, Holding::default());
    }
    let mut sum = 0.0;
    let rounds = (6.0 / dt) as usize;
    for _ in 0..rounds {
        let paid = -0.2 * dt / (1.0 + chain.top_tension() / wire.stiffness);
        chain.step(&hole, dt, -0.2, paid, Holding::default());
        sum += chain.top_tension();
    }
    let mean = sum / rounds as f64;
    let (expected, _) = slow_motion(&wire, &hole, chain.tool_x(), true, 0.0);
    assert!((mean / expected - 1.0).abs() < 0.01, "{mean} {expected}");
}

#[test]
fn fundamental_of_wire_with_tool_agrees_with_x_tan_x() {
    // 0.108 in, 2000 m, 50 kg on the end: 0.4234 Hz.
    let wire = ideal(50.0, 50.0 * GRAVITY, 0.0);
    let hole = vertical(2100.0, 0.0);
    let mut chain = Chain::at_rest(wire, &hole, 2000.0, 40.0);
    let dt = 0.5 * chain.longest_step();
    // A push on the tool by a short winch movement, then let it ring.
    for k in 0..(1.0 / dt) as usize {
        let v = 0.1 * (k as f64 * dt * std::f64::consts::PI).sin();
        chain.step(&hole, dt, v, v * dt, Holding::default());
    }
    let mut crossings = Vec::new();
    let mut before = chain.tool_v();
    for k in 0..(60.0 / dt) as usize {
        chain.step(&hole, dt, 0.0, 0.0, Holding::default());
        let now = chain.tool_v();
        if before < 0.0 && now >= 0.0 {
            crossings.push(k as f64 * dt);
        }
        before = now;
    }
    let periods = crossings.len() - 1;
    let frequency = periods as f64 / (crossings[periods] - crossings[0]);
    assert!((frequency / 0.4234 - 1.0).abs() < 0.02, "{frequency}");
}

#[test]
fn a_speed_step_raises_tension_by_impedance_times_step_until_the_echo() {
    // EA/c = 234.2 N per m/s for 0.108 in at 200 GPa.
    let wire = ideal(80.0, 80.0 * GRAVITY, 0.0);
    let hole = vertical(2100.0, 0.0);
    let mut chain = Chain::at_rest(wire, &hole, 2000.0, 20.0);
    let dt = chain.longest_step();
    for _ in 0..200 {
        chain.step(&hole, dt, 0.0, 0.0, Holding::default());
    }
    let before = chain.top_tension();
    let (mut sum, mut count) = (0.0, 0);
    for k in 0..(0.7 / dt) as usize {
        chain.step(&hole, dt, -0.2, -0.2 * dt, Holding::default());
        if k as f64 * dt > 0.2 {
            sum += chain.top_tension() - before;
            count += 1;
        }
    }
    let rise = sum / f64::from(count);
    assert!((rise / (234.2 * 0.2) - 1.0).abs() < 0.04, "{rise}");
}

#[test]
fn friction_holds_the_tool_still_exactly() {
    let mut wire = ideal(50.0, 400.0, 1000.0);
    wire.friction_up = 0.2;
    wire.friction_down = 0.2;
    let hole = vertical(600.0, 1000.0);
    let mut chain = Chain::at_rest(wire, &hole, 500.0, 40.0);
    let held = Holding {
        up: 300.0,
        down: 600.0,
    };
    let dt = chain.longest_step();
    let start = chain.tool_x();
    for k in 0..(3.0 / dt) as usize {
        let v = if k < 100 { -0.05 } else { 0.0 };
        chain.step(&hole, dt, v, v * dt, held);
    }
    assert_eq!(chain.tool_v(), 0.0);
    assert!((chain.tool_x() - start).abs() < 1e-6);
}
