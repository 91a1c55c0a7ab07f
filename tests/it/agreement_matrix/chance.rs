//! Draws that depend on nothing but names and seeds, so that a new row or figure changes no other row.

use rand::{Rng, SeedableRng};
use rand_pcg::Pcg64Mcg;

/// A source of draws.
pub struct Chance(Pcg64Mcg);

impl Chance {
    /// The source of that name and seed (FNV-1a of the name).
    pub fn new(name: &str, seed: u64) -> Self {
        let hash = name.bytes().fold(0xcbf2_9ce4_8422_2325_u64, |h, b| {
            (h ^ u64::from(b)).wrapping_mul(0x0100_0000_01b3)
        });
        let mut source = Pcg64Mcg::seed_from_u64(hash ^ seed.wrapping_mul(0x9e37_79b9_7f4a_7c15));
        let _ = source.next_u64();
        Self(source)
    }

    /// From 0 to below 1.
    pub fn unit(&mut self) -> f64 {
        (self.0.next_u64() >> 11) as f64 / (1u64 << 53) as f64
    }

    /// Evenly within a range.
    pub fn within(&mut self, [low, high]: [f64; 2]) -> f64 {
        low + (high - low) * self.unit()
    }

    /// One of several.
    pub fn pick<T: Clone>(&mut self, among: &[T]) -> T {
        let n = self.0.next_u64() % among.len() as u64;
        among[usize::try_from(n).expect("a place in the slice")].clone()
    }

    /// Whether something comes to pass that does so in this share of all cases.
    pub fn happens(&mut self, share: f64) -> bool {
        self.unit() < share
    }

    /// Plus or minus one.
    pub fn sign(&mut self) -> f64 {
        if self.happens(0.5) { 1.0 } else { -1.0 }
    }
}
