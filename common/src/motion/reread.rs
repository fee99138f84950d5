//! Drag of strokes made before friction and weight were learned, read again with what is known now.
//!
//! Drag is what the tool needs beyond the free tool; where the free tool's weight was wrong by a
//! hundred newtons, so were the drags told until then, one way up and the other way down. From such
//! a drag the surface tension follows with the old values, and from that the drag with the new ones.

use super::{Hanging, ToolMotion};
use crate::model::Motion;
use crate::model::profile_table::ProfileTable;

/// What drag is worked out with.
#[derive(Debug, Clone)]
pub struct FreeTool {
    table: ProfileTable,
    hanging: Hanging,
    /// Friction of the tool, up and down.
    friction: (f64, f64),
    /// Reading of the cell at no load, N.
    offset: f64,
    /// Fluid drag on line (N per m/s and metre) and tool (N per m/s).
    fluid: (f64, f64),
}

impl ToolMotion {
    /// What drag is worked out with at present.
    pub fn free_tool(&self) -> FreeTool {
        FreeTool {
            table: self.table.clone(),
            hanging: self.hanging.clone(),
            friction: self.tool_friction,
            offset: self.cell_offset,
            fluid: self.fluid,
        }
    }
}

impl FreeTool {
    /// The drag that `now` gives where these values gave `drag` N: a stroke `up` or down at `speed` m/s,
    /// `length` m of line.
    pub fn reread(&self, now: &Self, up: bool, length: f64, speed: f64, drag: f64) -> f64 {
        now.drag(up, length, speed, self.surface(up, length, speed, drag))
    }

    /// Surface tension without pressure, which both know alike.
    fn surface(&self, up: bool, length: f64, speed: f64, drag: f64) -> f64 {
        let (motion, sign) = way(up);
        let pull = self.pull(up, length) + sign * drag;
        self.table.surface_tension(motion, pull, length)
            + sign * (self.fluid_drag(length, speed) + self.hanging.packing)
            + self.offset
    }

    fn drag(&self, up: bool, length: f64, speed: f64, surface: f64) -> f64 {
        let (motion, sign) = way(up);
        let below =
            surface - self.offset - sign * (self.fluid_drag(length, speed) + self.hanging.packing);
        sign * (self.table.tension_at(motion, below, length) - self.pull(up, length))
    }

    fn pull(&self, up: bool, length: f64) -> f64 {
        let friction = if up { self.friction.0 } else { self.friction.1 };
        self.hanging.tool_pull(way(up).0, length, friction)
    }

    fn fluid_drag(&self, length: f64, speed: f64) -> f64 {
        speed * (self.fluid.0 * length + self.fluid.1)
    }
}

fn way(up: bool) -> (Motion, f64) {
    if up {
        (Motion::Up, 1.0)
    } else {
        (Motion::Down, -1.0)
    }
}
