//! A batch to the server, whatever it answers.
//!
//! | answer | what follows |
//! |---|---|
//! | taken | on with the next |
//! | 400, 422: bad points | halved until the bad one stands alone; it goes to [`SET_ASIDE_FILE`], is counted, the rest goes on |
//! | 413: too large | halved, and the next batches are no larger until [`GROW_AFTER`] of them were taken; one point alone: waits, alarm at once |
//! | 401, 403, 404, moved, success other than 204, certificate not trusted | waits and tries again with the token read afresh; alarm at once, as somebody must act |
//! | 429, 503 | waits as long as `Retry-After` says, at least the usual wait |
//! | 5xx, no answer, no connection | waits ever longer; alarm after a minute; then what went just before goes again |
//!
//! A server that refuses even a point that is surely good refuses everything: then nothing is set aside. Nor is a
//! point ever for its size: it has a hundred bytes or two, and whoever finds that too large is at fault himself.

use super::backoff::Backoff;
use super::points::{PointMaker, Points};
use super::queue::POINTS_MAX;
use super::server::{Answer, Server, Trouble};
use super::status::Status;
use super::worker::Limits;
use crate::progress::{Progress, count};
use crate::shell_alarm::ShellAlarms;
use kerfwatch::alarm::AlarmKind;
use kerfwatch::job;
use kerfwatch::time::seconds;
use std::io::Write;
use std::ops::Range;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::time::{Duration, Instant};
use tokio_util::sync::CancellationToken;

/// File name of the points the server would not take, in the run folder.
pub use kerfwatch::recording::FORWARD_REFUSED_FILE as SET_ASIDE_FILE;
/// Size after which refused points are only counted.
const SET_ASIDE_BYTES_MAX: u64 = 1 << 20;
/// Requests taken in a row after which larger ones are tried again: the one that refused may be gone.
const GROW_AFTER: u32 = 10;
const ALARM: AlarmKind = AlarmKind::Forward;

/// The forwarder was told to stop before the batch was through.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct Stopped;

/// A time without the server.
#[derive(Debug, Clone, Copy)]
pub(super) struct Away {
    pub(super) since: Instant,
    /// It had taken a part of the batch that was being delivered.
    pub(super) amid_batch: bool,
}

/// Delivers batches.
pub(super) struct Delivery {
    forward: job::Forward,
    limits: Limits,
    folder: PathBuf,
    check: String,
    progress: Arc<Progress>,
    alarms: Arc<ShellAlarms>,
    stop: CancellationToken,
    server: Option<Server>,
    backoff: Backoff,
    failing_since: Option<Instant>,
    /// Since when the place reached cannot be noted, and why.
    not_noted: Option<(Instant, String)>,
    interrupted: Option<Away>,
    /// Whether something of the present batch was taken.
    taken_of_batch: bool,
    pub(super) points_max: usize,
    /// Requests taken since `points_max` was last changed.
    taken_in_a_row: u32,
}

impl Delivery {
    pub(super) fn new(
        forward: job::Forward,
        limits: Limits,
        folder: &Path,
        run_id: &str,
        maker: &PointMaker,
        progress: Arc<Progress>,
        alarms: Arc<ShellAlarms>,
        stop: CancellationToken,
    ) -> Self {
        Self {
            forward,
            limits,
            folder: folder.to_owned(),
            check: maker.check(),
            progress,
            alarms,
            stop,
            server: None,
            backoff: Backoff::new(run_id, limits.wait_first, limits.wait_longest),
            failing_since: None,
            not_noted: None,
            interrupted: None,
            taken_of_batch: false,
            points_max: POINTS_MAX,
            taken_in_a_row: 0,
        }
    }

    fn status(&self) -> &Status {
        &self.progress.forward
    }

    /// Returns once every point is on the server or set aside; how many of each.
    pub(super) async fn deliver(&mut self, points: &Points) -> Result<(u64, u64), Stopped> {
        let (mut taken, mut aside) = (0, 0);
        self.taken_of_batch = false;
        let mut waiting: Vec<Range<usize>> = Vec::new();
        // Start of the point that was refused just before the server took a good one.
        let mut good_since = None;
        // Taken from the end, so put there in reverse.
        let mut end = points.len();
        while end > 0 {
            let start = (end - 1) / self.points_max * self.points_max;
            waiting.push(start..end);
            end = start;
        }
        while let Some(range) = waiting.pop() {
            match self.send(points.part(&range).to_owned()).await {
                Answer::Taken => {
                    self.worked();
                    let n = range.len() as u64;
                    taken += n;
                    self.taken_of_batch = true;
                    self.status().points.fetch_add(n, Ordering::Relaxed);
                }
                Answer::BadPoints(_) | Answer::TooLarge if range.len() > 1 => {
                    // `points_max` was already lowered where that helps.
                    let middle = range.start + range.len() / 2;
                    waiting.push(middle..range.end);
                    waiting.push(range.start..middle);
                }
                Answer::BadPoints(why) if good_since == Some(range.start) => {
                    self.set_aside(points.part(&range), &why);
                    aside += 1;
                }
                // One point stands alone. Is it bad, or does the server refuse everything? Where it takes a
                // good one, this one has to be refused once more: the server may have come round in between.
                Answer::BadPoints(why) => {
                    let check = self.send(self.check.clone()).await;
                    let start = range.start;
                    waiting.push(range);
                    match check {
                        Answer::Taken => {
                            self.worked();
                            good_since = Some(start);
                        }
                        Answer::NotNow(trouble) => self.wait(trouble).await?,
                        Answer::BadPoints(_) | Answer::TooLarge => {
                            let text = format!(
                                "the server takes no point at all ({why}): correct [forward] url, org and bucket"
                            );
                            self.wait(Trouble::lasting(text)).await?;
                        }
                    }
                }
                Answer::TooLarge => {
                    let text = format!(
                        "the server refuses even a single point of {} bytes as too large (413): raise the \
                         largest request that it, or the proxy in front of it, takes",
                        points.part(&range).len()
                    );
                    waiting.push(range);
                    self.wait(Trouble::lasting(text)).await?;
                }
                Answer::NotNow(trouble) => {
                    waiting.push(range);
                    self.wait(trouble).await?;
                }
            }
        }
        Ok((taken, aside))
    }

