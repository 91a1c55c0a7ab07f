//! The zero of a straight line through samples, by least squares.

/// Fewer samples are no better than the two beside the crossing.
const FEWEST: usize = 4;

/// Where the line through `samples`, at places 0, 1, 2, ..., reaches `level`; `None` for too few or a level line.
pub fn zero(samples: &[i16], level: f64) -> Option<f64> {
    if samples.len() < FEWEST {
        return None;
    }
    let n = samples.len() as f64;
    let middle = 0.5 * (n - 1.0);
    let (mut sum, mut moment) = (0.0, 0.0);
    for (i, &x) in samples.iter().enumerate() {
        let y = f64::from(x) - level;
        sum += y;
        moment += (i as f64 - middle) * y;
    }
    // Sum of (i - middle) squared.
    let slope = moment * 12.0 / (n * (n * n - 1.0));
    let x = middle - sum / n / slope;
    x.is_finite().then_some(x)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_is_met_exactly_and_noise_is_averaged() {
        let clean: Vec<i16> = (0..11).map(|i| 100 - 20 * i).collect();
        assert!((zero(&clean, 10.0).expect("slope") - 4.5).abs() < 1e-12);
        // Noise of no mean and no slope does not move it.
        assert!((zero(&[103, 77, 57, 43], 70.0).expect("slope") - 1.5).abs() < 1e-12);
        assert_eq!(zero(&[5; 8], 0.0), None);
        assert_eq!(zero(&[5, 0, -5], 0.0), None);
    }
}
