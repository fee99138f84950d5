//! What a well of the other bench consists of: hole, wire, tool, cutter, pipe, people, instruments.
//!
//! Plain values in SI; [`super::draw`] fills them, everything else reads them. All of them are invented, none belongs to a
//! real well; sizes of wire and pipe are the usual trade sizes.

use super::survey::Survey;

/// Acceleration of free fall, m/s².
pub const GRAVITY: f64 = 9.806_65;

/// One well with all that goes on in it.
#[derive(Debug, Clone)]
pub struct Well {
    /// Seed it was drawn with.
    pub seed: u64,
    /// Invented name.
    pub name: String,
    /// Hole and fluid.
    pub hole: Hole,
    /// The line.
    pub wire: Wire,
    /// The tool string.
    pub tool: Tool,
    /// The cutter.
    pub cutter: Cutter,
    /// How the pipe's metal gives way.
    pub metal: Metal,
    /// The pipe to be split.
    pub pipe: Pipe,
    /// What gets in the way.
    pub troubles: Troubles,
    /// How the crew works.
    pub habits: Habits,
    /// How the instruments measure.
    pub instruments: Instruments,
}

/// Hole and fluid.
#[derive(Debug, Clone)]
pub struct Hole {
    /// Its way.
    pub survey: Survey,
    /// Inclination it is built to, rad.
    pub inclination_most: f64,
    /// Inclination in the middle of the interval, rad.
    pub inclination_interval: f64,
    /// Top of the interval, m measured depth.
    pub top: f64,
    /// Bottom of the interval, m measured depth.
    pub bottom: f64,
    /// Density of the fluid, kg/m³.
    pub fluid_density: f64,
    /// Pressure at the wellhead, Pa.
    pub wellhead_pressure: f64,
    /// Growth of temperature, K/m.
    pub temperature_gradient: f64,
}

impl Hole {
    /// Length of the interval, m.
    pub fn length(&self) -> f64 {
        self.bottom - self.top
    }
}

/// The line.
#[derive(Debug, Clone)]
pub struct Wire {
    /// Whether its mass is left out: a line without waves, always in equilibrium.
    pub quasi_static: bool,
    /// Points it is cut into, besides the tool.
    pub nodes: usize,
    /// Diameter, m.
    pub diameter: f64,
    /// Cross section, m².
    pub area: f64,
    /// Young's modulus, Pa.
    pub modulus: f64,
    /// Density, kg/m³.
    pub density: f64,
    /// Breaking load, N.
    pub breaking: f64,
    /// Friction coefficient going up.
    pub friction_up: f64,
    /// Friction coefficient going down.
    pub friction_down: f64,
    /// Friction at rest over friction in motion, 1 or more.
    pub static_factor: f64,
    /// Speed over which friction falls from rest to motion by a factor e, m/s; 0: at once.
    pub stribeck_speed: f64,
    /// Viscous drag per length and speed, N s/m².
    pub viscous: f64,
    /// Damping between neighbouring points, share of the critical.
    pub damping: f64,
    /// Friction in the packing at the wellhead, N.
    pub packing: f64,
    /// Share of tension lost over the sheaves.
    pub sheave_loss: f64,
}

/// The tool string.
#[derive(Debug, Clone)]
pub struct Tool {
    /// Mass, kg.
    pub mass: f64,
    /// Weight in the fluid, N.
    pub weight: f64,
    /// Friction coefficient on the pipe.
    pub friction: f64,
    /// Viscous drag, N s/m.
    pub viscous: f64,
    /// Middle of the wheels below the rope socket, m.
    pub cutter_offset: f64,
    /// Weak point, N.
    pub weak_point: f64,
}

/// The cutter: wheels in line, pressed outwards, in one groove.
#[derive(Debug, Clone)]
pub struct Cutter {
    /// Number of wheels.
    pub wheels: usize,
    /// Between neighbouring wheels, m.
    pub spacing: f64,
    /// Radius of a wheel, m.
    pub radius: f64,
    /// Angle of the edge, rad.
    pub edge_angle: f64,
    /// Greatest groove depth it can reach, m.
    pub reach: f64,
    /// Radial force of one wheel on whole pipe, N.
    pub radial_force: f64,
    /// Loss of radial force per millimetre of groove.
    pub force_slope: f64,
    /// Rolling drag over radial force.
    pub rolling: f64,
    /// Rolling drag where the pipe is split, over that where it is not.
    pub rolling_split: f64,
    /// Width of the edge when new, m.
    pub edge_width: f64,
    /// What the edge gains in width until it is worn, m.
    pub edge_wear: f64,
    /// Advance per pass going down over that going up.
    pub bite_down: f64,
}

