//! What page and metrics show of the forwarder.

use crate::progress::read;
use kerfwatch::time::{Nanos, seconds};
use serde::Serialize;
use std::sync::atomic::{AtomicBool, AtomicI64, AtomicU64, Ordering};
use std::sync::{Mutex, PoisonError};

/// Written by the forwarder, read by others.
#[derive(Debug, Default)]
pub struct Status {
    /// Whether the job asks for forwarding.
    pub on: AtomicBool,
    /// Points the server took in this run of the program.
    pub points: AtomicU64,
    /// Points the server would not take.
    pub set_aside: AtomicU64,
    /// Requests that came to nothing.
    pub failures: AtomicU64,
    /// Records and entries of the run not yet delivered.
    pub backlog: AtomicU64,
    /// Run time up to which readings are delivered, ns.
    pub delivered_at_ns: AtomicI64,
    trouble: Mutex<String>,
}

/// State of the forwarder for the page.
#[derive(Debug, Clone, Serialize)]
pub struct ForwardView {
    /// The server takes what is sent.
    pub ok: bool,
    /// Points the server took.
    pub points: u64,
    /// Points the server would not take; they are in the run folder.
    pub set_aside: u64,
    /// Requests that came to nothing.
    pub failures: u64,
    /// Records and entries not yet delivered.
    pub backlog: u64,
    /// Run time up to which readings are delivered.
    pub delivered_s: f64,
    /// What is wrong now; empty when nothing is.
    pub trouble: String,
}

impl Status {
    /// `None` when the job does not ask for forwarding.
    pub fn view(&self) -> Option<ForwardView> {
        self.on.load(Ordering::Relaxed).then(|| ForwardView {
            ok: self.trouble().is_empty(),
            points: read(&self.points),
            set_aside: read(&self.set_aside),
            failures: read(&self.failures),
            backlog: read(&self.backlog),
            delivered_s: seconds(self.delivered_at_ns.load(Ordering::Relaxed)),
            trouble: self.trouble(),
        })
    }

    /// What is wrong now; empty when nothing is.
    pub fn trouble(&self) -> String {
        self.trouble
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .clone()
    }

    pub(super) fn set_trouble(&self, text: &str) {
        let mut trouble = self.trouble.lock().unwrap_or_else(PoisonError::into_inner);
        if *trouble != text {
            text.clone_into(&mut trouble);
        }
    }

    pub(super) fn delivered(&self, at: Nanos) {
        self.delivered_at_ns.fetch_max(at, Ordering::Relaxed);
    }
}
