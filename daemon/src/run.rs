//! One run of the daemon from first input to last: who runs where, and in what order it ends.
//!
//! | thread | does | waits for |
//! |---|---|---|
//! | `kw-instruments` | ports, ingest, overpull guard, horn and relay | nobody |
//! | `kw-record` | writes and syncs the record | the disk |
//! | `kw-core` | the pipeline | nobody |
//! | `kw-forward` | sends the record on (only with `[forward]`) | the network |
//! | `kw-page` | the page, metrics | its readers |
//!
//! Ending: ports are stopped, ingest takes what they still had and closes both queues, core and
//! recorder finish theirs, the record is synced, the page goes last. A panic in any thread ends
//! the run the same way, and [`run`] returns an error so that the process ends with a failure and
//! the service manager starts it again.

use crate::clock::{Hand, RunClock};
use crate::console::Console;
use crate::core::{ByDesign, Core, GrooveClock};
use crate::disk::{Brake, Disk};
use crate::forward::{Forwarder, Limits};
use crate::guard::{Guard, LearnedPickUp};
use crate::handover::Handover;
use crate::ingest::Ingest;
use crate::notify;
use crate::outputs;
use crate::outputs::Horn;
use crate::ports::{self, PortConfig};
use crate::precedence;
use crate::progress::Progress;
use crate::publish::Published;
use crate::recorder::{Decisions, Recorder, policy};
use crate::run_folder::{self, FolderError, OpenRun};
use crate::web::{Page, PageConfig, PageError};
use kerfwatch::decode::SetupError;
use kerfwatch::input::{Mark, MarkKind};
use kerfwatch::job::Job;
use kerfwatch::recording::{Folder, RecordError, RunWriter};
use kerfwatch::result::RunResult;
use std::future::Future;
use std::net::SocketAddr;
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::thread::JoinHandle;
use tokio::sync::{mpsc, oneshot, watch};
use tokio_util::sync::CancellationToken;

/// Packed bytes that may wait for the disk: over two minutes at 2 kHz.
const RECORD_BYTES_MAX: usize = 8 << 20;
/// Packed bytes that may wait for the pipeline.
const CORE_BYTES_MAX: usize = 4 << 20;
/// Events of all ports that may wait for the ingest.
const PORT_EVENTS_MAX: usize = 1024;
const MARKS_MAX: usize = 64;

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
    /// Open alarms of a run that broke off, for a new run to take over.
    pub before: Option<MarkKind>,
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

/// Stops everything when its thread ends by a panic.
struct Alive {
    stop: CancellationToken,
    progress: Arc<Progress>,
}

impl Drop for Alive {
    fn drop(&mut self) {
        if std::thread::panicking() {
            self.progress.failed.store(true, Ordering::Relaxed);
            self.stop.cancel();
        }
    }
}

struct Threads {
    stop: CancellationToken,
    progress: Arc<Progress>,
}

impl Threads {
    fn start<T: Send + 'static>(
        &self,
        name: &'static str,
        work: impl FnOnce() -> T + Send + 'static,
    ) -> Result<JoinHandle<T>, RunError> {
        let alive = Alive {
            stop: self.stop.clone(),
            progress: Arc::clone(&self.progress),
        };
        std::thread::Builder::new()
            .name(name.to_owned())
            .spawn(move || {
                let _alive = alive;
                work()
            })
            .map_err(|source| RunError::System {
                what: "cannot start a thread",
                source,
            })
    }
}

fn runtime() -> std::io::Result<tokio::runtime::Runtime> {
    tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
}