/// Which of the three cut laws holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Law {
    /// A blunt wedge on a chord of the wheel, contact pressure constant or growing with depth.
    Indent,
    /// Advance per pass falls as a power of depth.
    Power,
    /// As `Indent`, but the wall yields when little of it is left and part of the force does no cutting.
    Yielding,
}

/// How the pipe's metal gives way; see [`super::cut_laws`].
#[derive(Debug, Clone)]
pub struct Metal {
    /// The law.
    pub law: Law,
    /// Contact pressure, Pa.
    pub pressure: f64,
    /// Axial work over that of pushing metal aside at the contact pressure.
    pub work_factor: f64,
    /// Relative growth of contact pressure from the surface to the far side of the wall.
    pub hardening: f64,
    /// Share of radial force that only springs the pipe (`Yielding`).
    pub elastic_share: f64,
    /// Width of the groove at its lips over that of the wedge.
    pub pile_up: f64,
    /// Exponent (`Power`).
    pub power: f64,
    /// Depth added to that of the groove (`Power`), mm.
    pub power_shift: f64,
    /// Advance at 1 mm of groove and shift together (`Power`), mm.
    pub power_advance: f64,
    /// Fraction of the wall at which what is left breaks.
    pub breaks_at: f64,
    /// Standard deviation of local hardness.
    pub patch_spread: f64,
    /// Length over which hardness changes, m.
    pub patch_length: f64,
    /// What is lost of contact pressure when nothing of the wall is left (`Yielding`).
    pub yielding: f64,
}

/// The pipe to be split.
#[derive(Debug, Clone)]
pub struct Pipe {
    /// Outer diameter, m.
    pub outer_diameter: f64,
    /// Nominal wall, m.
    pub wall: f64,
    /// Outer diameter of couplings, m.
    pub coupling_diameter: f64,
    /// Length of couplings, m.
    pub coupling_length: f64,
    /// Yield strength, Pa.
    pub yield_strength: f64,
    /// Mean wall off nominal, relative.
    pub wall_bias: f64,
    /// Swing of the wall where the groove runs, relative.
    pub eccentricity: f64,
    /// Middles of couplings, m measured depth.
    pub couplings: Vec<f64>,
}

/// What gets in the way of the tool.
#[derive(Debug, Clone)]
pub struct Troubles {
    /// Extra drag in a coupling, N.
    pub bump: f64,
    /// Probability to hang at a coupling going up.
    pub hang_chance: f64,
    /// What it then takes to pull free, N.
    pub hang_force: f64,
    /// Jams on the way up.
    pub jams: Vec<Jam>,
    /// Obstructions on the way down.
    pub obstructions: Vec<Obstruction>,
}

/// A place that holds the tool going up.
#[derive(Debug, Clone, Copy)]
pub struct Jam {
    /// From this stroke on.
    pub stroke: usize,
    /// Where, m.
    pub depth: f64,
    /// How often it must be run down again until it is gone.
    pub tries: usize,
    /// Extra pull that frees it, N; `None`: only running down again does.
    pub pop_force: Option<f64>,
}

/// A place that holds the tool going down.
#[derive(Debug, Clone, Copy)]
pub struct Obstruction {
    /// From this stroke on.
    pub stroke: usize,
    /// Where, m.
    pub depth: f64,
    /// How often it must be pulled up again until it is gone.
    pub tries: usize,
}

