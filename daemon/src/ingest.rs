//! The instrument thread's work: everything that happens becomes one ordered stream of inputs.
//!
//! *In*: events of all ports, marks from the page, and a tick every 100 ms of run time.
//! *Order for each input*: overpull guard, then the record, then the pipeline. The guard judges
//! at once and waits for nobody; record and pipeline get the same value through queues that never
//! block. So the record holds all the pipeline was given, in the same order, and a replay of it
//! gives the same results.

use crate::clock::RunClock;
use crate::guard::Guard;
use crate::handover::Handover;
use crate::outputs::Horn;
use crate::ports::{PortChange, PortEvent};
use crate::progress::{Progress, count};
use kerfwatch::input::{Input, Mark, MarkKind};
use kerfwatch::time::{NANOS_PER_SECOND, Nanos, quantise_arrival, seconds};
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::time::Duration;
use tokio::sync::{mpsc, watch};
use tokio_util::sync::CancellationToken;

/// Run time between ticks.
pub const TICK_NS: Nanos = 100_000_000;
/// Shortest timer; a played record ticks by its frames.
const TIMER_MIN: Duration = Duration::from_millis(5);
/// Chunks of bytes in a second from which they are taken together, and for how long they gather.
const BUSY_CHUNKS: u32 = 300;
const REST: Duration = Duration::from_millis(2);
/// A tick later than this means that nothing ran.
const STANDSTILL_NS: Nanos = 1_000_000_000;
/// A step of the host's UTC beyond this is noted in the record.
const CLOCK_STEP_S: f64 = 1.0;
const CLOCK_LOOK_TICKS: u64 = 50;

/// Where inputs go.
#[derive(Debug)]
pub struct Ingest {
    /// Tells the time of the run.
    pub clock: RunClock,
    /// Judges each load reading.
    pub guard: Guard,
    /// Towards the disk.
    pub recorder: Arc<Handover>,
    /// Towards the pipeline.
    pub core: Arc<Handover>,
    /// Counters.
    pub progress: Arc<Progress>,
    /// Horn, relay and commands hear of an overpull here first.
    pub horn: watch::Sender<Horn>,
    last_at: Nanos,
    tick_due: Nanos,
    lost_since: Option<(Nanos, u64)>,
    utc_step_s: f64,
    /// Something was raised since the last rest.
    raised: bool,
    /// Chunks of bytes since a time, and whether they came thick in the second before.
    chunks: u32,
    chunks_since: Nanos,
    is_busy: bool,
}

impl Ingest {
    /// An ingest whose first input is not older than `from`.
    pub fn new(
        clock: RunClock,
        guard: Guard,
        recorder: Arc<Handover>,
        core: Arc<Handover>,
        progress: Arc<Progress>,
        horn: watch::Sender<Horn>,
        from: Nanos,
    ) -> Self {
        Self {
            clock,
            guard,
            recorder,
            core,
            progress,
            horn,
            last_at: from,
            tick_due: from,
            lost_since: None,
            utc_step_s: 0.0,
            raised: false,
            chunks: 0,
            chunks_since: from,
            is_busy: false,
        }
    }

    /// Says in the record that a run goes on after an interruption.
    pub fn resumed(&mut self) {
        self.mark(note("the run goes on after an interruption".to_owned()));
    }

    /// Runs until `stop`; then takes what the ports still had and closes both queues.
    pub async fn run(
        mut self,
        mut ports: mpsc::Receiver<PortEvent>,
        mut marks: mpsc::Receiver<Mark>,
        stop: CancellationToken,
    ) {
        let mut timer = tokio::time::interval(self.clock.wall(TICK_NS).max(TIMER_MIN));
        timer.set_missed_tick_behavior(tokio::time::MissedTickBehavior::Skip);
        let (mut ports_open, mut marks_open) = (true, true);
        loop {
            tokio::select! {
                biased;
                () = stop.cancelled() => break,
                event = ports.recv(), if ports_open => match event {
                    Some(event) => {
                        self.look_for_standstill();
                        self.port(event);
                    }
                    // No port is left, yet nobody has said stop: time goes on, and with it the alarm that there is no data.
                    None => ports_open = false,
                },
                _ = timer.tick() => self.look_for_standstill(),
                mark = marks.recv(), if marks_open => match mark {
                    Some(mark) => self.mark(mark),
                    None => marks_open = false,
                },
            }
            self.tick_if_due();
            if ports.is_empty() && self.may_rest() {
                // Holds up this whole thread, which is the point: frames gather in the ports meanwhile.
                std::thread::sleep(REST);
            }
        }
        ports.close();
        while let Some(event) = ports.recv().await {
            self.port(event);
        }
        while let Ok(mark) = marks.try_recv() {
            self.mark(mark);
        }
        self.tick();
        self.recorder.close();
        self.core.close();
    }

    /// Takes what a port has to say.
    pub fn port(&mut self, event: PortEvent) {
        let PortEvent { port, at, change } = event;
        let at = self.stamp(at);
        match change {
            PortChange::Received(bytes) => {
                self.progress
                    .bytes_received
                    .fetch_add(bytes.len() as u64, Ordering::Relaxed);
                self.count_chunk(at);
                self.take(&Input::Received { port, at, bytes });
            }
            PortChange::Sent(bytes) => self.take(&Input::Sent { port, at, bytes }),
            PortChange::Opened => {
                count(&self.progress.ports_opened);
                self.take(&Input::Port {
                    port,
                    at,
                    open: true,
                });
            }
            PortChange::Closed(_) => {
                count(&self.progress.ports_lost);
                self.take(&Input::Port {
                    port,
                    at,
                    open: false,
                });
            }
        }
    }

