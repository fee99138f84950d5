//! What was wrong with the readings of one instrument, as part of the result.

use serde::{Deserialize, Serialize};

/// Faults of one instrument over the run. A reading may have several.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct ChannelFaults {
    /// `load` or `depth`.
    pub channel: String,
    /// Readings that came, good or doubtful.
    pub readings: u64,
    /// Silences longer than `stale_after` of the job.
    pub silences: u64,
    /// How long they lasted together.
    pub silent_s: f64,
    /// Times the instrument was frozen: it repeated one value though the other instrument shows that it should have
    /// changed.
    pub frozen_spells: u64,
    /// How long they lasted together, from the last change of the value on.
    pub frozen_s: f64,
    /// Readings set aside as frozen: fewer than came in that time, because it takes a while to be told.
    pub frozen_readings: u64,
    /// Readings out of range.
    pub out_of_range: u64,
    /// Single readings that stood out from those before and after.
    pub spikes: u64,
    /// Frames that repeated the number of the one before.
    pub duplicates: u64,
    /// Frames with an older number than the one before.
    pub reordered: u64,
    /// Frame numbers that were skipped.
    pub missing: u64,
    /// Times the port was lost.
    pub port_losses: u64,
    /// When the first of the silences were (up to 50); absent where there was none.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub silent_at: Vec<FaultSpell>,
    /// When it was frozen, likewise.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub frozen_at: Vec<FaultSpell>,
}

/// From when to when.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct FaultSpell {
    /// Start: the last good reading, or the last change of the value.
    pub start_s: f64,
    /// The first good reading, or the end of the run.
    pub end_s: f64,
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::result::Quality;

    #[test]
    fn results_without_the_instruments_are_still_read_and_keep_their_form() {
        let old = r#"{"bad_frames":1,"gaps":2,"late":0,"lost_blocks":0,"out_of_range":3,"spikes":4,"counter_leaps":0}"#;
        let mut quality: Quality = serde_json::from_str(old).unwrap();
        assert!(quality.channels.is_empty());
        assert_eq!(serde_json::to_string(&quality).unwrap(), old);
        quality.channels = vec![ChannelFaults {
            channel: "load".to_owned(),
            frozen_spells: 1,
            frozen_at: vec![FaultSpell {
                start_s: 1.0,
                end_s: 2.5,
            }],
            ..ChannelFaults::default()
        }];
        let text = serde_json::to_string(&quality).unwrap();
        assert_eq!(serde_json::from_str::<Quality>(&text).unwrap(), quality);
        assert!(!text.contains("silent_at"), "{text}");
    }
}
