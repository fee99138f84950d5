//! Facts about the engine in time.

mod delays;
mod levels;
mod operator;
mod restart;

use super::*;
use crate::input::{ChannelId, MarkKind};

const S: Nanos = NANOS_PER_SECOND;

fn engine() -> AlarmEngine {
    AlarmEngine::new(Display::Metric)
}

fn over(engine: &mut AlarmEngine, at: Nanos, active: bool) {
    let detail = Detail::Limit(4000.0);
    engine.condition(
        AlarmKind::Overpull,
        at,
        active,
        Level::High,
        Some(4100.0),
        detail,
    );
}

fn slack(engine: &mut AlarmEngine, at: Nanos, active: bool) {
    engine.condition(
        AlarmKind::Slack,
        at,
        active,
        Level::Low,
        Some(100.0),
        Detail::None,
    );
}

fn states(engine: &mut AlarmEngine) -> Vec<(Nanos, &'static str)> {
    let mut events = Vec::new();
    engine.drain(&mut events);
    events
        .into_iter()
        .map(|event| match event {
            Event::Alarm { at, state, .. } => (at, state),
            other => panic!("{other:?}"),
        })
        .collect()
}

/// Raisings of each alarm, as times.
fn raisings(e: &AlarmEngine, kind: &str, level: &str) -> Vec<f64> {
    e.records()
        .iter()
        .filter(|r| r.kind == kind && r.level == level)
        .map(|r| r.raised_s)
        .collect()
}
