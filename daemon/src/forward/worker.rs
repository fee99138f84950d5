//! The forwarder's thread: record -> batches -> server -> cursor, until the run has ended and all is sent.
//!
//! It shares nothing with the path of the samples but the disk, reads the record behind it, and may stop or fail
//! without the run taking notice.

use super::cursor::Cursor;
use super::delivery::{Away, Delivery, Stopped};
use super::queue::{Next, Queue};
use super::server::target;
use crate::precedence;
use crate::progress::Progress;
use crate::shell_alarm::ShellAlarms;
use kerfwatch::alarm::AlarmKind;
use kerfwatch::job;
use kerfwatch::time::{NANOS_PER_SECOND, Nanos, seconds};
use std::collections::VecDeque;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::thread::JoinHandle;
use std::time::{Duration, Instant};
use tokio_util::sync::CancellationToken;

/// Time limits.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Limits {
    /// To connect.
    pub connect: Duration,
    /// For a whole request.
    pub whole: Duration,
    /// First wait after trouble.
    pub wait_first: Duration,
    /// Longest wait after trouble, unless the server asks for more.
    pub wait_longest: Duration,
    /// Trouble that lasts longer raises the alarm.
    pub alarm_after: Duration,
    /// Between looks at the record.
    pub look: Duration,
    /// After the pipeline has reached a time until its alarms are surely on disk.
    pub settle: Duration,
    /// At the end of the run: longest time to send what is left.
    pub grace: Duration,
    /// What was taken so shortly before the server went away goes again: a server that is killed may not have
    /// written what it had confirmed. Zero: never.
    pub again: Duration,
}

impl Default for Limits {
    fn default() -> Self {
        Self {
            connect: Duration::from_secs(5),
            whole: Duration::from_secs(30),
            wait_first: super::backoff::FIRST,
            wait_longest: Duration::from_secs(60),
            alarm_after: Duration::from_secs(60),
            look: Duration::from_secs(1),
            settle: Duration::from_secs(3),
            grace: Duration::from_secs(5),
            again: Duration::from_secs(30),
        }
    }
}

/// The forwarder of one run, under way.
#[derive(Debug)]
pub struct Forwarder {
    stop: CancellationToken,
    ended: CancellationToken,
    grace: Duration,
    thread: Option<JoinHandle<()>>,
}

/// Tells that forwarding has ended by a fault, also when that was a panic; the run goes on.
struct Fallen(Arc<ShellAlarms>, Arc<Progress>);

impl Fallen {
    fn tell(&self, text: &str) {
        let at = seconds(self.1.ingest_at_ns.load(Ordering::Relaxed));
        self.1.forward.set_trouble(text);
        self.0.raise(AlarmKind::Forward, "", at, text.to_owned());
    }
}

impl Drop for Fallen {
    fn drop(&mut self) {
        if std::thread::panicking() {
            self.tell("the forwarder has failed and is off until the next start; the record is not affected");
        }
    }
}

impl Forwarder {
    /// Starts forwarding the record in `folder`, which may still be written.
    ///
    /// # Errors
    /// When there is no thread to be had.
    pub fn start(
        forward: job::Forward,
        folder: PathBuf,
        progress: Arc<Progress>,
        alarms: Arc<ShellAlarms>,
        limits: Limits,
    ) -> std::io::Result<Self> {
        progress.forward.on.store(true, Ordering::Relaxed);
        let (stop, ended) = (CancellationToken::new(), CancellationToken::new());
        let (stopped, over) = (stop.clone(), ended.clone());
        let thread = std::thread::Builder::new()
            .name("kw-forward".to_owned())
            .spawn(move || {
                precedence::give();
                let fallen = Fallen(Arc::clone(&alarms), Arc::clone(&progress));
                let runtime = tokio::runtime::Builder::new_current_thread()
                    .enable_all()
                    .build();
                match runtime {
                    Ok(runtime) => runtime.block_on(async {
                        let work = work(forward, &folder, progress, alarms, limits, stopped, over);
                        if work.await == Err(Stopped) {
                            tracing::warn!(
                                "not everything was forwarded; the rest goes with `kerfwatchd forward`"
                            );
                        }
                    }),
                    Err(error) => fallen.tell(&format!("nothing is forwarded: {error}")),
                }
            })?;
        Ok(Self {
            stop,
            ended,
            grace: limits.grace,
            thread: Some(thread),
        })
    }

    /// The record is complete: sends what is left, for as long as the grace lasts. Whether all is sent.
    pub async fn finish(mut self) -> bool {
        self.ended.cancel();
        let Some(thread) = self.thread.take() else {
            return false;
        };
        let deadline = Instant::now() + self.grace;
        while !thread.is_finished() && Instant::now() < deadline {
            tokio::time::sleep(Duration::from_millis(20)).await;
        }
        let in_time = thread.is_finished();
        self.stop.cancel();
        let joined = tokio::task::spawn_blocking(move || thread.join().is_ok()).await;
        in_time && joined.unwrap_or(false)
    }
}

impl Drop for Forwarder {
    fn drop(&mut self) {
        self.stop.cancel();
    }
}

