//! `run`: the daemon itself.

use super::{block_on, code_of, complain, job, signalled, token};
use crate::cli::{RunArgs, exit};
use crate::disk::Brake;
use crate::run::{Clocking, Config};
use crate::web::{PATIENCE, PageConfig};

pub(super) fn run(args: RunArgs) -> u8 {
    crate::logging::start("info");
    let (read, job_text) = match job(&args.job, &args.set, false) {
        Ok(job) => job,
        Err(code) => return code,
    };
    for warning in &read.warnings {
        tracing::warn!("{warning}");
    }
    let token = match token(read.job.page.token_env.as_deref()) {
        Ok(token) => token,
        Err(code) => return code,
    };
    let listen = args.listen.unwrap_or_else(|| read.job.page.listen.clone());
    let config = Config {
        job: read.job,
        job_text,
        clock: Clocking::Live,
        page: (!args.no_page).then_some(PageConfig {
            listen,
            token,
            names: args.names,
            patience: PATIENCE,
        }),
        resume: args.resume,
        brake: Brake::default(),
        speak: !args.quiet,
        started: None,
    };
    match block_on(crate::run::run(config, signalled())) {
        Ok(Ok(ended)) => {
            println!("recorded in {}", ended.run_folder.display());
            exit::OK
        }
        Ok(Err(error)) => {
            complain(&error);
            code_of(&error)
        }
        Err(code) => code,
    }
}
