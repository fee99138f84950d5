//! A tool that stands: line paid out onto it lies slack above it, and does not take it down.

use super::Moment;

/// Socket tension below this part of the tool's weight: the tool stands on something.
const UNLOADED_PART: f64 = 0.05;
/// For so many cells: waves pass.
const UNLOADED_CELLS: u32 = 5;
/// Above this part it hangs on the line again.
const LOADED_PART: f64 = 0.3;

/// Whether the tool stands, and where.
#[derive(Debug, Clone, Default)]
pub(super) struct Footing {
    /// Depth at which it stands while the line is slack, m.
    stands_at: Option<f64>,
    unloaded_cells: u32,
}

impl Footing {
    /// Takes a moment whose depth follows the line; gives it back with the depth of the tool.
    pub(super) fn push(&mut self, mut m: Moment) -> Moment {
        match self.stands_at {
            None if m.carried < UNLOADED_PART && m.line_speed > 0.0 => {
                self.unloaded_cells += 1;
                if self.unloaded_cells >= UNLOADED_CELLS {
                    self.stands_at = Some(m.depth);
                }
            }
            // The line is taut again: where it says the tool is, there it is.
            Some(_) if m.carried > LOADED_PART => self.stands_at = None,
            Some(_) => {}
            None => self.unloaded_cells = 0,
        }
        if let Some(at) = self.stands_at {
            m.depth = m.depth.min(at);
            m.unloaded = true;
        }
        m
    }

    /// Depths are told anew, deeper by `by` m.
    pub(super) fn shift(&mut self, by: f64) {
        self.stands_at = self.stands_at.map(|at| at + by);
    }

    /// Depths are told anew: where it stood says nothing any more. A tool that stood then does so again at once,
    /// at the new depth.
    pub(super) fn new_counter(&mut self) {
        self.stands_at = None;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Line going in at 0.5 m/s, 0.01 m in each cell, with so much of the tool's weight on it.
    fn pay_out(footing: &mut Footing, from: f64, cells: u32, carried: f64) -> Moment {
        let mut told = Moment::still(from);
        for i in 0..cells {
            told = footing.push(Moment {
                carried,
                line_speed: 0.5,
                ..Moment::still(from + 0.01 * f64::from(i))
            });
        }
        told
    }

    #[test]
    fn line_paid_out_onto_a_standing_tool_leaves_it_where_it_stands() {
        let mut footing = Footing::default();
        let told = pay_out(&mut footing, 100.0, 50, 0.0);
        assert!(told.unloaded);
        assert_eq!(told.depth, 100.0 + 0.01 * 4.0);
    }

    #[test]
    fn a_wave_that_passes_is_no_footing() {
        let mut footing = Footing::default();
        pay_out(&mut footing, 100.0, 4, 0.0);
        assert!(!pay_out(&mut footing, 100.04, 1, 0.8).unloaded);
        assert!(!pay_out(&mut footing, 100.05, 4, 0.0).unloaded);
    }

    #[test]
    fn a_taut_line_takes_the_tool_along_and_a_little_weight_does_not() {
        let mut footing = Footing::default();
        pay_out(&mut footing, 100.0, 50, 0.0);
        assert!(pay_out(&mut footing, 100.5, 1, 0.2).unloaded);
        let told = pay_out(&mut footing, 100.6, 1, 0.4);
        assert_eq!((told.unloaded, told.depth), (false, 100.6));
    }

    #[test]
    fn a_tool_that_stands_while_its_depth_is_corrected_stands_at_the_corrected_one() {
        let mut footing = Footing::default();
        assert!(pay_out(&mut footing, 1000.0, 20, 0.0).unloaded);
        let stood = footing.stands_at.unwrap();
        footing.shift(3.0);
        let told = pay_out(&mut footing, 1003.2, 20, 0.0);
        assert_eq!(told.depth, stood + 3.0);
    }

    #[test]
    fn a_tool_that_stands_while_the_counter_is_set_stands_at_the_new_depth() {
        let mut footing = Footing::default();
        pay_out(&mut footing, 100.0, 50, 0.0);
        footing.new_counter();
        let told = pay_out(&mut footing, 200.0, 10, 0.0);
        assert_eq!((told.unloaded, told.depth), (true, 200.0));
    }
}
