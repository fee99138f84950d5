//! Where alarms go besides the page: log, commands, horn and relay.

use crate::guard::Overpull;
use kerfwatch::snapshot::AlarmView;

/// What the outputs follow.
#[derive(Debug, Clone, Default)]
pub struct Horn {
    /// Set by the guard, at once; taken back when the pipeline's alarm is no longer standing.
    pub overpull: Option<Overpull>,
    /// Alarms that are not normal, as of the last snapshot.
    pub alarms: Vec<AlarmView>,
}
