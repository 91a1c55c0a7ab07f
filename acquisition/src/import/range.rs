//! The values of a column, and the counts that stand for them.

use super::number::Cell;

/// Room beyond the greatest and the least value, as a share of what lies between them: an input that
/// reaches the ends of its range is taken for clipped.
const ROOM: f64 = 0.05;
/// Counts that are used, from the middle either way.
const COUNTS: f64 = 32_000.0;
/// Digits beyond this are arithmetic, not resolution: 16 bits have not five.
const FINEST: i32 = -12;
/// Values that are kept to tell the usual range from outliers.
const KEPT: usize = 2048;
/// Fewer counts than this over the usual range are told: 8 bits, the coarsest converters in use.
const ENOUGH: f64 = 256.0;

/// What a column holds, found row by row.
#[derive(Debug, Clone)]
pub(crate) struct Range {
    pub low: f64,
    pub high: f64,
    /// Power of ten of the last digit.
    finest: i32,
    pub numbers: u64,
    pub holes: u64,
    pub above: u64,
    pub below: u64,
    /// Every so-many-th value.
    kept: Vec<f64>,
    every: u64,
}

impl Default for Range {
    fn default() -> Self {
        Self {
            low: f64::INFINITY,
            high: f64::NEG_INFINITY,
            finest: i32::MAX,
            numbers: 0,
            holes: 0,
            above: 0,
            below: 0,
            kept: Vec::new(),
            every: 1,
        }
    }
}

impl Range {
    /// Takes a cell with the power of ten of its last digit.
    pub fn push(&mut self, cell: Cell, last_digit: impl FnOnce() -> i32) {
        match cell {
            Cell::Number(x) => {
                self.low = self.low.min(x);
                self.high = self.high.max(x);
                // Only the first rows and then some: the digits of a column do not change.
                if self.finest > FINEST && (self.numbers < 4096 || self.numbers.is_multiple_of(16))
                {
                    self.finest = self.finest.min(last_digit()).max(FINEST);
                }
                if self.numbers.is_multiple_of(self.every) {
                    if self.kept.len() == KEPT {
                        let mut keep = false;
                        self.kept.retain(|_| {
                            keep = !keep;
                            keep
                        });
                        self.every *= 2;
                    }
                    self.kept.push(x);
                }
                self.numbers += 1;
            }
            Cell::Hole => self.holes += 1,
            Cell::Above => self.above += 1,
            Cell::Below => self.below += 1,
        }
    }

    /// The counts for these values.
    pub fn scaling(&self) -> Scaling {
        let (low, high) = if self.numbers == 0 {
            (0.0, 0.0)
        } else {
            (self.low, self.high)
        };
        let written = 10f64.powi(self.finest.clamp(FINEST, 12));
        let between = high - low;
        let room = if between > 0.0 {
            (ROOM * between).max(written)
        } else {
            // A column that never moves.
            low.abs().max(1.0)
        };
        // Where the instrument itself was at its end, the end is the value that stands for it.
        let low_end = if self.below > 0 { low } else { low - room };
        let high_end = if self.above > 0 { high } else { high + room };
        let reach = (high_end - low_end) / 2.0;
        let centre = low_end + reach;
        let per_digit = (COUNTS * written / reach).floor();
        let (scale, offset) = if per_digit >= 1.0 {
            // Each written value is a whole number of counts.
            let scale = written / per_digit;
            (scale, (centre / scale).round() * scale)
        } else {
            (reach / COUNTS, centre)
        };
        Scaling {
            scale,
            offset,
            low: low_end,
            high: high_end,
            is_exact: per_digit >= 1.0,
        }
    }

    /// Counts between the usual least and greatest value, when they are few: a few outliers then
    /// take the range.
    pub fn few_counts(&self) -> Option<f64> {
        let mut kept = self.kept.clone();
        kept.sort_by(f64::total_cmp);
        let usual = kept.get(kept.len() * 99 / 100)? - kept.get(kept.len() / 100)?;
        let counts = usual / self.scaling().scale;
        let is_narrow = usual < 0.1 * (self.high - self.low);
        (usual > 0.0 && is_narrow && counts < ENOUGH).then_some(counts)
    }
}

/// How values become counts: value = count × scale + offset.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Scaling {
    pub scale: f64,
    pub offset: f64,
    /// Ends of what the column can show.
    pub low: f64,
    pub high: f64,
    /// Whether every written value is a whole number of counts.
    pub is_exact: bool,
}

impl Scaling {
    /// The nearest count, or none when the value lies outside: the file is then another than the
    /// one that was looked through.
    pub fn count(&self, value: f64) -> Option<i16> {
        let count = ((value - self.offset) / self.scale).round();
        (count.abs() <= f64::from(i16::MAX)).then(|| narrow(count))
    }
}

#[allow(
    clippy::cast_possible_truncation,
    reason = "within the range of i16 and whole"
)]
fn narrow(x: f64) -> i16 {
    x as i16
}

#[cfg(test)]
mod tests {
    use super::*;

    fn scaling(values: &[f64], digit: i32) -> Scaling {
        let mut range = Range::default();
        for &v in values {
            range.push(Cell::Number(v), || digit);
        }
        range.scaling()
    }

    #[test]
    fn written_values_are_whole_counts_where_there_is_room() {
        for (values, digit, exact) in [
            (vec![0.0, 4.997, 0.312], -3, true),
            (vec![-0.02, 0.02], -4, true),
            (vec![13.7, 13.7], -1, true),
            (vec![0.0, 1.0], 0, true),
            (vec![-100.0, 100.0, 0.123], -3, false),
            (vec![0.1, 1.0 / 3.0], -17, false),
        ] {
            let s = scaling(&values, digit);
            assert_eq!(s.is_exact, exact, "{values:?}: {s:?}");
            for v in values {
                let back = f64::from(s.count(v).unwrap()) * s.scale + s.offset;
                let allowed = if exact { 1e-9 } else { 0.5001 * s.scale };
                assert!((back - v).abs() <= allowed, "{v}: {back}, {s:?}");
                assert!(s.low < v && v < s.high, "{v}: {s:?}");
            }
        }
    }

    #[test]
    fn an_outlier_that_takes_the_range_is_told() {
        let mut range = Range::default();
        for i in 0..1000 {
            range.push(
                Cell::Number(if i == 500 { 1e6 } else { f64::from(i % 5) }),
                || 0,
            );
        }
        assert!(range.few_counts().is_some_and(|n| n < 1.0));
        assert_eq!(scaling(&[0.0, 5.0], -3).count(7.0), None);
    }
}
