//! Friction of the line on the pipe, as a chain of segments that each stick until they slip.
//!
//! Tension below a segment follows tension above it with a dead band: as long as the segment
//! sticks, nothing reaches the part below. A reversal therefore turns the chain over from the top
//! down, and the tool stays where it is until the last segment has slipped. This *is* the dead
//! band on reversal and the hysteresis of stretch; nothing else in the code knows about reversals.
//!
//! Segment limits come from soft-string drag ([`crate::model::profile_table`]), made linear in tension around the
//! present operating point: `above = gain * below + offset`, one pair for each way of slipping; so all of them together
//! are linear too.
//!
//! *Check*: with uniform friction `f` per metre a tension change of `2 f z` reaches depth `z` and
//! takes `f z^2/EA` of line (shared check values, section 1); see the tests.

use crate::model::Motion;
use crate::model::profile_table::ProfileTable;

/// Segments of the chain. Sixteen resolve take-up to about a hundredth of the dead band.
pub const SEGMENTS: usize = 16;

/// Tension above a part of the line that slips, from that below it, and back.
#[derive(Debug, Clone, Copy)]
struct Slip {
    /// Above over below.
    gain: f64,
    /// Above, with nothing below, N.
    offset: f64,
    /// Below over above: divisions one behind the other are what a chain is slow by.
    back: f64,
}

impl Default for Slip {
    fn default() -> Self {
        Self::new(1.0, 0.0)
    }
}

impl Slip {
    fn new(gain: f64, offset: f64) -> Self {
        let back = gain.recip();
        Self { gain, offset, back }
    }

    #[inline]
    fn below(self, above: f64) -> f64 {
        (above - self.offset) * self.back
    }

    #[inline]
    fn above(self, below: f64) -> f64 {
        self.gain * below + self.offset
    }

    /// This part with another that hangs below it.
    fn with(self, lower: Self) -> Self {
        Self::new(self.gain * lower.gain, self.above(lower.offset))
    }
}

/// A part of the line that slips up or down.
#[derive(Debug, Clone, Copy, Default)]
struct Segment {
    up: Slip,
    down: Slip,
}

impl Segment {
    #[inline]
    fn slip(&self, motion: Motion) -> Slip {
        if motion == Motion::Up {
            self.up
        } else {
            self.down
        }
    }
}

/// The chain and its present tensions.
#[derive(Debug, Clone)]
pub struct FrictionChain {
    segments: [Segment; SEGMENTS],
    /// From the top through each segment, as one.
    through: [Segment; SEGMENTS],
    /// Tension at the top and below each segment, N.
    tension: [f64; SEGMENTS + 1],
    /// Line length for which `segments` holds, m.
    length: f64,
    set: bool,
    /// Tensions may be none that these segments could have: laid out anew, or pushed, and not driven since.
    fresh: bool,
    /// Which way the last segment slipped last: that way the whole line has turned.
    turned: Option<Motion>,
}

impl Default for FrictionChain {
    fn default() -> Self {
        Self {
            segments: [Segment::default(); SEGMENTS],
            through: [Segment::default(); SEGMENTS],
            tension: [0.0; SEGMENTS + 1],
            length: 0.0,
            set: false,
            fresh: true,
            turned: None,
        }
    }
}

impl FrictionChain {
    /// Lays the chain out again when the line length has changed by more than a two-hundredth
    /// (and one metre), around surface tensions `low` (running in) and `high` (pulling out), N.
    pub fn lay_out(&mut self, table: &ProfileTable, length: f64, low: f64, high: f64) {
        if (length - self.length).abs() < (0.005 * length).max(1.0) && self.set {
            return;
        }
        self.force_lay_out(table, length, low, high);
    }

