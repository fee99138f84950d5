//! kerfwatch: the pure core.
//!
//! Bytes and times go in, values and events come out. No sockets, no clock, no threads, no
//! randomness; no files except through `std::io` traits in [`recording`].
//!
//! Reading order, which is the way of one sample: [`input`] -> `decode` -> `calibrate` -> `align`
//! -> `motion` -> `infer` -> `groove` -> [`result`], with `model` (physics), [`job`] (what the
//! crew knows), `alarm`, and `pipeline`, which wires them.
//!
//! A job, two readings a tick, and what is known by then:
//!
//! ```
//! use kerfwatch::input::{ChannelId, Input};
//! use kerfwatch::job::{print_default_job, read_job};
//! use kerfwatch::pipeline::Pipeline;
//!
//! let job = read_job(print_default_job(), "job.toml")?.job;
//! let mut pipeline = Pipeline::new(&job);
//! let mut events = Vec::new();
//! for n in 0..100 {
//!     let at = n * 100_000_000; // ns since run start
//!     // Line paid out, m, at 0.2 m/s; line tension, N.
//!     let depth = 2000.0 + 0.02 * n as f64;
//!     pipeline.push(&Input::Reading { channel: ChannelId::Depth, at, value: depth }, &mut events);
//!     pipeline.push(&Input::Reading { channel: ChannelId::Load, at, value: 1500.0 }, &mut events);
//!     pipeline.push(&Input::Tick { at }, &mut events);
//! }
//! let result = pipeline.result("example");
//! assert_eq!(result.run.samples, 200);
//! assert!(result.strokes.is_empty()); // two metres down, not yet turned
//! # Ok::<(), kerfwatch::job::Findings>(())
//! ```
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
mod rounding;
pub mod snapshot;
pub mod time;
pub mod units;
pub mod watch;
