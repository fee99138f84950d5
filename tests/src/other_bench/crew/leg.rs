//! One order at the winch, from setting off to standstill, and what is done when it had to be broken off.

use super::{Crew, Order, Seen, Stage};
use crate::other_bench::dice::Dice;
use crate::other_bench::well::Well;

/// Shorter ways are not run, m.
const WAY_LEAST: f64 = 0.2;
/// Shorter strokes teach nothing, m.
const STROKE_LEAST: f64 = 0.5;
/// Speed below which the winch counts as going, m/s.
const GOING: f64 = 0.01;
/// Times a pull is tried again.
const PULLS_MOST: usize = 12;
/// Times a run down is tried again; with an obstruction in the way.
const LOWERINGS_MOST: (usize, usize) = (3, 5);
/// Strokes between two states of the groove kept for the truth.
const HISTORY_EVERY: usize = 10;

/// Why an order was broken off.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum BrokenOff {
    Tight,
    Slack,
}

/// An order being carried out.
#[derive(Debug, Clone)]
pub(super) struct Leg {
    order: Order,
    /// 1 down, -1 up, 0 none.
    direction: f64,
    wait_left: f64,
    counter_start: f64,
    /// Counter when the tool last moved, m.
    counter_moved: f64,
    tool_start: f64,
    stopping: bool,
    broken_off: Option<BrokenOff>,
    /// Tension times time, and time, at full speed: N s, s.
    pulled: (f64, f64),
}

/// What the winch is to do.
#[derive(Debug, Clone, Copy)]
pub struct Wish {
    /// Speed, m/s, down positive.
    pub speed: f64,
    /// At this acceleration, m/s².
    pub acceleration: f64,
    /// The groove is to be kept for the truth now.
    pub keep_groove: bool,
}

impl Leg {
    /// `None` when there is nothing to run.
    pub(super) fn begin(order: Order, seen: Seen) -> Option<Self> {
        let way = |way: f64| (way.abs() > WAY_LEAST).then_some(way.signum());
        let (order, direction) = match order {
            Order::ToolTo(depth, _) => (order, way(depth - seen.tool)?),
            Order::CounterTo(depth, _) => (order, way(depth - seen.counter)?),
            Order::CounterBy(length, speed) => {
                let to = Order::CounterTo(seen.counter + length, speed);
                (to, length.signum())
            }
            _ => (order, 0.0),
        };
        Some(Self {
            order,
            direction,
            wait_left: if let Order::Wait(time) = order {
                time
            } else {
                0.0
            },
            counter_start: seen.counter,
            counter_moved: seen.counter,
            tool_start: seen.tool,
            stopping: false,
            broken_off: None,
            pulled: (0.0, 0.0),
        })
    }

    pub(super) fn notice_motion(&mut self, counter: f64) {
        self.counter_moved = counter;
    }

    /// Way left, m. A tool that does not follow a line run out, or stays away for good, counts as arrived.
    fn way_left(&self, crew: &Crew, seen: Seen) -> f64 {
        match self.order {
            Order::ToolTo(depth, _) => {
                let knows = &crew.knows;
                let run = (seen.counter - self.counter_start).abs();
                let stretch = 1.5 * (knows.usual_up - knows.free_down).abs() / knows.spring;
                let run_most = (depth - self.tool_start).abs() + 4.0 + stretch;
                let left = (depth - seen.tool) * self.direction;
                let stands = (seen.counter - self.counter_moved).abs() > 0.6;
                if run > run_most || (left < 1.2 && stands) {
                    0.0
                } else {
                    left
                }
            }
            Order::CounterTo(depth, _) => (depth - seen.counter) * self.direction,
            _ => 0.0,
        }
    }

    fn goes_up(&self) -> bool {
        self.direction < 0.0
    }
}

impl Crew {
    /// Carries the order out for `time` (s).
    pub fn drive(
        &mut self,
        well: &Well,
        seen: Seen,
        obstructed: bool,
        time: f64,
        dice: &mut Dice,
    ) -> Wish {
        let mut wish = Wish {
            speed: 0.0,
            acceleration: well.habits.acceleration,
            keep_groove: false,
        };
        let Some(mut leg) = self.leg.take() else {
            return wish;
        };
        let speed = match leg.order {
            Order::ToolTo(_, speed) | Order::CounterTo(_, speed) => speed,
            _ => {
                leg.wait_left -= time;
                if leg.wait_left > 0.0 {
                    self.leg = Some(leg);
                }
                return wish;
            }
        };
        let brakes_over = seen.winch * seen.winch / (2.0 * well.habits.acceleration);
        if leg.way_left(self, seen) <= brakes_over {
            leg.stopping = true;
        }
        if !leg.stopping {
            wish.speed = speed * leg.direction;
        }
        if seen.winch.abs() > 0.8 * speed {
            leg.pulled.0 += seen.tension.unwrap_or(0.0) * time;
            leg.pulled.1 += time;
        }
        if leg.broken_off.is_none() {
            leg.broken_off = self.must_break_off(well, &leg, seen);
            leg.stopping |= leg.broken_off.is_some();
        }
        if leg.broken_off.is_some() {
            wish.acceleration = (well.habits.acceleration * 3.0).clamp(0.3, 0.8);
        }
        if !(leg.stopping && seen.winch.abs() < 1e-9) {
            self.leg = Some(leg);
            return wish;
        }
        match leg.broken_off {
            Some(BrokenOff::Tight) => self.slack_off(well, leg.order, seen, dice),
            Some(BrokenOff::Slack) => self.pick_up(well, leg.order, seen, obstructed, dice),
            None => wish.keep_groove = self.finish(&leg, seen),
        }
        wish
    }

