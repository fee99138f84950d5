//! The cut of a scenario without line, winch and instruments: how many strokes the drawn pipe and
//! wheels take. Quick enough to ask of many seeds; the pipe and wheels are those of the full bench.

use super::bench::Bench;
use super::cut::CELL;
use super::scenario::Scenario;

/// Strokes of one joint of the interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct JointStrokes {
    /// Top of the joint, m.
    pub top: f64,
    /// Bottom, m.
    pub bottom: f64,
    /// Stroke that first split a place of it.
    pub opens: Option<u32>,
    /// Stroke that split the last place of it.
    pub split: Option<u32>,
}

/// Strokes over the whole interval, up first, until every joint is split or `most` were made.
pub fn strokes_to_split(scenario: &Scenario, seed: u64, most: u32) -> Vec<JointStrokes> {
    let (mut pipe, mut cutter) = Bench::new(scenario, seed).into_pipe_and_cutter();
    let margin = scenario.work.margin.0;
    let (top, bottom) = (
        scenario.well.interval_top.0,
        scenario.well.interval_bottom.0,
    );
    let half = 0.5 * scenario.pipe.coupling_length.0;
    let inside = pipe.couplings.iter().filter(|c| **c > top && **c < bottom);
    let mut edges = vec![top];
    edges.extend(inside.flat_map(|centre| [centre - half, centre + half]));
    edges.push(bottom);
    let mut joints: Vec<JointStrokes> = edges
        .chunks_exact(2)
        .map(|ends| JointStrokes {
            top: ends[0],
            bottom: ends[1],
            opens: None,
            split: None,
        })
        .collect();
    cutter.set_out(true);
    let cells = ((bottom - top + 2.0 * margin) / CELL) as usize;
    for stroke in 1..=most {
        let down = stroke % 2 == 0;
        for k in 0..=cells {
            let way = if down { k } else { cells - k };
            let x = top - margin + (way as f64 + 0.5) * CELL;
            cutter.roll(&mut pipe, x, down, f64::from(stroke));
        }
        for joint in &mut joints {
            let range = pipe.cell(joint.top + CELL)..pipe.cell(joint.bottom - CELL);
            let (Some(from), Some(to)) = (range.start, range.end) else {
                continue;
            };
            let open = pipe.through_s[from..to].iter().filter(|t| t.is_finite());
            let count = open.count();
            if count > 0 {
                joint.opens = joint.opens.or(Some(stroke));
            }
            if count == to - from {
                joint.split = joint.split.or(Some(stroke));
            }
        }
        if joints.iter().all(|joint| joint.split.is_some()) {
            break;
        }
    }
    joints
}
