//! Strokes of the tool: from turning point to turning point, turns of less than half a metre left out.
//!
//! A stroke starts when the tool leaves the place where it turned by five centimetres for the last time, and ends when it
//! first comes within five centimetres of the place where it turns next.

use super::Moment;

/// Way back that makes a turn, m.
const TURN: f64 = 0.5;
/// Way by which the ends are recognised, m.
const NEAR: f64 = 0.05;

/// A stroke.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stroke {
    /// Up the hole.
    pub up: bool,
    /// s
    pub start: f64,
    /// s
    pub end: f64,
    /// m
    pub travel: f64,
    /// Plastic work, J.
    pub work: f64,
}

/// Which way the tool goes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Way {
    Unknown,
    Down,
    Up,
}

/// Turning points as places in `moments`, the first and last extreme included.
fn turns(moments: &[Moment]) -> Vec<usize> {
    let mut found = Vec::new();
    let mut way = Way::Unknown;
    // On a plateau the first place counts.
    let (mut deepest, mut highest) = (0, 0);
    for (i, moment) in moments.iter().enumerate().skip(1) {
        let at = moment.tool;
        if at > moments[deepest].tool {
            deepest = i;
        }
        if at < moments[highest].tool {
            highest = i;
        }
        if way != Way::Down && at - moments[highest].tool >= TURN {
            found.push(highest);
            way = Way::Down;
            deepest = i;
        } else if way != Way::Up && moments[deepest].tool - at >= TURN {
            found.push(deepest);
            way = Way::Up;
            highest = i;
        }
    }
    match way {
        Way::Down => found.push(deepest),
        Way::Up => found.push(highest),
        Way::Unknown => {}
    }
    found
}

/// All strokes.
pub fn strokes(moments: &[Moment]) -> Vec<Stroke> {
    turns(moments)
        .windows(2)
        .map(|pair| stroke(moments, pair[0], pair[1]))
        .collect()
}

fn stroke(moments: &[Moment], from: usize, to: usize) -> Stroke {
    let (start, end) = (moments[from].tool, moments[to].tool);
    let leaves = (from..=to)
        .rev()
        .find(|&i| (moments[i].tool - start).abs() < NEAR)
        .unwrap_or(from);
    let arrives = (leaves..=to)
        .find(|&i| (moments[i].tool - end).abs() <= NEAR)
        .unwrap_or(to);
    let way = (end - start).signum();
    Stroke {
        up: end < start,
        start: crossing(moments, leaves, start + NEAR * way),
        end: match arrives.checked_sub(1) {
            Some(before) => crossing(moments, before, end - NEAR * way),
            None => moments[arrives].time,
        },
        travel: (end - start).abs(),
        work: moments[to].work - moments[from].work,
    }
}

/// When the tool passes `level` between the moment `i` and the next, s.
fn crossing(moments: &[Moment], i: usize, level: f64) -> f64 {
    let (a, b) = (&moments[i], &moments[(i + 1).min(moments.len() - 1)]);
    if (b.tool - a.tool).abs() < 1e-9 {
        return a.time;
    }
    let along = ((level - a.tool) / (b.tool - a.tool)).clamp(0.0, 1.0);
    a.time + (b.time - a.time) * along
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::other_bench::wire::chain::Held;

    /// A tool that goes from depth to depth at 0.5 m/s and rests 5 s at each.
    pub(in crate::other_bench::truth) fn trip(depths: &[f64]) -> Vec<Moment> {
        let mut places = Vec::new();
        for pair in depths.windows(2) {
            let steps = ((pair[1] - pair[0]).abs() / 0.025).round() as usize;
            places.extend((0..steps).map(|i| {
                let along = i as f64 / steps as f64;
                pair[0] + (pair[1] - pair[0]) * along
            }));
            places.extend([pair[1]; 100]);
        }
        let moment = |(i, tool): (usize, &f64)| Moment {
            time: i as f64 * super::super::EVERY,
            tool: *tool,
            work: 0.0,
            cutting: 0.0,
            tension: 1000.0,
            winch: 0.0,
            held: Held::default(),
        };
        places.iter().enumerate().map(moment).collect()
    }

    #[test]
    fn strokes_alternate_and_have_their_ends() {
        let found = strokes(&trip(&[100.0, 110.0, 104.0, 104.2, 104.0, 112.0]));
        let ways: Vec<bool> = found.iter().map(|stroke| stroke.up).collect();
        assert_eq!(ways, [false, true, false]);
        // 10 m at 0.5 m/s, five centimetres less at either end.
        assert!((found[0].start - 0.1).abs() < 1e-6);
        assert!((found[0].end - 19.9).abs() < 1e-6);
        assert!((found[1].travel - 6.0).abs() < 1e-9);
        assert!(found.windows(2).all(|pair| pair[0].end < pair[1].start));
    }

    #[test]
    fn a_tool_that_never_moves_makes_no_stroke() {
        assert!(strokes(&trip(&[100.0, 100.2])).is_empty());
        assert!(strokes(&[]).is_empty());
    }
}
