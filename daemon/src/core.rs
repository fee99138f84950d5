//! The core thread: feeds the pipeline, tells what it decided.
//!
//! It takes inputs from its queue in order, pushes them, prints a line for each stroke, hands
//! decisions to the recorder and publishes the present ten times a second, and at once when an alarm
//! changes. It never waits for disk, page or network. While the record of an interrupted run is read back
//! ([`crate::catch_up`]), all this is done with a stand-in, and nothing is recorded.

use crate::catch_up::CatchingUp;
use crate::console::Console;
use crate::guard::{Learned, Warning};
use crate::handover::{Batch, Handover};
use crate::history::Point;
use crate::outputs::Horn;
use crate::progress::Progress;
use crate::publish::{AlarmChange, Published, Told, keep_alarm, keep_stroke, mark_view};
use crate::recorder::Decisions;
use kerfwatch::alarm::PickUpTable;
use kerfwatch::input::{Event, Input};
use kerfwatch::pipeline::Pipeline;
use kerfwatch::recording::{Derived, time_of};
use kerfwatch::result::{AlarmRecord, RunResult};
use kerfwatch::snapshot::Glance;
use kerfwatch::time::{Nanos, seconds};
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::time::{Duration, Instant};
use tokio::sync::watch;

/// Wall time between looks at the queue.
const LOOK: Duration = Duration::from_millis(20);
/// Wall time between snapshots.
const PUBLISH: Duration = Duration::from_millis(100);
/// Strokes between pictures of the groove in the record.
const GROOVE_EVERY_STROKES: u32 = 10;
/// Run time for which the guard's word stands by itself.
const GUARD_HOLD_S: f64 = 2.0;
/// Run time between points of the charts: every reading of instruments up to 50 Hz. Of faster ones
/// a point holds the extremes.
const POINT_NS: Nanos = 20_000_000;

/// The thread's state.
#[derive(Debug)]
pub struct Core {
    /// The pipeline.
    pub pipeline: Pipeline,
    /// Where inputs come from.
    pub inputs: Arc<Handover>,
    /// Where decisions are recorded.
    pub decisions: Decisions,
    /// Where the present is shown.
    pub published: Arc<Published>,
    /// Lines for people.
    pub console: Console,
    /// Outputs follow this.
    pub horn: watch::Sender<Horn>,
    /// When the groove was last worked out.
    pub groove: GrooveClock,
    /// Pick-up weight goes to the guard this way.
    pub learned: Arc<Learned>,
    /// What is no news.
    pub by_design: ByDesign,
    /// Set while an interrupted run is read back: `pipeline` is a stand-in until then.
    pub catching_up: Option<CatchingUp>,
}

impl Core {
    /// Runs until the queue is closed and empty; returns the final result.
    pub fn run(mut self) -> RunResult {
        let progress = Arc::clone(&self.published.progress);
        let mut batch = Batch::default();
        let mut events = Vec::new();
        let mut published = Instant::now();
        let mut sampler = Sampler::default();
        let mut told_pick_up = None;
        while self.inputs.take(&mut batch, LOOK) {
            let mut newest = None;
            batch.drain(|input| {
                if let Some(catching_up) = &self.catching_up {
                    catching_up.keep(input, &progress);
                }
                self.pipeline.push(input, &mut events);
                let at = time_of(input);
                newest = Some(at);
                self.follow(input, &progress);
                for event in events.drain(..) {
                    self.tell(&event);
                }
                if let Some(point) = sampler.next(at, &mut self.pipeline) {
                    self.published.history().push(point);
                }
            });
            self.change_over_if_near(&progress);
            // A stand-in has learned too little.
            if self.catching_up.is_none() {
                self.tell_pick_up(&mut told_pick_up);
            }
            if let Some(at) = newest {
                progress.core_at_ns.store(at, Ordering::Relaxed);
            }
            if published.elapsed() >= PUBLISH {
                published = Instant::now();
                self.publish();
            }
            if self.catching_up.is_none() {
                self.published
                    .answer_result(|| self.pipeline.result(&self.published.run_id));
            }
        }
        if let Some(catching_up) = self.catching_up.take() {
            self.change_over(catching_up);
        }
        self.pipeline.finish(&mut events);
        for event in events.drain(..) {
            self.tell(&event);
        }
        self.pipeline.refresh();
        let groove = self.pipeline.snapshot();
        self.decisions.tell(Derived::Groove {
            at_s: groove.at_s,
            bins: groove.groove,
        });
        self.publish();
        let result = self.pipeline.result(&self.published.run_id);
        self.published.final_result(result.clone());
        self.console.end(&result);
        result
    }