    /// Lays the chain out again whatever the length (after friction was learned).
    pub fn force_lay_out(&mut self, table: &ProfileTable, length: f64, low: f64, high: f64) {
        self.length = length;
        self.fresh = true;
        for motion in [Motion::Up, Motion::Down] {
            let (a, b) = (low.min(high - 50.0), high);
            let (mut above_a, mut above_b) = (a, b);
            let mut whole = Slip::default();
            for i in 0..SEGMENTS {
                let x = length * (i + 1) as f64 / SEGMENTS as f64;
                let below_a = table.tension_at(motion, a, x);
                let below_b = table.tension_at(motion, b, x);
                let width = below_b - below_a;
                let gain = if width > 1.0 {
                    ((above_b - above_a) / width).max(0.2)
                } else {
                    1.0
                };
                let offset = 0.5 * ((above_a + above_b) - gain * (below_a + below_b));
                let slip = Slip::new(gain, offset);
                whole = whole.with(slip);
                let (s, through) = (&mut self.segments[i], &mut self.through[i]);
                if motion == Motion::Up {
                    (s.up, through.up) = (slip, whole);
                } else {
                    (s.down, through.down) = (slip, whole);
                }
                (above_a, above_b) = (below_a, below_b);
            }
        }
    }

    /// The top now carries `surface` N; every segment slips as far as it must.
    pub fn drive(&mut self, surface: f64) {
        self.tension[0] = surface;
        let mut above = surface;
        for (s, tension) in self.segments.iter().zip(&mut self.tension[1..]) {
            let (up, down) = (s.up.below(above), s.down.below(above));
            // A line can't be pushed.
            let (low, high) = (
                greater(lesser(up, down), 0.0),
                greater(greater(up, down), 0.0),
            );
            let reached = if self.set {
                lesser(greater(*tension, low), high)
            } else {
                0.5 * (low + high)
            };
            // What sticks lets nothing through.
            if reached == *tension && !self.fresh {
                break;
            }
            *tension = reached;
            above = reached;
        }
        self.set = true;
        self.fresh = false;
        if let Some(motion) = self.slips_at_the_tool() {
            self.turned = Some(motion);
        }
    }

    /// Which way the last segment slips at this moment.
    fn slips_at_the_tool(&self) -> Option<Motion> {
        let s = self.segments[SEGMENTS - 1];
        let (above, below) = (self.tension[SEGMENTS - 1], self.tension[SEGMENTS]);
        let (up, down) = (s.up.below(above), s.down.below(above));
        // Closer than this share of the dead band counts as there.
        let near = 0.01 * (down - up).abs() + 1e-9;
        if (below - up).abs() <= near {
            Some(Motion::Up)
        } else if (below - down).abs() <= near {
            Some(Motion::Down)
        } else {
            None
        }
    }

    /// Which way the whole line has turned last.
    pub fn turned(&self) -> Option<Motion> {
        self.turned
    }

    /// While the tool moves, every metre of line moves with it, and friction is fully turned that way even where
    /// tension falls, as it does whenever the tool swings on its line.
    pub fn slide(&mut self, motion: Motion) {
        if motion == Motion::Rest {
            return;
        }
        // Each from the top, not from the one above it: none has to wait for another.
        let top = self.tension[0];
        for (through, tension) in self.through.iter().zip(&mut self.tension[1..]) {
            *tension = through.slip(motion).below(top);
        }
        // A line that slides with nothing to pull it may be told to push, which the next drive mends all the way down.
        self.fresh |= self.tension.iter().any(|tension| *tension < 0.0);
    }

    /// Integral of tension over the line, N m: divided by EA it is the elastic stretch.
    pub fn tension_integral(&self) -> f64 {
        let inner: f64 = self.tension[1..SEGMENTS].iter().sum();
        (inner + 0.5 * (self.tension[0] + self.tension[SEGMENTS])) * self.length / SEGMENTS as f64
    }

    /// Line length for which the chain was laid out, m.
    pub fn length(&self) -> f64 {
        self.length
    }

