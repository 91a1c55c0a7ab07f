//! Mains hum in the means of slices, which come 200 times a second: a lead or a ground that hangs in the air picks it up.

use std::f64::consts::{PI, TAU};

/// Slices a second.
const SLICES: f64 = 200.0;
/// Slices after which both 50 and 60 Hz have turned a whole number of times.
const WHOLE: usize = 20;
/// Mains frequencies (IEC 60038).
const MAINS: [f64; 2] = [50.0, 60.0];

/// Mains hum.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Hum {
    /// Its frequency.
    pub hertz: f64,
    /// Amplitude, in the unit of the means.
    pub volts: f64,
    /// Share of all that moves in the means which it makes up, 0 to 1.
    pub share: f64,
    /// In phase and out of phase with a cosine that begins with the means.
    pub phasor: [f64; 2],
}

impl Hum {
    /// The stronger of 50 and 60 Hz in the newest of these means; `None` when they are too few.
    pub fn of(means: &[f64]) -> Option<Self> {
        let whole = means.len() - means.len() % WHOLE;
        let means = &means[means.len() - whole..];
        if means.is_empty() {
            return None;
        }
        let n = whole as f64;
        let mean = means.iter().sum::<f64>() / n;
        let power = means.iter().map(|m| (m - mean).powi(2)).sum::<f64>() / n;
        // Both frequencies repeat after that many slices, so that like slices are added up first.
        let mut folded = [0.0; WHOLE];
        for part in means.chunks_exact(WHOLE) {
            for (sum, m) in folded.iter_mut().zip(part) {
                *sum += m - mean;
            }
        }
        let at = |hertz: f64| {
            let turn = TAU * hertz / SLICES;
            let (re, im) = (folded.iter().zip(0u32..)).fold((0.0, 0.0), |(re, im), (m, i)| {
                let (sin, cos) = (turn * f64::from(i)).sin_cos();
                (re + m * cos, im + m * sin)
            });
            // A slice is the mean over its length, which shrinks a sine to sin(x)/x.
            let x = PI * hertz / SLICES;
            let grow = 2.0 / n * x / x.sin();
            let phasor = [re * grow, im * grow];
            let volts = phasor[0].hypot(phasor[1]);
            let seen = 2.0 / n * re.hypot(im);
            Self {
                hertz,
                volts,
                share: if power > 0.0 {
                    0.5 * seen * seen / power
                } else {
                    0.0
                },
                phasor,
            }
        };
        let [a, b] = MAINS.map(at);
        Some(if a.volts >= b.volts { a } else { b })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Means over slices of a sine of 1.5 V, from its integral.
    fn means(hertz: f64, count: u32) -> Vec<f64> {
        let w = TAU * hertz;
        (0..count)
            .map(|i| {
                let (a, b) = (f64::from(i) / SLICES, f64::from(i + 1) / SLICES);
                4.0 + 1.5 * ((w * a).cos() - (w * b).cos()) / (w * (b - a))
            })
            .collect()
    }

    #[test]
    fn amplitude_and_frequency_of_hum_are_found_and_a_pulse_train_is_none() {
        for hertz in [50.0, 60.0] {
            for count in [20, 47, 100, 200] {
                let hum = Hum::of(&means(hertz, count)).expect("enough");
                assert!((hum.hertz - hertz).abs() < 1e-9, "{hum:?}");
                assert!((hum.volts - 1.5).abs() < 1e-6, "{hum:?}");
                assert!(hum.share > 0.999, "{hum:?}");
            }
        }
        assert!(Hum::of(&means(50.0, 19)).is_none());
        let other = Hum::of(&means(37.0, 200)).expect("enough");
        assert!(other.share < 0.1, "{other:?}");
    }
}
