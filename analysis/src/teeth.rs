//! Teeth of known angle, and the angle between them.

use std::collections::VecDeque;

/// Revolutions kept: six cycles, enough for a cam edge that waits and for crank-locked views.
const KEPT_DEGREES: f64 = 12.0 * 360.0;

/// A tooth: when, in samples, and where, in degrees that go on counting over the revolutions.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Tooth {
    pub at: f64,
    pub angle: f64,
}

/// Consecutive teeth, oldest first; both fields strictly increase.
#[derive(Debug, Clone, Default)]
pub(crate) struct Teeth {
    list: VecDeque<Tooth>,
}

impl Teeth {
    pub fn clear(&mut self) {
        self.list.clear();
    }

    pub fn push(&mut self, tooth: Tooth) {
        self.list.push_back(tooth);
    }

    /// Forgets what is older than the views need.
    pub fn trim(&mut self) {
        let Some(last) = self.list.back().copied() else {
            return;
        };
        while self
            .list
            .front()
            .is_some_and(|t| t.angle < last.angle - KEPT_DEGREES)
        {
            let _ = self.list.pop_front();
        }
    }

    /// Takes back the teeth from `angle` on.
    pub fn retract(&mut self, angle: f64) {
        while self.list.back().is_some_and(|t| t.angle >= angle) {
            let _ = self.list.pop_back();
        }
    }

    pub fn first(&self) -> Option<Tooth> {
        self.list.front().copied()
    }

    pub fn last(&self) -> Option<Tooth> {
        self.list.back().copied()
    }

    /// The last tooth at or before this time.
    pub fn before(&self, at: f64) -> Option<Tooth> {
        let after = self.list.partition_point(|t| t.at <= at);
        after.checked_sub(1).map(|i| self.list[i])
    }

    /// The tooth at this angle, if there is one.
    pub fn at_angle(&self, angle: f64) -> Option<Tooth> {
        // A thousandth of a degree is far below any pitch and far above rounding.
        let i = self.list.partition_point(|t| t.angle < angle - 1e-3);
        self.list.get(i).copied().filter(|t| t.angle < angle + 1e-3)
    }

    /// Whether two teeth after this time are known, as the interpolation wants.
    pub fn surround(&self, at: f64) -> bool {
        self.list.len() >= 2 && self.list[self.list.len() - 2].at > at
    }

    /// Angle at a time between two teeth.
    pub fn angle_at(&self, at: f64) -> Option<f64> {
        let after = self.list.partition_point(|t| t.at <= at);
        self.interpolate(after, at, |t| (t.at, t.angle))
    }

    /// Time at which an angle between two teeth is passed.
    pub fn time_at(&self, angle: f64) -> Option<f64> {
        let after = self.list.partition_point(|t| t.angle <= angle);
        self.interpolate(after, angle, |t| (t.angle, t.at))
    }

    /// Lagrange's polynomial through the two teeth on either side. Across a gap of 18 degrees a
    /// straight line would be wrong by the acceleration, up to degrees while cranking; the cubic
    /// is wrong only by the fourth derivative.
    fn interpolate(&self, after: usize, x: f64, of: impl Fn(&Tooth) -> (f64, f64)) -> Option<f64> {
        if after == 0 || (after == self.list.len() && of(self.list.back()?).0 < x) {
            return None;
        }
        let from = after.saturating_sub(2);
        let to = (after + 2).min(self.list.len());
        let mut sum = 0.0;
        for i in from..to {
            let (xi, yi) = of(&self.list[i]);
            let mut weight = 1.0;
            for j in (from..to).filter(|&j| j != i) {
                let xj = of(&self.list[j]).0;
                weight *= (x - xj) / (xi - xj);
            }
            sum += weight * yi;
        }
        Some(sum)
    }
}
