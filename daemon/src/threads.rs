//! Threads of a run. A panic in any of them ends the run, so that the process ends with a failure
//! and the service manager starts it again.

use crate::progress::Progress;
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::thread::JoinHandle;
use tokio_util::sync::CancellationToken;

/// Stops everything when its thread ends by a panic.
struct Alive {
    stop: CancellationToken,
    progress: Arc<Progress>,
}

impl Drop for Alive {
    fn drop(&mut self) {
        if std::thread::panicking() {
            self.progress.failed.store(true, Ordering::Relaxed);
            self.stop.cancel();
        }
    }
}

/// Starts the threads of one run.
#[derive(Debug, Clone)]
pub struct Threads {
    /// Ends the run.
    pub stop: CancellationToken,
    /// Says when one has panicked.
    pub progress: Arc<Progress>,
}

impl Threads {
    /// Starts one; its name shows in the tools of the system.
    pub fn start<T: Send + 'static>(
        &self,
        name: &'static str,
        work: impl FnOnce() -> T + Send + 'static,
    ) -> std::io::Result<JoinHandle<T>> {
        let alive = Alive {
            stop: self.stop.clone(),
            progress: Arc::clone(&self.progress),
        };
        std::thread::Builder::new()
            .name(name.to_owned())
            .spawn(move || {
                let _alive = alive;
                work()
            })
    }
}

/// The runtime of a thread.
pub fn runtime() -> std::io::Result<tokio::runtime::Runtime> {
    tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
}

/// Waits for a thread; `None`: it has panicked.
pub async fn join<T: Send + 'static>(thread: JoinHandle<T>) -> Option<T> {
    tokio::task::spawn_blocking(move || thread.join().ok())
        .await
        .ok()
        .flatten()
}
