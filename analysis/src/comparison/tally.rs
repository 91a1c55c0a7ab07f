//! Events that were counted over a time.

use super::Difference;
use crate::units::Seconds;
use statrs::distribution::{Binomial, DiscreteCDF};

/// How often something happened.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tally {
    /// Times.
    pub events: u64,
    /// Over which time it could have.
    pub over: Seconds,
}

impl Tally {
    /// Times a minute.
    pub fn per_minute(self) -> f64 {
        60.0 * as_number(self.events) / self.over.0
    }

    /// Standard uncertainty of that: the root of the count (Poisson), of half an event more so that none in a short time
    /// is not taken for never.
    pub fn uncertainty(self) -> f64 {
        60.0 * (as_number(self.events) + 0.5).sqrt() / self.over.0
    }

    /// The other less this one, times a minute. With equal rates the events of both fall into the times of each by their
    /// lengths: the exact conditional test of two Poisson rates (J. Przyborowski, H. Wilenski, "Homogeneity of results in
    /// testing samples from Poisson series", Biometrika 31 (1940) 313), two-sided by doubling the smaller tail.
    pub fn difference(&self, other: &Self) -> Difference {
        let all = self.events + other.events;
        let share = other.over.0 / (self.over.0 + other.over.0);
        let probability = match Binomial::new(share, all) {
            Ok(chance) if all > 0 => {
                let no_more = chance.cdf(other.events);
                let no_fewer = (other.events.checked_sub(1)).map_or(1.0, |k| chance.sf(k));
                (2.0 * f64::min(no_more, no_fewer)).min(1.0)
            }
            _ => 1.0,
        };
        let uncertainty = self.uncertainty().hypot(other.uncertainty());
        Difference {
            by: other.per_minute() - self.per_minute(),
            uncertainty,
            freedom: f64::INFINITY,
            // The normal distribution's 97.5 % point; the test above is the exact one.
            half_width: 1.96 * uncertainty,
            probability,
        }
    }
}

#[allow(
    clippy::cast_precision_loss,
    reason = "counts of events are far below 2^52"
)]
fn as_number(count: u64) -> f64 {
    count as f64
}
