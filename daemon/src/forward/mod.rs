//! Store and forward: the record of the run, as points, to an InfluxDB 2 server (write API v2).
//!
//! *Input -> output*: a run folder and a cursor -> points on a server. The run folder is the queue: nothing is
//! stored twice, and a link that is down for days costs no memory. *Limits*: one batch in memory.
//! *Errors*: none of them reaches the run; they wait, are shown, raise the `forward` alarm, or set a single
//! point aside.
//!
//! *Never twice*: a point is told by measurement, tags and timestamp, all of which follow from the record
//! alone, so that sending again after a crash or a lost answer changes nothing on the server. *Time*: start
//! of the run in UTC plus run time, like the points of `kerfwatch-replay export`; corrections of the
//! host's clock during the run do not move points, else the same point would be sent with two times.
//!
//! Reading order: `points` (what is sent), `queue` (record -> batches), `readings` (made fewer),
//! `cursor`, `server` (one request), `delivery` (what each answer leads to), `worker` (the thread).

mod backoff;
mod cursor;
mod delivery;
mod points;
mod queue;
mod readings;
mod server;
mod status;
#[cfg(test)]
mod tests;
mod worker;

pub use cursor::CURSOR_FILE;
pub use delivery::SET_ASIDE_FILE;
pub use status::{ForwardView, Status};
pub use worker::{Forwarder, Limits};