    async fn send(&mut self, lines: String) -> Answer {
        let server = match &self.server {
            Some(server) => server,
            None => {
                let Limits { connect, whole, .. } = self.limits;
                match Server::new(&self.forward, connect, whole) {
                    Ok(server) => self.server.insert(server),
                    Err(text) => return Answer::NotNow(Trouble::lasting(text)),
                }
            }
        };
        let lines_sent = lines.lines().count();
        let stop = self.stop.clone();
        let answer = tokio::select! {
            answer = server.send(lines) => answer,
            () = stop.cancelled() => {
                let text = "stopped while sending".to_owned();
                return Answer::NotNow(Trouble { text, needs_someone: false, wait: None });
            }
        };
        if answer == Answer::TooLarge {
            self.points_max = (lines_sent / 2).clamp(1, self.points_max);
            self.taken_in_a_row = 0;
        }
        answer
    }

    fn worked(&mut self) {
        self.backoff.worked();
        self.taken_in_a_row += 1;
        if self.taken_in_a_row >= GROW_AFTER {
            self.points_max = (self.points_max * 2).min(POINTS_MAX);
            self.taken_in_a_row = 0;
        }
        if self.failing_since.take().is_some() {
            tracing::info!("forwarding works again");
            let left = self.not_noted.as_ref().map_or("", |(_, text)| text);
            self.status().set_trouble(left);
        }
    }

    /// What came of noting the place reached. Where it fails the server lacks nothing and sending goes on; only
    /// whoever starts anew would send again, so it is told and not waited for.
    pub(super) fn noted(&mut self, result: std::io::Result<()>) {
        let Err(error) = result else {
            if self.not_noted.take().is_some() {
                tracing::info!("the place that forwarding has reached is noted again");
                if self.failing_since.is_none() {
                    self.status().set_trouble("");
                }
            }
            return;
        };
        let text = format!(
            "the place that forwarding has reached cannot be noted: {error}; the next start sends again what \
             went since"
        );
        let now = Instant::now();
        let (since, _) = self.not_noted.get_or_insert_with(|| {
            tracing::warn!("{text}");
            (now, text.clone())
        });
        let lasts = now - *since;
        self.status().set_trouble(&text);
        if lasts >= self.limits.alarm_after {
            let newest = self.progress.ingest_at_ns.load(Ordering::Relaxed);
            self.alarms.raise(ALARM, "", seconds(newest), text);
        }
    }

    /// Whether the place reached is still to be noted.
    pub(super) fn owes_note(&self) -> bool {
        self.not_noted.is_some()
    }

    /// That the server was away, once after each time it was: it may have forgotten what it took just before.
    pub(super) fn interruption(&mut self) -> Option<Away> {
        self.interrupted.take()
    }

    /// Nothing waits any more: the alarm can go.
    pub(super) fn caught_up(&self) {
        if self.failing_since.is_none() && self.not_noted.is_none() {
            self.alarms.clear(ALARM, "");
        }
    }

    /// Trouble that is not of a request, such as a record that cannot be read.
    pub(super) async fn wait(&mut self, trouble: Trouble) -> Result<(), Stopped> {
        if self.stop.is_cancelled() {
            return Err(Stopped);
        }
        count(&self.status().failures);
        let now = Instant::now();
        if !trouble.needs_someone && trouble.wait.is_none() {
            self.interrupted.get_or_insert(Away {
                since: now,
                amid_batch: self.taken_of_batch,
            });
        }
        let since = *self.failing_since.get_or_insert_with(|| {
            tracing::warn!("forwarding waits: {}", trouble.text);
            now
        });
        self.status().set_trouble(&trouble.text);
        if trouble.needs_someone || now - since >= self.limits.alarm_after {
            let newest = self.progress.ingest_at_ns.load(Ordering::Relaxed);
            let text = format!(
                "forwarding is behind: {}; nothing is lost, it is sent later",
                trouble.text
            );
            self.alarms.raise(ALARM, "", seconds(newest), text);
        }
        if trouble.needs_someone {
            // The token may be renewed meanwhile.
            self.server = None;
        }
        let usual = self.backoff.next_wait();
        self.pause(trouble.wait.map_or(usual, |asked| asked.max(usual)))
            .await
    }

    /// Waits, unless told to stop.
    pub(super) async fn pause(&self, time: Duration) -> Result<(), Stopped> {
        tokio::select! {
            () = tokio::time::sleep(time) => Ok(()),
            () = self.stop.cancelled() => Err(Stopped),
        }
    }

    fn set_aside(&self, point: &str, why: &str) {
        count(&self.status().set_aside);
        tracing::warn!(
            "the server refuses a point: {why}; it is in {SET_ASIDE_FILE} of the run folder"
        );
        let path = self.folder.join(SET_ASIDE_FILE);
        let size = std::fs::metadata(&path).map_or(0, |meta| meta.len());
        if size > SET_ASIDE_BYTES_MAX {
            return;
        }
        let file = std::fs::OpenOptions::new()
            .create(true)
            .append(true)
            .open(path);
        if let Err(error) =
            file.and_then(|mut file| writeln!(file, "# {why}\n{}", point.trim_end()))
        {
            tracing::warn!("{SET_ASIDE_FILE} cannot be written: {error}");
        }
    }
}
