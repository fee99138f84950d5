//! `forward`: sends on what a run still owes to its server.

use super::{Hangup, block_on, complain, folder_of_a_run, signalled};
use crate::cli::exit;
use crate::console::say;
use crate::forward::{Forwarder, Limits};
use crate::progress::Progress;
use kerfwatch::job::read_job;
use kerfwatch::recording::{Folder, RunHead, RunReader};
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

/// Sends on the rest of a run.
pub(super) fn forward(run: &Path) -> u8 {
    crate::logging::start("info");
    if let Err(code) = folder_of_a_run(run) {
        return code;
    }
    let shown = run.display();
    let head = match RunReader::open(run).and_then(|_| RunHead::read(&Folder::open(run))) {
        Ok(head) => head,
        Err(error) => {
            complain(&format_args!("{shown}: {error}"));
            return exit::BAD_INPUT;
        }
    };
    let place = match read_job(&head.job, "run.toml") {
        Ok(read) => read.job.forward,
        Err(findings) => {
            complain(&findings);
            return exit::BAD_INPUT;
        }
    };
    let Some(place) = place else {
        complain(&format_args!(
            "{shown}: its job has no [forward] section, so it owes nothing to a server"
        ));
        return exit::BAD_INPUT;
    };
    let limits = Limits {
        // As long as it takes; a signal ends it.
        grace: Duration::from_secs(u64::from(u32::MAX)),
        ..Limits::default()
    };
    let (progress, alarms) = (Arc::<Progress>::default(), Arc::default());
    let counters = Arc::clone(&progress);
    let started = Forwarder::start(place, run.to_owned(), counters, alarms, limits);
    let sent = started.map_err(|error| {
        complain(&format_args!("cannot start: {error}"));
        exit::FAILED
    });
    let sent = sent.and_then(|forwarder| {
        block_on(async {
            tokio::select! {
                sent = forwarder.finish() => sent,
                () = signalled(Hangup::End) => false,
            }
        })
    });
    let Some(view) = progress.forward.view() else {
        return exit::FAILED;
    };
    say(format_args!(
        "{} points sent, {} refused by the server",
        view.points, view.set_aside
    ));
    match sent {
        Ok(true) if view.trouble.is_empty() => exit::OK,
        Ok(true) => {
            complain(&format_args!("{shown}: {}", view.trouble));
            exit::FAILED
        }
        Ok(false) => {
            let why = Some(view.trouble).filter(|text| !text.is_empty());
            let why = why.map_or(String::new(), |text| format!(": {text}"));
            complain(&format_args!(
                "{shown}: not all was sent{why}; the same command goes on from there"
            ));
            exit::FAILED
        }
        Err(code) => code,
    }
}
