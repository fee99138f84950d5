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

/// Step to which arrival times are rounded before the core sees them: 10 us.
///
/// The scheduling jitter of a serial port is tens of microseconds, so the digits below carry no information
/// about the instrument, yet they can't be compressed: at full nanoseconds each frame costs about two bytes
/// for them alone. The figures are printed by `cargo bench -p kerfwatch-replay --bench recording`.
pub const ARRIVAL_STEP: i64 = 10_000;

/// Nearest multiple of [`ARRIVAL_STEP`], halves up. Whoever stamps arrivals calls this before recording and
/// before feeding the core, so that both see the same time.
#[inline]
pub const fn quantise_arrival(at: Nanos) -> Nanos {
    at.saturating_add(ARRIVAL_STEP / 2)
        .div_euclid(ARRIVAL_STEP)
        .saturating_mul(ARRIVAL_STEP)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn arrival_times_round_to_the_nearest_ten_microseconds() {
        for (at, rounded) in [
            (0, 0),
            (4_999, 0),
            (5_000, 10_000),
            (-5_000, 0),
            (-5_001, -10_000),
            (1_234_567_891, 1_234_570_000),
        ] {
            assert_eq!(quantise_arrival(at), rounded);
        }
        assert_eq!(
            quantise_arrival(quantise_arrival(77_777)),
            quantise_arrival(77_777)
        );
        assert!(quantise_arrival(i64::MAX) > 0 && quantise_arrival(i64::MIN) < 0);
    }
}
