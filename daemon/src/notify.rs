//! What the service manager hears: ready, stopping, and a watchdog tied to the sample path.
//!
//! The watchdog is fed only while both the ingest and the pipeline take in ticks. A daemon whose
//! page answers but whose samples stand still is restarted; one whose disk or readers are slow is
//! not. Outside systemd all this does nothing.

use crate::progress::{Progress, read};
use sd_notify::NotifyState;
use std::sync::Arc;
use std::time::Duration;
use tokio_util::sync::CancellationToken;

/// Sees whether the sample path has moved since the last look.
#[derive(Debug, Default)]
pub struct Pulse {
    ingest: u64,
    core: u64,
}

impl Pulse {
    /// Both have moved.
    pub fn moved(&mut self, progress: &Progress) -> bool {
        let ingest = read(&progress.ticks);
        let core = read(&progress.core_ticks);
        let moved = ingest > self.ingest && core > self.core;
        if moved {
            (self.ingest, self.core) = (ingest, core);
        }
        moved
    }
}

/// Says that everything is up.
pub fn ready(status: &str) {
    say(&[NotifyState::Ready, NotifyState::Status(status)]);
}

/// Says that the end has begun.
pub fn stopping() {
    say(&[NotifyState::Stopping]);
}

/// Feeds the watchdog until `stop`, if there is one.
pub async fn watch(progress: Arc<Progress>, stop: CancellationToken) {
    let Some(limit) = sd_notify::watchdog_enabled() else {
        return;
    };
    let mut pulse = Pulse::default();
    // A third: one late look does not bite.
    let mut timer = tokio::time::interval((limit / 3).max(Duration::from_millis(50)));
    loop {
        tokio::select! {
            () = stop.cancelled() => return,
            _ = timer.tick() => {}
        }
        if pulse.moved(&progress) {
            say(&[NotifyState::Watchdog]);
        } else {
            tracing::warn!("the sample path stands still; the watchdog is not fed");
        }
    }
}

fn say(states: &[NotifyState<'_>]) {
    if let Err(error) = sd_notify::notify(states) {
        tracing::debug!(%error, "service manager");
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::progress::count;

    #[test]
    fn the_pulse_needs_both_ingest_and_pipeline() {
        let progress = Progress::default();
        let mut pulse = Pulse::default();
        assert!(!pulse.moved(&progress));
        count(&progress.ticks);
        assert!(!pulse.moved(&progress), "the pipeline stands still");
        count(&progress.core_ticks);
        assert!(pulse.moved(&progress));
        assert!(!pulse.moved(&progress));
    }
}
