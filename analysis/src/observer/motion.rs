//! How the phase moves and how much of that is noise.

use std::collections::VecDeque;

/// Shortest time over which a rate is measured, seconds.
const SHORT: f64 = 0.2;
/// How long phases are kept: three of the longest windows.
const KEPT: f64 = 1.2;
/// Smallest noise that is believed, crank degrees: a quantised edge of a coarse wheel.
const LEAST: f64 = 0.1;
/// Noise before any was seen, crank degrees: rough for a rolling phase, so that the first verdict is not rash.
const FIRST: f64 = 0.4;
/// Weight of one more look in the noise: about two seconds of looks.
const WEIGHT: f64 = 0.01;

/// Motion of one cam.
#[derive(Debug, Clone)]
pub(crate) struct Motion {
    recent: VecDeque<(f64, f64)>,
    variance: f64,
    rate: Option<f64>,
    window: f64,
    fresh: bool,
}

impl Motion {
    pub fn new() -> Self {
        Self {
            recent: VecDeque::new(),
            variance: FIRST * FIRST,
            rate: None,
            window: SHORT,
            fresh: false,
        }
    }

    /// Samples were lost: no rate across the gap.
    pub fn gap(&mut self) {
        self.recent.clear();
        self.rate = None;
    }

    pub fn look(&mut self, now: f64, x: f64, rpm: f64) {
        // A phase that has not changed by a bit is the same edges seen again.
        #[allow(
            clippy::float_cmp,
            reason = "a stored copy is compared with its source"
        )]
        let fresh = self.recent.back().is_none_or(|p| p.1 != x);
        self.fresh = fresh;
        self.recent.push_back((now, x));
        while self.recent.front().is_some_and(|p| now - p.0 > KEPT) {
            let _ = self.recent.pop_front();
        }
        self.window = SHORT.max(120.0 / rpm.max(300.0));
        let then = self.back(now - self.window);
        self.rate = then.map(|(t, before)| (x - before) / (now - t));
        if let (true, Some((_, a)), Some((_, b))) =
            (fresh, self.back(now - 2.0 * self.window), then)
        {
            // Steady motion has no second difference; the rolling means of two windows share no edge.
            let second = (x - 2.0 * b + a).abs().min(3.0 * self.noise());
            self.variance += WEIGHT * (second * second / 6.0 * 1.6 - self.variance);
        }
    }

    /// The newest look that is at least as old as `t`.
    fn back(&self, t: f64) -> Option<(f64, f64)> {
        self.recent.iter().rev().find(|p| p.0 <= t + 1e-6).copied()
    }

    /// Degrees per second over the last window.
    pub fn rate(&self) -> Option<f64> {
        self.rate
    }

    /// Where it was `ago` seconds before `now`, and how fast it was then; now, while less has been seen.
    pub fn earlier(&self, now: f64, ago: f64) -> (f64, f64) {
        let last = self.recent.back().copied().unwrap_or((now, 0.0));
        let (t, x) = self.back(now - ago).unwrap_or(last);
        let rate = self
            .back(t - self.window)
            .map_or(0.0, |(u, y)| (x - y) / (t - u).max(1e-3));
        (x, rate)
    }

    /// A step of the phase within one cam revolution, with a standstill of as long before it and after it: no phaser
    /// that is driven on stops so between its stops, but a jump of the timing does.
    pub fn jump(&self, now: f64, rpm: f64) -> Option<f64> {
        let turn = (120.0 / rpm.max(300.0) + 0.04).max(0.1);
        let [a, b, c, d] = [3.0, 2.0, 1.0, 0.0].map(|n| self.was(now, n * turn));
        let (a, b, c, d) = (a?, b?, c?, d?);
        let still = 1.0 + 3.0 * self.noise();
        ((b - a).abs() <= still && (d - c).abs() <= still).then_some(c - b)
    }

    /// The time over which the rate is measured, seconds.
    pub fn window(&self) -> f64 {
        self.window
    }

    /// Whether the last look brought a new phase.
    pub fn is_fresh(&self) -> bool {
        self.fresh
    }

    /// Standard deviation of the phase, crank degrees.
    pub fn noise(&self) -> f64 {
        self.variance.sqrt().clamp(LEAST, 3.0)
    }

    /// Where it was `ago` seconds before `now`.
    pub fn was(&self, now: f64, ago: f64) -> Option<f64> {
        self.back(now - ago).map(|p| p.1)
    }

    /// Least and greatest position in the last `seconds`; `None` while less has been seen.
    pub fn range(&self, now: f64, seconds: f64) -> Option<(f64, f64)> {
        let _ = self.back(now - seconds)?;
        let last = self
            .recent
            .iter()
            .rev()
            .take_while(|p| now - p.0 <= seconds + 1e-6);
        Some(last.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), p| {
            (a.min(p.1), b.max(p.1))
        }))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_step_between_two_standstills_is_a_jump_and_a_motion_is_not() {
        let largest = |course: fn(f64) -> f64| {
            let mut motion = Motion::new();
            let mut largest = 0.0_f64;
            for n in 0..200 {
                let t = f64::from(n) * 0.02;
                motion.look(t, course(t), 1200.0);
                largest = largest.min(motion.jump(t, 1200.0).unwrap_or(0.0));
            }
            largest
        };
        let jump = largest(|t| 20.0 - 17.0 * ((t - 2.0) / 0.1).clamp(0.0, 1.0));
        assert!((jump + 17.0).abs() < 1.0, "{jump}");
        let slope = largest(|t| 40.0 - 20.0 * (t - 2.0).clamp(0.0, 2.0));
        assert!(slope > -5.0, "{slope}");
    }

    #[test]
    fn noise_is_told_from_motion() {
        let mut motion = Motion::new();
        let mut random = 7_u32;
        for n in 0..1000 {
            let t = f64::from(n) * 0.02;
            random = random.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let noise = f64::from(random >> 8) / f64::from(1 << 24) - 0.5;
            motion.look(t, 30.0 * t + noise, 1200.0);
        }
        // Uniform over one degree: 1/√12.
        assert!((0.2..0.4).contains(&motion.noise()), "{}", motion.noise());
        let rate = motion.rate().expect("a rate");
        assert!((rate - 30.0).abs() < 8.0, "{rate}");
    }
}
