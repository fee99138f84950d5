//! Log lines: to the journal when the service manager started us, else to standard error.
//!
//! Levels per module by `KERFWATCH_LOG`, for instance `info,kerfwatchd::ports=debug`.

use crate::lines_out::LogLines;
use std::io::IsTerminal;
use tracing_subscriber::EnvFilter;
use tracing_subscriber::layer::SubscriberExt;
use tracing_subscriber::util::SubscriberInitExt;

/// Variable that holds the filter.
pub const VARIABLE: &str = "KERFWATCH_LOG";

/// Starts logging; `default_filter` counts when the variable is not set. Call once.
pub fn start(default_filter: &str) {
    let filter =
        EnvFilter::try_from_env(VARIABLE).unwrap_or_else(|_| EnvFilter::new(default_filter));
    // JOURNAL_STREAM says that our output goes to the journal: then speak its own protocol, which
    // keeps fields and levels.
    let journal = std::env::var_os("JOURNAL_STREAM").and_then(|_| tracing_journald::layer().ok());
    let registry = tracing_subscriber::registry().with(filter);
    if let Some(journal) = journal {
        let _ = registry.with(journal).try_init();
    } else {
        let lines = tracing_subscriber::fmt::layer()
            .with_writer(|| LogLines)
            .with_ansi(std::io::stderr().is_terminal());
        // A second start (tests) keeps the first.
        let _ = registry.with(lines).try_init();
    }
}
