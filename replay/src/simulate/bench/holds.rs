//! What holds the tool: places of the scenario, and hang-ups at couplings.

use super::Bench;

/// A place that holds the tool.
#[derive(Debug, Clone)]
pub(super) struct Hold {
    pub(super) stroke: u32,
    pub(super) up: bool,
    pub(super) depth: f64,
    pub(super) force: f64,
    pub(super) tries: u32,
    pub(super) engaged: bool,
    /// Felt since the line was last worked.
    pub(super) met: bool,
    pub(super) done: bool,
}

/// Distance over which a hold acts, m.
const HOLD_LENGTH: f64 = 0.03;
impl Bench {
    /// The wheels moved from one depth to another.
    pub(super) fn update_holds(&mut self, from: f64, to: f64) {
        let up = to < from;
        let stroke = self.winch.stroke;
        for hold in &mut self.holds {
            if hold.engaged {
                let past = if hold.up {
                    hold.depth - to
                } else {
                    to - hold.depth
                };
                if past > HOLD_LENGTH {
                    hold.engaged = false;
                    hold.done = true;
                } else if past < -0.05 {
                    // Worked away from the place: it will be met again.
                    hold.engaged = false;
                }
                continue;
            }
            let crossed = if up {
                from > hold.depth && to <= hold.depth
            } else {
                from < hold.depth && to >= hold.depth
            };
            if !hold.done && hold.up == up && stroke >= hold.stroke && crossed {
                hold.engaged = true;
                hold.met = true;
            }
        }
        // Hang-ups at couplings on the way up with the wheels out.
        let behind = self.pipe.couplings.partition_point(|centre| *centre < to);
        let pipe = &self.scenario.pipe;
        if up && behind < self.coupling_behind && self.cutter.out && stroke > 0 {
            let chance = self.hangups.chance(pipe.hangup_chance);
            let force = pipe.hangup_force.0 * (0.35 * self.hangups.normal()).exp();
            if chance {
                self.holds.push(Hold {
                    stroke: 0,
                    up: true,
                    depth: to,
                    force,
                    tries: 2,
                    engaged: true,
                    met: true,
                    done: false,
                });
            }
        }
        self.coupling_behind = behind;
        self.holds.retain(|hold| !(hold.done && hold.stroke == 0));
    }
}
