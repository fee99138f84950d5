//! What the crew does next: weight checks, strokes, pauses, the end.
//!
//! Draws stand in one fixed order: another order is another run.

use super::{Crew, Order, Seen, Stage};
use crate::other_bench::dice::Dice;
use crate::other_bench::snags::Snags;
use crate::other_bench::well::Well;

/// Strokes over those expected after which a crew that waits for its fraction gives up: factor and number.
const PATIENCE: (f64, f64) = (1.7, 15.0);
/// A turn aimed at is this far beyond the interval, m.
const OVERRUN: f64 = 0.25;

impl Crew {
    /// Adds orders for what comes next, or moves on to the next stage. False: nothing is left to do.
    pub(super) fn plan(
        &mut self,
        well: &Well,
        seen: Seen,
        snags: &mut Snags,
        dice: &mut Dice,
    ) -> bool {
        match self.stage {
            Stage::Arrival => {
                self.stage = Stage::Cutting;
                if well.habits.check_before {
                    self.plan_first_check(well, dice);
                }
                self.run(well.hole.bottom + dice.between(0.2, 0.6), well, false);
                self.wait(5.0, 40.0, dice);
                self.orders.push_back(Order::CutterOut);
                self.wait(3.0, 20.0, dice);
            }
            Stage::Cutting => {
                let over = self.has_cut_enough(well, seen) || seen.time > well.habits.time_most;
                if self.next_up && over {
                    self.stage = Stage::Leaving;
                } else if self.next_up && self.is_check_due(well) {
                    self.plan_check_between(well, dice);
                } else {
                    self.plan_stroke(well, seen, snags, dice);
                }
            }
            Stage::Leaving => {
                self.stage = Stage::Gone;
                self.orders.push_back(Order::CutterIn);
                self.wait(3.0, 15.0, dice);
                if well.habits.check_after {
                    self.plan_last_check(well, dice);
                }
            }
            Stage::Gone => return false,
        }
        true
    }

    fn wait(&mut self, least: f64, most: f64, dice: &mut Dice) {
        self.orders
            .push_back(Order::Wait(dice.between(least, most)));
    }

    fn run(&mut self, depth: f64, well: &Well, up: bool) {
        let speed = usual_speed(well, up);
        self.orders.push_back(Order::ToolTo(depth, speed));
    }

    fn has_cut_enough(&self, well: &Well, seen: Seen) -> bool {
        let habits = &well.habits;
        let enough = match habits.strokes_planned {
            Some(planned) => self.strokes >= planned,
            None => {
                let gives_up = habits.strokes_expected * PATIENCE.0 + PATIENCE.1;
                seen.split >= habits.stop_fraction || self.strokes as f64 > gives_up
            }
        };
        enough && self.strokes >= habits.strokes_least
    }

    fn is_check_due(&self, well: &Well) -> bool {
        let every = well.habits.check_every;
        every.is_some_and(|strokes| self.since_check >= strokes)
    }

    fn plan_first_check(&mut self, well: &Well, dice: &mut Dice) {
        let low = well.hole.bottom + dice.between(0.3, 1.0);
        let high = well.hole.top - dice.between(1.0, 10.0);
        self.run(low, well, false);
        self.wait(3.0, 15.0, dice);
        self.orders.push_back(Order::WeightCheck);
        self.run(high, well, true);
        self.wait(3.0, 15.0, dice);
        if dice.chance(0.6) {
            self.run(low, well, false);
            self.wait(3.0, 12.0, dice);
            self.run(high, well, true);
            self.wait(3.0, 12.0, dice);
        }
    }

    fn plan_check_between(&mut self, well: &Well, dice: &mut Dice) {
        self.since_check = 0;
        self.orders.push_back(Order::CutterIn);
        self.wait(3.0, 15.0, dice);
        self.orders.push_back(Order::WeightCheck);
        self.run(well.hole.top - dice.between(1.0, 6.0), well, true);
        self.wait(4.0, 20.0, dice);
        self.run(well.hole.bottom + dice.between(0.3, 0.9), well, false);
        self.wait(3.0, 15.0, dice);
        self.orders.push_back(Order::CutterOut);
        self.wait(3.0, 12.0, dice);
    }

    fn plan_last_check(&mut self, well: &Well, dice: &mut Dice) {
        self.orders.push_back(Order::WeightCheck);
        self.run(well.hole.top - dice.between(2.0, 8.0), well, true);
        self.wait(5.0, 30.0, dice);
        if dice.chance(0.5) {
            self.run(well.hole.bottom + 0.5, well, false);
            self.wait(5.0, 20.0, dice);
            self.run(well.hole.top - dice.between(2.0, 8.0), well, true);
            self.wait(5.0, 20.0, dice);
        }
    }

    fn plan_stroke(&mut self, well: &Well, seen: Seen, snags: &mut Snags, dice: &mut Dice) {
        let (hole, habits) = (&well.hole, &well.habits);
        let up = self.next_up;
        let off = (habits.turn_spread * dice.normal()).clamp(-2.0, 2.0);
        let (edge, overrun) = if up {
            (hole.top, -OVERRUN)
        } else {
            (hole.bottom, OVERRUN)
        };
        let mut turn = edge + overrun + off;
        let partial = up && dice.chance(habits.partial_chance);
        if partial {
            turn = hole.bottom - hole.length() * dice.between(0.4, 0.8);
        }
        if (turn - seen.tool).abs() < 1.0 {
            turn = edge;
        }
        let speed = usual_speed(well, up) * dice.between(0.97, 1.03);
        let learned = if up {
            self.knows.offset_up
        } else {
            self.knows.offset_down
        };
        let order = match learned {
            Some(offset) if habits.by_counter && self.strokes > 3 => {
                Order::CounterTo(turn + offset, speed)
            }
            _ => Order::ToolTo(turn, speed),
        };
        self.orders.push_back(order);
        let pause = if dice.chance(habits.long_pause_chance) {
            dice.between(30.0, 300.0)
        } else {
            habits.pause * dice.between(0.4, 1.8)
        };
        self.orders.push_back(Order::Wait(pause));
        snags.arm(self.strokes, up);
        self.last_partial = partial;
        self.retries = 0;
        self.strokes += 1;
        self.since_check += 1;
        self.next_up = !up;
    }
}

fn usual_speed(well: &Well, up: bool) -> f64 {
    if up {
        well.habits.speed_up
    } else {
        well.habits.speed_down
    }
}
