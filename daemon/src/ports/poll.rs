//! Asks polled devices, each at its own pace, on one line.
//!
//! One question at a time: ask, wait for the answer or for its time to run out, keep the silence
//! between frames, ask the next. What is due earliest comes first, so that a device polled fast
//! does not starve one polled slowly. A question that could not be asked in time is not made up
//! for. A device that stays silent is asked only once a second, so that it costs the other little.

use super::session::{End, Line};
use kerfwatch::decode::modbus_rtu::{Bus, ModbusDecoder};
use std::time::Duration;
use tokio::time::Instant;

/// Silent answers after which a device is asked less often.
const SILENT_AFTER: u32 = 3;

/// Least time between two questions to a silent device.
const SILENT_PERIOD: Duration = Duration::from_secs(1);

/// Longest wait for a babbling line to fall silent before a question is asked all the same.
const BABBLE_MAX: Duration = Duration::from_millis(200);

/// When each question is due.
#[derive(Debug)]
struct Due {
    at: Instant,
    period: Duration,
    unanswered: u32,
}

/// Asks the questions of one bus.
#[derive(Debug)]
pub(super) struct Poller {
    bus: Bus,
    /// Knows what an answer is; its readings are not used here.
    listener: ModbusDecoder,
    due: Vec<Due>,
}

impl Poller {
    pub(super) fn new(bus: &Bus) -> Self {
        let now = Instant::now();
        Self {
            listener: ModbusDecoder::new(bus.clone()),
            due: (bus.polls.iter())
                .map(|poll| Due {
                    at: now,
                    period: nanos(poll.period),
                    unanswered: 0,
                })
                .collect(),
            bus: bus.clone(),
        }
    }

    /// Asks until the port is lost.
    pub(super) async fn run(mut self, line: &mut Line<'_>) -> End {
        loop {
            if let Err(end) = self.turn(line).await {
                return end;
            }
        }
    }

    /// One question.
    async fn turn(&mut self, line: &mut Line<'_>) -> Result<(), End> {
        let next = self.next();
        self.listen_until(line, self.due[next].at, false).await?;
        self.keep_gap(line).await?;

        let request = self.bus.polls[next].request;
        let at = line.send(&request).await?;
        self.listener.sent(at, &request);
        let deadline = Instant::now() + nanos(self.bus.answer_within);
        self.listen_until(line, deadline, true).await?;

        let answered = self.listener.answered();
        self.due[next].note(answered);
        if !answered && self.bus.ambiguous(next, self.next()) {
            // A late answer would be taken for the answer to the next question.
            let quiet = Instant::now() + nanos(self.bus.answer_within);
            self.listen_until(line, quiet, false).await?;
        }
        Ok(())
    }

    /// The question that is due earliest.
    fn next(&self) -> usize {
        (0..self.due.len())
            .min_by_key(|&index| self.due[index].at)
            .unwrap_or(0)
    }

    /// Takes what comes until `deadline`, or until the answer is there.
    async fn listen_until(
        &mut self,
        line: &mut Line<'_>,
        deadline: Instant,
        for_answer: bool,
    ) -> Result<(), End> {
        loop {
            let left = deadline.saturating_duration_since(Instant::now());
            if left.is_zero() || (for_answer && self.listener.answered()) {
                return Ok(());
            }
            let at = line.now();
            if let Some(bytes) = line.receive(left).await? {
                self.listener.push(at, bytes, &mut |_| {});
            }
        }
    }

    /// Keeps the silence between frames.
    async fn keep_gap(&mut self, line: &mut Line<'_>) -> Result<(), End> {
        let gap = nanos(self.bus.frame_gap);
        let give_up = Instant::now() + BABBLE_MAX;
        while line.receive(gap).await?.is_some() && Instant::now() < give_up {}
        Ok(())
    }
}

impl Due {
    fn note(&mut self, answered: bool) {
        self.unanswered = if answered { 0 } else { self.unanswered + 1 };
        let period = if self.unanswered >= SILENT_AFTER {
            self.period.max(SILENT_PERIOD)
        } else {
            self.period
        };
        self.at = (self.at + period).max(Instant::now());
    }
}

fn nanos(time: kerfwatch::time::Nanos) -> Duration {
    Duration::from_nanos(u64::try_from(time).unwrap_or(0))
}
