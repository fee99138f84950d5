//! What the tool did at each time: still, free, cutting, stalled or slack.
//!
//! - *Moving*: faster than 2 cm/s over 0.3 s; less than six moments in a row that differ join those before.
//! - *Cutting*: moving, with more than 1 N of cutting force within a tenth of a second; *free* otherwise.
//! - *Stalled*: not moving while a place holds it from going up, or stopped going up by drag alone: it went up, the winch goes
//!   on up at once and for three seconds at seven tenths of its speed.
//! - *Slack*: the same going down, if tension at the tool falls below half its weight; until 85 % of it is back.
//! - *Still*: the rest. Spells under a quarter of a second join the one before.

use super::Moment;

/// Speed of a moving tool, m/s.
const MOVES: f64 = 0.02;
/// Moments on either side over which speed is taken.
const SPEED_OVER: usize = 3;
/// Moments in a row that differ but do not count.
const MOTION_LEAST: usize = 6;
/// Moments in which a place must have held the tool.
const HELD_LEAST: usize = 4;
/// Moments for which the winch must go on.
const WINCH_GOES_ON: usize = 60;
/// Moments of a spell at least.
const SPELL_LEAST: usize = 5;

/// What the tool does.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum State {
    /// Not moving.
    Still,
    /// Moving without cutting.
    Free,
    /// Moving and cutting.
    Cutting,
    /// Held going up.
    Stalled,
    /// Held going down, the line slack.
    Slack,
}

impl State {
    /// As it stands in `truth.json`.
    pub fn name(self) -> &'static str {
        match self {
            Self::Still => "still",
            Self::Free => "free",
            Self::Cutting => "cutting",
            Self::Stalled => "stalled",
            Self::Slack => "slack",
        }
    }
}

/// A state and how long it lasted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spell {
    /// Which.
    pub state: State,
    /// s
    pub start: f64,
    /// s
    pub end: f64,
}

/// All states of a run of `duration` (s); `weight` of the tool along the hole, N.
pub fn spells(moments: &[Moment], duration: f64, weight: f64) -> Vec<Spell> {
    let moving = moving(moments);
    let mut states: Vec<State> = (0..moments.len())
        .map(|i| match (moving[i], cuts(moments, i)) {
            (true, true) => State::Cutting,
            (true, false) => State::Free,
            (false, _) => State::Still,
        })
        .collect();
    let mut last_way = 0.0;
    let mut i = 0;
    while i < moments.len() {
        if moving[i] {
            last_way = if speed(moments, i) < 0.0 { -1.0 } else { 1.0 };
            i += 1;
            continue;
        }
        let end = (i..moments.len())
            .find(|&k| moving[k])
            .unwrap_or(moments.len());
        match why_still(&moments[i..end], last_way) {
            Some(State::Stalled) => states[i..end].fill(State::Stalled),
            Some(_) => mark_slack(&moments[i..end], weight, &mut states[i..end]),
            None => {}
        }
        i = end;
    }
    joined(&states)
        .into_iter()
        .map(|run| {
            let time = |i: usize| moments.get(i).map_or(duration, |moment| moment.time);
            Spell {
                state: run.state,
                start: time(run.start),
                end: time(run.end),
            }
        })
        .collect()
}

fn speed(moments: &[Moment], i: usize) -> f64 {
    let a = &moments[i.saturating_sub(SPEED_OVER)];
    let b = &moments[(i + SPEED_OVER).min(moments.len() - 1)];
    (b.tool - a.tool) / (b.time - a.time).max(1e-9)
}

fn cuts(moments: &[Moment], i: usize) -> bool {
    let near = i.saturating_sub(2)..=(i + 2).min(moments.len() - 1);
    moments[near].iter().any(|moment| moment.cutting > 1.0)
}

/// Whether the tool moves at each moment, short changes left out.
fn moving(moments: &[Moment]) -> Vec<bool> {
    let mut moving: Vec<bool> = (0..moments.len())
        .map(|i| speed(moments, i).abs() >= MOVES)
        .collect();
    let mut i = 0;
    while i < moving.len() {
        let as_here = moving[i];
        let end = (i..moving.len())
            .find(|&k| moving[k] != as_here)
            .unwrap_or(moving.len());
        if end - i < MOTION_LEAST && i > 0 {
            let before = moving[i - 1];
            moving[i..end].fill(before);
        }
        i = end;
    }
    moving
}

