//! From the state of the pipeline to what people and machines read: the result of a run so far, and the present.

mod after;
mod doubts;
mod present;
mod states;

pub use after::result;
pub use doubts::mark_doubts;
pub(crate) use present::is_before_cut;
pub use present::{glance, snapshot};
pub(crate) use states::told;

use crate::align::CELL_S;
use crate::infer::track::TrackPoint;

/// Middle of the cell of a point of the track, s.
fn time(p: &TrackPoint) -> f64 {
    (f64::from(p.index) + 0.5) * CELL_S
}
