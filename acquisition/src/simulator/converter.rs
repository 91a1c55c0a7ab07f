//! The inputs of the simulated scope: range, resolution, noise, clipping, quantisation.

#![allow(
    clippy::cast_possible_truncation,
    reason = "a clamped, rounded code of at most 16 bits is what a converter gives"
)]

use crate::block::ChannelInfo;
use rand::Rng;
use rand_distr::{Distribution, StandardNormal};

/// Resolution of every input.
const BITS: u8 = 14;

/// One analogue input.
#[derive(Debug, Clone)]
pub(super) struct Converter {
    name: &'static str,
    /// Full scale on either side, volts.
    range: f64,
    /// Noise, volts rms.
    noise: f64,
    scale: f64,
}

/// Ranges and noise of the eight inputs (a plausible workshop instrument, of no maker).
const INPUTS: [(&str, f64, f64); 8] = [
    ("IN 1", 100.0, 0.030),
    ("IN 2", 10.0, 0.010),
    ("IN 3", 10.0, 0.010),
    ("IN 4", 80.0, 0.030),
    ("IN 5", 80.0, 0.030),
    ("IN 6", 20.0, 0.008),
    ("IN 7", 5.0, 0.002),
    ("IN 8", 5.0, 0.002),
];

impl Converter {
    /// The eight inputs with a multiple of their usual noise.
    pub fn inputs(noise: f64) -> [Self; 8] {
        INPUTS.map(|(name, range, rms)| Self {
            name,
            range,
            noise: rms * noise,
            scale: 2.0 * range / f64::from(1u32 << BITS),
        })
    }

    /// Sets another range, full scale on either side in volts; resolution and noise go with it.
    pub fn set_range(&mut self, volts: f64) {
        self.noise *= volts / self.range;
        self.range = volts;
        self.scale = 2.0 * volts / f64::from(1u32 << BITS);
    }

    pub fn info(&self) -> ChannelInfo {
        ChannelInfo {
            name: self.name.to_owned(),
            unit: "V".to_owned(),
            scale: self.scale,
            offset: 0.0,
            bits: BITS,
            low: -self.range,
            high: self.range - self.scale,
        }
    }

    /// The code for a voltage.
    pub fn convert(&self, volts: f64, rng: &mut impl Rng) -> i16 {
        let noise: f64 = StandardNormal.sample(rng);
        let most = f64::from((1i32 << (BITS - 1)) - 1);
        let code = (volts + noise * self.noise) / self.scale;
        // To the nearest whole number; the cast cuts off what is behind the point.
        (code + 0.5_f64.copysign(code)).clamp(-most - 1.0, most) as i16
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::SeedableRng;

    #[test]
    fn codes_clip_at_the_ends_and_scale_back() {
        let mut rng = rand_pcg::Pcg64Mcg::seed_from_u64(1);
        let quiet = &Converter::inputs(0.0)[3];
        assert_eq!(quiet.convert(500.0, &mut rng), 8191);
        assert_eq!(quiet.convert(-500.0, &mut rng), -8192);
        let code = quiet.convert(13.8, &mut rng);
        let info = quiet.info();
        assert!((f64::from(code) * info.scale + info.offset - 13.8).abs() <= info.scale / 2.0);
    }

    /// Quantisation alone has an rms of LSB / sqrt(12).
    #[test]
    fn noise_has_the_stated_rms() {
        let mut rng = rand_pcg::Pcg64Mcg::seed_from_u64(2);
        let input = &Converter::inputs(1.0)[0];
        let scale = input.info().scale;
        let n = 20_000;
        let sum: f64 = (0..n)
            .map(|_| (f64::from(input.convert(1.0, &mut rng)) * scale - 1.0).powi(2))
            .sum();
        let expected = (0.03_f64.powi(2) + scale * scale / 12.0).sqrt();
        assert!(((sum / f64::from(n)).sqrt() - expected).abs() < 0.02 * expected);
    }
}
