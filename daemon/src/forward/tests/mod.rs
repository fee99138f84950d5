//! The forwarder against a small server that answers as it is told, with a record of known contents.

mod answers;
mod fake_server;
mod forgetful;
mod late;
mod not_noted;
mod outages;
mod record;
mod token;
