//! The way of the tool, kept for the whole run at a coarse step.

use crate::motion::Moment;

/// Moments per kept point: five points a second.
const EVERY: i64 = 2;

/// One point of the track.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TrackPoint {
    /// Cell number.
    pub index: u32,
    /// Depth of the wheels, m (a 32-bit float holds 0.3 mm at 4000 m).
    pub depth: f32,
    /// Speed, m/s.
    pub speed: f32,
}

/// All points, in order of time.
#[derive(Debug, Clone, Default)]
pub struct Track {
    points: Vec<TrackPoint>,
    origin: Option<i64>,
}

impl Track {
    /// Keeps every second moment.
    pub fn push(&mut self, m: &Moment) {
        let origin = *self.origin.get_or_insert(m.index);
        if (m.index - origin) % EVERY == 0
            && let Ok(index) = u32::try_from(m.index)
        {
            self.points.push(TrackPoint {
                index,
                depth: m.depth as f32,
                speed: m.speed as f32,
            });
        }
    }

    /// Forgets all but the first `points`.
    pub fn truncate(&mut self, points: usize) {
        self.points.truncate(points);
    }

    /// All points.
    pub fn points(&self) -> &[TrackPoint] {
        &self.points
    }
}
