//! Page's cumulative sum: a sequential test that adds up what a value has over its target and forgets what it has under it.
//!
//! Tabular form, S⁺ = max(0, S⁺ + x − μ₀ − K) and S⁻ = max(0, S⁻ + μ₀ − K − x), alarm above H
//! (E. S. Page, Biometrika 41, 1954; Montgomery, Introduction to Statistical Quality Control, section 9.1).
//! The change is dated by the last time that its sum was zero.
//!
//! H in standard deviations says how long it takes until a false alarm: with K = 0.5, a one-sided sum has one in about
//! 336 values with H = 4 and in about 930 with H = 5 (NIST/SEMATECH e-Handbook 6.3.2.3), see [`run_length`].

/// A one-sided cumulative sum.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sum {
    value: f64,
    since: Option<f64>,
}

impl Default for Sum {
    fn default() -> Self {
        Self::new()
    }
}

impl Sum {
    /// An empty sum.
    pub const fn new() -> Self {
        Self {
            value: 0.0,
            since: None,
        }
    }

    /// Adds `step` at `at`; below zero the sum stays at zero.
    pub fn add(&mut self, at: f64, step: f64) {
        let next = self.value + step;
        if next <= 0.0 {
            *self = Self {
                value: 0.0,
                since: Some(at),
            };
        } else {
            let _ = self.since.get_or_insert(at);
            self.value = next;
        }
    }

    /// Keeps the sum from growing beyond `most`, so that it can fall again in good time.
    pub fn cap(&mut self, most: f64) {
        self.value = self.value.min(most);
    }

    /// The sum.
    pub fn value(&self) -> f64 {
        self.value
    }

    /// When it was last zero; the first addition if it never was.
    pub fn since(&self) -> Option<f64> {
        self.since
    }

    /// Back to zero, with nothing seen.
    pub fn reset(&mut self) {
        *self = Self::new();
    }
}

/// Which way the mean has moved.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shift {
    /// Upwards.
    Up,
    /// Downwards.
    Down,
}

/// The two-sided test of single values against a target.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cusum {
    target: f64,
    allowance: f64,
    limit: f64,
    seen: u32,
    high: Sum,
    low: Sum,
}

impl Cusum {
    /// A test against `target` with allowance K and limit H, all in the unit of the values.
    pub fn new(target: f64, allowance: f64, limit: f64) -> Self {
        let mut start = Sum::new();
        start.add(0.0, 0.0);
        Self {
            target,
            allowance,
            limit,
            seen: 0,
            high: start,
            low: start,
        }
    }

    /// Takes the next value; the shift while there is one.
    pub fn push(&mut self, value: f64) -> Option<Shift> {
        self.seen = self.seen.saturating_add(1);
        let at = f64::from(self.seen);
        self.high.add(at, value - self.target - self.allowance);
        self.low.add(at, self.target - self.allowance - value);
        if self.high.value > self.limit {
            Some(Shift::Up)
        } else if self.low.value > self.limit {
            Some(Shift::Down)
        } else {
            None
        }
    }

    /// S⁺ and, in values seen since the beginning, when it was last zero.
    pub fn high(&self) -> Sum {
        self.high
    }

    /// S⁻ and when it was last zero.
    pub fn low(&self) -> Sum {
        self.low
    }

    /// Begins anew, as after an alarm that was dealt with.
    pub fn reset(&mut self) {
        *self = Self::new(self.target, self.allowance, self.limit);
    }
}

/// How many values a one-sided test takes on average until its alarm, by D. Siegmund's approximation
/// (Sequential Analysis, 1985; Montgomery, section 9.1.2): `allowance`, `limit` and the `shift` of the mean
/// in standard deviations of independent values. Two sides together take 1 / (1/up + 1/down).
pub fn run_length(allowance: f64, limit: f64, shift: f64) -> f64 {
    let drift = shift - allowance;
    let height = limit + 1.166;
    if drift.abs() < 1e-9 {
        height * height
    } else {
        let x = 2.0 * drift * height;
        ((-x).exp() + x - 1.0) / (2.0 * drift * drift)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn alarm(test: &mut Cusum, values: &[f64]) -> Option<(usize, f64, f64)> {
        values.iter().zip(1..).find_map(|(&x, n)| {
            let shift = test.push(x)?;
            let sum = match shift {
                Shift::Up => test.high(),
                Shift::Down => test.low(),
            };
            Some((n, sum.value(), sum.since().unwrap_or(-1.0)))
        })
    }

    /// Montgomery, Introduction to Statistical Quality Control, table 9.1 and example 9.1:
    /// first alarm at sample 29 with 5.28; seven positive sums in a row date the shift to sample 22.
    #[test]
    fn montgomery_example_9_1() {
        let values = [
            9.45, 7.99, 9.29, 11.66, 12.16, 10.18, 8.04, 11.46, 9.20, 10.34, 9.03, 11.47, 10.51,
            9.40, 10.08, 9.37, 10.62, 10.31, 8.52, 10.84, 10.90, 9.33, 12.29, 11.50, 10.60, 11.08,
            10.38, 11.62, 11.31, 10.52,
        ];
        let mut test = Cusum::new(10.0, 0.5, 5.0);
        let (n, sum, since) = alarm(&mut test, &values).expect("an alarm");
        assert_eq!(n, 29);
        assert!((sum - 5.28).abs() < 0.005, "{sum}");
        assert!((since - 22.0).abs() < 1e-9, "{since}");
        test.reset();
        for x in &values[..3] {
            assert_eq!(test.push(*x), None);
        }
        assert!((test.low().value() - 1.77).abs() < 0.005);
    }

    /// NIST/SEMATECH e-Handbook of Statistical Methods 6.3.2.3: first alarm at 14 with 4.94 (data from memory,
    /// arithmetic made again).
    #[test]
    fn nist_handbook_6_3_2_3() {
        let values = [
            324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225,
            324.600, 324.625, 325.150, 328.325, 327.250, 327.825, 328.500, 326.675, 327.775,
            326.875, 328.350,
        ];
        let mut test = Cusum::new(325.0, 0.3175, 4.1959);
        let (n, sum, since) = alarm(&mut test, &values).expect("an alarm");
        assert_eq!(n, 14);
        assert!((sum - 4.94).abs() < 0.005, "{sum}");
        assert!((since - 12.0).abs() < 1e-9, "{since}");
    }

    /// The handbook's table of run lengths for K = 0.5 (from memory), and Montgomery's two-sided 465 for H = 5.
    #[test]
    fn run_lengths_of_the_published_tables() {
        for (limit, shift, published) in [
            (4.0, 0.0, 336.0),
            (5.0, 0.0, 930.0),
            (4.0, 1.0, 8.38),
            (5.0, 1.0, 10.4),
            (5.0, 0.5, 38.0),
            (4.0, 2.0, 3.34),
            (5.0, 2.0, 4.01),
        ] {
            let own = run_length(0.5, limit, shift);
            assert!(
                (own / published - 1.0).abs() < 0.04,
                "H {limit}, shift {shift}: {own} against {published}"
            );
        }
        let both = 0.5 * run_length(0.5, 5.0, 0.0);
        assert!((both / 465.0 - 1.0).abs() < 0.02, "{both}");
    }
}
