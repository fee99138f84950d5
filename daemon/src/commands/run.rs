//! `run`: the daemon itself.

use super::{Hangup, block_on, code_of, complain, folder_of_a_run, job, signalled, token};
use crate::cli::{RunArgs, exit};
use crate::console::say;
use crate::disk::Brake;
use crate::run::{Clocking, Config, RunError};
use crate::run_folder;
use crate::web::{PATIENCE, PageConfig};
use std::path::PathBuf;

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
    let token = match token(read.job.page.token_env.as_deref()) {
        Ok(token) => token,
        Err(code) => return code,
    };
    let listen = args.listen.unwrap_or_else(|| read.job.page.listen.clone());
    let mut going_on = None;
    let mut before = None;
    if args.resume.is_none()
        && let Some(run) = run_folder::broken_off(&read.job.record.folder, &job_text)
    {
        let folder = run.folder.display().to_string();
        if run.same_job && !args.new {
            tracing::warn!(%folder, "the last run of this job broke off: it goes on (--new starts another)");
            going_on = Some(run.folder);
        } else {
            tracing::warn!(%folder, "the run before broke off; its open alarms are taken over");
            before = Some(run.folder);
        }
    } else if args.resume.is_none()
        && let Some(run) = run_folder::left_behind(&read.job.record.folder, &job_text)
    {
        let folder = run.display().to_string();
        tracing::warn!(%folder, "an earlier run of this job broke off and stays so: to go on with it, stop this one and give --resume with that folder");
    }
    let config = |resume: Option<PathBuf>, before| Config {
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
        brake: Brake::default(),
        speak: !args.quiet,
        started: None,
    };
    let ended = block_on(async {
        let first = config(going_on.clone().or(args.resume.clone()), before);
        match crate::run::run(first, signalled(Hangup::GoOn)).await {
            // A record that cannot be read must not keep the crew from watching.
            Err(RunError::Folder(error)) if going_on.is_some() => {
                tracing::error!(%error, "the last run cannot go on; a new one starts");
                crate::run::run(config(None, going_on.clone()), signalled(Hangup::GoOn)).await
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
