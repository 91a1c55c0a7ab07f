//! How fast a phaser moves when it is driven hard.

/// Speeds that part the ranges in which rates are compared, rpm: oil pressure rises with speed up to about 2000 rpm
/// (common practice, from memory).
const PARTS: [f64; 2] = [1200.0, 2200.0];
/// Motion without which a drive teaches no rate, crank degrees.
const LEAST: f64 = 4.0;
/// Rate that is motion at all, crank degrees per second.
const MOVES: f64 = 4.0;
/// Weight of the newest drive.
const WEIGHT: f64 = 0.4;

/// Rates of one direction.
#[derive(Debug, Clone, Default)]
pub(crate) struct Rates {
    ranges: [Option<f64>; 3],
    latest: Option<(f64, f64)>,
    full_for: f64,
    best: f64,
    degrees: f64,
    moving: f64,
    range: usize,
}

impl Rates {
    fn range(rpm: f64) -> usize {
        PARTS.iter().filter(|&&p| rpm >= p).count()
    }

    /// One look of `dt` seconds: whether it is driven hard now, and the rate along the drive with its window in seconds.
    pub fn look(&mut self, now: f64, dt: f64, hard: bool, rate: f64, window: f64, rpm: f64) {
        let range = Self::range(rpm);
        if !hard || range != self.range {
            self.finish(now);
            self.range = range;
            if !hard {
                return;
            }
        }
        self.full_for += dt;
        if rate >= MOVES {
            self.degrees += rate * dt;
            self.moving += dt;
            if self.full_for >= window {
                self.best = self.best.max(rate);
            }
        }
    }

    fn finish(&mut self, now: f64) {
        if self.degrees >= LEAST && self.best > 0.0 {
            // Twice the mean at most: a jump of the timing within the drive is no rate.
            let best = self.best.min(2.0 * self.degrees / self.moving.max(0.1));
            let slot = &mut self.ranges[self.range];
            let next = slot.map_or(best, |r| r + WEIGHT * (best - r));
            *slot = Some(next);
            self.latest = Some((next, now));
        }
        self.discard();
    }

    /// The drive under way was not healthy, or its phase not known: nothing is learnt from it.
    pub fn discard(&mut self) {
        (self.full_for, self.best) = (0.0, 0.0);
        (self.degrees, self.moving) = (0.0, 0.0);
    }

    /// The rate learnt at a comparable speed.
    pub fn at(&self, rpm: f64) -> Option<f64> {
        self.ranges[Self::range(rpm)]
    }

    /// The rate learnt last, and when.
    pub fn latest(&self) -> Option<(f64, f64)> {
        self.latest
    }

    /// The greatest rate learnt.
    pub fn greatest(&self) -> Option<f64> {
        self.ranges.iter().flatten().copied().reduce(f64::max)
    }
}