/// Why a tool that last went `way` (-1 up) stands still: stalled, slack, or by itself.
fn why_still(still: &[Moment], way: f64) -> Option<State> {
    let held_up = still.iter().filter(|moment| moment.held.up).count();
    let held_down = still.iter().filter(|moment| moment.held.down).count();
    let by_drag = winch_goes_on(still, way);
    if held_up >= HELD_LEAST || by_drag && way < 0.0 {
        Some(State::Stalled)
    } else if held_down >= HELD_LEAST || by_drag && way > 0.0 {
        Some(State::Slack)
    } else {
        None
    }
}

/// Whether the winch goes on the way the tool went, from the start and for long enough.
fn winch_goes_on(still: &[Moment], way: f64) -> bool {
    let same_way = |moment: &&Moment| (moment.winch < 0.0) == (way < 0.0);
    let at_once = still
        .iter()
        .take(4)
        .all(|moment| moment.winch.abs() > 0.02 && same_way(&moment));
    let fast = (0.7 * still[0].winch.abs()).max(0.02);
    let goes_on = still
        .iter()
        .take_while(|moment| moment.winch.abs() > fast && same_way(moment))
        .count();
    at_once && way != 0.0 && goes_on >= WINCH_GOES_ON
}

/// Marks as slack what lies before the tool's weight is back, if it ever was away.
fn mark_slack(still: &[Moment], weight: f64, states: &mut [State]) {
    let least = still
        .iter()
        .enumerate()
        .min_by(|a, b| a.1.tension.total_cmp(&b.1.tension));
    let Some((lowest, moment)) = least else {
        return;
    };
    if f64::from(moment.tension) >= 0.5 * weight {
        return;
    }
    let back = (weight * 0.85) as f32;
    let end = (lowest..still.len()).find(|&k| still[k].tension >= back);
    states[..end.unwrap_or(still.len())].fill(State::Slack);
}

/// Moments in one state, from and until.
#[derive(Debug, Clone, Copy)]
struct Run {
    state: State,
    start: usize,
    end: usize,
}

/// Runs of one state; short ones join the one before.
fn joined(states: &[State]) -> Vec<Run> {
    let mut all: Vec<Run> = Vec::new();
    let mut i = 0;
    while i < states.len() {
        let state = states[i];
        let length = states[i..].iter().take_while(|s| **s == state).count();
        match all.last_mut() {
            Some(last) if length < SPELL_LEAST || last.state == state => last.end = i + length,
            _ => all.push(Run {
                state,
                start: i,
                end: i + length,
            }),
        }
        i += length;
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::other_bench::wire::chain::Held;

    /// 5 s each of: going up cutting, standing with the winch as given, going up free.
    fn moments(winch: f32, held: Held, tension: f32) -> Vec<Moment> {
        let mut tool = 1000.0;
        (0..300)
            .map(|i| {
                let stands = (100..200).contains(&i);
                if !stands {
                    tool -= 0.02;
                }
                Moment {
                    time: f64::from(i) * super::super::EVERY,
                    tool,
                    work: 0.0,
                    cutting: if i < 100 { 200.0 } else { 0.0 },
                    tension: if stands { tension } else { 1000.0 },
                    winch: if stands { winch } else { -0.4 },
                    held: if stands { held } else { Held::default() },
                }
            })
            .collect()
    }

    fn told(moments: &[Moment]) -> Vec<State> {
        let spells = spells(moments, 15.0, 1000.0);
        assert_eq!(spells[0].start, 0.0);
        assert_eq!(spells.last().unwrap().end, 15.0);
        assert!(spells.windows(2).all(|pair| pair[0].end == pair[1].start));
        spells.iter().map(|spell| spell.state).collect()
    }

    #[test]
    fn a_tool_that_stands_is_still_stalled_or_slack_by_what_the_winch_does() {
        use State::{Cutting, Free, Slack, Stalled, Still};
        let none = Held::default();
        assert_eq!(told(&moments(0.0, none, 1000.0)), [Cutting, Still, Free]);
        assert_eq!(told(&moments(-0.4, none, 1500.0)), [Cutting, Stalled, Free]);
        let up = Held { up: true, ..none };
        assert_eq!(told(&moments(0.0, up, 1500.0)), [Cutting, Stalled, Free]);
        let down = Held { down: true, ..none };
        assert_eq!(told(&moments(0.0, down, 100.0)), [Cutting, Slack, Free]);
        // A tool that sits down with most of its weight still on the line is not slack.
        assert_eq!(told(&moments(0.0, down, 800.0)), [Cutting, Still, Free]);
    }

    #[test]
    fn short_spells_join_the_one_before() {
        let states = [State::Free; 10];
        let mut with_a_blip = states.to_vec();
        with_a_blip[4..7].fill(State::Cutting);
        assert_eq!(joined(&with_a_blip).len(), 1);
    }
}
