//! Unstretched line paid out, from what the counter says.

use super::ToolMotion;
use crate::align::Cell;
use crate::job::Counts;
use crate::model::Motion;

impl ToolMotion {
    /// Unstretched line paid out. A tensioned metre at tension T holds 1/(1 + T/EA) of line.
    pub(super) fn advance_line(&mut self, tension: f64, counted: f64) {
        match self.counts {
            Counts::Relaxed => self.line = counted,
            Counts::Tensioned => match self.last {
                Some(Cell {
                    tension: Some(t0),
                    line: Some(s0),
                    ..
                }) => {
                    let strain = 0.5 * (t0 + tension) / self.hanging.ea;
                    self.line += (counted - s0) / (1.0 + strain);
                }
                _ => self.line = self.line_at_start(counted),
            },
        }
    }

    /// Line that a run-in to `counted` metres would have paid out, with running-in tension.
    fn line_at_start(&self, counted: f64) -> f64 {
        if counted <= 0.0 {
            return counted;
        }
        let h = &self.hanging;
        let steps = 64;
        let step = counted / f64::from(steps);
        let mut line = 0.0;
        for i in 0..steps {
            let md = (f64::from(i) + 0.5) * step;
            let pull = h.tool_pull(Motion::Down, md, self.friction.1);
            let surface = self.table.surface_tension(Motion::Down, pull, md);
            let tension = (surface - h.pressure_force - h.packing).max(0.0);
            line += step / (1.0 + tension / h.ea);
        }
        line
    }
}
