//! What is told of the tool, cell by cell.

/// The tool at one moment.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Moment {
    /// Cell number.
    pub index: i64,
    /// Time, s.
    pub t: f64,
    /// Depth of the wheels along hole, m.
    pub depth: f64,
    /// Depth of the wheels if the tool follows the line, m: deeper than `depth` while it seems to stand
    /// under a slack line.
    pub line_depth: f64,
    /// Speed of the tool, positive down, m/s.
    pub speed: f64,
    /// Line paid out as counted, m.
    pub counted: f64,
    /// Line speed, positive in, m/s.
    pub line_speed: f64,
    /// Surface tension, N.
    pub tension: f64,
    /// Peak of surface tension in the cell, N.
    pub tension_max: f64,
    /// Drag at the tool if the line slips up: pull at the rope socket beyond the free tool's, N.
    pub drag_up: f64,
    /// Drag at the tool if the line slips down: weight at the rope socket that is missing, N.
    pub drag_down: f64,
    /// As `drag_up` from the tension averaged over an echo: for a tool that stands.
    pub hold_up: f64,
    /// As `drag_down`, likewise.
    pub hold_down: f64,
    /// Time of one swing of the tool on its line, s.
    pub swing: f64,
    /// Part of the tool's weight that the line carries at the rope socket.
    pub carried: f64,
    /// The line carries next to nothing of the tool: it stands on something, or hangs in it.
    pub unloaded: bool,
    /// Data were missing just before: speeds and drags are not to be trusted.
    pub after_gap: bool,
}

impl Moment {
    /// At rest at `depth` m, with nothing known of forces.
    pub fn still(depth: f64) -> Self {
        Self {
            index: 0,
            t: 0.0,
            depth,
            line_depth: depth,
            speed: 0.0,
            counted: depth,
            line_speed: 0.0,
            tension: 0.0,
            tension_max: 0.0,
            drag_up: 0.0,
            drag_down: 0.0,
            hold_up: 0.0,
            hold_down: 0.0,
            swing: 0.0,
            carried: 1.0,
            unloaded: false,
            after_gap: false,
        }
    }
}
