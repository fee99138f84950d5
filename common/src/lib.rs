//! kerfwatch: the pure core.
//!
//! Bytes and times go in, values and events come out. No sockets, no clock, no threads, no
//! randomness; no files except through `std::io` traits in [`recording`].
//!
//! Reading order, which is the way of one sample: [`input`] -> `decode` -> `calibrate` -> `align`
//! -> `motion` -> `infer` -> `groove` -> [`result`], with `model` (physics), [`job`] (what the
//! crew knows), `alarm`, and `pipeline`, which wires them.
#![warn(missing_docs)]

pub mod alarm;
pub mod align;
pub mod calibrate;
pub mod decode;
pub mod groove;
pub mod infer;
pub mod input;
pub mod job;
pub mod line_protocol;
pub mod model;
pub mod motion;
pub mod outcome;
pub mod pipeline;
pub mod recording;
pub mod result;
pub mod snapshot;
pub mod time;
pub mod units;
pub mod watch;
