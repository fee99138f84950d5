//! The result of a run, live or recomputed: the stable, versioned JSON of `recompute --json`.
//!
//! *Units*: in the field names (`_m`, `_s`, `_n`, `_j`, `_mm`). *Depths* are of the cutter wheels
//! along hole. *Numbers*: never NaN or infinite; what the data cannot tell is `null`.

mod channel_faults;

pub use channel_faults::{ChannelFaults, FaultSpell};

use serde::{Deserialize, Serialize};

/// Version of the JSON format.
pub const FORMAT: u32 = 1;

/// Everything that is known about a run.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RunResult {
    /// [`FORMAT`].
    pub format: u32,
    /// Which run.
    pub run: RunInfo,
    /// Strokes of the tool, in order.
    pub strokes: Vec<Stroke>,
    /// What the tool did, without gaps or overlap, in order.
    pub intervals: Vec<Interval>,
    /// Groove by depth bin, top down: the interval, and what was grooved beyond its ends.
    pub groove: Vec<GrooveBin>,
    /// Joints, top down.
    pub joints: Vec<Joint>,
    /// Alarms in order of raising.
    pub alarms: Vec<AlarmRecord>,
    /// Tool motion at a fixed step.
    pub tool: ToolTrack,
    /// Friction learned.
    pub friction: Friction,
    /// Bending of the line, by section.
    pub line_wear: Vec<LineWear>,
    /// What was wrong with the data.
    pub quality: Quality,
    /// What couplings say about the depth counter.
    #[serde(default)]
    pub depth_check: DepthCheck,
    /// Wheels that came in mid-job and bite otherwise than those before; absent where none did.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub other_wheels: Vec<OtherWheels>,
}

/// From some stroke on the drag says that the wheels bite otherwise: they were changed or set anew, or one was lost.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct OtherWheels {
    /// Number of the first stroke made with them.
    pub from_stroke: u32,
    /// When it began.
    pub at_s: f64,
    /// What a pass of theirs counts against one of the wheels before them.
    pub counts: f64,
    /// The drag changed at once, in the midst of stroking, and not in a pause.
    pub sudden: bool,
}

impl RunResult {
    /// First and last run time that anything is known of: an imported run may begin hours after its zero.
    pub fn span_s(&self) -> (f64, f64) {
        match (self.intervals.first(), self.intervals.last()) {
            (Some(first), Some(last)) => (first.start_s, last.end_s),
            _ => (0.0, self.run.duration_s),
        }
    }
}

/// Depth as couplings show it. Where none has a signature in the drag, slip of the counter cannot be told.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub struct DepthCheck {
    /// Couplings whose place in the drag is known well enough to tell slip, at the end.
    pub couplings: u64,
    /// Slip taken out over the run, m: by so much the depths of the counter were too great at the end.
    pub slip_m: f64,
}

/// Identity and size of a run.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct RunInfo {
    /// Run id, from the run folder.
    pub id: String,
    /// Job name.
    pub name: String,
    /// From first to last reading.
    pub duration_s: f64,
    /// Readings of both channels.
    pub samples: u64,
    /// What was changed against the job on record; absent where nothing was: the usual result keeps its form.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub what_if: Vec<String>,
    /// What casts doubt on the whole result, in sentences; absent where nothing does.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub doubts: Vec<String>,
}

/// `up`: the tool comes up the hole.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Direction {
    /// Pulling.
    Up,
    /// Lowering.
    Down,
}

impl Direction {
    /// Word, as in the JSON.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Up => "up",
            Self::Down => "down",
        }
    }
}

/// One stroke of the tool.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Stroke {
    /// Number, from 1.
    pub n: u32,
    /// Which way the tool went.
    pub direction: Direction,
    /// The tool has left its turning point by 5 cm.
    pub start_s: f64,
    /// The tool is within 5 cm of where it turns.
    pub end_s: f64,
    /// Shallowest depth of the wheels.
    pub top_m: f64,
    /// Deepest depth of the wheels.
    pub bottom_m: f64,
    /// Distance between the turning points.
    pub tool_travel_m: f64,
    /// Mean excess drag at the tool over the steady part of what lies over the bins; 0 where nothing does.
    pub mean_drag_n: f64,
    /// Highest line tension.
    pub peak_tension_n: f64,
    /// Work done on the groove: excess drag times distance where it cut. Of a stroke told live 0, as is `engaged_m`:
    /// the groove estimate tells where it cut.
    pub cut_work_j: f64,
    /// Distance over which it cut.
    pub engaged_m: f64,
}