    fn change_over_if_near(&mut self, progress: &Progress) {
        let is_near = |catching_up: &mut CatchingUp| catching_up.is_near(progress);
        if let Some(catching_up) = self.catching_up.take_if(is_near) {
            self.change_over(catching_up);
        }
    }

    /// The real pipeline has had all that the stand-in has had, and goes on from here.
    fn change_over(&mut self, catching_up: CatchingUp) {
        let Some(caught_up) = catching_up.caught_up() else {
            return;
        };
        self.pipeline = caught_up.pipeline;
        self.by_design = caught_up.by_design;
        self.learned
            .put_counter(self.pipeline.instruments().counter());
        self.groove.is_old = true;
        *self.published.history() = caught_up.history;
        *self.published.strokes() = caught_up.strokes;
        *self.published.marks() = caught_up.marks;
        *self.published.alarms() = caught_up.alarms;
        self.published
            .shell_alarms
            .take_over(&caught_up.shell_alarms);
        let read_back = &self.published.progress.read_back;
        read_back.on.store(false, Ordering::Release);
        self.horn.send_modify(|horn| horn.is_catching_up = false);
        self.publish();
        let at_s = self.pipeline.snapshot().at_s;
        tracing::info!(at_s, "caught up");
        let _ = self.published.told.send(Told::CaughtUp { at_s });
    }

    fn follow(&mut self, input: &Input, progress: &Progress) {
        match input {
            Input::Tick { .. } => {
                progress.core_ticks.fetch_add(1, Ordering::Relaxed);
            }
            Input::Mark { at, mark } => {
                self.published.shell_alarms.mark(&mark.kind);
                let Some(view) = mark_view(*at, mark) else {
                    return;
                };
                self.console.mark(&view, &mark.kind);
                self.published.marks().push(view.clone());
                // No reader is no fault.
                let _ = self.published.told.send(Told::Mark(view));
            }
            _ => {}
        }
    }

    fn tell_pick_up(&self, told: &mut Option<Arc<PickUpTable>>) {
        if let Some(table) = self.pipeline.pick_up()
            && told.as_ref().is_none_or(|told| !Arc::ptr_eq(told, table))
        {
            self.learned.put_pick_up(table);
            *told = Some(Arc::clone(table));
        }
    }

    fn tell(&mut self, event: &Event) {
        if self.catching_up.is_none() {
            self.decisions.tell(Derived::from(event));
        }
        match event {
            // Of the stand-in: it counts them from one.
            Event::Stroke(_) if self.catching_up.is_some() => {}
            Event::Stroke(stroke) => {
                self.groove.is_old = true;
                self.groove.renew(&mut self.pipeline);
                let snapshot = self.pipeline.snapshot();
                self.console.stroke(stroke, &snapshot);
                if stroke.n.is_multiple_of(GROOVE_EVERY_STROKES) {
                    self.decisions.tell(Derived::Groove {
                        at_s: snapshot.at_s,
                        bins: snapshot.groove,
                    });
                }
                keep_stroke(&mut self.published.strokes(), stroke.clone());
                let _ = self.published.told.send(Told::Stroke(stroke.clone()));
            }
            Event::Interval(_) => {}
            Event::Alarm { state, record, .. } if self.by_design.is_one(state, record) => {}
            Event::Alarm { at, state, record } => {
                self.console.alarm(seconds(*at), state, record);
                // Whoever is told looks at the present next: it must hold the alarm.
                self.publish();
                let change = AlarmChange::of(*at, state, record);
                keep_alarm(&mut self.published.alarms(), change.clone());
                let _ = self.published.told.send(Told::Alarm(change));
            }
        }
    }

