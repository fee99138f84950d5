//! What the core decided live, as records of the derived store.

use super::payload;
use crate::input::Event;
use crate::result::{AlarmRecord, GrooveBin, Interval, Stroke};
use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};
use std::borrow::Cow;

/// One decision, or a picture of the groove at one time.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub enum Derived {
    /// A stroke ended.
    Stroke(Stroke),
    /// A state interval ended.
    Interval(Interval),
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
    use std::borrow::Cow;

    pub(super) fn serialize<S: Serializer>(i: &Interval, to: S) -> Result<S::Ok, S::Error> {
        (i.state, i.start_s, i.end_s).serialize(to)
    }

    pub(super) fn deserialize<'d, 'r, D: Deserializer<'d>>(
        from: D,
    ) -> Result<Cow<'r, Interval>, D::Error> {
        let (state, start_s, end_s) = <(State, f64, f64)>::deserialize(from)?;
        Ok(Cow::Owned(Interval {
            state,
            start_s,
            end_s,
            depth_m: None,
        }))
    }
}

impl From<&Event> for Derived {
    fn from(event: &Event) -> Self {
        match event {
            Event::Stroke(stroke) => Self::Stroke(stroke.clone()),
            Event::Interval(interval) => Self::Interval(interval.clone()),
            Event::Alarm { at, state, record } => Self::Alarm {
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

/// A record as it lies in a block. The encoding is by position: what is added to or taken from a type in here needs a
/// new number of the encoding (`payload`) and a way to read the old one, as [`PlainAlarm`] is for alarms.
#[derive(Serialize, Deserialize)]
enum Row<'r, A> {
    Stroke(Cow<'r, Stroke>),
    Interval(#[serde(with = "interval_row")] Cow<'r, Interval>),
    Alarm {
        at_s: f64,
        state: Cow<'r, str>,
        record: A,
    },
    Groove {
        at_s: f64,
        bins: Cow<'r, [GrooveBin]>,
    },
}

/// An alarm before [`payload::ALARMS_ABOUT`].
#[derive(Serialize, Deserialize)]
struct PlainAlarm<'r> {
    kind: Cow<'r, str>,
    level: Cow<'r, str>,
    raised_s: f64,
    cleared_s: Option<f64>,
    peak_n: Option<f64>,
}

/// An alarm with what it is about.
#[derive(Serialize, Deserialize)]
struct Alarm<'r> {
    plain: PlainAlarm<'r>,
    about: Option<Cow<'r, str>>,
}

impl<'r> From<&'r AlarmRecord> for Alarm<'r> {
    fn from(record: &'r AlarmRecord) -> Self {
        Self {
            plain: PlainAlarm {
                kind: Cow::Borrowed(&record.kind),
                level: Cow::Borrowed(&record.level),
                raised_s: record.raised_s,
                cleared_s: record.cleared_s,
                peak_n: record.peak_n,
            },
            about: record.about.as_deref().map(Cow::Borrowed),
        }
    }
}

impl From<PlainAlarm<'_>> for AlarmRecord {
    fn from(plain: PlainAlarm<'_>) -> Self {
        Self {
            kind: plain.kind.into_owned(),
            about: None,
            level: plain.level.into_owned(),
            raised_s: plain.raised_s,
            cleared_s: plain.cleared_s,
            peak_n: plain.peak_n,
        }
    }
}

impl From<Alarm<'_>> for AlarmRecord {
    fn from(alarm: Alarm<'_>) -> Self {
        Self {
            about: alarm.about.map(Cow::into_owned),
            ..alarm.plain.into()
        }
    }
}

impl<'r> From<&'r Derived> for Row<'r, Alarm<'r>> {
    fn from(record: &'r Derived) -> Self {
        match record {
            Derived::Stroke(stroke) => Self::Stroke(Cow::Borrowed(stroke)),
            Derived::Interval(interval) => Self::Interval(Cow::Borrowed(interval)),
            Derived::Alarm {
                at_s,
                state,
                record,
            } => Self::Alarm {
                at_s: *at_s,
                state: Cow::Borrowed(state),
                record: record.into(),
            },
            Derived::Groove { at_s, bins } => Self::Groove {
                at_s: *at_s,
                bins: Cow::Borrowed(bins),
            },
        }
    }
}

impl<A: Into<AlarmRecord>> From<Row<'_, A>> for Derived {
    fn from(row: Row<'_, A>) -> Self {
        match row {
            Row::Stroke(stroke) => Self::Stroke(stroke.into_owned()),
            Row::Interval(interval) => Self::Interval(interval.into_owned()),
            Row::Alarm {
                at_s,
                state,
                record,
            } => Self::Alarm {
                at_s,
                state: state.into_owned(),
                record: record.into(),
            },
            Row::Groove { at_s, bins } => Self::Groove {
                at_s,
                bins: bins.into_owned(),
            },
        }
    }
}

/// Bytes of records, before they are made small.
pub(super) fn rows(records: &[Derived]) -> Result<Vec<u8>, String> {
    let rows: Vec<Row<'_, Alarm<'_>>> = records.iter().map(Row::from).collect();
    payload::encode_shared(&rows)
}

/// Records from such bytes of an encoding.
pub(super) fn from_rows(bytes: &[u8], encoding: u8) -> Result<Vec<Derived>, String> {
    fn read<A>(bytes: &[u8]) -> Result<Vec<Derived>, String>
    where
        A: Into<AlarmRecord> + DeserializeOwned,
    {
        let rows: Vec<Row<'static, A>> = payload::decode_shared(bytes)?;
        Ok(rows.into_iter().map(Derived::from).collect())
    }
    if encoding < payload::ALARMS_ABOUT {
        read::<PlainAlarm<'static>>(bytes)
    } else {
        read::<Alarm<'static>>(bytes)
    }
}

/// Payload of a derived block, in the encoding [`payload::ALARMS_ABOUT`].
pub(super) fn encode(records: &[Derived]) -> Result<Vec<u8>, String> {
    payload::encode(&super::column::Bytes::encode(&rows(records)?))
}

/// Back from a payload of an encoding that must hold `entries` records.
pub(super) fn decode(bytes: &[u8], entries: usize, encoding: u8) -> Result<Vec<Derived>, String> {
    let rows: super::column::Bytes = payload::decode(bytes)?;
    let records = from_rows(&rows.decode(payload::DECODED_MAX)?, encoding)?;
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
        let bytes = rows(&[Derived::Interval(interval.clone())]).unwrap();
        let before = payload::encode_shared(&[(1_u32, State::Stalled, 1.0, 2.5)].as_slice());
        assert_eq!(bytes, before.unwrap());
        let back = from_rows(&bytes, payload::ALARMS_ABOUT).unwrap();
        let bare = Interval {
            depth_m: None,
            ..interval
        };
        assert_eq!(back, [Derived::Interval(bare)]);
    }
}
