//! Rounding on the way of a sample.

/// The next whole number below; beyond what an `i64` holds, the last one it holds. NaN gives 0.
///
/// `f64::floor` is a call into the library on processors without an instruction for it, which a program built for
/// all of them may not count on.
#[inline]
pub(crate) fn floor(x: f64) -> i64 {
    let whole = x as i64;
    whole.saturating_sub(i64::from(whole as f64 > x))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn floor_is_that_of_the_library() {
        for x in [
            0.0,
            -0.0,
            0.5,
            -0.5,
            1.0,
            -1.0,
            2.999_999,
            -3.000_001,
            1e15 + 0.5,
            -1e15 - 0.5,
        ] {
            assert_eq!(floor(x), x.floor() as i64, "{x}");
        }
        assert_eq!((floor(1e300), floor(-1e300)), (i64::MAX, i64::MIN));
        assert_eq!(floor(f64::NAN), 0);
    }
}
