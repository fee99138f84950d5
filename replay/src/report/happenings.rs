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
    pub(super) tension: Span,
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
            });
        }
        for a in &result.alarms {
            let mut tension = Span::EMPTY;
            let lowest = a.kind == "slack";
            if let Some(peak) = a.peak_n.filter(|_| !lowest) {
                tension.take(peak);
            }
            list.push(Happening {
                title: format!("alarm: {} ({})", a.kind, a.level),
                start_s: a.raised_s,
                end_s: a.cleared_s,
                lowest,
                tension,
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
