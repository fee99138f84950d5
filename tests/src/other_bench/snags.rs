//! Places that hold the tool: jams on the way up, obstructions on the way down, couplings it hangs at.
//!
//! A planned jam or obstruction waits from its stroke on; one of a kind is armed at a time. It bites when the tool arrives
//! with the wheels out, holds with any force (or with its own, beyond which the tool pops free), and lets go of a tool that
//! draws back by six centimetres; after so many times it is gone.

use super::dice::Dice;
use super::well::{Jam, Obstruction, Well};

/// A force that nothing overcomes, N.
const ANY_FORCE: f64 = 1e7;
/// Way past a place over which it still bites, m: a step may go past it.
const BITES_OVER: f64 = 0.15;
/// Way back after which it has let go, m.
const LETS_GO: f64 = 0.06;
/// Way past a place after which a tool pulled through it is free, m.
const POPPED: f64 = 0.02;
/// Time after a coupling in which the next is not felt, s.
const COUPLING_REST: f64 = 8.0;
/// Tries of a coupling: more than any crew makes, only force frees it.
const COUPLING_TRIES: usize = 9;

#[derive(Debug, Clone, Copy)]
struct Place {
    depth: f64,
    tries: usize,
    pop_force: Option<f64>,
}

impl Place {
    /// After one more time, if there is one.
    fn after_a_try(self) -> Option<Self> {
        (self.tries > 1).then_some(Self {
            tries: self.tries - 1,
            ..self
        })
    }
}

/// What is planned, what is armed, what has bitten.
#[derive(Debug, Clone)]
pub struct Snags {
    jams: Vec<Jam>,
    obstructions: Vec<Obstruction>,
    jam: Option<Place>,
    jam_bites: bool,
    obstruction: Option<Place>,
    obstruction_bites: bool,
    coupling_rests_until: f64,
}

/// The tool as it arrives.
#[derive(Debug, Clone, Copy)]
pub struct Arrival {
    /// Middle of the wheels, m.
    pub depth: f64,
    /// m/s, down positive.
    pub speed: f64,
    /// s
    pub time: f64,
}

/// Forces that hold the tool, N.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Hold {
    /// Going up.
    pub up: f64,
    /// Going down.
    pub down: f64,
}

impl Snags {
    /// What the well has in store.
    pub fn new(well: &Well) -> Self {
        Self {
            jams: well.troubles.jams.clone(),
            obstructions: well.troubles.obstructions.clone(),
            jam: None,
            jam_bites: false,
            obstruction: None,
            obstruction_bites: false,
            coupling_rests_until: -1.0,
        }
    }

    /// Whether an obstruction is armed.
    pub fn is_obstructed(&self) -> bool {
        self.obstruction.is_some()
    }

    /// A stroke begins: arms what is due on its way.
    pub fn arm(&mut self, stroke: usize, up: bool) {
        if up && self.jam.is_none() {
            if let Some(due) = self.jams.iter().position(|jam| stroke >= jam.stroke) {
                let jam = self.jams.remove(due);
                self.jam = Some(Place {
                    depth: jam.depth,
                    tries: jam.tries,
                    pop_force: jam.pop_force,
                });
                self.jam_bites = false;
            }
        } else if !up && self.obstruction.is_none() {
            let is_due = |place: &Obstruction| stroke >= place.stroke;
            if let Some(due) = self.obstructions.iter().position(is_due) {
                let place = self.obstructions.remove(due);
                self.obstruction = Some(Place {
                    depth: place.depth,
                    tries: place.tries,
                    pop_force: None,
                });
                self.obstruction_bites = false;
            }
        }
    }

    /// What holds the tool, its wheels out.
    pub fn hold(&mut self, well: &Well, tool: Arrival, dice: &mut Dice) -> Hold {
        let hold = Hold {
            up: self.jam_holds(tool),
            down: self.obstruction_holds(tool),
        };
        self.maybe_hang(well, tool, dice);
        hold
    }

