//! `run`: the daemon itself.

use super::{Hangup, block_on, code_of, complain, folder_of_a_run, job, signalled, token};
use crate::cli::{RunArgs, exit};
use crate::console::say;
use crate::disk::Brake;
use crate::run::{Clocking, Config, RunError};
use crate::web::{PATIENCE, PageConfig};
use crate::{other_job, run_folder};
use kerfwatch::job::Job;
use std::path::PathBuf;

/// What an earlier run means for this start.
#[derive(Debug, Default)]
struct Earlier {
    /// It goes on.
    going_on: Option<PathBuf>,
    /// It does not, but its open alarms are taken over.
    before: Option<PathBuf>,
    /// What the crew has to know of it.
    notes: Vec<String>,
}

fn earlier(args: &RunArgs, file: (&Job, &str)) -> Earlier {
    let mut earlier = Earlier::default();
    if let Some(run) = run_folder::broken_off(file) {
        let folder = run.folder.display().to_string();
        match run.differs {
            None if !args.new => {
                tracing::warn!(%folder, "the last run of this job broke off: it goes on (--new starts another)");
                earlier.going_on = Some(run.folder);
                return earlier;
            }
            None => {
                tracing::warn!(%folder, "the run before broke off; its open alarms are taken over");
                earlier.before = Some(run.folder);
                return earlier;
            }
            Some(differs) => {
                let note = other_job::new_run_instead(&run.folder, &differs);
                earlier.notes.push(note);
                earlier.before = Some(run.folder);
            }
        }
    } else if let Some(run) = run_folder::ended(file) {
        if !args.new {
            let command = other_job::resume_command(&args.job, &args.set, &run.folder);
            let differs = run.differs.as_deref();
            let note = other_job::ended_before(&run.folder, differs, &command);
            earlier.notes.push(note);
        }
        earlier.before = Some(run.folder);
    }
    if let Some(folder) = run_folder::left_behind(file) {
        let command = other_job::resume_command(&args.job, &args.set, &folder);
        let note = other_job::left_behind(&folder, &command);
        earlier.notes.push(note);
    }
    earlier
}

pub(super) fn run(args: RunArgs) -> u8 {
    crate::logging::start("info");
    let (read, job_text) = match job(&args.job, &args.set, false) {
        Ok(job) => job,
        Err(code) => return code,
    };
    for warning in &read.warnings {
        tracing::warn!("{warning}");
    }
    if let Some(code) = args
        .resume
        .as_deref()
        .and_then(|run| folder_of_a_run(run).err())
    {
        return code;
    }
    let file = (&read.job, job_text.as_str());
    let other = (!args.new)
        .then(|| run_folder::being_recorded(file))
        .flatten();
    if let Some(folder) = other {
        complain(&format_args!(
            "run {} of this very job is being recorded by another kerfwatchd: stop that one first (`pgrep kerfwatchd` tells \
             its process id), or start a second record beside it with --new",
            folder.display()
        ));
        return exit::BAD_INPUT;
    }
    let token = match token(read.job.page.token_env.as_deref()) {
        Ok(token) => token,
        Err(code) => return code,
    };
    let Earlier {
        going_on,
        before,
        notes,
    } = match args.resume {
        Some(_) => Earlier::default(),
        None => earlier(&args, (&read.job, &job_text)),
    };
    let listen = args.listen.unwrap_or_else(|| read.job.page.listen.clone());
    let config = |resume: Option<PathBuf>, before, notes| Config {
        job: read.job.clone(),
        job_text: job_text.clone(),
        clock: Clocking::Live,
        page: (!args.no_page).then(|| PageConfig {
            listen: listen.clone(),
            token: token.clone(),
            names: args.names.clone(),
            patience: PATIENCE,
        }),
        resume,
        before,
        notes,
        brake: Brake::default(),
        speak: !args.quiet,
        started: None,
    };
    let ended = block_on(async {
        let first = config(going_on.clone().or(args.resume.clone()), before, notes);
        match Box::pin(crate::run::run(first, signalled(Hangup::GoOn))).await {
            // A record that cannot be read must not keep the crew from watching.
            Err(RunError::Folder(error)) if going_on.is_some() => {
                let note = format!("the last run cannot go on; a new one starts: {error}");
                let again = config(None, going_on.clone(), vec![note]);
                Box::pin(crate::run::run(again, signalled(Hangup::GoOn))).await
            }
            ended => ended,
        }
    });
    match ended {
        Ok(Ok(ended)) => {
            say(format_args!("recorded in {}", ended.run_folder.display()));
            exit::OK
        }
        Ok(Err(error)) => {
            complain(&error);
            code_of(&error)
        }
        Err(code) => code,
    }
}
