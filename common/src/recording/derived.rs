//! What the core decided live, as records of the derived store.

use super::payload;
use crate::input::Event;
use crate::result::{AlarmRecord, GrooveBin, Interval, Stroke};
use serde::{Deserialize, Serialize};

/// One decision, or a picture of the groove at one time.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub enum Derived {
    /// A stroke ended.
    Stroke(Stroke),
    /// A state interval ended.
    Interval(#[serde(with = "interval_row")] Interval),
    /// An alarm changed its state.
    Alarm {
        /// When, s from run start.
        at_s: f64,
        /// New state of the alarm, e.g. `unacknowledged`.
        state: String,
        /// The alarm.
        record: AlarmRecord,
    },
    /// The groove as it was known then.
    Groove {
        /// When, s from run start.
        at_s: f64,
        /// By depth bin, top down.
        bins: Vec<GrooveBin>,
    },
}

/// An interval as rows have always held it: the depth is found from the whole run, and was not known live.
mod interval_row {
    use crate::result::{Interval, State};
    use serde::{Deserialize, Deserializer, Serialize, Serializer};

    pub(super) fn serialize<S: Serializer>(i: &Interval, to: S) -> Result<S::Ok, S::Error> {
        (i.state, i.start_s, i.end_s).serialize(to)
    }

    pub(super) fn deserialize<'d, D: Deserializer<'d>>(from: D) -> Result<Interval, D::Error> {
        let (state, start_s, end_s) = <(State, f64, f64)>::deserialize(from)?;
        Ok(Interval {
            state,
            start_s,
            end_s,
            depth_m: None,
        })
    }
}

impl From<&Event> for Derived {
    fn from(event: &Event) -> Self {
        match event {
            Event::Stroke(stroke) => Self::Stroke(stroke.clone()),
            Event::Interval(interval) => Self::Interval(interval.clone()),
            Event::Alarm {
                at, state, record, ..
            } => Self::Alarm {
                at_s: crate::time::seconds(*at),
                state: (*state).to_owned(),
                record: record.clone(),
            },
        }
    }
}

impl Derived {
    /// Whether the recording should be made durable at once: strokes and alarms, by the design.
    pub fn is_urgent(&self) -> bool {
        matches!(self, Self::Stroke(_) | Self::Alarm { .. })
    }
}

/// Payload of a derived block.
pub(super) fn encode(records: &[Derived]) -> Result<Vec<u8>, String> {
    let rows = payload::encode_shared(&records)?;
    payload::encode(&super::column::Bytes::encode(&rows))
}

/// Back from a payload that must hold `entries` records.
pub(super) fn decode(bytes: &[u8], entries: usize) -> Result<Vec<Derived>, String> {
    let rows: super::column::Bytes = payload::decode(bytes)?;
    let records: Vec<Derived> = payload::decode_shared(&rows.decode(payload::DECODED_MAX)?)?;
    if records.len() == entries {
        Ok(records)
    } else {
        Err(format!("{} records, {entries} expected", records.len()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::result::State;

    #[test]
    fn an_interval_is_recorded_as_before_its_depth_was_told() {
        let interval = Interval {
            state: State::Stalled,
            start_s: 1.0,
            end_s: 2.5,
            depth_m: Some(1_502.3),
        };
        let bytes = payload::encode_shared(&Derived::Interval(interval.clone())).unwrap();
        let before = payload::encode_shared(&(1_u32, State::Stalled, 1.0, 2.5)).unwrap();
        assert_eq!(bytes, before);
        let back: Derived = payload::decode_shared(&bytes).unwrap();
        let bare = Interval {
            depth_m: None,
            ..interval
        };
        assert_eq!(back, Derived::Interval(bare));
    }
}