    fn jam_holds(&mut self, tool: Arrival) -> f64 {
        let Some(jam) = self.jam else { return 0.0 };
        let mut force = 0.0;
        let arrives = tool.depth <= jam.depth && tool.depth > jam.depth - BITES_OVER;
        if arrives && (self.jam_bites || tool.speed < 0.0) {
            self.jam_bites = true;
            force = jam.pop_force.unwrap_or(ANY_FORCE);
        }
        if self.jam_bites {
            if jam.pop_force.is_some() && tool.depth < jam.depth - POPPED {
                self.jam = None;
                self.jam_bites = false;
                return 0.0;
            }
            if tool.depth > jam.depth + LETS_GO {
                self.jam_bites = false;
                self.jam = jam.after_a_try();
            }
        }
        force
    }

    fn obstruction_holds(&mut self, tool: Arrival) -> f64 {
        let Some(place) = self.obstruction else {
            return 0.0;
        };
        let mut force = 0.0;
        let arrives = tool.depth >= place.depth && tool.depth < place.depth + BITES_OVER;
        if arrives && (self.obstruction_bites || tool.speed > 0.0) {
            self.obstruction_bites = true;
            force = ANY_FORCE;
        }
        if self.obstruction_bites && tool.depth < place.depth - LETS_GO {
            self.obstruction_bites = false;
            self.obstruction = place.after_a_try();
        }
        force
    }

    /// Couplings are felt on the way up, at their lower edge.
    fn maybe_hang(&mut self, well: &Well, tool: Arrival, dice: &mut Dice) {
        let troubles = &well.troubles;
        let moves_up = tool.speed < -0.02;
        let rests = tool.time <= self.coupling_rests_until;
        if troubles.hang_chance <= 0.0 || self.jam.is_some() || !moves_up || rests {
            return;
        }
        for coupling in &well.pipe.couplings {
            let edge = coupling + well.pipe.coupling_length / 2.0;
            if tool.depth <= edge && tool.depth > edge - 0.05 {
                self.coupling_rests_until = tool.time + COUPLING_REST;
                if dice.chance(troubles.hang_chance) {
                    self.jam = Some(Place {
                        depth: tool.depth,
                        tries: COUPLING_TRIES,
                        pop_force: Some(troubles.hang_force * dice.between(0.6, 1.4)),
                    });
                    self.jam_bites = true;
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::other_bench::sample::well;

    fn at(depth: f64, speed: f64) -> Arrival {
        Arrival {
            depth,
            speed,
            time: 100.0,
        }
    }

    #[test]
    fn a_jam_holds_until_it_was_run_down_often_enough() {
        let mut well = well();
        well.troubles.hang_chance = 0.0;
        well.troubles.jams = vec![Jam {
            stroke: 2,
            depth: 1000.0,
            tries: 2,
            pop_force: None,
        }];
        let mut snags = Snags::new(&well);
        let mut dice = Dice::new(1);
        let mut hold = |snags: &mut Snags, tool| snags.hold(&well, tool, &mut dice).up;
        snags.arm(1, true);
        assert_eq!(hold(&mut snags, at(999.99, -0.2)), 0.0);
        snags.arm(2, true);
        for _ in 0..2 {
            assert_eq!(hold(&mut snags, at(1000.5, -0.2)), 0.0);
            assert_eq!(hold(&mut snags, at(999.99, -0.2)), ANY_FORCE);
            assert_eq!(hold(&mut snags, at(1000.1, 0.2)), 0.0);
        }
        assert_eq!(hold(&mut snags, at(999.99, -0.2)), 0.0);
    }

    #[test]
    fn an_obstruction_holds_going_down_only() {
        let mut well = well();
        well.troubles.hang_chance = 0.0;
        well.troubles.obstructions = vec![Obstruction {
            stroke: 0,
            depth: 1000.0,
            tries: 1,
        }];
        let mut snags = Snags::new(&well);
        snags.arm(0, false);
        assert!(snags.is_obstructed());
        let mut dice = Dice::new(1);
        assert_eq!(snags.hold(&well, at(1000.01, -0.2), &mut dice).down, 0.0);
        assert_eq!(
            snags.hold(&well, at(1000.01, 0.2), &mut dice).down,
            ANY_FORCE
        );
        snags.hold(&well, at(999.9, -0.2), &mut dice);
        assert!(!snags.is_obstructed());
    }
}
