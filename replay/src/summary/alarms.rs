//! Alarms by event: a stall raises several, which are one thing to whoever reads.

use crate::units_shown::{Units, clock, counted, duration};
use kerfwatch::result::{AlarmRecord, RunResult};
use std::cmp::Ordering;
use std::fmt::Write as _;

/// Alarms raised within so much of the first of an event belong to it, s.
const SAME_EVENT_S: f64 = 60.0;
/// Events shown.
const SHOWN: usize = 12;

/// Alarms of one event, in order of raising.
fn events(alarms: &[AlarmRecord]) -> Vec<Vec<&AlarmRecord>> {
    let mut events: Vec<Vec<&AlarmRecord>> = Vec::new();
    for alarm in alarms {
        match events.last_mut() {
            Some(event)
                if (event.first()).is_some_and(|a| alarm.raised_s - a.raised_s <= SAME_EVENT_S) =>
            {
                event.push(alarm);
            }
            _ => events.push(vec![alarm]),
        }
    }
    events
}

/// The one that stands for an event: of high priority before low, what has come before what approaches, then that with the
/// greatest tension, then the first.
fn worst<'r>(event: &[&'r AlarmRecord]) -> Option<&'r AlarmRecord> {
    let rank = |a: &AlarmRecord| (a.level == "high", a.kind != "approaching");
    event.iter().copied().reduce(|worst, a| {
        let greater = a.peak_n.unwrap_or(0.0) > worst.peak_n.unwrap_or(0.0);
        match rank(a).cmp(&rank(worst)) {
            Ordering::Greater => a,
            Ordering::Equal if greater => a,
            _ => worst,
        }
    })
}

pub(super) fn alarms(text: &mut String, result: &RunResult, units: Units) {
    if result.alarms.is_empty() {
        let _ = writeln!(text, "\nAlarms      none");
        return;
    }
    let events = events(&result.alarms);
    let in_events = match events.len() < result.alarms.len() {
        true => format!(" in {}", counted(events.len(), "event", "events")),
        false => String::new(),
    };
    let _ = writeln!(text, "\nAlarms      {}{in_events}", result.alarms.len());
    for event in events.iter().take(SHOWN) {
        let Some(alarm) = worst(event) else { continue };
        let lasted = match alarm.cleared_s {
            Some(cleared) => format!("for {}", duration(cleared - alarm.raised_s)),
            None => "to the end".to_owned(),
        };
        let peak = alarm.peak_n.map_or(String::new(), |n| {
            format!("{} {}", alarm.extreme(), units.force().show(n))
        });
        let others = match event.len() {
            0 | 1 => String::new(),
            n => format!("  and {} with it", counted(n - 1, "other", "others")),
        };
        let line = format!(
            "  {:>8}  {:<12} {:<5} {lasted:<18} {peak:<14}{others}",
            clock(alarm.raised_s),
            alarm.name(),
            alarm.level
        );
        let _ = writeln!(text, "{}", line.trim_end());
    }
    if events.len() > SHOWN {
        let _ = writeln!(
            text,
            "  and {} more (see --json)",
            counted(events.len() - SHOWN, "event", "events")
        );
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use kerfwatch::job::{print_default_job, read_job};
    use kerfwatch::pipeline::Pipeline;

    #[test]
    fn alarms_of_one_minute_are_one_line_with_the_worst_of_them() {
        let job = read_job(print_default_job(), "job.toml").unwrap().job;
        let mut result = Pipeline::new(&job).result("run");
        let alarm = |kind: &str, level: &str, raised_s: f64, peak_n| AlarmRecord {
            kind: kind.to_owned(),
            about: None,
            level: level.to_owned(),
            raised_s,
            cleared_s: Some(raised_s + 20.0),
            peak_n,
        };
        result.alarms = vec![
            alarm("approaching", "low", 100.0, Some(4_000.0)),
            alarm("stall", "low", 130.0, Some(4_200.0)),
            alarm("overpull", "high", 150.0, Some(4_100.0)),
            alarm("speed", "low", 600.0, None),
        ];
        let mut text = String::new();
        alarms(&mut text, &result, Units::Metric);
        let lines: Vec<&str> = text.trim().lines().collect();
        assert_eq!(lines[0], "Alarms      4 in 2 events");
        assert_eq!(lines.len(), 3, "{text}");
        assert!(lines[1].contains("0:02:30  overpull     high"), "{text}");
        assert!(lines[1].contains("peak 4100 N"), "{text}");
        assert!(lines[1].ends_with("  and 2 others with it"), "{text}");
        assert!(lines[2].contains("0:10:00  speed"), "{text}");
    }
}
