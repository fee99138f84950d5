//! What a run needs, what it tells, and why it may not start or end well.

use crate::clock::Hand;
use crate::disk::Brake;
use crate::publish::Published;
use crate::run_folder::FolderError;
use crate::web::{PageConfig, PageError};
use kerfwatch::decode::SetupError;
use kerfwatch::input::Mark;
use kerfwatch::job::Job;
use kerfwatch::recording::RecordError;
use kerfwatch::result::RunResult;
use std::net::SocketAddr;
use std::path::PathBuf;
use std::sync::Arc;
use tokio::sync::{mpsc, oneshot};

/// What a run needs.
#[derive(Debug)]
pub struct Config {
    /// The checked job.
    pub job: Job,
    /// The job file as it was read; kept in the run folder.
    pub job_text: String,
    /// Tells the time; a live one, except in the demonstration and in tests.
    pub clock: Clocking,
    /// The page; `None` serves none.
    pub page: Option<PageConfig>,
    /// A run folder to go on with.
    pub resume: Option<PathBuf>,
    /// A run that broke off, for a new run to take over its open alarms.
    pub before: Option<PathBuf>,
    /// What the crew must know of runs before: goes to log, record and page.
    pub notes: Vec<String>,
    /// Brakes the disk in tests and benches; the default does nothing.
    pub brake: Brake,
    /// Print lines for people on standard output.
    pub speak: bool,
    /// Told once everything is up.
    pub started: Option<oneshot::Sender<Started>>,
}

/// Where run time comes from.
#[derive(Debug, Clone)]
pub enum Clocking {
    /// The host.
    Live,
    /// A player.
    Driven {
        /// Set by the player.
        hand: Hand,
        /// About this many times as fast as the host's clock.
        speed: f64,
    },
}

/// What is known once everything is up.
#[derive(Debug, Clone)]
pub struct Started {
    /// Where the page answers.
    pub page: Option<SocketAddr>,
    /// Where the record goes.
    pub run_folder: PathBuf,
    /// The shared present.
    pub published: Arc<Published>,
    /// Takes operator's marks.
    pub marks: mpsc::Sender<Mark>,
}

/// What is left when the run has ended.
#[derive(Debug)]
pub struct Ended {
    /// Where the record is.
    pub run_folder: PathBuf,
    /// What was decided live.
    pub result: RunResult,
}

/// Why a run could not start, or did not end well.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum RunError {
    /// The page.
    #[error(transparent)]
    Page(#[from] PageError),
    /// The run folder.
    #[error(transparent)]
    Folder(#[from] FolderError),
    /// The instruments of the job.
    #[error(transparent)]
    Instruments(#[from] SetupError),
    /// The end of the record could not be written.
    #[error(
        "{run_folder}: the run could not be sealed: {source}; go on with it by --resume, or seal it later"
    )]
    Unsealed {
        /// Where the record is.
        run_folder: PathBuf,
        /// Why.
        source: RecordError,
    },
    /// The job names no instrument.
    #[error("the job has no [load] section with a port: there is nothing to listen to")]
    NoInstrument,
    /// A thread has panicked; what was recorded is safe.
    #[error("the {thread} thread failed; what had been recorded is in {run_folder}")]
    Panicked {
        /// Which.
        thread: &'static str,
        /// Where the record is.
        run_folder: PathBuf,
    },
    /// The system.
    #[error("{what}: {source}")]
    System {
        /// What was tried.
        what: &'static str,
        /// Why it failed.
        source: std::io::Error,
    },
}
