//! TEMPORARY: the recorder thread, until the recording lands.
use crate::handover::{Batch, Handover};
use crate::progress::Progress;
use kerfwatch::input::Event;
use std::sync::Arc;
use std::time::Duration;

/// Decisions on their way to the record.
#[derive(Debug)]
pub struct Derived;
impl Derived {
    /// Hands one over.
    pub fn event(&mut self, _event: &Event) {}
}

/// The thread.
pub fn run(inputs: Arc<Handover>, progress: Arc<Progress>) {
    let mut batch = Batch::default();
    while inputs.take(&mut batch, Duration::from_millis(50)) {
        batch.drain(|input| {
            progress.recorded_at_ns.store(
                crate::core::time_of(input),
                std::sync::atomic::Ordering::Relaxed,
            );
        });
    }
}
