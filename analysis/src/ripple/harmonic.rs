//! Harmonics of crank speed over the engine cycle.
//!
//! Orders are counted per crank revolution, so the engine cycle gives 0.5, 1, 1.5 ... The lowest of
//! them tell imbalance between cylinders and which one is at fault (Taraza and Henein, SAE papers on
//! diagnosis from the lowest harmonic orders of crank speed; from their abstracts); the order of
//! firing and the mean speed tell the mean torque (Franco et al., Mechanical Systems and Signal
//! Processing 22 (2008) 338-361; abstract). With equal cylinders evenly spaced every order that is no
//! multiple of the firing order vanishes (from memory; follows from the sum over the cylinders).

use crate::units::{CrankDegrees, Rpm};
use std::f64::consts::TAU;

/// One harmonic, mean over some cycles.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Harmonic {
    /// Periods per crank revolution: 0.5, 1, 1.5 ...
    pub order: f64,
    /// Amplitude of the mean over the cycles.
    pub amplitude: Rpm,
    /// Standard error of that amplitude, from the scatter between the cycles.
    pub error: Rpm,
    /// First angle after the cycle's beginning at which it is greatest, from 0 to 360/order.
    pub peak: CrankDegrees,
}

/// Harmonics of order 0.5, 1 ... 0.5 × `most` of speed sampled at equal angles over whole cycles; each entry of
/// `cycles` is one cycle from 0 to before 720 degrees, in rpm, all of one length.
/// Fourier sums in crank angle: amplitude = 2/N |Σ v(k) exp(-2πi·m·k/N)|.
pub fn harmonics<C: AsRef<[f64]>>(cycles: &[C], most: usize) -> Vec<Harmonic> {
    (1..=most)
        .filter_map(|m| {
            let parts: Vec<[f64; 2]> = cycles.iter().map(|c| part(c.as_ref(), m)).collect();
            let n = parts.len() as f64;
            let mean = [0, 1].map(|x| parts.iter().map(|p| p[x]).sum::<f64>() / n);
            let squares: f64 = parts
                .iter()
                .map(|p| (p[0] - mean[0]).powi(2) + (p[1] - mean[1]).powi(2))
                .sum();
            // Half of the scatter lies along the mean, half across it.
            let error = (squares / 2.0 / (n - 1.0).max(1.0) / n).sqrt();
            let order = m as f64 / 2.0;
            (n > 0.0).then(|| Harmonic {
                order,
                amplitude: Rpm(mean[0].hypot(mean[1])),
                error: Rpm(error),
                peak: CrankDegrees(mean[1].atan2(mean[0]).rem_euclid(TAU).to_degrees() / order),
            })
        })
        .collect()
}

/// Cosine and sine part of harmonic `m` of the cycle.
fn part(values: &[f64], m: usize) -> [f64; 2] {
    let n = values.len() as f64;
    // The pointer is turned step by step: a sine for each value would be most of the pipeline's time at idle.
    // After a thousand steps it is off by some 1e-13.
    let (sin, cos) = (TAU * m as f64 / n).sin_cos();
    let (mut x, mut y) = (1.0, 0.0);
    let mut sum = [0.0; 2];
    for v in values {
        sum[0] += v * x;
        sum[1] += v * y;
        (x, y) = (x * cos - y * sin, x * sin + y * cos);
    }
    sum.map(|s| 2.0 * s / n)
}
