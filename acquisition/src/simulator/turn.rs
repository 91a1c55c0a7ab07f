//! Angles around the circle, for the innermost loops: wrapped without a division's remainder, and their sine
//! without the general reduction of any argument.

/// An angle within [0, period).
#[allow(
    clippy::cast_possible_truncation,
    reason = "the number of turns of an engine stays far below 2^53"
)]
pub(super) fn wrapped(angle: f64, period: f64) -> f64 {
    let turns = (angle / period) as i64 as f64;
    // Exact for a whole number of degrees: the product and the difference need no more digits than the angle.
    let rest = angle - turns * period;
    if rest < 0.0 {
        // So near to the end that it is rounded there, it is the beginning.
        let rest = rest + period;
        if rest < period { rest } else { 0.0 }
    } else if rest < period {
        rest
    } else {
        rest - period
    }
}

/// Sine of a number of turns: sin(2πx), to 1e-12. Taylor's series up to x^17 within a quarter of a turn.
#[allow(
    clippy::cast_possible_truncation,
    reason = "the number of turns of an engine stays far below 2^53"
)]
pub(super) fn sine(turns: f64) -> f64 {
    let half = 0.5_f64.copysign(turns);
    let x = turns - (turns + half) as i64 as f64;
    // Beyond a quarter the sine comes down as it went up.
    let x = if x > 0.25 {
        0.5 - x
    } else if x < -0.25 {
        -0.5 - x
    } else {
        x
    };
    let y = x * std::f64::consts::TAU;
    let s = y * y;
    y * (1.0
        + s * (-1.0 / 6.0
            + s * (1.0 / 120.0
                + s * (-1.0 / 5040.0
                    + s * (1.0 / 362_880.0
                        + s * (-1.0 / 39_916_800.0
                            + s * (1.0 / 6_227_020_800.0
                                + s * (-1.0 / 1_307_674_368_000.0
                                    + s / 355_687_428_096_000.0))))))))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn they_agree_with_the_standard_library() {
        for n in -40_000..40_000i32 {
            let x = f64::from(n) * 0.377_123;
            let turns = x / 100.0;
            assert!(
                (sine(turns) - (turns * std::f64::consts::TAU).sin()).abs() < 1e-11,
                "{turns}"
            );
            for period in [360.0, 720.0] {
                let rest = wrapped(x, period);
                assert!((0.0..period).contains(&rest));
                assert!((rest - x.rem_euclid(period)).abs() < 1e-12, "{x}");
            }
        }
        assert!(wrapped(-1e-18, 360.0) <= 0.0 && wrapped(720.0, 360.0) <= 0.0);
    }
}
