//! One run of the daemon from first input to last: who runs where, and in what order it ends.
//!
//! | thread | does | waits for |
//! |---|---|---|
//! | `kw-instruments` | ports, ingest, overpull guard, horn and relay | nobody |
//! | `kw-record` | writes and syncs the record | the disk |
//! | `kw-core` | the pipeline | nobody |
//! | `kw-read-back` | an interrupted run through its pipeline, at the start only | the disk |
//! | `kw-before` | open alarms of another run that broke off, at the start only | the disk |
//! | `kw-forward` | sends the record on (only with `[forward]`) | the network |
//! | `kw-page` | the page, metrics | its readers |
//! | `kw-out`, `kw-err` | lines for people and the log ([`crate::lines_out`]), as long as the process lives | the terminal |
//!
//! Starting: ports open first, also when the run goes on after an interruption; its folder is recovered and read
//! back meanwhile ([`crate::catch_up`]).
//!
//! Ending: ports are stopped, ingest takes what they still had and closes both queues, core and
//! recorder finish theirs, the record is synced, the page goes last. A panic in any thread ends
//! the run the same way, and [`run`] returns an error so that the process ends with a failure and
//! the service manager starts it again.

mod config;
mod opened;

pub use config::{Clocking, Config, Ended, RunError, Started};

use crate::catch_up::{self, CatchingUp, stand_in_job};
use crate::clock::RunClock;
use crate::console::Console;
use crate::core::{ByDesign, Core, GrooveClock};
use crate::disk::Disk;
use crate::forward::{Forwarder, Limits};
use crate::guard::{Guard, Learned};
use crate::handover::Handover;
use crate::history::History;
use crate::ingest::Ingest;
use crate::notify;
use crate::outputs::{self, Horn};
use crate::ports::{self, PortConfig};
use crate::precedence;
use crate::progress::Progress;
use crate::publish::Published;
use crate::recorder::{Decisions, Recorder, policy};
use crate::run_folder::{self, FolderError};
use crate::threads::{Threads, join, runtime};
use crate::web::Page;
use kerfwatch::input::{Mark, MarkKind};
use kerfwatch::pipeline::Pipeline;
use kerfwatch::recording::{Folder, RunWriter};
use opened::Opened;
use std::future::Future;
use std::sync::Arc;
use std::sync::atomic::Ordering;
use tokio::sync::{mpsc, watch};
use tokio_util::sync::CancellationToken;