    fn must_break_off(&self, well: &Well, leg: &Leg, seen: Seen) -> Option<BrokenOff> {
        let tension = seen.tension?;
        let habits = &well.habits;
        let tight =
            (self.knows.usual_up + habits.abort_over).min(habits.abort_fraction * habits.limit);
        if leg.goes_up() && tension > tight && seen.winch < -GOING {
            return Some(BrokenOff::Tight);
        }
        let on_the_way_in = self.stage == Stage::Arrival;
        let slack = !on_the_way_in && tension < self.knows.slack_below;
        (leg.direction > 0.0 && slack && seen.winch > GOING).then_some(BrokenOff::Slack)
    }

    /// After a pull that got too tight: wait, give line back, and try again.
    fn slack_off(&mut self, well: &Well, order: Order, seen: Seen, dice: &mut Dice) {
        self.retries += 1;
        let over = seen.tension.unwrap_or(0.0) - self.knows.free_down;
        let stretched = over.max(0.0) / self.knows.spring;
        let wanted = stretched * dice.between(0.9, 1.3) + dice.between(1.0, 3.0);
        let most = (well.hole.bottom + 3.0 - seen.tool).max(1.0) + stretched;
        if self.retries < PULLS_MOST {
            self.orders.push_front(order);
        }
        self.orders.push_front(Order::Wait(dice.between(1.0, 6.0)));
        let speed = (well.habits.speed_down * 0.7).max(0.08);
        self.orders
            .push_front(Order::CounterBy(wanted.min(most), speed));
        self.orders.push_front(Order::Wait(dice.between(1.0, 20.0)));
    }

    /// After a run down that got slack: wait, pick up, and try again.
    fn pick_up(
        &mut self,
        well: &Well,
        order: Order,
        seen: Seen,
        obstructed: bool,
        dice: &mut Dice,
    ) {
        self.retries += 1;
        let knows = &self.knows;
        let missing = knows.free_down - seen.tension.unwrap_or(0.0);
        let slack = missing.max(0.0) / knows.spring;
        let turn = (knows.free_up - knows.free_down) / knows.spring;
        let way = slack * dice.between(1.0, 1.3) + turn + dice.between(1.0, 4.0);
        let (usual, in_the_way) = LOWERINGS_MOST;
        if self.retries <= if obstructed { in_the_way } else { usual } {
            self.orders.push_front(order);
        }
        self.orders.push_front(Order::Wait(dice.between(1.0, 6.0)));
        let speed = (well.habits.speed_up * 0.7).max(0.08);
        self.orders.push_front(Order::CounterBy(-way, speed));
        self.orders.push_front(Order::Wait(dice.between(1.0, 10.0)));
    }

    /// A stroke came to its end: learns from it. True when the groove is to be kept.
    fn finish(&mut self, leg: &Leg, seen: Seen) -> bool {
        let cut = self.stage == Stage::Cutting
            && self.cutter_out
            && (leg.tool_start - seen.tool).abs() > STROKE_LEAST;
        if !cut {
            return false;
        }
        let knows = &mut self.knows;
        let (pulled, while_s) = leg.pulled;
        if leg.goes_up() && while_s > 2.0 {
            let gain = if self.strokes < 4 { 0.2 } else { 0.4 };
            knows.usual_up += (pulled / while_s - knows.usual_up) * gain;
            knows.usual_up = knows.usual_up.max(knows.free_up);
        }
        if !self.last_partial || !leg.goes_up() {
            let offset = seen.counter - seen.tool;
            let learned = if leg.goes_up() {
                &mut knows.offset_up
            } else {
                &mut knows.offset_down
            };
            *learned = Some(match *learned {
                Some(before) => before + (offset - before) * 0.06,
                None => offset,
            });
        }
        self.cut += 1;
        self.cut.is_multiple_of(HISTORY_EVERY)
    }
}
