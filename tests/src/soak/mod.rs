//! A run of hours with random faults, and the count that proves what came of it.
//!
//! Reading order: [`instruments`] (numbered lines at a steady rate, plugged and unplugged),
//! [`daemon`] (the program as a process: started, killed, asked how it is), [`server`] (a database that
//! comes and goes), [`pages`] (readers, most of them slow), [`account`] (what may be missing, and why),
//! [`proof`] (what was recorded, against what was sent). `tests/src/bin/soak/` plays them.

pub mod account;
pub mod daemon;
pub mod instruments;
pub mod pages;
pub mod proof;
pub mod server;
