//! Complete engine cycles as the instants of equally spaced crank angles.

use super::Rotation;
use crate::snapshot::Sync;
use crate::units::SampleTime;

/// Which cycle it is: those of one count follow each other, those of different counts do not compare.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct CycleKey {
    adoption: u64,
    /// Whether the cycle begins at the firing TDC of cylinder 1; otherwise at its firing or its exchange TDC.
    pub is_known: bool,
    number: i64,
}

impl CycleKey {
    /// Whether both stand on one count of teeth and one knowledge of the cycle.
    pub fn compares(self, other: Self) -> bool {
        self.adoption == other.adoption && self.is_known == other.is_known
    }

    /// Number of the count of teeth.
    pub fn count(self) -> u64 {
        self.adoption
    }

    /// Whether this one came right after `other`.
    pub fn follows(self, other: Self) -> bool {
        self.compares(other) && self.number == other.number + 1
    }
}

/// A complete cycle.
#[derive(Debug, Clone)]
pub(crate) struct WholeCycle {
    pub key: CycleKey,
    /// Instants of the angles -step, 0, step ... 720, 720 + step.
    pub times: Vec<SampleTime>,
}

impl Rotation {
    /// The complete cycles among the last six that came after `after`, oldest first, each cut into `parts` equal parts.
    /// Instants are interpolated between teeth as everywhere else.
    pub(crate) fn whole_cycles(&self, parts: u16, after: Option<CycleKey>) -> Vec<WholeCycle> {
        let teeth = self.crank.teeth();
        let (Some(first), Some(last)) = (teeth.first(), teeth.last()) else {
            return Vec::new();
        };
        if !matches!(self.sync(), Sync::Revolution | Sync::Cycle) {
            return Vec::new();
        }
        let offset = self.offset();
        let key = |number: i64| CycleKey {
            adoption: self.crank.adoptions(),
            is_known: offset.is_some(),
            number,
        };
        let offset = offset.unwrap_or(0.0);
        let step = 720.0 / f64::from(parts);
        let mut number = whole(((first.angle + offset + step) / 720.0).ceil());
        if let Some(after) = after.filter(|a| a.compares(key(0))) {
            number = number.max(after.number + 1);
        }
        let mut cycles = Vec::new();
        loop {
            let start = number as f64 * 720.0 - offset;
            if start + 720.0 + step > last.angle {
                return cycles;
            }
            let times: Option<Vec<SampleTime>> = (0..parts + 3)
                .map(|k| {
                    let angle = start + (f64::from(k) - 1.0) * step;
                    teeth.time_at(angle).map(SampleTime)
                })
                .collect();
            if let Some(times) = times {
                cycles.push(WholeCycle {
                    key: key(number),
                    times,
                });
            }
            number += 1;
        }
    }
}

#[allow(
    clippy::cast_possible_truncation,
    reason = "a count of engine cycles is far below 2^53"
)]
fn whole(x: f64) -> i64 {
    x as i64
}
