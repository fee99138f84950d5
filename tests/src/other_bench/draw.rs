//! Draws a well from its seed. Every range here is invented; only wires and pipes have trade sizes.
//!
//! What makes wells different in kind (line, law, shape of the hole, jams) follows from the seed itself ([`Kind`]). The rest
//! is drawn, and drawn again until the job is one that a crew would take on ([`super::acceptance`]).

use super::acceptance;
use super::dice::Dice;
use super::given_up::GivenUp;
use super::kind::Kind;
use super::survey::Survey;
use super::well::{
    Cutter, GRAVITY, Habits, Hole, Instruments, Law, Metal, Pipe, Tool, Troubles, Well, Wire,
    to_50_newtons,
};

/// Draws before a seed is given up; of the first 400 seeds half take no more than 24, none more than 567.
const TRIES_MOST: usize = 50_000;

/// Wires: diameter (m), breaking load (N).
const WIRES: [(f64, f64); 4] = [
    (2.3368e-3, 7100.0),
    (2.7432e-3, 9800.0),
    (3.175e-3, 13_000.0),
    (4.064e-3, 20_500.0),
];

/// Pipes: outer diameter, wall, outer diameter of the coupling (mm).
const PIPES: [(f64, f64, f64); 8] = [
    (73.025, 5.51, 93.2),
    (73.025, 7.82, 93.2),
    (88.9, 6.45, 114.3),
    (88.9, 7.34, 114.3),
    (88.9, 9.52, 114.3),
    (114.3, 6.88, 132.1),
    (114.3, 8.56, 141.3),
    (139.7, 9.17, 153.7),
];

/// Invented.
const NAMES: [&str; 20] = [
    "Harrowfen",
    "Tallowmere",
    "Crookbeck",
    "Pendlewick",
    "Marshgate",
    "Oxbarrow",
    "Thornquay",
    "Wimber Moss",
    "Ashlattice",
    "Calderspit",
    "Dunnockhill",
    "Emberlow",
    "Fallowkirk",
    "Gorsewater",
    "Hollinscar",
    "Inkberry",
    "Kestrelbank",
    "Larchmouth",
    "Mossgarth",
    "Netherquill",
];

/// Density of the line, kg/m³.
const WIRE_DENSITY: f64 = 7850.0;

/// The well of a seed.
///
/// # Errors
/// When no draw is one that a crew would take on.
pub fn draw(seed: u64) -> Result<Well, GivenUp> {
    let mut dice = Dice::new(seed * 7919 + 13);
    let kind = Kind::of(seed);
    for _ in 0..TRIES_MOST {
        let (mut well, aim) = draft(seed, kind, &mut dice);
        if acceptance::accept(&mut well, kind, aim, &mut dice) {
            return Ok(well);
        }
    }
    Err(GivenUp::NoWell(TRIES_MOST))
}

/// What a well is drawn around.
#[derive(Debug, Clone, Copy)]
pub struct Aim {
    /// Depth of the top of the interval, m, before it is rounded.
    pub depth: f64,
    /// Length of the interval, m.
    pub length: f64,
    /// Strokes it should take to split.
    pub strokes: f64,
}

/// A well as it falls. Draws stand in one fixed order: another order is
/// another well.
fn draft(seed: u64, kind: Kind, dice: &mut Dice) -> (Well, Aim) {
    let depth = dice.log_between(800.0, 4000.0);
    let length = to_decimetre(dice.log_between(5.0, 30.0));
    let top = to_decimetre(depth);
    let bottom = to_decimetre(top + length);
    let (survey, inclination_most) = Survey::draw(kind.shape, depth, dice);
    let inclination_interval = survey.inclination(depth + length / 2.0);
    // The thinnest wire is not trusted with the deepest wells.
    let wire_size = WIRES[dice.whole(usize::from(depth > 2800.0), 3)];
    let pipe_size = dice.pick(&PIPES);
    let friction = dice.between(0.10, 0.30);
    let mass = dice.log_between(70.0, 260.0);
    let fluid_density = dice.between(800.0, 1250.0);
    let volume = mass / dice.between(7000.0, 7900.0);
    let weight = mass * GRAVITY - volume * fluid_density * GRAVITY;
    let breaks_at = dice.between(0.85, 1.0);
    let bite_down = one_or(0.55, (0.6, 1.0), dice);
    let speed_up = dice.log_between(0.1, 0.8);
    let speed_down = if dice.chance(0.5) {
        speed_up
    } else {
        (speed_up * dice.between(0.7, 1.3)).clamp(0.1, 0.8)
    };
    let wheels = dice.whole(1, 4);

    let nodes = if kind.quasi_static {
        dice.whole(14, 22)
    } else {
        dice.whole(20, 45)
    };
    let modulus = dice.between(188e9, 206e9);
    let hole = Hole {
        survey,
        inclination_most,
        inclination_interval,
        top,
        bottom,
        fluid_density,
        wellhead_pressure: dice.pick(&[0.0, 0.5e6, 2e6, 5e6, 9e6, 15e6]) * dice.between(0.8, 1.2),
        temperature_gradient: dice.between(0.02, 0.036),
    };
    let wire = draw_wire(kind, wire_size, nodes, modulus, friction, dice);
    let tool = Tool {
        mass,
        weight,
        friction: dice.between(0.06, 0.28),
        viscous: if dice.chance(0.7) {
            dice.log_between(80.0, 600.0)
        } else {
            40.0
        },
        cutter_offset: (dice.between(2.0, 6.0) * 100.0).round() / 100.0,
        weak_point: to_50_newtons(wire_size.1 * dice.between(0.62, 0.75)),
    };
    let cutter = draw_cutter(wheels, pipe_size.1, bite_down, dice);
    let (metal, cutter) = draw_metal(kind.law, breaks_at, cutter, dice);
    let pipe = draw_pipe(pipe_size, dice);
    let troubles = Troubles {
        bump: dice.between(20.0, 140.0),
        hang_chance: nought_or(0.35, (0.01, 0.12), dice),
        hang_force: dice.between(250.0, 1200.0),
        jams: Vec::new(),
        obstructions: Vec::new(),
    };
    let habits = draw_habits(kind, speed_up, speed_down, dice);
    let (instruments, habits) = draw_instruments(kind, habits, dice);
    let aim = Aim {
        depth,
        length,
        strokes: dice.log_between(30.0, 200.0),
    };
    let mut well = Well {
        seed,
        name: format!("{} {}", NAMES[(seed as usize * 3) % 20], 1 + seed % 9),
        hole,
        wire,
        tool,
        cutter,
        metal,
        pipe,
        troubles,
        habits,
        instruments,
    };
    if kind.law == Law::Power {
        well.metal.power_advance = well.power_advance_for(aim.strokes);
    }
    (well, aim)
}

