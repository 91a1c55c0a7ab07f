//! How the crank turns: angle as a formula of time, and the time at which an angle is passed.

/// Speed from `rpm` on, changing by `rpm_per_second`, with a ripple of `ripple` of the first speed at `order` times a turn.
#[derive(Debug, Clone, Copy)]
pub struct Motion {
    pub rpm: f64,
    pub rpm_per_second: f64,
    pub ripple: f64,
    pub order: f64,
}

/// Steady at `rpm`.
pub const fn steady(rpm: f64) -> Motion {
    Motion {
        rpm,
        rpm_per_second: 0.0,
        ripple: 0.0,
        order: 2.0,
    }
}

impl Motion {
    /// Degrees turned after `t` seconds. The ripple is one in time, of the period it has at the first speed.
    pub fn angle(&self, t: f64) -> f64 {
        let even = 6.0 * (self.rpm * t + 0.5 * self.rpm_per_second * t * t);
        let w = self.order * self.rpm / 60.0 * std::f64::consts::TAU;
        even + 6.0 * self.rpm * self.ripple * (1.0 - (w * t).cos()) / w
    }

    /// Speed at `t`.
    pub fn rpm_at(&self, t: f64) -> f64 {
        let w = self.order * self.rpm / 60.0 * std::f64::consts::TAU;
        self.rpm * (1.0 + self.ripple * (w * t).sin()) + self.rpm_per_second * t
    }

    /// When `angle` is passed, by halving; the crank never turns back here.
    pub fn time(&self, angle: f64, longest: f64) -> f64 {
        let (mut a, mut b) = (0.0, longest);
        for _ in 0..60 {
            let middle = 0.5 * (a + b);
            if self.angle(middle) < angle {
                a = middle;
            } else {
                b = middle;
            }
        }
        0.5 * (a + b)
    }
}