    /// Tension at the rope socket, N.
    pub fn socket_tension(&self) -> f64 {
        self.tension[SEGMENTS]
    }

    /// The whole line, slipping one way.
    fn whole(&self, motion: Motion) -> Slip {
        self.through[SEGMENTS - 1].slip(motion)
    }

    /// Tension at the rope socket if the whole line slipped one way with `surface` N at the top.
    pub fn slipping(&self, motion: Motion, surface: f64) -> f64 {
        self.whole(motion).below(surface)
    }

    /// Surface tension when the whole line slips one way with `socket` N at the rope socket.
    pub fn surface(&self, motion: Motion, socket: f64) -> f64 {
        self.whole(motion).above(socket)
    }

    /// d(surface tension)/d(socket tension) when the whole line slips.
    pub fn gain(&self, motion: Motion) -> f64 {
        self.whole(motion).gain
    }
}

/// As `f64::min` and `f64::max`, in one instruction each: tensions are numbers.
#[inline]
fn lesser(a: f64, b: f64) -> f64 {
    if a < b { a } else { b }
}

#[inline]
fn greater(a: f64, b: f64) -> f64 {
    if a > b { a } else { b }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::line::LineInFluid;
    use crate::model::wellpath::WellPath;

    /// Elastic stretch of 0.108 in wire in water, values of the shared check table.
    #[test]
    fn a_hanging_line_is_stretched_as_the_check_values_say() {
        let line = LineInFluid::new(0.108 * 0.0254, 200e9, 7850.0, 1000.0);
        let table = ProfileTable::new(&WellPath::vertical(), line, 0.3, 0.2, 4000.0);
        for (length, load, wanted) in [
            (2000.0, 0.0, 0.6718),
            (4000.0, 0.0, 2.6870),
            (2000.0, 2000.0, 4.055_72),
            (3000.0, 1500.0, 5.318_40),
        ] {
            let top = load + line.weight_n_m * length;
            let mut chain = FrictionChain::default();
            chain.lay_out(&table, length, top - 500.0, top + 500.0);
            chain.drive(top);
            let found = chain.tension_integral() / line.ea_n;
            assert!(
                (found - wanted).abs() < 1e-4,
                "{length} m, {load} N: {found}"
            );
        }
    }

    /// Distributed drag of 0.1 N/m on 0.108 in wire, values of the shared check table: dT 100,
    /// 200, 400 N reach 500, 1000, 2000 m and take 0.02115, 0.08460, 0.33840 m.
    #[test]
    fn take_up_after_a_reversal_grows_with_the_square_of_the_depth_reached() {
        let (ea, f, length) = (1_182_050.0, 0.1, 2000.0);
        let mut chain = FrictionChain {
            length,
            ..FrictionChain::default()
        };
        let step = length / SEGMENTS as f64;
        for s in &mut chain.segments {
            *s = Segment {
                up: Slip::new(1.0, f * step),
                down: Slip::new(1.0, -f * step),
            };
        }
        chain.drive(1000.0);
        chain.drive(3000.0);
        chain.drive(1000.0);
        let start = chain.tension_integral();
        for (rise, taken) in [(100.0, 0.02115), (200.0, 0.08460), (400.0, 0.33840)] {
            assert_eq!(chain.turned(), Some(Motion::Down), "before {rise} N");
            chain.drive(1000.0 + rise);
            let moved = (chain.tension_integral() - start) / ea;
            // Trapezoid over sixteen segments: the error is below half a segment's share.
            assert!(
                (moved - taken).abs() < 0.004,
                "{rise} N: {moved} against {taken} m"
            );
        }
        let held = chain.socket_tension();
        assert!(
            (held - (1000.0 + f * length)).abs() < 1e-9,
            "the tool feels nothing yet"
        );
        chain.drive(1000.0 + 2.0 * f * length + 1.0);
        assert_eq!(chain.turned(), Some(Motion::Up));
    }
}
