//! How far several good engines let one expect the next: the factor that makes a tolerance of a standard deviation.
//!
//! The mean of n engines plus and minus k standard deviations holds 95 % of all engines of the type with 95 %
//! confidence, if they are spread normally: the two-sided tolerance interval of ISO 16269-6:2014, annex F
//! (NIST/SEMATECH e-Handbook 7.2.6.3 gives Howe's approximation of it). `tests/reference/tolerance.py` makes the
//! factors with SciPy.

/// The factors for 2 to 30 engines.
pub const FACTORS: [f64; 29] = [
    36.5192, 9.7888, 6.3411, 5.0769, 4.4222, 4.0196, 3.7455, 3.5459, 3.3934, 3.2728, 3.1747,
    3.0931, 3.0241, 2.9649, 2.9135, 2.8683, 2.8283, 2.7925, 2.7603, 2.7312, 2.7047, 2.6805, 2.6583,
    2.6377, 2.6187, 2.6011, 2.5846, 2.5693, 2.5549,
];

/// The factor for so many engines; `None` for fewer than two. More than 30 take that of 30, which is the larger.
pub fn factor(engines: usize) -> Option<f64> {
    let place = engines.checked_sub(2)?;
    Some(FACTORS[place.min(FACTORS.len() - 1)])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn more_engines_need_less() {
        assert_eq!(factor(0), None);
        assert_eq!(factor(1), None);
        assert!(FACTORS.windows(2).all(|w| w[0] > w[1]));
        // The limit for all engines there are: the 97.5 % point of the normal distribution.
        assert!(factor(1000).is_some_and(|k| k > 1.96 && k < 2.6));
    }
}