/// What the tool is doing.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum State {
    /// Tool below 2 cm/s.
    Still,
    /// Moving without plastic drag.
    Free,
    /// Moving with plastic drag.
    Cutting,
    /// Held while pulled.
    Stalled,
    /// Held going down: the line does not carry its weight.
    Slack,
    /// The data cannot tell (no data, or before the first reading).
    Unknown,
}

impl State {
    /// Every state.
    pub const ALL: [Self; 6] = [
        Self::Still,
        Self::Free,
        Self::Cutting,
        Self::Stalled,
        Self::Slack,
        Self::Unknown,
    ];

    /// Word, as in the JSON.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Still => "still",
            Self::Free => "free",
            Self::Cutting => "cutting",
            Self::Stalled => "stalled",
            Self::Slack => "slack",
            Self::Unknown => "unknown",
        }
    }
}

/// A stretch of time in one state.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Interval {
    /// The state.
    pub state: State,
    /// Start.
    pub start_s: f64,
    /// End.
    pub end_s: f64,
    /// Where the wheels were held, of `stalled` and `slack`; absent of other states and where it is not known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub depth_m: Option<f64>,
}

/// Groove in one depth bin. `low_mm..high_mm` is a 90 % credible interval.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct GrooveBin {
    /// Top of the bin.
    pub top_m: f64,
    /// Bottom of the bin.
    pub bottom_m: f64,
    /// Estimate of groove depth; where the wall is split, what it is likely to measure there: a little
    /// less than nominal.
    pub depth_mm: f64,
    /// 5 % quantile.
    pub low_mm: f64,
    /// 95 % quantile.
    pub high_mm: f64,
    /// Wall the groove has to get through, nominal.
    pub wall_mm: f64,
    /// Passes of the cutter while it was out.
    pub passes: u32,
    /// Taken as split (`through_probability` of [`crate::groove::SAID_THROUGH`] or more).
    pub through: bool,
    /// Probability that the wall is split over this bin.
    pub through_probability: f64,
    /// The bin lies in a coupling.
    pub coupling: bool,
}

/// Bins of the planned interval, which the joints span; without joints, all. Strokes run over its ends: the bins they
/// cut there stand above and below.
pub fn in_interval<'g>(groove: &'g [GrooveBin], joints: &[Joint]) -> &'g [GrooveBin] {
    let (Some(first), Some(last)) = (joints.first(), joints.last()) else {
        return groove;
    };
    let middle = |bin: &GrooveBin| 0.5 * (bin.top_m + bin.bottom_m);
    let top = groove.partition_point(|bin| middle(bin) < first.top_m);
    let bottom = groove.partition_point(|bin| middle(bin) <= last.bottom_m);
    &groove[top..bottom.max(top)]
}

/// A joint, or the part of it that lies in the interval.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Joint {
    /// Top.
    pub top_m: f64,
    /// Bottom.
    pub bottom_m: f64,
    /// Expected fraction of its bins that are split, couplings left out.
    pub split_fraction: f64,
    /// Least groove depth over its bins, couplings left out.
    pub min_depth_mm: f64,
    /// Strokes left until every bin is split, median; `null`: cannot be told.
    pub strokes_left_p50: Option<f64>,
    /// Likewise, 90 %.
    pub strokes_left_p90: Option<f64>,
}

/// One alarm from raising to clearing.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct AlarmRecord {
    /// `overpull`, `approaching`, `slack`, `stall`, `speed`, `upper_stop`, ...
    pub kind: String,
    /// Which of several of one kind: `load` or `depth` of `sensor`; absent of all others, and in results of programs
    /// that did not tell yet.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub about: Option<String>,
    /// `high` or `low` for priority.
    pub level: String,
    /// Raised.
    pub raised_s: f64,
    /// Condition gone; `null` while it lasts.
    pub cleared_s: Option<f64>,
    /// Highest tension during the alarm, of slack the lowest; `null` where the condition is no force.
    pub peak_n: Option<f64>,
}

impl AlarmRecord {
    /// Kind and which of several it is, as in commands: `sensor load`.
    pub fn name(&self) -> String {
        match &self.about {
            Some(about) => format!("{} {about}", self.kind),
            None => self.kind.clone(),
        }
    }

    /// What `peak_n` is.
    pub fn extreme(&self) -> &'static str {
        if self.kind == "slack" {
            "lowest"
        } else {
            "peak"
        }
    }
}

/// Tool motion at a fixed step from run start.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct ToolTrack {
    /// Step.
    pub every_s: f64,
    /// Depth of the wheels at 0, every_s, 2 every_s, ...; `null` where unknown.
    pub depth_m: Vec<Option<f64>>,
    /// Speed, positive down the hole; `null` where unknown.
    pub speed_m_s: Vec<Option<f64>>,
}

