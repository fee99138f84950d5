//! From tool motion to what the crew calls things: strokes, still, stalled, slack.

pub mod friction;
pub mod hold;
pub mod profile;
pub mod second_look;
pub mod strokes;
pub mod track;
mod turning;
pub mod weight_check;
