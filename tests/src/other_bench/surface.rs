//! The line above ground: pressure at the wellhead, the packing, the sheaves.
//!
//! Tension above the packing: `T - p A + z F`, at the winch that times `1 + s k`; `p A` pressure force, `F` friction of the
//! packing, `k` loss over the sheaves. `z` and `s` lie between -1 (line going down) and 1 (up) and follow the way the line
//! goes: a turn takes millimetres to come through, as bristles bend before they slide (presliding; invented lengths).

use super::well::Well;

/// Way over which the packing turns by a factor e, m.
const PACKING_TURNS: f64 = 0.006;
/// The same of the sheaves, m.
const SHEAVES_TURN: f64 = 0.02;

/// State of packing and sheaves.
#[derive(Debug, Clone)]
pub struct Surface {
    packing: f64,
    sheaves: f64,
}

/// Tension above ground, N.
#[derive(Debug, Clone, Copy)]
pub struct AboveGround {
    /// In the line, which stretches it.
    pub line: f64,
    /// At the load cell.
    pub cell: f64,
}

impl Surface {
    /// After the line went down.
    pub fn new() -> Self {
        Self {
            packing: -1.0,
            sheaves: -1.0,
        }
    }

    /// The line moves by `way` (m, up positive) with this tension below the packing (N).
    pub fn moves(&mut self, well: &Well, way: f64, below: f64) -> AboveGround {
        let (size, towards) = (way.abs(), way.signum());
        if size > 0.0 {
            let gains = |length: f64| 1.0 - (-size / length).exp();
            self.packing += (towards - self.packing) * gains(PACKING_TURNS);
            self.sheaves += (towards - self.sheaves) * gains(SHEAVES_TURN);
        }
        let line = (below - well.pressure_force() + well.wire.packing * self.packing).max(0.0);
        AboveGround {
            line,
            cell: line * (1.0 + well.wire.sheave_loss * self.sheaves),
        }
    }
}

impl Default for Surface {
    fn default() -> Self {
        Self::new()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::other_bench::sample::well;

    #[test]
    fn a_turn_swings_by_twice_the_packing_within_centimetres() {
        let mut well = well();
        well.wire.sheave_loss = 0.0;
        let mut surface = Surface::new();
        let down = surface.moves(&well, -0.5, 2000.0).cell;
        let turning = surface.moves(&well, 0.002, 2000.0).cell;
        let up = surface.moves(&well, 0.5, 2000.0).cell;
        assert!(down < turning && turning < up);
        assert!((up - down - 2.0 * well.wire.packing).abs() < 1e-6);
        // A line at rest keeps what it has.
        assert_eq!(surface.moves(&well, 0.0, 2000.0).cell, up);
    }
}
