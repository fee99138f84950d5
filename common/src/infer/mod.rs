//! From tool motion to what the crew calls things: strokes, still, stalled, slack.

mod following;
pub mod friction;
pub mod hold;
pub mod profile;
pub mod second_look;
pub mod spells;
pub mod standing_load;
pub mod strokes;
pub mod track;
mod turning;
mod usual_drag;
pub mod weight_check;