/// Packed bytes that may wait for the disk: over two minutes at 2 kHz.
const RECORD_BYTES_MAX: usize = 8 << 20;
/// Packed bytes that may wait for the pipeline.
const CORE_BYTES_MAX: usize = 4 << 20;
/// Events of all ports that may wait for the ingest.
const PORT_EVENTS_MAX: usize = 1024;
const MARKS_MAX: usize = 64;

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
    let (decisions, decided) = Decisions::channel();
    let Opened {
        folder: run_folder,
        head,
        beginning,
        from,
        knows_depth,
        note,
        read_back,
    } = match &config.resume {
        Some(folder) => Opened::interrupted(
            run_folder::look(folder, (&job, &config.job_text), &brake)?,
            (&job, &brake, &decisions, &progress),
        ),
        None => Opened::new(run_folder::create(&job, &config.job_text, sync_s, &brake)?),
    };
    let pipeline = Pipeline::new(&match &read_back {
        Some(_) => stand_in_job(&job, !knows_depth),
        None => job.clone(),
    });
    let clock = match &config.clock {
        Clocking::Live => RunClock::live(from),
        Clocking::Driven { hand, speed } => RunClock::driven(hand, *speed),
    };
    let time = clock.clone();
    let tell_time: ports::Clock = Arc::new(move || time.now());
    let learned = Arc::<Learned>::default();
    let guard = Guard::new(&job, &pipeline, Arc::clone(&learned), knows_depth);
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
    if read_back.is_some() {
        // The whole one is being made beside it.
        *published.history() = History::for_a_while();
    }

    let to_record = Arc::new(Handover::new(RECORD_BYTES_MAX));
    let to_core = Arc::new(Handover::new(CORE_BYTES_MAX));
    let (horn, follow) = watch::channel(Horn {
        is_catching_up: read_back.is_some(),
        ..Horn::default()
    });
    let (marks, marks_in) = mpsc::channel(MARKS_MAX);
    published.shell_alarms.record_to(marks.clone());
    for text in note.into_iter().chain(config.notes) {
        tracing::warn!("{text}");
        // The first marks of all: there is room.
        let _ = marks.try_send(Mark::of_daemon(MarkKind::Note(text)));
    }

    let stop_outputs = CancellationToken::new();
    let programs = outputs::start(
        &job,
        false,
        &follow,
        &progress,
        &published.shell_alarms,
        &stop_outputs,
    );

    // Ports first: the rest may take its time.
    let instrument_thread = {
        let mut ingest = Ingest::new(
            clock,
            guard,
            Arc::clone(&to_record),
            Arc::clone(&to_core),
            Arc::clone(&progress),
            horn.clone(),
            from,
        );
        if read_back.is_some() {
            ingest.resumed();
        }
        let outputs_of_job = job.clone();
        let (follow, counters, stop) = (follow.clone(), Arc::clone(&progress), stop.clone());
        let shell = Arc::clone(&published.shell_alarms);
        let stop_outputs = stop_outputs.clone();
        let work = move || -> std::io::Result<()> {
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
        };
        threads.start("kw-instruments", work).map_err(no_thread)?
    };
    let record_thread = {
        let folder = run_folder.clone();
        let inputs = to_record;
        let (progress, alarms) = (Arc::clone(&progress), Arc::clone(&published.shell_alarms));
        let stop = stop.clone();
        let work = move || {
            let writer = beginning.writer(sync_s).map_err(|source| {
                // Nobody can go on with this run.
                stop.cancel();
                FolderError::Record {
                    folder: folder.clone(),
                    source,
                }
            })?;
            let to_reopen = folder.clone();
            let recorder = Recorder {
                writer: Some(writer),
                reopen: Box::new(move || {
                    let disk = Disk::new(Folder::open(&to_reopen), brake.clone());
                    RunWriter::resume(disk, policy(sync_s)).map(|(writer, ..)| writer)
                }),
                inputs,
                decisions: decided,
                progress,
                alarms,
            };
            recorder.run().map_err(|source| RunError::Unsealed {
                run_folder: folder,
                source,
            })
        };
        threads.start("kw-record", work).map_err(no_thread)?
    };
    let forwarder = match job.forward.clone() {
        Some(forward) => {
            let (folder, counters) = (run_folder.clone(), Arc::clone(&progress));
            let alarms = Arc::clone(&published.shell_alarms);
            Forwarder::start(forward, folder, counters, alarms, Limits::default())
                .map(Some)
                .map_err(no_thread)?
        }
        None => None,
    };
    let catching_up = match read_back {
        Some(read_back) => {
            let since = Arc::clone(&read_back.since);
            progress.read_back.on.store(true, Ordering::Release);
            let thread = threads.start("kw-read-back", move || read_back.run());
            Some(CatchingUp::new(since, thread.map_err(no_thread)?))
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
            horn,
            groove: GrooveClock::default(),
            learned,
            by_design: ByDesign::default(),
            catching_up,
        };
        let work = move || core.run();
        threads.start("kw-core", work).map_err(no_thread)?
    };
    // The page outlives the others, so that it can show how the run ended.
    let page_stop = CancellationToken::new();
    let page_thread = match page {
        Some(page) => {
            let (published, marks, stop) =
                (Arc::clone(&published), marks.clone(), page_stop.clone());
            let horn = follow.clone();
            let work = move || {
                precedence::give();
                runtime()?.block_on(page.serve(published, marks, horn, stop))
            };
            Some(threads.start("kw-page", work).map_err(no_thread)?)
        }
        None => None,
    };
    if let Some(folder) = config.before {
        let (published, marks) = (Arc::clone(&published), marks.clone());
        let work = move || catch_up::take_over(&folder, &published, &marks);
        threads.start("kw-before", work).map_err(no_thread)?;
    }

    let page_url = page_address.map(|address| format!("http://{address}/"));
    tracing::info!(run = %run_id, folder = %run_folder.display(), page = page_url, "run started");
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
    recorded.ok_or_else(|| failed("record"))??;
    let result = result.ok_or_else(|| failed("core"))?;
    tracing::info!(run = %run_id, "run ended");
    Ok(Ended { run_folder, result })
}

fn no_thread(source: std::io::Error) -> RunError {
    RunError::System {
        what: "cannot start a thread",
        source,
    }
}
