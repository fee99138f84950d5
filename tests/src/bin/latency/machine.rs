//! What the machine itself makes wait: a thread that has nothing to do but to wake up each millisecond.
//!
//! No program that sleeps between readings can answer sooner than that on the same machine at the same time, so its
//! figures are printed beside ours.

use hdrhistogram::Histogram;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

const STEP: Duration = Duration::from_millis(1);

/// The thread, until it is stopped.
pub(super) struct Machine {
    stop: Arc<AtomicBool>,
    waiting: JoinHandle<Histogram<u64>>,
}

impl Machine {
    /// Starts it.
    pub(super) fn start() -> anyhow::Result<Self> {
        let mut late = Histogram::new_with_bounds(1, 60_000_000, 3)?;
        let stop = Arc::new(AtomicBool::new(false));
        let waiting = {
            let stop = Arc::clone(&stop);
            std::thread::spawn(move || {
                let mut due = Instant::now();
                while !stop.load(Ordering::Relaxed) {
                    due += STEP;
                    std::thread::sleep(due.saturating_duration_since(Instant::now()));
                    let micros = due.elapsed().as_micros().clamp(1, 60_000_000);
                    late.saturating_record(micros as u64);
                }
                late
            })
        };
        Ok(Self { stop, waiting })
    }

    /// Stops it: how late it woke.
    pub(super) fn report(self) -> anyhow::Result<String> {
        self.stop.store(true, Ordering::Relaxed);
        let late = self
            .waiting
            .join()
            .map_err(|_| anyhow::anyhow!("the waiting thread panicked"))?;
        let [half, one, most] = [0.5, 0.99, 0.999].map(|q| super::ms(late.value_at_quantile(q)));
        Ok(format!(
            "machine, a thread that only wakes each millisecond, late by ms: p50 {half:.3}  p99 {one:.3}  p99.9 {most:.3}  max {:.3}",
            super::ms(late.max())
        ))
    }
}
