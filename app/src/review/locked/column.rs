//! Samples of one cycle as means over columns of equal crank angle.

/// Means over the columns between `bounds` (instants in samples, strictly increasing) of the straight lines
/// through `samples`, the first of which has index `first`. Not a number where a column reaches beyond the
/// samples. The integral of the lines over a column, divided by its width; so a column with many samples has
/// their mean, one with fewer than one what lies between its neighbours, and nothing depends on which samples
/// happen to fall to which side of a bound.
pub(super) fn means(samples: &[i16], first: u64, bounds: &[f64]) -> Vec<f64> {
    let mut integral = Integral::new(samples);
    let mut ends = bounds.iter().map(|b| integral.up_to(b - first as f64));
    let Some(mut before) = ends.next() else {
        return Vec::new();
    };
    let means = ends.zip(bounds.windows(2)).map(|(after, bound)| {
        let mean = match (before, after) {
            (Some(a), Some(b)) => (b - a) / (bound[1] - bound[0]),
            _ => f64::NAN,
        };
        before = after;
        mean
    });
    means.collect()
}

/// Integral of the straight lines through samples, asked at instants that do not go back.
struct Integral<'a> {
    samples: &'a [i16],
    /// Whole intervals that are summed.
    done: usize,
    sum: f64,
}

impl<'a> Integral<'a> {
    fn new(samples: &'a [i16]) -> Self {
        Self {
            samples,
            done: 0,
            sum: 0.0,
        }
    }

    /// From the first sample to `at`; none outside the samples.
    fn up_to(&mut self, at: f64) -> Option<f64> {
        let last = self.samples.len().checked_sub(1)?;
        if !(0.0..=last as f64).contains(&at) {
            return None;
        }
        let whole = floor(at);
        while self.done < whole {
            self.sum += f64::midpoint(self.value(self.done), self.value(self.done + 1));
            self.done += 1;
        }
        let part = at - whole as f64;
        if part <= 0.0 {
            return Some(self.sum);
        }
        let (a, b) = (self.value(whole), self.value(whole + 1));
        Some(self.sum + part * (a + 0.5 * part * (b - a)))
    }

    fn value(&self, index: usize) -> f64 {
        self.samples.get(index).copied().map_or(0.0, f64::from)
    }
}

#[allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "an instant within samples in memory"
)]
fn floor(x: f64) -> usize {
    x as usize
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn many_samples_give_their_mean_and_few_what_lies_between() {
        let ramp: Vec<i16> = (0..100).map(|n| 10 * n).collect();
        // Of a straight line the mean is the value in the middle, however wide the column.
        for bounds in [
            vec![1010.0, 1020.0, 1050.0],
            vec![1010.2, 1010.3, 1010.45],
            vec![1010.9, 1011.1, 1013.0],
        ] {
            let got = means(&ramp, 1000, &bounds);
            for (mean, bound) in got.iter().zip(bounds.windows(2)) {
                let middle = 10.0 * (f64::midpoint(bound[0], bound[1]) - 1000.0);
                assert!((mean - middle).abs() < 1e-9, "{mean} for {middle}");
            }
        }
    }

    #[test]
    fn beyond_the_samples_nothing_is_known() {
        let got = means(&[5; 10], 100, &[99.0, 101.0, 105.0, 109.0, 110.0]);
        assert!(got[0].is_nan() && got[3].is_nan());
        assert!((got[1] - 5.0).abs() < 1e-12 && (got[2] - 5.0).abs() < 1e-12);
        assert!(means(&[], 0, &[0.0, 1.0])[0].is_nan());
        assert!(means(&[1], 0, &[]).is_empty());
    }

    #[derive(serde::Deserialize)]
    struct Case {
        name: String,
        first: u64,
        samples: Vec<i16>,
        bounds: Vec<f64>,
        /// What NumPy makes of the samples.
        means: Vec<f64>,
        /// Means of the signal itself, by SciPy.
        r#true: Vec<f64>,
    }

    #[derive(serde::Deserialize)]
    struct Table {
        cases: Vec<Case>,
    }

    /// The values are made by `tests/reference/columns.py`.
    #[test]
    fn a_signal_on_a_crank_of_known_angle_gives_the_means_of_numpy_and_those_of_the_signal() {
        let text = include_str!("../../../../tests/reference/columns.json");
        let table: Table = serde_json::from_str(text).unwrap();
        assert_eq!(table.cases.len(), 3);
        for case in &table.cases {
            let got = means(&case.samples, case.first, &case.bounds);
            assert_eq!(got.len(), case.means.len());
            let off = |wanted: &[f64]| {
                let off = got.iter().zip(wanted).map(|(a, b)| (a - b).abs());
                off.fold(0.0, f64::max)
            };
            let (numpy, signal) = (off(&case.means), off(&case.r#true));
            eprintln!("{}: {numpy:.1e} and {signal:.2} counts off", case.name);
            assert!(numpy < 1e-3, "{}: {numpy} counts off", case.name);
            // Of a swing of 18 000 counts: the rounding to whole counts, and the straight line between samples.
            assert!(signal < 20.0, "{}: {signal} counts off", case.name);
        }
    }
}