/// Friction coefficients learned.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Friction {
    /// Pulling out.
    pub up: f64,
    /// Running in.
    pub down: f64,
}

/// Bending of one section of line.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LineWear {
    /// Distance from the rope socket up the line: start of the section.
    pub from_m: f64,
    /// End of the section.
    pub to_m: f64,
    /// Times the section was bent and straightened.
    pub bends: u32,
    /// Miner sum against the user's S-N line; `null` when none was given.
    pub life_used: Option<f64>,
}

/// Counts of what was wrong with the data.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Quality {
    /// Frames that did not decode.
    pub bad_frames: u64,
    /// Silences longer than the channel's limit (`stale_after` of the job; 2 s where readings came calibrated), both
    /// channels together. Each is counted once.
    pub gaps: u64,
    /// Readings too late to be merged.
    pub late: u64,
    /// Damaged blocks of the recording.
    pub lost_blocks: u64,
    /// Readings out of range or not finite: those of `channels`, and what was absurd in the merging of both.
    pub out_of_range: u64,
    /// Single readings set aside as spikes: those of `channels`, and what stood out in the merging of both.
    pub spikes: u64,
    /// Leaps of the depth counter that were no line movement.
    #[serde(default)]
    pub counter_leaps: u64,
    /// When the first of them came, and by how much; absent where there was none.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub leaps: Vec<CounterLeap>,
    /// Steps of the load cell's zero; absent where there was none.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub zero_steps: Vec<ZeroStep>,
    /// The same by instrument, load before depth; absent where readings came calibrated, of several runs taken as one,
    /// in the live snapshot (which has `channels` of its own) and in results of programs that did not tell yet.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub channels: Vec<ChannelFaults>,
}

/// A leap of the depth counter that was no line movement, and was taken out of the way of the tool.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct CounterLeap {
    /// When it was sure.
    pub at_s: f64,
    /// So much more line the counter reads since, m.
    pub by_m: f64,
}

/// From some time on the cell reads so much more, or less, for tool and line alike: its zero, weight or pressure in the
/// well has changed.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct ZeroStep {
    /// When the first stroke began that shows it.
    pub at_s: f64,
    /// By how much more, N.
    pub by_n: f64,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_lies_beyond_the_joints_is_not_the_interval() {
        let bin = |k: u32| GrooveBin {
            top_m: f64::from(k),
            bottom_m: f64::from(k + 1),
            depth_mm: 0.0,
            low_mm: 0.0,
            high_mm: 0.0,
            wall_mm: 5.0,
            passes: 1,
            through: false,
            through_probability: 0.0,
            coupling: false,
        };
        let joint = |top_m: f64, bottom_m: f64| Joint {
            top_m,
            bottom_m,
            split_fraction: 0.0,
            min_depth_mm: 0.0,
            strokes_left_p50: None,
            strokes_left_p90: None,
        };
        let groove: Vec<GrooveBin> = (10..20).map(bin).collect();
        let tops = |joints: &[Joint]| -> Vec<f64> {
            let inside = in_interval(&groove, joints);
            inside.iter().map(|bin| bin.top_m).collect()
        };
        assert_eq!(
            tops(&[joint(12.0, 14.4), joint(14.4, 15.0)]),
            [12.0, 13.0, 14.0]
        );
        assert_eq!(tops(&[joint(30.0, 31.0)]), [0.0; 0]);
        assert_eq!(tops(&[]).len(), 10);
    }

    #[test]
    fn an_alarm_about_nothing_in_particular_keeps_the_form_of_older_results() {
        let old =
            r#"{"kind":"sensor","level":"high","raised_s":1.0,"cleared_s":null,"peak_n":null}"#;
        let mut alarm: AlarmRecord = serde_json::from_str(old).unwrap();
        assert_eq!(
            (alarm.about.as_deref(), alarm.name()),
            (None, "sensor".to_owned())
        );
        assert_eq!(serde_json::to_string(&alarm).unwrap(), old);
        alarm.about = Some("load".to_owned());
        let told = serde_json::to_value(&alarm).unwrap();
        assert_eq!(
            (&told["about"], alarm.name()),
            (&"load".into(), "sensor load".to_owned())
        );
    }

    #[test]
    fn words_are_those_of_the_json() {
        for state in State::ALL {
            let json = serde_json::to_value(state).unwrap();
            assert_eq!(json, state.word());
        }
        for direction in [Direction::Up, Direction::Down] {
            let json = serde_json::to_value(direction).unwrap();
            assert_eq!(json, direction.word());
        }
    }
}
