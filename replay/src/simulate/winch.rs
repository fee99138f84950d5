//! The winch and the person at it: a list of things to do, and reactions to what the dials show.

use super::rng::Rng;
use std::collections::VecDeque;

/// One thing to do. Depths are readings of the counter on the panel.
#[derive(Debug, Clone, PartialEq)]
pub enum Action {
    /// Move until the counter shows `target`.
    Move {
        /// Counter reading, m.
        target: f64,
        /// Line speed, m/s.
        speed: f64,
    },
    /// Stand still for so many seconds.
    Pause(f64),
    /// Note a mark.
    Mark(&'static str),
    /// Extend or retract the wheels.
    Cutter(bool),
    /// The moves that follow belong to this stroke of cutting (0: none).
    Stroke(u32),
}

/// What the operator sees.
#[derive(Debug, Clone, Copy)]
pub struct Dials {
    /// Counter reading, m.
    pub counter: f64,
    /// Tension on the panel, N.
    pub tension: f64,
}

/// Tensions at which the operator reacts.
#[derive(Debug, Clone, Copy)]
pub struct Trips {
    /// Above this, pulling: stop and slack off.
    pub high: f64,
    /// Below this, lowering: stop and pick up.
    pub low: f64,
}

/// What happened in this step, for the bench to act on.
#[derive(Debug, Clone, PartialEq)]
pub enum Happened {
    /// A mark was noted.
    Mark(&'static str),
    /// The wheels were extended or retracted.
    Cutter(bool),
    /// A stroke's move ended; its number.
    StrokeEnd(u32),
    /// A reaction to a held tool ended: line was slacked off or picked up.
    Worked,
}

/// Winch with its operator.
#[derive(Debug, Clone)]
pub struct Winch {
    plan: VecDeque<Action>,
    /// Line speed at the measuring wheel, positive in, m/s.
    speed: f64,
    acceleration: f64,
    jitter: f64,
    rng: Rng,
    wobble: f64,
    paused_for: f64,
    /// Number of the stroke under way; 0 none.
    pub stroke: u32,
    /// Time until a noticed trip is acted upon.
    reacting: Option<f64>,
    reactions: u32,
    drum_angle: f64,
    /// Trips are watched (not while running in or out).
    pub watching: bool,
    working: bool,
}

impl Winch {
    /// A winch at rest with a plan.
    pub fn new(plan: VecDeque<Action>, acceleration: f64, jitter: f64, rng: Rng) -> Self {
        Self {
            plan,
            speed: 0.0,
            acceleration,
            jitter,
            rng,
            wobble: 0.0,
            paused_for: 0.0,
            stroke: 0,
            reacting: None,
            reactions: 0,
            drum_angle: 0.0,
            watching: false,
            working: false,
        }
    }

    /// Nothing left to do.
    pub fn idle(&self) -> bool {
        self.plan.is_empty() && self.speed == 0.0
    }

    /// No more strokes: on to retracting the wheels.
    pub fn stop_cutting(&mut self) {
        let retract = |action: &Action| *action == Action::Cutter(false);
        if let Some(at) = self.plan.iter().position(retract) {
            self.plan.drain(..at);
            self.plan.push_front(Action::Pause(5.0));
            self.plan.push_front(Action::Stroke(0));
        }
    }

    /// Line speed after `dt` more seconds.
    pub fn step(&mut self, dt: f64, dials: Dials, trips: Trips, out: &mut Vec<Happened>) -> f64 {
        // Slow error of the throttle (Ornstein-Uhlenbeck, 4 s) and the lobes of the drum.
        let keep = 1.0 - dt / 4.0;
        self.wobble = keep * self.wobble + (2.0 * dt / 4.0).sqrt() * self.rng.normal();
        self.drum_angle += self.speed * dt / 0.25;
        let uneven = 1.0 + self.jitter * self.wobble + 0.01 * self.drum_angle.sin();
        let mut wanted = 0.0;
        loop {
            match self.plan.front() {
                Some(Action::Move { target, speed }) => {
                    let (target, speed) = (*target, *speed);
                    let left = target - dials.counter;
                    let arriving = left * self.speed < 0.0 && self.speed.abs() < 0.05;
                    if left.abs() < 0.004 || arriving {
                        self.plan.pop_front();
                        if self.working {
                            // The last move of a reaction: line has been worked.
                            self.working = false;
                            out.push(Happened::Worked);
                        } else if self.stroke > 0 {
                            self.reactions = 0;
                            out.push(Happened::StrokeEnd(self.stroke));
                        }
                        continue;
                    }
                    self.react(dt, dials, trips, left);
                    let stopping = (2.0 * 0.8 * self.acceleration * left.abs())
                        .sqrt()
                        .max(0.01);
                    wanted = left.signum() * (speed * uneven).min(stopping);
                    if self.reacting.is_some_and(|rest| rest <= 0.0) {
                        self.reacting = None;
                        self.reactions += 1;
                        let back = self.rng.between(0.6, 1.4);
                        if self.reactions > 4 {
                            // Given up: leave this move and go on with the next.
                            self.plan.pop_front();
                            self.reactions = 0;
                            if self.stroke > 0 {
                                out.push(Happened::StrokeEnd(self.stroke));
                            }
                        } else {
                            let pulled = left < 0.0;
                            let length = if pulled {
                                ((dials.tension - 0.5 * trips.high).max(200.0) / 350.0 * back)
                                    .min(8.0)
                            } else {
                                -2.0 * back
                            };
                            self.plan
                                .push_front(Action::Pause(self.rng.between(1.0, 4.0)));
                            self.plan.push_front(Action::Move {
                                target: dials.counter + length,
                                speed: 0.2,
                            });
                            self.plan
                                .push_front(Action::Pause(self.rng.between(1.0, 5.0)));
                            self.working = true;
                        }
                        continue;
                    }
                    break;
                }
                Some(Action::Pause(time)) => {
                    let time = *time;
                    if self.speed == 0.0 {
                        self.paused_for += dt;
                    }
                    if self.paused_for >= time {
                        self.paused_for = 0.0;
                        self.plan.pop_front();
                        continue;
                    }
                    break;
                }
                Some(Action::Mark(mark)) => {
                    out.push(Happened::Mark(mark));
                    self.plan.pop_front();
                }
                Some(Action::Cutter(extended)) => {
                    out.push(Happened::Cutter(*extended));
                    self.plan.pop_front();
                }
                Some(Action::Stroke(number)) => {
                    self.stroke = *number;
                    self.reactions = 0;
                    self.watching = true;
                    self.plan.pop_front();
                }
                None => break,
            }
        }
        let change = self.acceleration * dt;
        self.speed += (wanted - self.speed).clamp(-change, change);
        if wanted == 0.0 && self.speed.abs() <= change {
            self.speed = 0.0;
        }
        self.speed
    }

    fn react(&mut self, dt: f64, dials: Dials, trips: Trips, left: f64) {
        if let Some(rest) = &mut self.reacting {
            *rest -= dt;
            return;
        }
        if !self.watching || self.working {
            return;
        }
        let high = left < 0.0 && dials.tension > trips.high;
        let low = left > 0.0 && dials.tension < trips.low;
        if high {
            self.reacting = Some(self.rng.between(0.4, 1.6));
        } else if low {
            self.reacting = Some(self.rng.between(1.5, 6.0));
        }
    }
}