    /// Takes an operator's mark.
    pub fn mark(&mut self, mark: Mark) {
        let at = self.stamp(self.clock.now());
        self.take(&Input::Mark { at, mark });
    }

    /// Also looked at after every event: a busy port must not put off the ticks.
    fn tick_if_due(&mut self) {
        let now = self.clock.now();
        if now >= self.tick_due {
            // After a long silence (a suspended host) one tick is enough.
            self.tick_due = (self.tick_due + TICK_NS).max(now + TICK_NS / 2);
            self.tick();
        }
    }

    fn tick(&mut self) {
        let at = self.stamp(self.clock.now());
        self.take(&Input::Tick { at });
        self.progress.ticks.fetch_add(1, Ordering::Relaxed);
        if self
            .progress
            .ticks
            .load(Ordering::Relaxed)
            .is_multiple_of(CLOCK_LOOK_TICKS)
        {
            self.look_for_clock_step();
        }
    }

    /// At high rates two milliseconds' frames are taken at a time: being woken for each costs twice as much as
    /// all that is done with it. Never right after something was raised, because outputs go first, nor near the
    /// limit, where each reading may raise something.
    fn may_rest(&mut self) -> bool {
        let raised = std::mem::take(&mut self.raised);
        self.is_busy && !raised && self.clock.is_live() && !self.guard.is_near_limit(self.last_at)
    }

    fn count_chunk(&mut self, at: Nanos) {
        self.chunks += 1;
        if at - self.chunks_since >= NANOS_PER_SECOND {
            self.is_busy = self.chunks >= BUSY_CHUNKS;
            (self.chunks_since, self.chunks) = (at, 0);
        }
    }

    /// A sample path that did not run (a suspended or overloaded host, a stopped process) has judged nothing
    /// meanwhile. The tick goes in before anything that has waited: so the instruments are found silent, and
    /// their alarms raised, before late readings make them look well again.
    fn look_for_standstill(&mut self) {
        let now = self.clock.now();
        let overdue = now - self.tick_due;
        if overdue < STANDSTILL_NS || !self.clock.is_live() {
            return;
        }
        count(&self.progress.standstills);
        let slept_s = seconds(overdue + TICK_NS);
        tracing::warn!(slept_s, "the sample path did not run");
        self.tick_if_due();
        self.mark(note(format!(
            "the daemon did not run for {slept_s:.1} s (host asleep or overloaded): nothing was watched"
        )));
    }

    /// The run's own clock does not step; the UTC shown beside it does, and readers of the record
    /// must be able to tell.
    fn look_for_clock_step(&mut self) {
        let step = self.clock.utc_step_s();
        if (step - self.utc_step_s).abs() > CLOCK_STEP_S {
            count(&self.progress.clock_steps);
            tracing::warn!(step_s = step - self.utc_step_s, "host clock was set");
            let text = format!("host clock was set by {:+.3} s", step - self.utc_step_s);
            self.utc_step_s = step;
            self.mark(note(text));
        }
    }

    fn take(&mut self, input: &Input) {
        let raised = self.guard.judge(input);
        if !raised.is_nothing() {
            self.raised = true;
            self.horn.send_modify(|horn| {
                horn.overpull = raised.overpull.or(horn.overpull);
                horn.approaching = raised.approaching.or(horn.approaching);
                horn.overpulls += u64::from(raised.overpull.is_some());
            });
            if raised.overpull.is_some() {
                count(&self.progress.overpulls);
            }
        }
        self.progress
            .guarded
            .store(self.guard.judged(), Ordering::Relaxed);
        self.record(input);
        if !self.core.push(input) {
            count(&self.progress.core_lost);
        }
        count(&self.progress.inputs);
    }

    fn record(&mut self, input: &Input) {
        if let Some((since, lost)) = self.lost_since {
            let text = format!(
                "{lost} inputs were not recorded between {:.3} s and {:.3} s: the disk was too slow",
                seconds(since),
                seconds(self.last_at)
            );
            let gap = Input::Mark {
                at: self.last_at,
                mark: note(text),
            };
            // Both get the note, so that record and pipeline stay in step from here on.
            if self.recorder.push(&gap) {
                self.core.push(&gap);
                self.lost_since = None;
            }
        }
        if self.lost_since.is_some() || !self.recorder.push(input) {
            count(&self.progress.record_lost);
            let (since, lost) = self.lost_since.unwrap_or((self.last_at, 0));
            self.lost_since = Some((since, lost + 1));
        }
    }

    /// Arrival times never run backwards, and are rounded before anyone sees them: live and replay
    /// work on the same figure.
    fn stamp(&mut self, at: Nanos) -> Nanos {
        let at = quantise_arrival(at).max(self.last_at);
        self.last_at = at;
        self.progress.ingest_at_ns.store(at, Ordering::Relaxed);
        at
    }
}

fn note(text: String) -> Mark {
    Mark::of_daemon(MarkKind::Note(text))
}