/// How the crew works.
#[derive(Debug, Clone)]
pub struct Habits {
    /// Winch speed up, m/s.
    pub speed_up: f64,
    /// Winch speed down, m/s.
    pub speed_down: f64,
    /// Acceleration of the winch, m/s².
    pub acceleration: f64,
    /// Spread of turning points, m.
    pub turn_spread: f64,
    /// Whether they turn by the counter; by where the tool really is otherwise.
    pub by_counter: bool,
    /// Usual pause at the ends, s.
    pub pause: f64,
    /// Probability of a long one.
    pub long_pause_chance: f64,
    /// Probability of a stroke up over part of the interval.
    pub partial_chance: f64,
    /// Strokes it should take to split average pipe.
    pub strokes_expected: f64,
    /// They stop when this much is split ...
    pub stop_fraction: f64,
    /// ... or after as many strokes as planned.
    pub strokes_planned: Option<usize>,
    /// No fewer strokes than this.
    pub strokes_least: usize,
    /// They go home after this time, s.
    pub time_most: f64,
    /// Whether the record begins at surface.
    pub run_in: bool,
    /// Speed of running in, m/s.
    pub run_in_speed: f64,
    /// Whether they check the weight before cutting.
    pub check_before: bool,
    /// Strokes between checks in between.
    pub check_every: Option<usize>,
    /// Whether they check the weight at the end.
    pub check_after: bool,
    /// Tension limit, N.
    pub limit: f64,
    /// They stop pulling this far above what is usual, N ...
    pub abort_over: f64,
    /// ... or at this share of the limit.
    pub abort_fraction: f64,
    /// Swing of the winch's speed, relative.
    pub ripple: f64,
    /// Frequency of that swing, Hz.
    pub ripple_frequency: f64,
    /// Whether they mark what they do.
    pub marks: bool,
}

/// How the instruments measure.
#[derive(Debug, Clone)]
pub struct Instruments {
    /// Noise of load, standard deviation, N.
    pub noise: f64,
    /// Hum of the mains on load, N.
    pub mains: f64,
    /// Step of load readings, N.
    pub load_step: f64,
    /// Drift of load, N/h.
    pub drift: f64,
    /// Load read over load.
    pub span: f64,
    /// Time constant of load, s; 0: none.
    pub lag: f64,
    /// Load read at no load, N.
    pub zero: f64,
    /// Load readings per second.
    pub load_rate: f64,
    /// Depth readings per second.
    pub depth_rate: f64,
    /// Whether one row holds both.
    pub same_rows: bool,
    /// Step of the counter, m.
    pub counter_step: f64,
    /// Counter too much going up, relative.
    pub slip_up: f64,
    /// Counter too much going down, relative.
    pub slip_down: f64,
    /// Spread of times of arrival over the time between readings.
    pub jitter: f64,
    /// Probability that a row is written twice.
    pub duplicate_chance: f64,
    /// Probability of a spike, per reading at 20 Hz.
    pub spike_chance: f64,
    /// Number of gaps.
    pub gaps: usize,
}

impl Well {
    /// Stiffness of the line times its length, N.
    pub fn stiffness(&self) -> f64 {
        self.wire.modulus * self.wire.area
    }

    /// Weight of the line in the fluid, N/m.
    pub fn wire_weight(&self) -> f64 {
        (self.wire.density - self.hole.fluid_density) * self.wire.area * GRAVITY
    }

    /// What the pressure at the wellhead pushes out of the line's tension, N.
    pub fn pressure_force(&self) -> f64 {
        self.hole.wellhead_pressure * self.wire.area
    }

    /// Drag of all wheels rolling on whole pipe, N.
    pub fn rolling_drag(&self) -> f64 {
        self.cutter.rolling * self.cutter.radial_force * self.cutter.wheels as f64
    }

    /// Cosine of the inclination at a depth.
    pub fn cos_at(&self, depth: f64) -> f64 {
        self.hole.survey.inclination(depth).cos()
    }

    /// Tension at the rope socket at `depth` with the wheels in, N; `direction` 1 going up, -1 going down.
    pub fn tool_tension(&self, depth: f64, direction: f64) -> f64 {
        let inclination = self.hole.survey.inclination(depth);
        let pressed = self.tool.friction * self.tool.weight * inclination.sin() + SEALS;
        self.tool.weight * inclination.cos() + direction * pressed
    }
}

/// Friction of the tool that does not depend on how it lies, N.
pub const SEALS: f64 = 3.0;

/// Rounded as limits are written down, N.
pub fn to_50_newtons(force: f64) -> f64 {
    (force / 50.0).round() * 50.0
}
