//! The mean of repeats with its 95 % range: half width t s/√n by Student's t (NIST e-Handbook 1.3.5.2).

/// The 97.5 % points of Student's t for 1 to 30 degrees of freedom (NIST e-Handbook 1.3.6.7.2).
const STUDENT: [f64; 30] = [
    12.706, 4.303, 3.182, 2.776, 2.571, 2.447, 2.365, 2.306, 2.262, 2.228, 2.201, 2.179, 2.160,
    2.145, 2.131, 2.120, 2.110, 2.101, 2.093, 2.086, 2.080, 2.074, 2.069, 2.064, 2.060, 2.056,
    2.052, 2.048, 2.045, 2.042,
];

/// Mean, standard deviation and number of repeats.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Repeats {
    pub mean: f64,
    /// Standard deviation of a single one; `None` for one alone.
    pub deviation: Option<f64>,
    pub count: usize,
}

impl Repeats {
    /// `None` without any.
    pub fn of(values: &[f64]) -> Option<Self> {
        let n = values.iter().map(|_| 1.0).sum::<f64>();
        if values.is_empty() {
            return None;
        }
        let mean = values.iter().sum::<f64>() / n;
        let squares: f64 = values.iter().map(|v| (v - mean).powi(2)).sum();
        Some(Self {
            mean,
            deviation: (values.len() > 1).then(|| (squares / (n - 1.0)).sqrt()),
            count: values.len(),
        })
    }

    /// Half width of the 95 % range of the mean; `None` for one alone.
    pub fn half_width(&self) -> Option<f64> {
        let n = (0..self.count).map(|_| 1.0).sum::<f64>();
        Some(student(self.count - 1) * self.deviation? / n.sqrt())
    }
}

/// The 97.5 % point of Student's t.
pub(crate) fn student(freedom: usize) -> f64 {
    match freedom {
        0 => f64::INFINITY,
        1..=30 => STUDENT[freedom - 1],
        // Within 0.001 of the table for every larger number: 1.960 + 2.4 / freedom.
        _ => 1.960 + 2.4 / (0..freedom).map(|_| 1.0).sum::<f64>(),
    }
}

/// Least and greatest value; `None` without any.
pub(crate) fn ends(values: impl Iterator<Item = f64>) -> Option<[f64; 2]> {
    values.fold(None, |ends, v| match ends {
        None => Some([v, v]),
        Some([low, high]) => Some([low.min(v), high.max(v)]),
    })
}

/// The value below which a share of the sorted `values` lies, straight lines between; `None` without any.
#[allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a share of a length in memory"
)]
pub(crate) fn quantile(sorted: &[f64], share: f64) -> Option<f64> {
    let last = sorted.len().checked_sub(1)?;
    let place = share.clamp(0.0, 1.0) * last as f64;
    let below = (place.floor() as usize).min(last);
    let above = (below + 1).min(last);
    Some(sorted[below] + (sorted[above] - sorted[below]) * (place - below as f64))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_range_of_a_mean_is_that_of_the_handbook() {
        // NIST e-Handbook 1.3.5.2, data set ZARR13: 195 values of mean 9.261460 and deviation 0.022789 have the
        // 95 % range 9.258242 to 9.264679.
        let repeats = Repeats {
            mean: 9.261_460,
            deviation: Some(0.022_789),
            count: 195,
        };
        let half = repeats.half_width().expect("many");
        assert!((half - (9.264_679 - 9.261_460)).abs() < 2e-6, "{half}");
        assert_eq!(Repeats::of(&[]), None);
        let three = Repeats::of(&[1.0, 2.0, 3.0]).expect("three");
        assert!((three.mean - 2.0).abs() < 1e-12);
        assert!((three.half_width().expect("three") - 4.303 / 3.0f64.sqrt()).abs() < 1e-9);
        assert_eq!(Repeats::of(&[1.0]).and_then(|r| r.half_width()), None);
    }

    #[test]
    fn a_quantile_lies_between_its_neighbours() {
        assert_eq!(quantile(&[], 0.5), None);
        let values = [0.0, 1.0, 2.0, 4.0];
        for (share, due) in [(0.0, 0.0), (0.5, 1.5), (1.0, 4.0)] {
            let got = quantile(&values, share).expect("values");
            assert!((got - due).abs() < 1e-12);
        }
        assert_eq!(ends([2.0, -1.0].into_iter()), Some([-1.0, 2.0]));
    }
}
