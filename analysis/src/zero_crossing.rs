//! Zero crossings of a variable-reluctance sensor, whose amplitude grows with speed.

use crate::edge::Edge;
use crate::engine::EdgeKind;
use crate::units::Hertz;

/// Finds the crossings that mark tooth centres in consecutive samples.
#[derive(Debug, Clone)]
pub struct ZeroCrossing {
    active: EdgeKind,
    floor: f32,
    rate: f64,
}

impl ZeroCrossing {
    /// `active` is the direction of the crossing to find; `floor` the smallest peak, in counts from
    /// the zero level, that can be a tooth: below it the lead is quiet.
    pub fn new(active: EdgeKind, floor: f32, rate: Hertz) -> Self {
        Self {
            active,
            floor: floor.max(1.0),
            rate: rate.0,
        }
    }

    /// Appends the crossings in `samples`, the first of which has index `first`.
    /// Consecutive calls must follow each other without a gap; after a gap call [`Self::reset`].
    pub fn push(&mut self, first: u64, samples: &[i16], out: &mut Vec<Edge>) {
        let _ = (first, samples, out);
    }

    /// Forgets everything, as after a gap.
    pub fn reset(&mut self) {
        *self = Self::new(self.active, self.floor, Hertz(self.rate));
    }
}
