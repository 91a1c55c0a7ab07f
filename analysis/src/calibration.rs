//! From counts to values at the probe tip: the device says how counts become volts at its input,
//! the lead's factor says how those become the value where the probe touches.

use crate::lead::Lead;

/// What the device says of one input. Value at the input = `raw * scale + offset`, in `unit`.
#[derive(Debug, Clone, PartialEq)]
pub struct Input {
    /// Device input, counted from 1 as printed at the socket.
    pub number: usize,
    /// Units per count, positive.
    pub scale: f64,
    /// Value at count zero.
    pub offset: f64,
    /// Lowest value the input can measure.
    pub low: f64,
    /// Highest value the input can measure.
    pub high: f64,
    /// Unit at the input: "V".
    pub unit: String,
}

/// The straight line from counts to the value at the probe tip, and its ends.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Calibration {
    scale: f64,
    offset: f64,
    lowest: i16,
    highest: i16,
}

impl Calibration {
    /// The line of `lead` on `input`; `None` when scale or factor is zero or not finite.
    pub fn new(input: &Input, lead: &Lead) -> Option<Self> {
        let usable = |x: f64| x.is_finite() && x.abs() > 0.0;
        if !usable(input.scale) || !usable(lead.factor) || !input.offset.is_finite() {
            return None;
        }
        let raw = |value: f64| counts((value - input.offset) / input.scale);
        let (a, b) = (raw(input.low), raw(input.high));
        Some(Self {
            scale: input.scale * lead.factor,
            offset: input.offset * lead.factor,
            lowest: a.min(b),
            highest: a.max(b),
        })
    }

    /// Value at the tip of `raw` counts; fractions of a count occur in means.
    pub fn value(&self, raw: f64) -> f64 {
        raw * self.scale + self.offset
    }

    /// A difference of values at the tip for a difference of counts.
    pub fn difference(&self, raw: f64) -> f64 {
        raw * self.scale
    }

    /// Counts that stand for `value` at the tip, at the nearer end when out of range.
    pub fn raw(&self, value: f64) -> i16 {
        counts((value - self.offset) / self.scale).clamp(self.lowest, self.highest)
    }

    /// Counts in a difference of `value` at the tip, never negative.
    pub fn span(&self, value: f64) -> f64 {
        (value / self.scale).abs()
    }

    /// Lowest and highest counts the input delivers.
    pub fn ends(&self) -> (i16, i16) {
        (self.lowest, self.highest)
    }
}

#[allow(
    clippy::cast_possible_truncation,
    reason = "clamped to the range of i16 first; a float cast saturates anyway"
)]
fn counts(x: f64) -> i16 {
    x.round().clamp(f64::from(i16::MIN), f64::from(i16::MAX)) as i16
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::lead::Role;

    #[test]
    fn a_ten_to_one_probe_on_a_five_volt_input() {
        let input = Input {
            number: 1,
            scale: 0.005,
            offset: 0.1,
            low: -5.0,
            high: 5.0,
            unit: "V".into(),
        };
        let lead = Lead {
            input: 1,
            role: Role::Supply,
            place: String::new(),
            factor: 10.0,
        };
        let c = Calibration::new(&input, &lead).expect("usable");
        assert!((c.value(100.0) - 6.0).abs() < 1e-12);
        assert_eq!(c.raw(6.0), 100);
        assert_eq!(c.ends(), (-1020, 980));
        assert_eq!(c.raw(400.0), 980);
    }
}
