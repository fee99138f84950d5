//! kerfwatchd: the live side. Instruments in; record, alarms and page out.
//!
//! It is a shell around the core of the `kerfwatch` crate: it opens ports, keeps time, writes
//! files and answers the page. It computes nothing the replay would not compute.
//!
//! Reading order: [`mod@run`] (threads, start and end), [`ingest`] (one ordered stream of inputs),
//! [`guard`] (the overpull path), [`handover`] (queues that never block), [`recorder`], [`core`],
//! [`publish`], [`web`].

pub mod away;
pub mod catch_up;
pub mod cli;
pub mod clock;
pub mod commands;
pub mod console;
pub mod core;
pub mod demo;
pub mod disk;
pub mod forward;
pub mod guard;
pub mod handover;
pub mod history;
pub mod ingest;
pub mod lines_out;
pub mod logging;
pub mod notify;
pub mod other_job;
pub mod outputs;
pub mod ports;
pub mod precedence;
pub mod progress;
pub mod publish;
pub mod recorder;
pub mod run;
pub mod run_folder;
pub mod shell_alarm;
pub mod threads;
pub mod web;

pub use run::{Config, Ended, RunError, Started, run};
