//! The mean of a sequence whose neighbours are alike, and how well it is known.
//!
//! The variance of such a mean is that of a single value divided by the effective number of values, n / τ, with
//! τ = 1 + 2 Σ ρ(k) over the autocorrelation (G. V. Bayley, J. M. Hammersley, "The 'effective' number of independent
//! observations in an autocorrelated time series", Supplement to the Journal of the Royal Statistical Society 8 (1946)
//! 184). The sum ends where the sums of two neighbouring terms cease to be positive, and these may not rise (C. J. Geyer,
//! "Practical Markov chain Monte Carlo", Statistical Science 7 (1992) 473, initial monotone sequence). The mean is taken
//! from the same values, which makes their scatter too small by 1 − τ/n.

/// Longer sequences are first put together to means of equal stretches, no more than so many: the variance of the mean
/// stays, and the work with it.
const MOST: usize = 2048;
/// The sum goes no further than this part of the sequence: what is alike for longer is not told from a drift.
const FARTHEST: usize = 2;

/// What is known of the mean.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Told {
    pub mean: f64,
    /// Standard uncertainty.
    pub uncertainty: f64,
    /// Effective number of values.
    pub independent: f64,
}

fn count<T>(values: &[T]) -> f64 {
    values.iter().map(|_| 1.0).sum()
}

/// Of eight values and more.
pub(super) fn mean(values: &[f64]) -> Told {
    let width = values.len().div_ceil(MOST).max(1);
    let kept: Vec<f64> = (values.chunks_exact(width))
        .map(|stretch| stretch.iter().sum::<f64>() / count(stretch))
        .collect();
    let n = count(&kept);
    let mean = values.iter().sum::<f64>() / count(values);
    let about = kept.iter().sum::<f64>() / n;
    let away: Vec<f64> = kept.iter().map(|v| v - about).collect();
    let covariance = |lag: usize| {
        let later = away.get(lag..).unwrap_or_default();
        away.iter().zip(later).map(|(a, b)| a * b).sum::<f64>() / n
    };
    let variance = covariance(0);
    if variance <= 0.0 {
        return Told {
            mean,
            uncertainty: 0.0,
            independent: n,
        };
    }
    let (mut sum, mut before, mut lag) = (-variance, f64::INFINITY, 0);
    while lag + 1 < kept.len() / FARTHEST {
        let two = (covariance(lag) + covariance(lag + 1)).min(before);
        if two <= 0.0 {
            break;
        }
        sum += 2.0 * two;
        before = two;
        lag += 2;
    }
    // Neighbours that are unlike would make the mean better known than by so many independent values: not claimed.
    let times = (sum / variance).max(1.0);
    // Taken from the same values, the first correction alone falls short: once more with what it gave.
    let times = times / (1.0 - (times / n).min(0.5));
    let independent = (n / times).max(1.0);
    let scatter = variance / (1.0 - 1.0 / independent).max(0.1);
    Told {
        mean,
        uncertainty: (scatter / independent).sqrt(),
        independent,
    }
}
