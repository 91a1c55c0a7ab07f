//! To what times are written. Trailing zeros are often left out, which makes single times look coarser
//! than they are, and some instruments keep the number of digits, not that of decimals, so that times
//! grow coarser as they grow.

/// Rows over which the finest writing is that of all: one in ten ends with a zero, so that all of
/// them do by chance no more often than once in 10³².
const SAME: u32 = 32;

/// Follows the writing of a column of times.
#[derive(Debug, Clone)]
pub(crate) struct Rounding {
    /// What the last time is rounded to.
    pub now: f64,
    /// Finest last digit of the block of rows before and of this one.
    finest: [f64; 2],
    /// Power of ten above all written digits as a whole number, of the same blocks.
    above: [f64; 2],
    age: u32,
    /// Greatest power of ten not above the time.
    decade: f64,
}

impl Default for Rounding {
    fn default() -> Self {
        Self {
            now: 0.0,
            finest: [f64::INFINITY; 2],
            above: [1.0; 2],
            age: 0,
            decade: 1.0,
        }
    }
}

impl Rounding {
    /// What this time is rounded to, given the value of its last written digit.
    pub fn push(&mut self, time: f64, last_digit: f64) -> f64 {
        let size = time.abs();
        self.finest[1] = self.finest[1].min(last_digit);
        // A little more, for the arithmetic: 0.1 / 0.000001 may be less than 100,000.
        let digits = size / last_digit * (1.0 + 1e-9);
        while digits >= self.above[1] && self.above[1] < 1e20 {
            self.above[1] *= 10.0;
        }
        self.age += 1;
        if self.age == SAME {
            self.finest = [self.finest[1], f64::INFINITY];
            self.above = [self.above[1], 1.0];
            self.age = 0;
        }
        while size >= 10.0 * self.decade && self.decade < 1e20 {
            self.decade *= 10.0;
        }
        while size < self.decade && self.decade > 1e-20 {
            self.decade /= 10.0;
        }
        let by_decimals = self.finest[0].min(self.finest[1]);
        let by_digits = 10.0 * self.decade / self.above[0].max(self.above[1]);
        // Zero has no digits to count.
        self.now = if size > 0.0 {
            by_decimals.max(by_digits)
        } else {
            by_decimals
        };
        self.now
    }
}
