//! The crew's plan: run in, weigh, free passes, cut, come out a little.

use super::rng::Rng;
use super::scenario::{Start, Work};
use super::winch::Action;
use std::collections::VecDeque;

/// Counter readings between which the crew strokes.
#[derive(Debug, Clone, Copy)]
pub struct Stops {
    /// Reading at which the wheels, coming up, reach a depth: `up.0 + up.1 * depth`.
    pub up: (f64, f64),
    /// Likewise going down.
    pub down: (f64, f64),
    /// Top of the interval, m.
    pub top: f64,
    /// Bottom of the interval, m.
    pub bottom: f64,
}

impl Stops {
    fn reading(line: (f64, f64), depth: f64) -> f64 {
        line.0 + line.1 * depth
    }
}

/// Writes the plan.
pub fn plan(work: &Work, stops: &Stops, start_reading: f64, rng: &mut Rng) -> VecDeque<Action> {
    let mut plan = VecDeque::from([Action::Pause(work.quiet_start.0)]);
    let down = |depth: f64| Stops::reading(stops.down, depth);
    let up = |depth: f64| Stops::reading(stops.up, depth);
    let jitter = |rng: &mut Rng, sd: f64| sd * rng.normal().clamp(-2.5, 2.5);
    let ready = down(stops.top) - 12.0;
    if work.start == Start::Surface {
        // Slow through the wellhead, then fast; a weight check on the way.
        plan.push_back(Action::Move {
            target: start_reading + 15.0,
            speed: 0.2,
        });
        let halfway = 0.5 * ready;
        plan.push_back(Action::Move {
            target: halfway,
            speed: work.run_speed.0,
        });
        weight_check(&mut plan, halfway, 8.0, rng);
        plan.push_back(Action::Move {
            target: ready - 60.0,
            speed: work.run_speed.0,
        });
    }
    plan.push_back(Action::Move {
        target: ready,
        speed: 0.5 * work.run_speed.0,
    });
    for _ in 0..work.weight_checks {
        weight_check(&mut plan, ready, 6.0, rng);
    }
    let (upper, lower) = (stops.top - work.margin.0, stops.bottom + work.margin.0);
    plan.push_back(Action::Stroke(0));
    for _ in 0..work.free_passes {
        let target = down(lower) + jitter(rng, work.end_jitter.0);
        plan.push_back(Action::Move {
            target,
            speed: work.down_speed.0,
        });
        plan.push_back(Action::Pause(rng.between(2.0, 8.0)));
        let target = up(upper) + jitter(rng, work.end_jitter.0);
        plan.push_back(Action::Move {
            target,
            speed: work.up_speed.0,
        });
        plan.push_back(Action::Pause(rng.between(2.0, 8.0)));
    }
    plan.push_back(Action::Move {
        target: down(lower),
        speed: work.down_speed.0,
    });
    plan.push_back(Action::Pause(20.0));
    plan.push_back(Action::Cutter(true));
    plan.push_back(Action::Mark("cutter_out"));
    plan.push_back(Action::Pause(10.0));
    for number in 1..=work.strokes {
        let part = work
            .part
            .iter()
            .rev()
            .find(|part| number > part.after_strokes);
        let (upper, lower) = match part {
            Some(part) => (part.top.0 - work.margin.0, part.bottom.0 + work.margin.0),
            None => (upper, lower),
        };
        let (line_end, speed) = if number % 2 == 1 {
            (up(upper), work.up_speed.0)
        } else {
            (down(lower), work.down_speed.0)
        };
        let target = line_end + jitter(rng, work.end_jitter.0);
        let speed = speed * rng.between(0.9, 1.1);
        plan.push_back(Action::Stroke(number));
        if rng.chance(work.stop_chance) {
            let other = if number % 2 == 1 {
                down(lower)
            } else {
                up(upper)
            };
            let f = rng.between(0.2, 0.8);
            // A stop in mid-stroke keeps the number; only the second move ends the stroke.
            plan.push_back(Action::Stroke(0));
            plan.push_back(Action::Move {
                target: other + f * (target - other),
                speed,
            });
            plan.push_back(Action::Pause(work.stop_time.0 * rng.between(0.3, 1.7)));
            plan.push_back(Action::Stroke(number));
        }
        plan.push_back(Action::Move { target, speed });
        plan.push_back(Action::Pause(work.turn_pause.0 * rng.between(0.2, 1.8)));
        if rng.chance(work.rest_chance) {
            plan.push_back(Action::Pause(work.rest_time.0 * rng.between(0.4, 1.6)));
        }
    }
    plan.push_back(Action::Stroke(0));
    plan.push_back(Action::Pause(5.0));
    plan.push_back(Action::Cutter(false));
    plan.push_back(Action::Mark("cutter_in"));
    plan.push_back(Action::Pause(10.0));
    let end = up(upper) - 8.0;
    plan.push_back(Action::Move {
        target: end,
        speed: work.up_speed.0,
    });
    weight_check(&mut plan, end, 5.0, rng);
    plan.push_back(Action::Pause(work.quiet_end.0));
    plan
}

fn weight_check(plan: &mut VecDeque<Action>, at: f64, length: f64, rng: &mut Rng) {
    plan.push_back(Action::Pause(rng.between(4.0, 8.0)));
    plan.push_back(Action::Mark("weight_check"));
    plan.push_back(Action::Move {
        target: at - length,
        speed: 0.3,
    });
    plan.push_back(Action::Pause(rng.between(4.0, 10.0)));
    plan.push_back(Action::Move {
        target: at,
        speed: 0.3,
    });
    plan.push_back(Action::Pause(rng.between(4.0, 10.0)));
}
