//! Running statistics: any number of values in bounded memory.

use schemars::JsonSchema;
use serde::Serialize;

/// Mean, standard deviation and ends of a set of values, all in the unit of the values.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct Spread {
    /// Number of values.
    pub points: u64,
    /// Arithmetic mean.
    pub mean: f64,
    /// Standard deviation about the mean.
    pub spread: f64,
    /// Lowest value.
    pub low: f64,
    /// Highest value.
    pub high: f64,
}

impl Spread {
    /// Over any number of values; none over none.
    pub fn of(values: impl Iterator<Item = f64>) -> Option<Self> {
        let mut moments = Moments::default();
        values.for_each(|v| moments.push(v));
        moments.spread()
    }

    /// Over all values of several sets (T. F. Chan, G. H. Golub, R. J. LeVeque, "Updating formulae and
    /// a pairwise algorithm for computing sample variances", 1979); none over none.
    pub fn over<'a>(sets: impl Iterator<Item = &'a Moments>) -> Option<Self> {
        sets.copied().reduce(Moments::with)?.spread()
    }
}

/// Values seen so far. The mean and the squares are updated with each value (B. P. Welford, "Note on
/// a method for calculating corrected sums of squares and products", Technometrics 4, 1962), so that
/// no digits cancel however long the recording is.
#[derive(Debug, Clone, Copy, Default)]
pub struct Moments {
    points: u64,
    mean: f64,
    squares: f64,
    low: f64,
    high: f64,
}

impl Moments {
    /// Takes the next value; one that is not finite is passed over.
    pub fn push(&mut self, value: f64) {
        if !value.is_finite() {
            return;
        }
        if self.points == 0 {
            (self.low, self.high) = (value, value);
        }
        self.points += 1;
        let away = value - self.mean;
        self.mean += away / self.points as f64;
        self.squares += away * (value - self.mean);
        self.low = self.low.min(value);
        self.high = self.high.max(value);
    }

    fn with(self, other: Self) -> Self {
        let points = self.points + other.points;
        if self.points == 0 || other.points == 0 {
            return if self.points == 0 { other } else { self };
        }
        let away = other.mean - self.mean;
        let share = other.points as f64 / points as f64;
        Self {
            points,
            mean: self.mean + away * share,
            squares: self.squares + other.squares + away * away * share * self.points as f64,
            low: self.low.min(other.low),
            high: self.high.max(other.high),
        }
    }

    /// Mean, standard deviation and ends; none before the first value.
    pub fn spread(&self) -> Option<Spread> {
        (self.points > 0).then(|| Spread {
            points: self.points,
            mean: self.mean,
            spread: (self.squares / self.points as f64).sqrt(),
            low: self.low,
            high: self.high,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::{Moments, Spread};

    #[test]
    fn spread_of_known_values() {
        let s = Spread::of([2.0, 4.0, 4.0, 4.0, 5.0, 5.0, 7.0, 9.0].into_iter()).unwrap();
        assert!((s.mean - 5.0).abs() < 1e-12 && (s.spread - 2.0).abs() < 1e-12);
        assert!((s.low - 2.0).abs() < 1e-12 && (s.high - 9.0).abs() < 1e-12);
        assert_eq!(Spread::of(std::iter::empty()), None);
    }

    #[test]
    fn sets_taken_together_are_as_one() {
        let mut sets = [Moments::default(); 3];
        for (set, values) in
            sets.iter_mut()
                .zip([&[2.0, 4.0, 4.0][..], &[], &[4.0, 5.0, 5.0, 7.0, 9.0]])
        {
            values.iter().for_each(|v| set.push(*v));
        }
        let s = Spread::over(sets.iter()).unwrap();
        assert_eq!(s.points, 8);
        assert!(
            (s.mean - 5.0).abs() < 1e-12 && (s.spread - 2.0).abs() < 1e-12,
            "{s:?}"
        );
    }

    #[test]
    fn far_from_zero_no_digits_cancel() {
        let s = Spread::of([4.0, 7.0, 13.0, 16.0].map(|v| v + 1e9).into_iter()).unwrap();
        assert!((s.spread - 22.5_f64.sqrt()).abs() < 1e-6, "{}", s.spread);
    }
}