fn draw_wire(
    kind: Kind,
    (diameter, breaking): (f64, f64),
    nodes: usize,
    modulus: f64,
    friction: f64,
    dice: &mut Dice,
) -> Wire {
    Wire {
        quasi_static: kind.quasi_static,
        nodes,
        diameter,
        area: std::f64::consts::PI * diameter * diameter / 4.0,
        modulus,
        density: WIRE_DENSITY,
        breaking,
        friction_up: friction,
        friction_down: if dice.chance(0.5) {
            friction
        } else {
            friction * dice.between(0.8, 1.2)
        },
        static_factor: one_or(0.45, (1.08, 1.35), dice),
        stribeck_speed: nought_or(0.4, (0.03, 0.2), dice),
        viscous: if dice.chance(0.4) {
            dice.between(0.0, 0.04)
        } else {
            0.002
        },
        damping: dice.between(0.03, 0.2),
        packing: dice.between(20.0, 160.0),
        sheave_loss: nought_or(0.5, (0.005, 0.02), dice),
    }
}

/// Edge widths are drawn with the metal; `wall` in mm.
fn draw_cutter(wheels: usize, wall: f64, bite_down: f64, dice: &mut Dice) -> Cutter {
    Cutter {
        wheels,
        spacing: dice.between(0.05, 0.12),
        radius: (dice.between(8.0, 16.0) * 2.0).round() / 2.0 * 1e-3,
        edge_angle: dice.between(24.0, 60.0).round().to_radians(),
        reach: (wall + dice.between(3.0, 7.0)).round() * 1e-3,
        radial_force: dice.log_between(1500.0, 5000.0),
        force_slope: nought_or(0.5, (-0.005, 0.03), dice),
        rolling: dice.between(0.01, 0.05),
        rolling_split: dice.between(0.75, 1.0),
        edge_width: 0.0,
        edge_wear: 0.0,
        bite_down,
    }
}

fn draw_metal(law: Law, breaks_at: f64, mut cutter: Cutter, dice: &mut Dice) -> (Metal, Cutter) {
    let pressure = dice.log_between(0.75e9, 1.75e9);
    let work_factor = dice.between(0.85, 1.25);
    let hardening = nought_or(0.4, (0.0, 0.2), dice);
    let elastic_share = dice.between(0.03, 0.15);
    let pile_up = dice.between(0.95, 1.15);
    cutter.edge_width = dice.between(0.0, 0.06e-3);
    cutter.edge_wear = nought_or(0.5, (0.02e-3, 0.25e-3), dice);
    let metal = Metal {
        law,
        pressure,
        work_factor,
        hardening,
        elastic_share,
        pile_up,
        power: dice.between(1.6, 2.4),
        power_shift: dice.between(0.35, 0.9),
        power_advance: 0.0,
        breaks_at,
        patch_spread: dice.between(0.05, 0.20),
        patch_length: dice.log_between(0.3, 3.0),
        yielding: dice.between(0.15, 0.5),
    };
    (metal, cutter)
}

fn draw_pipe((diameter, wall, coupling): (f64, f64, f64), dice: &mut Dice) -> Pipe {
    Pipe {
        outer_diameter: diameter * 1e-3,
        wall: wall * 1e-3,
        coupling_diameter: coupling * 1e-3,
        coupling_length: dice.pick(&[0.18, 0.2, 0.22, 0.26]),
        yield_strength: dice.pick(&[379e6, 552e6, 655e6]),
        wall_bias: dice.between(-0.06, 0.03),
        eccentricity: dice.between(0.005, 0.05),
        couplings: Vec::new(),
    }
}

