//! Time inside the core: integer nanoseconds since the run started.
//!
//! The core never reads a clock. Whoever feeds it says what time it is.

/// Nanoseconds since run start. Negative only for data that claims to be older than the run.
pub type Nanos = i64;

/// Nanoseconds in a second.
pub const NANOS_PER_SECOND: i64 = 1_000_000_000;

/// Seconds since run start.
#[inline]
pub fn seconds(at: Nanos) -> f64 {
    at as f64 * 1e-9
}

/// Nearest nanosecond of a time in seconds; `None` when it is not finite or beyond 292 years.
pub fn nanos(seconds: f64) -> Option<Nanos> {
    let scaled = (seconds * 1e9).round();
    (scaled.is_finite() && scaled.abs() < 9.2e18).then_some(scaled as i64)
}
