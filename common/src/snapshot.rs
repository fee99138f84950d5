//! The present, as the page and the log show it. Units in the field names; `None`: unknown.

use crate::result::{Direction, GrooveBin, Joint, OtherWheels, Quality, State};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// What is known at one moment of a run.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Snapshot {
    /// Time of the newest reading.
    pub at_s: f64,
    /// Time that has come, whether or not an instrument spoke.
    pub watched_s: f64,
    /// Newest line tension.
    pub tension_n: Option<f64>,
    /// Expected tension for this depth and direction without cutting.
    pub expected_n: Option<f64>,
    /// Tension limit at this depth (weakest link).
    pub limit_n: f64,
    /// Time to the limit at the present slope, while rising.
    pub time_to_limit_s: Option<f64>,
    /// The highest line tension of the run, single spikes left out.
    pub highest: Option<HighestView>,
    /// Line paid out.
    pub line_m: Option<f64>,
    /// Line speed, positive in.
    pub line_speed_m_s: Option<f64>,
    /// Depth of the wheels along hole.
    pub tool_depth_m: Option<f64>,
    /// Tool speed, positive down.
    pub tool_speed_m_s: Option<f64>,
    /// Excess drag at the tool.
    pub drag_n: Option<f64>,
    /// What the tool does.
    pub state: State,
    /// Since when.
    pub state_since_s: f64,
    /// Direction of the stroke under way.
    pub direction: Option<Direction>,
    /// Strokes ended.
    pub strokes: u32,
    /// Those of them that were made with the cutter out, as marks and drag tell.
    pub strokes_out: u32,
    /// Whether the cutter is taken to be out: `None` unknown.
    pub cutter_out: Option<bool>,
    /// The marks `cutter_out` and `cutter_in` are taken the other way round, because the drag says so.
    pub marks_turned: bool,
    /// Marks of the cutter that are not taken as they were set.
    pub marks_doubted: Vec<MarkDoubt>,
    /// Wheels that came in mid-job and bite otherwise than those before, or one that was lost.
    pub other_wheels: Vec<OtherWheels>,
    /// Groove by bin.
    pub groove: Vec<GrooveBin>,
    /// Joints.
    pub joints: Vec<Joint>,
    /// What going on in place brings, joint by joint.
    pub outlook: Vec<Outlook>,
    /// Alarms that are not normal.
    pub alarms: Vec<AlarmView>,
    /// Health of the instruments, load then depth.
    pub channels: Vec<ChannelView>,
    /// Counts of what was wrong.
    pub quality: Quality,
    /// Largest bends of any section of line.
    pub bends_max: u32,
    /// Largest part of bending life used, if a life was given.
    pub life_used: Option<f64>,
}

/// How high the line tension went.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct HighestView {
    /// When.
    pub at_s: f64,
    /// How high.
    pub tension_n: f64,
    /// Depth of the wheels then.
    pub depth_m: f64,
    /// Tension limit in force there.
    pub limit_n: f64,
}

/// A mark of the cutter that the drag speaks plainly against, that is missing, or that another contradicts.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct MarkDoubt {
    /// `out_late`, `out_early`, `in_early`, `in_missing`, `out_missing`, `other_word` or `contradiction`.
    pub kind: String,
    /// When the mark in doubt was set; of a missing one, when the other of the pair was.
    pub mark_s: f64,
    /// What is taken otherwise than marked, or not marked: from here.
    pub from_s: f64,
    /// To here.
    pub until_s: f64,
    /// Plain sentences: what the drag says, and what was assumed.
    pub message: String,
}

/// What going on in place brings in a joint. `None`: cannot be told, or nothing is left to do.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Outlook {
    /// Time of one stroke, breaks left out.
    pub stroke_s: Option<f64>,
    /// By how much ten more strokes deepen the groove where it is not split, on average.
    pub ten_deepen_mm: Option<f64>,
    /// Bins that ten more strokes should split.
    pub ten_split: Option<f64>,
}

/// The few figures that charts follow, at one moment. `None`: unknown, or too old to be the
/// present.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Glance {
    /// Time of the newest reading.
    pub at_s: f64,
    /// Newest line tension.
    pub tension_n: Option<f64>,
    /// Lowest and highest of all load readings since the glance before, whatever was doubtful
    /// about them.
    pub span_n: Option<(f64, f64)>,
    /// Expected tension for this depth and direction without cutting.
    pub expected_n: Option<f64>,
    /// Line paid out.
    pub line_m: Option<f64>,
    /// Depth of the wheels along hole.
    pub tool_m: Option<f64>,
    /// Excess drag at the tool.
    pub drag_n: Option<f64>,
}

/// One alarm as shown.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct AlarmView {
    /// Kind, e.g. `overpull`.
    pub kind: String,
    /// `high` or `low`.
    pub level: String,
    /// State, e.g. `unacknowledged`.
    pub state: String,
    /// Which part of several of one kind: `load` or `depth` of `sensor`, the name of an output; else empty.
    pub about: String,
    /// When raised.
    pub raised_s: f64,
    /// End of shelving; `None` while it is not shelved.
    pub until_s: Option<f64>,
    /// Its condition is gone, also where its state still counts as standing: it came twice within a minute and is told on.
    #[serde(default)]
    pub is_past: bool,
    /// One plain sentence: what, how much, what to do.
    pub message: String,
}

/// Health of one instrument.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct ChannelView {
    /// `load` or `depth`.
    pub name: String,
    /// Readings, good or doubtful.
    pub readings: u64,
    /// Readings per second over the last seconds.
    pub rate_hz: f64,
    /// Time since the last good reading.
    pub age_s: Option<f64>,
    /// Frames of its port that did not decode.
    pub bad_frames: u64,
    /// The same by kind of fault, kinds that occurred only.
    pub bad_kinds: BTreeMap<String, u64>,
    /// Half frames after opening the port or when it was lost: expected, not bad.
    pub partial_frames: u64,
    /// Silences longer than the channel's limit, the present one included.
    pub gaps: u64,
    /// Readings out of range.
    pub out_of_range: u64,
    /// Readings that repeated an unchanged value though it should have changed.
    pub frozen: u64,
    /// Readings set aside as spikes.
    pub spikes: u64,
    /// Readings with the frame number of the one before.
    pub duplicates: u64,
    /// Readings with an older frame number than the one before.
    pub reordered: u64,
    /// Frame numbers that were skipped.
    pub missing: u64,
    /// Times its port was lost.
    pub port_losses: u64,
    /// What is wrong, in one word (`closed`, `stale`, `frames`, `range`, `frozen`), or empty.
    pub fault: String,
}