/// What depends on the whole well (strokes, limit) is set when it is accepted, the winch's swing with the instruments.
fn draw_habits(kind: Kind, speed_up: f64, speed_down: f64, dice: &mut Dice) -> Habits {
    Habits {
        speed_up,
        speed_down,
        acceleration: dice.log_between(0.05, 0.5),
        turn_spread: dice.log_between(0.03, 0.5),
        by_counter: dice.chance(0.5),
        pause: dice.between(1.0, 9.0),
        long_pause_chance: dice.between(0.0, 0.03),
        partial_chance: nought_or(0.3, (0.02, 0.12), dice),
        strokes_expected: 0.0,
        stop_fraction: dice.pick(&[0.35, 0.6, 0.8, 0.9, 0.95, 0.98]),
        strokes_planned: None,
        strokes_least: 30,
        time_most: 4.9 * 3600.0,
        run_in: kind.run_in,
        run_in_speed: dice.between(0.7, 1.6),
        check_before: dice.chance(0.7),
        check_every: dice.chance(0.4).then(|| dice.whole(20, 50) * 2),
        check_after: dice.chance(0.6),
        limit: 0.0,
        abort_over: dice.between(1300.0, 3500.0),
        abort_fraction: dice.between(0.8, 1.06),
        ripple: 0.0,
        ripple_frequency: 0.0,
        marks: kind.marks,
    }
}

fn draw_instruments(kind: Kind, mut habits: Habits, dice: &mut Dice) -> (Instruments, Habits) {
    let noise = dice.log_between(5.0, 40.0);
    habits.ripple = nought_or(0.5, (0.01, 0.08), dice);
    habits.ripple_frequency = dice.between(0.5, 2.0);
    let mut instruments = Instruments {
        noise,
        mains: nought_or(0.3, (3.0, 20.0), dice),
        load_step: dice.pick(&[1.0, 1.0, 2.0, 5.0, 10.0]),
        drift: nought_or(0.7, (-60.0, 60.0), dice),
        span: 1.0 + dice.normal_within(2.0) * 0.01,
        // A line without waves is read by a cell that would not show them either.
        lag: if kind.quasi_static {
            dice.between(0.05, 0.4)
        } else {
            nought_or(0.3, (0.02, 0.15), dice)
        },
        zero: dice.between(-15.0, 15.0),
        load_rate: dice.pick(&[10.0, 10.0, 20.0, 25.0, 50.0, 50.0, 100.0, 200.0]),
        depth_rate: 0.0,
        same_rows: dice.chance(0.5),
        counter_step: dice.log_between(0.001, 0.02),
        slip_up: 0.0,
        slip_down: 0.0,
        jitter: nought_or(0.5, (0.02, 0.25), dice),
        duplicate_chance: if dice.chance(0.3) { 2e-4 } else { 0.0 },
        spike_chance: if dice.chance(0.35) {
            dice.log_between(3e-6, 6e-5)
        } else {
            0.0
        },
        gaps: if dice.chance(0.4) {
            dice.whole(1, 8)
        } else {
            0
        },
    };
    instruments.depth_rate = if instruments.same_rows {
        instruments.load_rate
    } else {
        dice.pick(&[10.0, 20.0, 25.0, 50.0])
    };
    if kind.slips {
        // They would see a counter turn where the tool does not.
        habits.by_counter = false;
        instruments.slip_up = dice.between(0.0, 5e-4);
        instruments.slip_down = dice.between(0.0, 5e-4);
        if dice.chance(0.4) {
            instruments.slip_down = -instruments.slip_up + dice.between(0.0, 5e-4);
        }
    }
    (instruments, habits)
}

/// Drawn between two values with this probability, otherwise 1.
fn one_or(probability: f64, range: (f64, f64), dice: &mut Dice) -> f64 {
    if dice.chance(probability) {
        dice.between(range.0, range.1)
    } else {
        1.0
    }
}

/// Drawn between two values with this probability, otherwise 0.
fn nought_or(probability: f64, range: (f64, f64), dice: &mut Dice) -> f64 {
    if dice.chance(probability) {
        dice.between(range.0, range.1)
    } else {
        0.0
    }
}

fn to_decimetre(length: f64) -> f64 {
    (length * 10.0).round() / 10.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_seed_gives_one_well_and_one_that_a_crew_would_take_on() {
        for seed in 1..=20 {
            let well = draw(seed).unwrap();
            assert_eq!(format!("{well:?}"), format!("{:?}", draw(seed).unwrap()));
            let (hole, habits) = (&well.hole, &well.habits);
            assert!((5.0..=30.0).contains(&hole.length()), "seed {seed}");
            assert!(habits.limit <= well.tool.weak_point && habits.limit < well.wire.breaking);
            assert!((30.0..=200.0).contains(&habits.strokes_expected));
            assert!(well.pipe.couplings.is_sorted());
            let power = well.metal.law == Law::Power;
            assert_eq!(well.metal.power_advance > 0.0, power);
        }
    }
}
