//! What all cycles of a lead come to, column by column.

use super::LockedLead;

/// The cycles of a lead together. Values that are missing are passed over; a column in which all are
/// missing is not a number.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Course {
    /// Cycles on which each column rests.
    pub counts: Vec<usize>,
    /// Mean of each column.
    pub mean: Vec<f32>,
    /// Standard deviation of each column from cycle to cycle, of the sample (divided by one less than the
    /// count); not a number with fewer than two cycles.
    pub spread: Vec<f32>,
    /// Least and greatest value of each column.
    pub extent: Vec<Extent>,
}

/// Least and greatest value; both not a number where there is none.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Extent {
    /// Least.
    pub least: f32,
    /// Greatest.
    pub greatest: f32,
}

impl LockedLead {
    /// Columns of each cycle.
    pub fn columns(&self) -> usize {
        self.cycles.first().map_or(0, Vec::len)
    }

    /// Mean, spread, least and greatest per column, with the number of cycles on which they rest.
    pub fn course(&self) -> Course {
        let columns = self.columns();
        let mut course = Course::default();
        for column in 0..columns {
            let mut tally = Tally::default();
            let values = self.cycles.iter().filter_map(|c| c.get(column));
            values
                .filter(|v| v.is_finite())
                .for_each(|v| tally.push(*v));
            course.counts.push(tally.count);
            course.mean.push(tally.mean());
            course.spread.push(tally.spread());
            course.extent.push(tally.extent());
        }
        course
    }

    /// Mean of each column.
    pub fn mean(&self) -> Vec<f32> {
        self.course().mean
    }

    /// Least and greatest value in all cycles; none when nothing is known.
    pub fn extent(&self) -> Option<Extent> {
        let mut tally = Tally::default();
        let values = self.cycles.iter().flatten();
        values
            .filter(|v| v.is_finite())
            .for_each(|v| tally.push(*v));
        (tally.count > 0).then(|| tally.extent())
    }
}

/// Mean and spread as values come (Welford, Technometrics 4 (1962) 419).
#[derive(Debug, Clone, Copy, Default)]
struct Tally {
    count: usize,
    mean: f64,
    squares: f64,
    least: f32,
    greatest: f32,
}

impl Tally {
    fn push(&mut self, value: f32) {
        if self.count == 0 {
            (self.least, self.greatest) = (value, value);
        }
        self.count += 1;
        let x = f64::from(value);
        let off = x - self.mean;
        self.mean += off / self.count as f64;
        self.squares += off * (x - self.mean);
        self.least = self.least.min(value);
        self.greatest = self.greatest.max(value);
    }

    fn mean(&self) -> f32 {
        if self.count == 0 {
            f32::NAN
        } else {
            single(self.mean)
        }
    }

    fn spread(&self) -> f32 {
        if self.count < 2 {
            return f32::NAN;
        }
        single((self.squares / (self.count - 1) as f64).sqrt())
    }

    fn extent(&self) -> Extent {
        if self.count == 0 {
            return Extent {
                least: f32::NAN,
                greatest: f32::NAN,
            };
        }
        Extent {
            least: self.least,
            greatest: self.greatest,
        }
    }
}

#[allow(
    clippy::cast_possible_truncation,
    reason = "a value of 16 bits needs no more digits"
)]
fn single(x: f64) -> f32 {
    x as f32
}

#[cfg(test)]
mod tests {
    use super::*;
    use keyway_analysis::lead::Role;

    #[test]
    fn missing_values_are_passed_over_and_counted() {
        let nan = f32::NAN;
        let lead = LockedLead {
            role: Role::Supply,
            unit: "V".to_owned(),
            cycles: vec![
                vec![1.0, 4.0, nan],
                vec![2.0, nan, nan],
                vec![6.0, nan, nan],
            ],
        };
        let course = lead.course();
        assert_eq!(course.counts, [3, 1, 0]);
        assert_eq!(course.mean[..2], [3.0, 4.0]);
        // 1, 2, 6: the squares of what they are off from 3 sum up to 14, over two.
        assert!((course.spread[0] - 7f32.sqrt()).abs() < 1e-6);
        assert!(course.spread[1].is_nan() && course.spread[2].is_nan() && course.mean[2].is_nan());
        assert_eq!(
            course.extent[0],
            Extent {
                least: 1.0,
                greatest: 6.0
            }
        );
        assert!(course.extent[2].least.is_nan());
        assert_eq!(
            lead.extent(),
            Some(Extent {
                least: 1.0,
                greatest: 6.0
            })
        );
    }
}
