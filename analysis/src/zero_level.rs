//! The zero level of a variable-reluctance sensor: bias, offset and their wandering.
//!
//! The voltage of the coil is the rate of change of its flux (Faraday), and the flux is the same at every tooth centre.
//! The mean of the signal from one tooth centre to the next is therefore the offset, whatever the speed and the wheel.
//! While there are no teeth, a sliding mean takes its place.

/// Time constant of the sliding mean, seconds. Unseen teeth disturb it by amplitude times tooth period over pi times this:
/// 1/120 of the amplitude while cranking. A longer one takes longer to find a signal that has been moved.
const SLIDING: f64 = 0.25;
/// After teeth were lost the sliding mean follows faster at first, as if it rested on this many seconds.
const RESTART: f64 = 0.02;
/// Weight of the mean between two teeth.
const WEIGHT: f64 = 0.6;
/// A mean further than this from the level, as a part of the peak, is that of a disturbance unless the next is as far off.
const ASTRAY: f64 = 0.3;

/// Follows the level. Sums are exact: they are of whole samples.
#[derive(Debug, Clone)]
pub struct ZeroLevel {
    rate: f64,
    level: f64,
    /// Samples on which the sliding mean rests.
    seen: f64,
    /// Sum and number of the samples of the stride under way.
    fresh: (i64, f64),
    /// Sum and number of all samples before the piece at hand.
    total: (i64, f64),
    /// The same at the last tooth and at the crossing under way.
    tooth: Option<(i64, f64)>,
    here: (i64, f64),
    /// Whether teeth give the level.
    toothed: bool,
    /// Whether the last mean was far off.
    astray: bool,
    /// What the level moves by at the end of the stride.
    step: f64,
}

impl ZeroLevel {
    /// For `rate` samples a second.
    pub fn new(rate: f64) -> Self {
        Self {
            rate,
            level: 0.0,
            seen: 0.0,
            fresh: (0, 0.0),
            total: (0, 0.0),
            tooth: None,
            here: (0, 0.0),
            toothed: false,
            astray: false,
            step: 0.0,
        }
    }

    /// The level in counts, once there is one.
    #[allow(
        clippy::cast_possible_truncation,
        reason = "lies within the range of i16, to which f32 adds eight bits of fraction"
    )]
    pub fn level(&self) -> Option<f32> {
        (self.seen > 0.0).then_some(self.level as f32)
    }

    /// Takes the sum of the next `n` samples.
    pub fn take(&mut self, sum: i64, n: usize) {
        self.fresh.0 += sum;
        self.fresh.1 += n as f64;
        self.total.0 += sum;
        self.total.1 += n as f64;
    }

    /// There is a crossing after the samples `before` of the piece at hand.
    pub fn mark(&mut self, before: &[i16]) {
        self.here = (
            self.total.0 + crate::extremes::sum(before),
            self.total.1 + before.len() as f64,
        );
    }

    /// That crossing is a tooth; `peak` is the size of those before it.
    pub fn hear(&mut self, peak: f64) {
        if let Some((sum, n)) = self.tooth.replace(self.here)
            && self.here.1 > n
        {
            let mean = (self.here.0 - sum) as f64 / (self.here.1 - n);
            let off = mean - self.level;
            if off.abs() < ASTRAY * peak || self.astray {
                self.step = WEIGHT * off;
                self.astray = false;
            } else {
                self.astray = true;
            }
            self.toothed = true;
        }
    }

    /// At the end of a stride: the only place where the level changes.
    pub fn settle(&mut self) {
        let (sum, n) = std::mem::take(&mut self.fresh);
        if self.toothed || n <= 0.0 {
            self.level += std::mem::take(&mut self.step);
            return;
        }
        self.seen = (self.seen + n).min(SLIDING * self.rate);
        self.level += (sum as f64 - n * self.level) / self.seen.max(n);
    }

    /// No tooth has come for long: the level may have moved unseen.
    pub fn doubt(&mut self) {
        if self.toothed {
            self.toothed = false;
            self.seen = RESTART * self.rate;
        }
        self.tooth = None;
        self.step = 0.0;
    }

    /// Samples were lost: no sum is taken across.
    pub fn gap(&mut self) {
        self.fresh = (0, 0.0);
        self.tooth = None;
        self.step = 0.0;
    }
}
