//! The sample path goes before everything else that runs on the machine.
//!
//! A reading at the limit must not wait behind a page that is being drawn, a backup, or an update. Where the
//! system does not permit it (an ordinary user without `LimitNICE`), all works as well on a machine that is not
//! overloaded.

/// Niceness of the sample path. Enough to be woken at once; not real time, so that a defect here cannot take
/// the machine away from its operator.
const NICENESS: i32 = -10;

/// Niceness of what may be late: pages and the sending on of records.
const YIELDING: i32 = 10;

/// Lets everything else on the machine go before the calling thread. Always permitted; so the sample path comes
/// first before many readers of the page even where [`take`] is refused.
pub fn give() {
    let niceness = rustix::process::getpriority_process(None).unwrap_or(0);
    if niceness < YIELDING
        && let Err(error) = rustix::process::setpriority_process(None, YIELDING)
    {
        tracing::debug!(%error, "pages have the same precedence as the sample path");
    }
}

/// Gives the calling thread precedence; whether that was permitted.
pub fn take() -> bool {
    // On Linux niceness belongs to a thread, and no process means the calling one.
    if rustix::process::getpriority_process(None).is_ok_and(|niceness| niceness <= NICENESS) {
        return true; // the service manager has given it more
    }
    let taken = rustix::process::setpriority_process(None, NICENESS);
    if let Err(error) = taken {
        tracing::debug!(%error, "the sample path has no precedence over other programs");
    }
    taken.is_ok()
}