    fn publish(&mut self) {
        self.groove.renew(&mut self.pipeline);
        let mut snapshot = self.pipeline.snapshot();
        if self.catching_up.is_some() {
            // What the stand-in does not know is not to be taken for nothing.
            snapshot.strokes = 0;
            snapshot.groove.clear();
            snapshot.joints.clear();
        }
        snapshot.alarms.extend(self.published.shell_alarms.views());
        // The guard is ahead of the pipeline; its word stands until the pipeline has had time to
        // come to its own finding, which is then the one to be acknowledged.
        // By the newest input, not the newest reading: both instruments may have fallen silent at that very pull.
        let now_s = snapshot.watched_s;
        let is_over = |warning: Option<Warning>| {
            warning.is_some_and(|warning| warning.at_s + GUARD_HOLD_S <= now_s)
        };
        self.horn.send_if_modified(|horn| {
            let mut changed = horn.alarms != snapshot.alarms;
            for warning in [&mut horn.overpull, &mut horn.approaching] {
                if is_over(*warning) {
                    *warning = None;
                    changed = true;
                }
            }
            if horn.alarms != snapshot.alarms {
                horn.alarms.clone_from(&snapshot.alarms);
            }
            changed
        });
        self.published.snapshot.send_replace(Arc::new(snapshot));
    }
}

/// Alarms put aside by the logic of the process, at every reversal: recorded, but no news for the crew.
#[derive(Debug, Default)]
pub struct ByDesign {
    aside: Vec<(String, String)>,
}

impl ByDesign {
    /// Whether this change puts an alarm aside by design, or only ends that.
    pub fn is_one(&mut self, state: &str, record: &AlarmRecord) -> bool {
        let place = (self.aside.iter())
            .position(|(kind, level)| *kind == record.kind && *level == record.level);
        match (state, place) {
            ("suppressed", None) => {
                self.aside.push((record.kind.clone(), record.level.clone()));
                true
            }
            ("suppressed", Some(_)) => true,
            (state, Some(place)) => {
                self.aside.swap_remove(place);
                state == "normal"
            }
            _ => false,
        }
    }
}

/// When to work out the groove anew: after strokes, but with a tenth of the thread's time at most,
/// as it takes longer the more strokes there are.
#[derive(Debug, Default)]
pub struct GrooveClock {
    is_old: bool,
    not_before: Option<Instant>,
}

impl GrooveClock {
    fn renew(&mut self, pipeline: &mut Pipeline) {
        let start = Instant::now();
        if self.is_old && self.not_before.is_none_or(|time| start >= time) {
            pipeline.refresh();
            self.is_old = false;
            self.not_before = Some(start + start.elapsed() * 10);
        }
    }
}

/// Takes a point for the charts every `POINT_NS`.
#[derive(Debug, Default)]
pub struct Sampler {
    due: Nanos,
}

impl Sampler {
    /// The next point, if one is due after the input of time `at`.
    pub fn next(&mut self, at: Nanos, pipeline: &mut Pipeline) -> Option<Point> {
        if at < self.due {
            return None;
        }
        let glance = pipeline.glance()?;
        self.due = (self.due + POINT_NS).max(at - POINT_NS / 2);
        Some(point(&glance))
    }
}

/// Rounded to what a chart can show: a tenth of a newton and a millimetre, which halves what goes
/// over the wire.
fn point(glance: &Glance) -> Point {
    let newtons =
        |value: Option<f64>| value.map_or(f32::NAN, |n| ((n * 10.0).round() / 10.0) as f32);
    let metres = |value: Option<f64>| value.map_or(f32::NAN, |m| ((m * 1e3).round() / 1e3) as f32);
    // A point between two load readings still has the tension of the last.
    let span_n = glance.span_n.or(glance.tension_n.map(|n| (n, n)));
    Point {
        at_s: glance.at_s,
        tension_n: newtons(glance.tension_n),
        tension_low_n: newtons(span_n.map(|span| span.0)),
        tension_high_n: newtons(span_n.map(|span| span.1)),
        expected_n: newtons(glance.expected_n),
        line_m: metres(glance.line_m),
        tool_m: metres(glance.tool_m),
        drag_n: newtons(glance.drag_n),
    }
}
