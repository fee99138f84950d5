//! The run folder as a queue: record -> batches, and how far each reaches.
//!
//! Decisions go first: they are few and what people wait for. Readings follow some seconds behind the pipeline,
//! so that an alarm is known before the readings around it go by; where one becomes known later all the same,
//! the queue goes back: a disk that was full, or a run that was cut off, writes its decisions minutes after their
//! time. *Limits*: one batch of points in memory, a part of a segment of the record, and a few states of the
//! calibration to go back to.

use super::cursor::Cursor;
use super::points::{PointMaker, Points};
use super::readings::{AROUND_ALARM, Readings, Windows};
use kerfwatch::job::{Job, read_job};
use kerfwatch::recording::{Derived, Folder, RunReader, time_of};
use kerfwatch::time::Nanos;
use std::collections::VecDeque;
use std::path::Path;

/// Most points of a batch: what the makers of the server advise.
pub(super) const POINTS_MAX: usize = 5_000;
/// Text after which a batch takes no more.
const BYTES_MAX: usize = 512 << 10;
/// Entries looked at in one go, so that an order to stop is heard.
const ENTRIES_MAX: u64 = 200_000;
/// Entries between the states of the calibration that are kept, and how many are.
const KEEP_EVERY: u64 = 50_000;
const KEPT_MAX: usize = 6;

/// Points, and how far the record is delivered once the server has them.
#[derive(Debug)]
pub(super) struct Batch {
    pub(super) points: Points,
    pub(super) derived_next: u64,
    pub(super) raw_next: u64,
    /// Run time that its readings reach.
    pub(super) reaches: Option<Nanos>,
}

/// What comes next.
#[derive(Debug)]
pub(super) enum Next {
    /// Something to send.
    Batch(Batch),
    /// Entries without points went by; ask again.
    More,
    /// Nothing more in the record so far.
    Nothing,
}

/// Reads one run folder.
#[derive(Debug)]
pub(super) struct Queue {
    reader: RunReader<Folder>,
    job: Job,
    rate_hz: f64,
    pub(super) run_id: String,
    pub(super) maker: PointMaker,
    pub(super) cursor: Cursor,
    windows: Windows,
    readings: Readings,
    /// Points of earlier entries are delivered, and not given again ...
    silent_to: u64,
    /// ... but for those from this time on: an alarm became known while they were passed over.
    again_from: Option<Nanos>,
    /// Earlier states, oldest first: going back does not mean starting over.
    kept: VecDeque<Readings>,
    finished: bool,
}

impl Queue {
    /// Opens the record in `folder`.
    ///
    /// # Errors
    /// In plain words, when there is no record, or its head or job cannot be read.
    pub(super) fn open(folder: &Path, mut cursor: Cursor, rate_hz: f64) -> Result<Self, String> {
        let mut reader = RunReader::open(folder).map_err(|e| e.to_string())?;
        let head = reader.head().map_err(str::to_owned)?.clone();
        let job = read_job(&head.job, "run.toml")
            .map_err(|e| e.to_string())?
            .job;
        let mut windows = Windows::default();
        reader.for_each_derived_while(0, |number, record| {
            if number < cursor.derived_next
                && let Derived::Alarm { record, .. } = record
            {
                windows.add(record.raised_s);
            }
            number < cursor.derived_next
        });
        cursor.go_back();
        Ok(Self {
            run_id: head.run_id.clone(),
            maker: PointMaker::new(&head.run_id, &job.info.well, head.started_unix_ns),
            readings: Readings::new(&job, rate_hz).map_err(|e| e.to_string())?,
            reader,
            job,
            rate_hz,
            silent_to: cursor.raw_next,
            again_from: None,
            cursor,
            windows,
            kept: VecDeque::new(),
            finished: false,
        })
    }

    /// Looks again at a record that is still being written.
    pub(super) fn refresh(&mut self) {
        self.reader.refresh();
    }

    /// Records and entries not yet delivered.
    pub(super) fn backlog(&self) -> u64 {
        let derived = self
            .reader
            .derived_end()
            .saturating_sub(self.cursor.derived_next);
        derived + self.reader.raw_end().saturating_sub(self.cursor.raw_next)
    }

    /// The server has the batch, or what was bad in it is set aside.
    pub(super) fn delivered(&mut self, batch: &Batch, taken: u64, aside: u64) {
        self.cursor.derived_next = batch.derived_next;
        self.cursor.raw_next = batch.raw_next;
        self.cursor.points += taken;
        self.cursor.set_aside += aside;
    }

