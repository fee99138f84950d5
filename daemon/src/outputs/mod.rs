//! Where alarms go besides the page and the log: horns, relays, programs.
//!
//! Every output follows one [`Horn`], which the overpull guard sets at once and the core renews ten
//! times a second. An output *sounds* while one of its alarms has not been acknowledged. Relays
//! and lines work the safe way round: they are told that all is well, again and again, and only while
//! the sample path moves; when the daemon or the machine dies, nothing comes and the relay drops
//! out. An output that fails is itself an alarm.

mod command;
mod relay;

use crate::guard::Warning;
use crate::progress::Progress;
use crate::shell_alarm::ShellAlarms;
use kerfwatch::alarm::AlarmKind;
use kerfwatch::job::{Job, OutputKind};
use kerfwatch::snapshot::AlarmView;
use kerfwatch::time::seconds;
use std::sync::Arc;
use std::sync::atomic::Ordering;
use tokio::sync::watch;
use tokio_util::sync::CancellationToken;
use tokio_util::task::TaskTracker;

/// Kind of the alarm of a failing output.
const ALARM: AlarmKind = AlarmKind::Output;

/// What the outputs follow.
#[derive(Debug, Clone, Default)]
pub struct Horn {
    /// Set by the guard, at once; taken back when the pipeline has judged the same reading.
    pub overpull: Option<Warning>,
    /// How often the guard has raised one: a new overpull is told even while an old one stands.
    pub overpulls: u64,
    /// Likewise, while the limit is near.
    pub approaching: Option<Warning>,
    /// Alarms that are not normal, as of the last snapshot.
    pub alarms: Vec<AlarmView>,
    /// The record of an interrupted run is being read back: there may be alarms in it that nobody has dealt with,
    /// so nobody can say yet that all is well.
    pub is_catching_up: bool,
}

impl Horn {
    /// The kinds among `wanted` that nobody has acknowledged, without repetition.
    pub fn sounding<'a>(&self, wanted: &'a [String]) -> Vec<&'a str> {
        wanted
            .iter()
            .filter(|kind| {
                (*kind == "overpull" && self.overpull.is_some())
                    || (*kind == "approaching" && self.approaching.is_some())
                    || self
                        .alarms
                        .iter()
                        .any(|alarm| alarm.kind == **kind && alarm.state.contains("unacknowledged"))
            })
            .map(String::as_str)
            .collect()
    }
}

/// What every output needs.
#[derive(Debug, Clone)]
pub(crate) struct Common {
    pub(crate) name: String,
    pub(crate) alarms: Vec<String>,
    pub(crate) horn: watch::Receiver<Horn>,
    pub(crate) progress: Arc<Progress>,
    pub(crate) shell_alarms: Arc<ShellAlarms>,
    pub(crate) stop: CancellationToken,
}

impl Common {
    fn failing(&self, what: &str) {
        let at_s = seconds(self.progress.ingest_at_ns.load(Ordering::Relaxed));
        let text = format!("output `{}` fails: {what}", self.name);
        self.shell_alarms.raise(ALARM, &self.name, at_s, text);
    }

    fn working(&self) {
        self.shell_alarms.clear(ALARM, &self.name);
    }
}

/// Starts relays and lines on the runtime of the instruments (`lines`), or programs on any other;
/// starting a program takes milliseconds that the sample path cannot spare.
pub fn start(
    job: &Job,
    lines: bool,
    horn: &watch::Receiver<Horn>,
    progress: &Arc<Progress>,
    shell_alarms: &Arc<ShellAlarms>,
    stop: &CancellationToken,
) -> TaskTracker {
    let tracker = TaskTracker::new();
    for output in &job.alarm.outputs {
        let common = Common {
            name: output.name.clone(),
            alarms: output.alarms.clone(),
            horn: horn.clone(),
            progress: Arc::clone(progress),
            shell_alarms: Arc::clone(shell_alarms),
            stop: stop.clone(),
        };
        match (&output.kind, lines) {
            (OutputKind::Command { command, timeout }, false) => {
                let timeout = std::time::Duration::from_secs_f64(timeout.0);
                tracker.spawn(command::follow(
                    common,
                    command.clone(),
                    timeout,
                    secrets(job),
                ));
            }
            (OutputKind::ModbusCoil { line, unit, coil }, true) => {
                let words = relay::Words::Coil {
                    unit: *unit,
                    coil: *coil,
                };
                tracker.spawn(relay::follow(common, line.clone(), words));
            }
            (OutputKind::SerialLine { line, well, alarm }, true) => {
                let words = relay::Words::Text {
                    well: well.clone(),
                    alarm: alarm.clone(),
                };
                tracker.spawn(relay::follow(common, line.clone(), words));
            }
            _ => {}
        }
    }
    tracker.close();
    tracker
}

/// Variables of the environment in which the daemon is given tokens.
fn secrets(job: &Job) -> Vec<String> {
    let forward = job.forward.as_ref();
    let forward = forward.and_then(|forward| forward.token_env.clone());
    job.page
        .token_env
        .clone()
        .into_iter()
        .chain(forward)
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_tokens_of_page_and_forwarding_are_secrets() {
        let secrets_with = |more: &str| {
            let text = format!("{}{more}", kerfwatch::job::print_default_job());
            let text = kerfwatch::job::apply_set(&text, "page.token_env=\"PAGE\"").unwrap();
            secrets(&kerfwatch::job::read_job(&text, "job").unwrap().job)
        };
        let forward = "\n[forward]\nurl = \"http://127.0.0.1:9\"\norg = \"crew\"\nbucket = \"cuts\"\ntoken_env = \"FORWARD\"\n";
        assert_eq!(secrets_with(forward), ["PAGE", "FORWARD"]);
        assert_eq!(secrets_with(""), ["PAGE"]);
    }

    fn horn(state: &str) -> Horn {
        Horn {
            overpull: None,
            overpulls: 0,
            approaching: None,
            is_catching_up: false,
            alarms: vec![AlarmView {
                kind: "stall".into(),
                level: "high".into(),
                state: state.into(),
                about: String::new(),
                raised_s: 0.0,
                until_s: None,
                is_past: false,
                message: String::new(),
            }],
        }
    }

    #[test]
    fn an_output_sounds_until_its_alarm_is_acknowledged() {
        let wanted = ["overpull".to_owned(), "stall".to_owned()];
        assert_eq!(horn("unacknowledged").sounding(&wanted), ["stall"]);
        assert_eq!(horn("returned_unacknowledged").sounding(&wanted), ["stall"]);
        assert!(horn("acknowledged").sounding(&wanted).is_empty());
        assert!(horn("unacknowledged").sounding(&wanted[..1]).is_empty());
    }

    #[test]
    fn the_guards_word_is_enough() {
        let horn = Horn {
            overpull: Some(Warning {
                at_s: 1.0,
                tension_n: 2.0,
                limit_n: 1.0,
            }),
            overpulls: 1,
            approaching: None,
            is_catching_up: false,
            alarms: Vec::new(),
        };
        assert_eq!(horn.sounding(&["overpull".to_owned()]), ["overpull"]);
    }
}
