//! Our own pipeline, run over a record as an import would.

use super::estimate::{Estimate, Shown, Watch, Watched};
use super::record::Record;
use super::ten_strokes::Ahead;
use kerfwatch::input::{ChannelId, Event, Input};
use kerfwatch::pipeline::Pipeline;
use kerfwatch::result::State;

/// Runs the pipeline.
pub fn estimate(record: &Record) -> Estimate {
    let began = std::time::Instant::now();
    let mut pipeline = Pipeline::new(&record.job);
    let mut events = Vec::new();
    let mut overpulls = Vec::new();
    let mut shown = Vec::new();
    let mut watched = Vec::new();
    let truth = &record.truth;
    let mut history = truth.groove_history.iter().map(|h| h.time_s).peekable();
    let held = |interval: &&super::truth::Interval| {
        matches!(interval.state, State::Stalled | State::Slack)
    };
    let mut watch = Watch::new(truth.intervals.iter().filter(held).map(|i| i.start_s));
    let mut line_m = 0.0;
    record.feed(|time, input| {
        if let Input::Reading {
            channel: ChannelId::Depth,
            value,
            ..
        } = input
        {
            line_m = *value;
        }
        pipeline.push(input, &mut events);
        for event in events.drain(..) {
            if let Event::Alarm { state, record, .. } = event
                && record.kind == "overpull"
                && state == "unacknowledged"
            {
                overpulls.push(record.raised_s);
            }
        }
        if history.next_if(|due| *due <= time).is_some() {
            pipeline.refresh();
            let now = pipeline.snapshot();
            shown.push(Shown {
                time_s: time,
                groove: now.groove,
                joints: now.joints,
                ahead: (now.outlook.iter())
                    .map(|joint| {
                        Some(Ahead {
                            deepen_mm: joint.ten_deepen_mm?,
                            split: joint.ten_split?,
                        })
                    })
                    .collect(),
            });
        }
        if watch.due(time) {
            watched.push(Watched {
                time_s: time,
                state: pipeline.snapshot().state,
                line_m,
            });
        }
    });
    pipeline.finish(&mut events);
    let result = pipeline.result(&record.name);
    for alarm in result.alarms.iter().filter(|a| a.kind == "overpull") {
        overpulls.push(alarm.raised_s);
    }
    overpulls.sort_by(f64::total_cmp);
    overpulls.dedup();
    Estimate {
        result,
        shown,
        watched,
        overpulls,
        took_s: began.elapsed().as_secs_f64(),
    }
}
