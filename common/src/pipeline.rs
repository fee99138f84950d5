//! The flow of one sample, composed: the one place where all stages meet.

use crate::input::{Event, Input};
use crate::job::Job;
use crate::result::{Friction, Quality, RunInfo, RunResult, State, ToolTrack};
use crate::snapshot::Snapshot;

/// The whole core: same inputs in the same order give the same outputs, bit for bit.
#[derive(Debug)]
pub struct Pipeline {
    job: Job,
    samples: u64,
    last_s: f64,
}

impl Pipeline {
    /// A pipeline at the start of a run.
    pub fn new(job: &Job) -> Self {
        Self {
            job: job.clone(),
            samples: 0,
            last_s: 0.0,
        }
    }

    /// Takes one input; what was decided by it is appended to `events`.
    pub fn push(&mut self, input: &Input, events: &mut Vec<Event>) {
        let _ = (input, events, &self.job);
    }

    /// The run has ended: decides what was still pending.
    pub fn finish(&mut self, events: &mut Vec<Event>) {
        let _ = events;
    }

    /// The present.
    pub fn snapshot(&self) -> Snapshot {
        Snapshot {
            at_s: self.last_s,
            tension_n: None,
            expected_n: None,
            limit_n: 0.0,
            time_to_limit_s: None,
            line_m: None,
            line_speed_m_s: None,
            tool_depth_m: None,
            tool_depth_error_m: None,
            tool_speed_m_s: None,
            drag_n: None,
            state: State::Unknown,
            state_since_s: 0.0,
            direction: None,
            strokes: 0,
            cutter_out: None,
            groove: Vec::new(),
            joints: Vec::new(),
            alarms: Vec::new(),
            channels: Vec::new(),
            quality: Quality::default(),
            bends_max: 0,
            life_used: None,
        }
    }

    /// All results so far. `id` comes from the run folder.
    pub fn result(&self, id: &str) -> RunResult {
        RunResult {
            format: crate::result::FORMAT,
            run: RunInfo {
                id: id.to_owned(),
                name: self.job.info.name.clone(),
                duration_s: self.last_s,
                samples: self.samples,
            },
            strokes: Vec::new(),
            intervals: Vec::new(),
            groove: Vec::new(),
            joints: Vec::new(),
            alarms: Vec::new(),
            tool: ToolTrack::default(),
            friction: Friction::default(),
            line_wear: Vec::new(),
            quality: Quality::default(),
        }
    }
}