pub(super) async fn work(
    forward: job::Forward,
    folder: &Path,
    progress: Arc<Progress>,
    alarms: Arc<ShellAlarms>,
    limits: Limits,
    stop: CancellationToken,
    ended: CancellationToken,
) -> Result<(), Stopped> {
    let target = target(&forward);
    let cursor = Cursor::read(folder, &target);
    let mut queue = match Queue::open(folder, cursor, forward.rate_hz) {
        Ok(queue) => queue,
        Err(why) => {
            let at = seconds(progress.ingest_at_ns.load(Ordering::Relaxed));
            let text = format!("nothing is forwarded: {why}");
            progress.forward.set_trouble(&text);
            alarms.raise(AlarmKind::Forward, "", at, text);
            return Ok(());
        }
    };
    tracing::info!(%target, "forwarding");
    let mut delivery = Delivery::new(
        forward,
        limits,
        folder,
        &queue.run_id,
        &queue.maker,
        Arc::clone(&progress),
        alarms,
        stop,
    );
    let mut reached = Reached::default();
    let mut recent = Recent::new(limits.again);
    loop {
        // Asked before the record is looked at: what it then holds is all.
        let over = ended.is_cancelled();
        let core_at = progress.core_at_ns.load(Ordering::Relaxed);
        let until = (!over).then(|| reached.settled(core_at, Instant::now(), limits.settle));
        queue.refresh();
        loop {
            progress
                .forward
                .backlog
                .store(queue.backlog(), Ordering::Relaxed);
            match queue.next(delivery.points_max, until) {
                Next::Batch(batch) => {
                    let from = (queue.cursor.derived_next, queue.cursor.raw_next);
                    let delivering = delivery.deliver(&batch.points);
                    let (taken, aside) =
                        showing_backlog(delivering, &mut queue, &progress, limits.look).await?;
                    queue.delivered(&batch, taken, aside);
                    if let Some((derived, raw)) =
                        recent.delivered(from, Instant::now(), delivery.interruption())
                    {
                        queue.repeat(derived, raw);
                    }
                    queue.cursor.again = recent.place();
                    if let Some(at) = batch.reaches {
                        progress.forward.delivered(at);
                    }
                    delivery.noted(queue.cursor.write(folder));
                }
                Next::More => delivery.pause(Duration::ZERO).await?,
                Next::Nothing => break,
            }
        }
        // Ended in order: nothing need go again.
        let ends_well = over && queue.cursor.again.take().is_some();
        if ends_well || delivery.owes_note() {
            delivery.noted(queue.cursor.write(folder));
        }
        delivery.caught_up();
        if over {
            return Ok(());
        }
        tokio::select! {
            paused = delivery.pause(limits.look) => paused?,
            () = ended.cancelled() => {}
        }
    }
}

/// Waits for `delivering`; what the record meanwhile grows by is shown as backlog, however long the server is away.
async fn showing_backlog<T>(
    delivering: impl Future<Output = T>,
    queue: &mut Queue,
    progress: &Progress,
    look: Duration,
) -> T {
    let mut delivering = std::pin::pin!(delivering);
    loop {
        tokio::select! {
            biased;
            done = &mut delivering => return done,
            () = tokio::time::sleep(look) => {
                queue.refresh();
                progress
                    .forward
                    .backlog
                    .store(queue.backlog(), Ordering::Relaxed);
            }
        }
    }
}

/// Where the batches of the last seconds began.
#[derive(Debug)]
struct Recent {
    again: Duration,
    batches: VecDeque<(Instant, (u64, u64))>,
}

impl Recent {
    fn new(again: Duration) -> Self {
        Self {
            again,
            batches: VecDeque::new(),
        }
    }

    /// A batch that begins at `from` was taken, `now`; if the server was away meanwhile, the place from which on
    /// everything goes again.
    fn delivered(
        &mut self,
        from: (u64, u64),
        now: Instant,
        away: Option<Away>,
    ) -> Option<(u64, u64)> {
        if self.again.is_zero() {
            return None;
        }
        if away.is_none_or(|away| away.amid_batch) {
            self.batches.push_back((now, from));
        }
        let since = away.map_or(now, |away| away.since);
        while let Some((taken, _)) = self.batches.front()
            && since.duration_since(*taken) > self.again
        {
            self.batches.pop_front();
        }
        away?;
        let from = self.place()?;
        self.batches.clear();
        Some(from)
    }

    /// Where the oldest of them began.
    fn place(&self) -> Option<(u64, u64)> {
        self.batches.front().map(|(_, from)| *from)
    }
}

/// Times the pipeline had reached, and when they were seen.
#[derive(Debug, Default)]
struct Reached {
    seen: VecDeque<(Instant, Nanos)>,
    settled: Option<Nanos>,
}

impl Reached {
    /// The newest time whose alarms have had `settle` to get to the disk.
    fn settled(&mut self, core_at: Nanos, now: Instant, settle: Duration) -> Nanos {
        self.seen.push_back((now, core_at));
        while let Some((when, at)) = self.seen.front()
            && now.duration_since(*when) >= settle
        {
            self.settled = Some(*at);
            self.seen.pop_front();
        }
        // The first inputs are of time 0 or later.
        self.settled.unwrap_or(-NANOS_PER_SECOND)
    }
}