/// Runs until `shutdown`, then ends in order. The only entry: `kerfwatchd` and tests use it alike.
pub async fn run(config: Config, shutdown: impl Future<Output = ()>) -> Result<Ended, RunError> {
    let Config { job, .. } = &config;
    if job.load.is_none() && job.depth.is_none() {
        return Err(RunError::NoInstrument);
    }
    let page = match config.page {
        Some(page) => Some(Page::bind(page).await?),
        None => None,
    };
    let page_address = page.as_ref().map(|page| page.address);

    let job = config.job;
    let progress = Arc::new(Progress::default());
    let stop = CancellationToken::new();
    let threads = Threads {
        stop: stop.clone(),
        progress: Arc::clone(&progress),
    };
    let sync_s = job.record.sync.0;
    let brake = config.brake;
    let OpenRun {
        folder: run_folder,
        head,
        writer,
        pipeline,
        from,
        resumed,
    } = match &config.resume {
        Some(folder) => run_folder::resume(folder, &config.job_text, sync_s, &brake)?,
        None => run_folder::create(&job, &config.job_text, sync_s, &brake)?,
    };
    let clock = match &config.clock {
        Clocking::Live => RunClock::live(from),
        Clocking::Driven { hand, speed } => RunClock::driven(hand, *speed),
    };
    let time = clock.clone();
    let tell_time: ports::Clock = Arc::new(move || time.now());
    let learned = Arc::<LearnedPickUp>::default();
    let guard = Guard::new(&job, &pipeline, Arc::clone(&learned));
    let open_ports = PortConfig::of_job(&job, &tell_time)?;
    let run_id = head.run_id;
    let published = Arc::new(Published::new(
        job.clone(),
        run_id.clone(),
        run_folder.display().to_string(),
        head.started_utc,
        clock.speed(),
        Arc::clone(&progress),
        pipeline.snapshot(),
        pipeline.result(&run_id),
    ));

    let to_record = Arc::new(Handover::new(RECORD_BYTES_MAX));
    let to_core = Arc::new(Handover::new(CORE_BYTES_MAX));
    let (horn, follow) = watch::channel(Horn::default());
    let (marks, marks_in) = mpsc::channel(MARKS_MAX);

    let stop_outputs = CancellationToken::new();
    let programs = outputs::start(
        &job.alarm.outputs,
        false,
        &follow,
        &progress,
        &published.shell_alarms,
        &stop_outputs,
    );
    let (decisions, decided) = Decisions::channel();

    let record_thread = {
        let folder = run_folder.clone();
        let recorder = Recorder {
            writer: Some(writer),
            reopen: Box::new(move || {
                let disk = Disk::new(Folder::open(&folder), brake.clone());
                RunWriter::resume(disk, policy(sync_s)).map(|(writer, ..)| writer)
            }),
            inputs: Arc::clone(&to_record),
            decisions: decided,
            progress: Arc::clone(&progress),
            alarms: Arc::clone(&published.shell_alarms),
        };
        threads.start("kw-record", move || recorder.run())?
    };
    let forwarder = match job.forward.clone() {
        Some(forward) => {
            let (folder, counters) = (run_folder.clone(), Arc::clone(&progress));
            let alarms = Arc::clone(&published.shell_alarms);
            Forwarder::start(forward, folder, counters, alarms, Limits::default())
                .map(Some)
                .map_err(|source| RunError::System {
                    what: "cannot start a thread",
                    source,
                })?
        }
        None => None,
    };
    let core_thread = {
        let core = Core {
            pipeline,
            inputs: Arc::clone(&to_core),
            decisions,
            published: Arc::clone(&published),
            console: Console {
                display: job.info.display,
                speak: config.speak,
            },
            horn: horn.clone(),
            groove: GrooveClock::default(),
            learned,
            by_design: ByDesign::default(),
        };
        threads.start("kw-core", move || core.run())?
    };
    // The page outlives the others, so that it can show how the run ended.
    let page_stop = CancellationToken::new();
    let page_thread = match page {
        Some(page) => {
            let (published, marks, stop) =
                (Arc::clone(&published), marks.clone(), page_stop.clone());
            let horn = follow.clone();
            Some(threads.start("kw-page", move || {
                runtime()?.block_on(page.serve(published, marks, horn, stop))
            })?)
        }
        None => None,
    };
    let instrument_thread = {
        let mut ingest = Ingest::new(
            clock,
            guard,
            to_record,
            to_core,
            Arc::clone(&progress),
            horn,
            from,
        );
        if resumed {
            ingest.resumed();
        }
        if let Some(alarms) = config.before {
            ingest.take_over(alarms);
        }
        let outputs_of_job = job.alarm.outputs.clone();
        let (follow, counters, stop) = (follow.clone(), Arc::clone(&progress), stop.clone());
        let shell = Arc::clone(&published.shell_alarms);
        let stop_outputs = stop_outputs.clone();
        threads.start("kw-instruments", move || -> std::io::Result<()> {
            precedence::take();
            runtime()?.block_on(async {
                let (events, events_in) = mpsc::channel(PORT_EVENTS_MAX);
                for port in open_ports {
                    tokio::spawn(ports::run_port(port, events.clone(), stop.clone()));
                }
                drop(events);
                let lines = outputs::start(
                    &outputs_of_job,
                    true,
                    &follow,
                    &counters,
                    &shell,
                    &stop_outputs,
                );
                ingest.run(events_in, marks_in, stop).await;
                stop_outputs.cancel();
                lines.wait().await;
            });
            Ok(())
        })?
    };

    tracing::info!(run = %run_id, folder = %run_folder.display(), "run started");
    if let Some(started) = config.started {
        // The caller may have stopped waiting.
        let _ = started.send(Started {
            page: page_address,
            run_folder: run_folder.clone(),
            published: Arc::clone(&published),
            marks,
        });
    }
    notify::ready(&format!("recording to {}", run_folder.display()));
    let watchdog = tokio::spawn(notify::watch(Arc::clone(&progress), stop.clone()));
    tokio::select! {
        () = shutdown => {}
        () = stop.cancelled() => {}
    }
    notify::stopping();
    stop.cancel();
    watchdog.abort();

    let failed = |thread| RunError::Panicked {
        thread,
        run_folder: run_folder.clone(),
    };
    // All are joined before any error is returned: nothing is left half written.
    let instruments = join(instrument_thread).await;
    let result = join(core_thread).await;
    let recorded = join(record_thread).await;
    if let Some(forwarder) = forwarder {
        forwarder.finish().await;
    }
    stop_outputs.cancel();
    programs.wait().await;
    page_stop.cancel();
    if let Some(thread) = page_thread {
        join(thread)
            .await
            .ok_or_else(|| failed("page"))?
            .map_err(|source| RunError::System {
                what: "page",
                source,
            })?;
    }
    instruments
        .ok_or_else(|| failed("instruments"))?
        .map_err(|source| RunError::System {
            what: "instruments",
            source,
        })?;
    recorded
        .ok_or_else(|| failed("record"))?
        .map_err(|source| RunError::Unsealed {
            run_folder: run_folder.clone(),
            source,
        })?;
    let result = result.ok_or_else(|| failed("core"))?;
    tracing::info!(run = %run_id, "run ended");
    Ok(Ended { run_folder, result })
}

async fn join<T: Send + 'static>(thread: JoinHandle<T>) -> Option<T> {
    tokio::task::spawn_blocking(move || thread.join().ok())
        .await
        .ok()
        .flatten()
}
