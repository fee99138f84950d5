//! Stalls, slacks and alarms as a list, each with the tension while it lasted.

use super::traces::Span;
use kerfwatch::result::{RunResult, State};

/// Stalls and slacks shorter than this are only counted, s.
pub(super) const SHORT_S: f64 = 2.0;
/// Most that are listed.
const SHOWN: usize = 60;

/// One of them.
#[derive(Debug, Clone)]
pub(super) struct Happening {
    pub(super) title: String,
    pub(super) start_s: f64,
    /// `None`: to the end of the run.
    pub(super) end_s: Option<f64>,
    /// What matters is how low the tension fell, not how high it rose.
    pub(super) lowest: bool,
    /// Of the readings while it lasted.
    pub(super) tension: Span,
    /// What the alarm itself tells, as everywhere else: readings begin before it is raised, and jump more than
    /// what it goes by.
    pub(super) told: Option<Told>,
}

/// Tension that an alarm tells.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Told {
    pub(super) word: &'static str,
    pub(super) tension_n: f64,
}

/// All of a run.
#[derive(Debug, Clone)]
pub(super) struct Happenings {
    /// In order of time.
    pub(super) list: Vec<Happening>,
    /// Too short to be listed.
    pub(super) short: usize,
    /// Later ones that found no room.
    pub(super) more: usize,
}

impl Happenings {
    pub(super) fn new(result: &RunResult) -> Self {
        let mut list = Vec::new();
        let mut short = 0;
        for i in &result.intervals {
            if !matches!(i.state, State::Stalled | State::Slack) {
                continue;
            }
            if i.end_s - i.start_s < SHORT_S {
                short += 1;
                continue;
            }
            list.push(Happening {
                title: i.state.word().to_owned(),
                start_s: i.start_s,
                end_s: Some(i.end_s),
                lowest: i.state == State::Slack,
                tension: Span::EMPTY,
                told: None,
            });
        }
        for a in &result.alarms {
            list.push(Happening {
                title: format!("alarm: {} ({})", a.name(), a.level),
                start_s: a.raised_s,
                end_s: a.cleared_s,
                lowest: false,
                tension: Span::EMPTY,
                told: a.peak_n.map(|tension_n| Told {
                    word: a.extreme(),
                    tension_n,
                }),
            });
        }
        list.sort_by(|a, b| a.start_s.total_cmp(&b.start_s));
        let more = list.len().saturating_sub(SHOWN);
        list.truncate(SHOWN);
        Self { list, short, more }
    }

    /// A reading of line tension, N.
    pub(super) fn take(&mut self, at_s: f64, tension: f64) {
        // In order of start: the first that has not begun ends the search.
        for event in self.list.iter_mut().take_while(|e| e.start_s <= at_s) {
            if event.end_s.is_none_or(|end| at_s <= end) {
                event.tension.take(tension);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use kerfwatch::job::{print_default_job, read_job};
    use kerfwatch::pipeline::Pipeline;
    use kerfwatch::result::AlarmRecord;

    #[test]
    fn readings_do_not_change_the_tension_that_an_alarm_tells() {
        let job = read_job(print_default_job(), "job.toml").unwrap().job;
        let mut result = Pipeline::new(&job).result("run");
        let alarm = |kind: &str, peak_n| AlarmRecord {
            kind: kind.to_owned(),
            about: None,
            level: "low".to_owned(),
            raised_s: 10.0,
            cleared_s: Some(12.0),
            peak_n: Some(peak_n),
        };
        result.alarms = vec![alarm("slack", 624.0), alarm("stall", 5128.0)];
        let mut found = Happenings::new(&result);
        for (at_s, tension) in [(10.5, 1050.0), (11.0, 5194.0)] {
            found.take(at_s, tension);
        }
        let told: Vec<_> = found.list.iter().filter_map(|h| h.told).collect();
        assert_eq!((told[0].word, told[0].tension_n), ("lowest", 624.0));
        assert_eq!((told[1].word, told[1].tension_n), ("peak", 5128.0));
    }
}
