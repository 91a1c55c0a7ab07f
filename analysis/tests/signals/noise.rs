//! Numbers that look random and are the same every time.

/// A linear congruential generator (Knuth, MMIX).
#[derive(Debug, Clone)]
pub struct Noise(u64);

impl Noise {
    /// A sequence of its own for each `seed`.
    pub fn new(seed: u64) -> Self {
        Self(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1)
    }

    /// Even over [0, 1).
    pub fn even(&mut self) -> f64 {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// Mean 0, standard deviation 1: the sum of twelve even numbers less six, near enough to a bell curve.
    pub fn bell(&mut self) -> f64 {
        (0..12).map(|_| self.even()).sum::<f64>() - 6.0
    }
}