    /// The next batch of at most about `points_max` points. Readings only up to `until` (the time
    /// whose alarms are on disk); `None`: the run has ended.
    pub(super) fn next(&mut self, points_max: usize, until: Option<Nanos>) -> Next {
        match self.next_derived(points_max) {
            Next::Nothing => self.next_readings(points_max, until),
            other => other,
        }
    }

    fn next_derived(&mut self, points_max: usize) -> Next {
        let mut points = Points::default();
        let mut next = self.cursor.derived_next;
        let (maker, windows) = (&self.maker, &mut self.windows);
        let mut earliest: Option<Nanos> = None;
        self.reader.for_each_derived_while(next, |number, record| {
            maker.derived(&mut points, record);
            if let Derived::Alarm { record, .. } = record
                && let Some(start) = windows.add(record.raised_s)
            {
                earliest = Some(earliest.map_or(start, |e| e.min(start)));
            }
            next = number + 1;
            points.len() < points_max && points.bytes() < BYTES_MAX
        });
        if let Some(start) = earliest {
            self.send_in_full_from(start);
        }
        if next == self.cursor.derived_next {
            return Next::Nothing;
        }
        Next::Batch(Batch {
            points,
            derived_next: next,
            raw_next: self.cursor.raw_next,
            reaches: None,
        })
    }

    /// Readings from `start` on have to go in full, again where they went before.
    fn send_in_full_from(&mut self, start: Nanos) {
        if start <= self.readings.at {
            let place = self.readings.place_before(start);
            self.repeat(self.cursor.derived_next, place);
        } else if self.readings.next < self.silent_to {
            // Somewhere in what was delivered before this queue was opened, and is not yet passed over. Until it
            // is found the cursor stays here: whoever starts anew from it sends more than is needed, never less.
            self.again_from = Some(self.again_from.map_or(start, |at| at.min(start)));
            self.cursor.raw_next = self.readings.next;
        }
    }

    /// What comes from these places on has to go again.
    pub(super) fn repeat(&mut self, derived_next: u64, raw_next: u64) {
        self.cursor.derived_next = self.cursor.derived_next.min(derived_next);
        self.cursor.raw_next = self.cursor.raw_next.min(raw_next);
        self.silent_to = self.cursor.raw_next;
        self.again_from = None;
        self.finished = false;
        let place = self.cursor.raw_next;
        while self.kept.back().is_some_and(|kept| kept.next > place) {
            self.kept.pop_back();
        }
        // Only from a kept state or the first entry on is the calibration what it was.
        if let Some(kept) = self.kept.back() {
            self.readings = kept.clone();
        } else if let Ok(readings) = Readings::new(&self.job, self.rate_hz) {
            self.readings = readings;
        }
    }

    /// First entry whose points are still to be delivered, once those taken so far are.
    fn place_reached(&mut self) -> u64 {
        if self.readings.next >= self.silent_to {
            self.again_from = None;
        }
        match self.again_from {
            Some(_) => self.readings.next,
            None => self.silent_to.max(self.readings.next),
        }
    }

    fn keep_state(&mut self) {
        let newest = self.kept.back().map_or(0, |kept| kept.next);
        if self.readings.next >= newest + KEEP_EVERY {
            if self.kept.len() >= KEPT_MAX {
                self.kept.pop_front();
            }
            self.kept.push_back(self.readings.clone());
        }
    }

    fn next_readings(&mut self, points_max: usize, until: Option<Nanos>) -> Next {
        self.keep_state();
        let mut points = Points::default();
        let (readings, windows, maker) = (&mut self.readings, &self.windows, &self.maker);
        let (silent_to, again_from) = (self.silent_to, self.again_from);
        let until_at = until.map(|t| t.saturating_sub(AROUND_ALARM));
        let (mut taken, mut stopped) = (0, false);
        self.reader
            .for_each_input_while(readings.next, |number, input| {
                if until_at.is_some_and(|until| time_of(input) > until)
                    || taken >= ENTRIES_MAX
                    || points.len() >= points_max
                    || points.bytes() >= BYTES_MAX
                {
                    stopped = true;
                    return false;
                }
                let again = again_from.is_some_and(|from| time_of(input) >= from);
                let out = (number >= silent_to || again).then_some(&mut points);
                readings.take(number, input, windows, out, maker);
                taken += 1;
                true
            });
        if until.is_none() && !stopped && !self.finished {
            self.finished = true;
            readings.finish(windows, &mut points, maker);
        }
        let reaches = readings.at;
        let raw_next = self.place_reached();
        if points.len() == 0 {
            self.cursor.raw_next = raw_next;
            return if taken >= ENTRIES_MAX {
                Next::More
            } else {
                Next::Nothing
            };
        }
        Next::Batch(Batch {
            points,
            derived_next: self.cursor.derived_next,
            raw_next,
            reaches: Some(reaches),
        })
    }
}
