//! The demonstration: a recorded cut played through pseudo terminals into the very same daemon.
//!
//! *Time*: the player drives the run clock ([`crate::clock::Hand`]): each frame arrives at its
//! recorded time, at whatever speed it is played. Bytes still pass through the kernel, the serial
//! port code, the recorder and the pipeline.

pub mod built_in;
mod crew;
pub mod fixture;
pub mod player;
pub mod terminal;

use crate::clock::Hand;
use crate::console::say;
use crate::disk::Brake;
use crate::run::{Clocking, Config, Ended, RunError};
use crate::web::{PATIENCE, PageConfig};
use fixture::Fixture;
use kerfwatch::job::{apply_set, read_job};
use std::path::PathBuf;
use std::sync::Arc;
use tokio::sync::oneshot;
use tokio_util::sync::CancellationToken;

/// What to show.
#[derive(Debug, Clone)]
pub struct Demo {
    /// Times as fast as it was recorded.
    pub speed: f64,
    /// Name of a fixture, or a folder.
    pub fixture: String,
    /// Where the page listens.
    pub listen: String,
    /// Token for changes from the page.
    pub token: Option<String>,
    /// End when the record has been played.
    pub once: bool,
    /// Where the run is recorded; `None`: a folder in the system's temporary folder.
    pub folder: Option<PathBuf>,
}

/// Why the demonstration cannot be shown.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum DemoError {
    /// The fixture.
    #[error(transparent)]
    Fixture(#[from] fixture::FixtureError),
    /// No pseudo terminal.
    #[error("cannot open a pseudo terminal: {0}")]
    Terminal(std::io::Error),
    /// The run.
    #[error(transparent)]
    Run(#[from] RunError),
}

/// Plays until the end (`once`), or until `shutdown`.
pub async fn demo(
    demo: Demo,
    shutdown: impl Future<Output = ()>,
    started: Option<oneshot::Sender<crate::run::Started>>,
) -> Result<Ended, DemoError> {
    let Fixture {
        mut job,
        mut job_text,
        frames,
        marks,
    } = fixture::load(&demo.fixture)?;
    let folder = demo.folder.unwrap_or_else(|| {
        std::env::temp_dir().join(format!("kerfwatch-demo-{}", std::process::id()))
    });
    let mut changes = vec![format!("record.folder={:?}", folder.display().to_string())];
    let mut ends = Vec::new();
    for (section, there) in [("load", job.load.is_some()), ("depth", job.depth.is_some())] {
        if there {
            let terminal = terminal::Terminal::open().map_err(DemoError::Terminal)?;
            changes.push(format!(
                "{section}.port=\"serial:{}\"",
                terminal.path.display()
            ));
            ends.push(terminal);
        }
    }
    // Written into the job's text, so that the run folder holds the job as it was used.
    for change in changes {
        job_text = apply_set(&job_text, &change).map_err(fixture::FixtureError::Job)?;
    }
    job = read_job(&job_text, &demo.fixture)
        .map_err(|findings| fixture::FixtureError::Job(findings.to_string()))?
        .job;

    let hand = Hand::default();
    let (up, is_up) = oneshot::channel();
    let played = CancellationToken::new();
    let config = Config {
        job,
        job_text,
        clock: Clocking::Driven {
            hand: hand.clone(),
            speed: demo.speed,
        },
        page: Some(PageConfig {
            listen: demo.listen,
            token: demo.token,
            names: Vec::new(),
            patience: PATIENCE,
        }),
        resume: None,
        before: None,
        notes: Vec::new(),
        brake: Brake::default(),
        speak: true,
        started: Some(up),
    };
    let over = played.clone();
    let once = demo.once;
    let has_token = config
        .page
        .as_ref()
        .is_some_and(|page| page.token.is_some());
    let stop = CancellationToken::new();
    let ended = stop.clone();
    let running = crate::run::run(config, async move {
        tokio::select! {
            () = shutdown => {}
            () = over.cancelled(), if once => {}
        }
    });
    let playing = async move {
        if let Ok(up) = is_up.await {
            if let Some(address) = up.page {
                say(format_args!(
                    "playing `{}` at {} times its speed; page: http://{address}/",
                    demo.fixture, demo.speed
                ));
                say(format_args!("recording to {}", up.run_folder.display()));
            }
            let player = player::Player {
                frames,
                marks: marks.into(),
                marks_out: up.marks.clone(),
                ends,
                hand,
                progress: Arc::clone(&up.published.progress),
                speed: demo.speed,
            };
            // Whoever has the token is the crew.
            if !has_token {
                tokio::spawn(crew::acknowledge(
                    Arc::clone(&up.published),
                    up.marks.clone(),
                    stop.clone(),
                ));
            }
            if let Some(started) = started {
                // The caller may have stopped waiting.
                let _ = started.send(up);
            }
            // Blocking writes on a thread of their own: this is the other side of the cable.
            let _ = tokio::task::spawn_blocking(move || player.play(&stop, &played)).await;
        }
        std::future::pending::<()>().await;
    };
    let result = tokio::select! {
        result = running => result,
        () = playing => unreachable!("the player waits for the run to end"),
    };
    ended.cancel();
    Ok(result?)
}
