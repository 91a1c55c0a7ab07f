//! The speed of one engine cycle at equal crank angles.

use crate::rotation::whole_cycle::WholeCycle;
use crate::units::{Hertz, Rpm};

/// Parts of a cycle, 6 crank degrees each: the tooth pitch of 60-2, and a multiple of every common
/// number of cylinders.
pub(super) const PARTS: u16 = 120;
/// The same as a length.
pub(super) const LENGTH: usize = PARTS as usize;

/// Speed over one cycle.
#[derive(Debug, Clone)]
pub(super) struct Waveform {
    /// Mean speed.
    pub mean: Rpm,
    /// Speed in rpm at the angles 0, 6 ... 720.
    pub speed: Vec<f64>,
    /// Square of that: kinetic energy without the half and the inertia, which nobody knows.
    pub energy: Vec<f64>,
}

impl Waveform {
    /// From the instants of a cycle. Speed at an angle is the mean over one part on either side of it.
    pub fn new(cycle: &WholeCycle, rate: Hertz) -> Option<Self> {
        let times = &cycle.times;
        if times.len() != LENGTH + 3 {
            return None;
        }
        let degrees = 720.0 / f64::from(PARTS);
        let rpm = |degrees: f64, samples: f64| degrees * rate.0 / (6.0 * samples);
        let speed: Vec<f64> = times
            .windows(3)
            .map(|t| rpm(2.0 * degrees, t[2].0 - t[0].0))
            .collect();
        if speed.iter().any(|v| !v.is_finite() || *v <= 0.0) {
            return None;
        }
        Some(Self {
            mean: Rpm(rpm(720.0, times[LENGTH + 1].0 - times[1].0)),
            energy: speed.iter().map(|v| v * v).collect(),
            speed,
        })
    }

    /// Change of the energy from the beginning of the cycle to its end, as a part of its mean.
    pub fn drift(&self) -> f64 {
        let mean = self.energy.iter().sum::<f64>() / self.energy.len() as f64;
        (self.energy[LENGTH] - self.energy[0]) / mean
    }

    /// The energy without its drift, at 0 ... 714 degrees, so that it may be taken for periodic.
    pub fn level_energy(&self) -> Vec<f64> {
        level(&self.energy)
    }

    /// The speed without its drift.
    pub fn level_speed(&self) -> Vec<f64> {
        level(&self.speed)
    }
}

/// Takes out the straight line from the first value to the last, which is dropped.
fn level(values: &[f64]) -> Vec<f64> {
    let drift = (values[LENGTH] - values[0]) / f64::from(PARTS);
    let middle = drift * f64::from(PARTS) / 2.0;
    (values[..LENGTH].iter().enumerate())
        .map(|(k, v)| v - drift * k as f64 + middle)
        .collect()
}

/// Mean over the cylinders of a periodic curve, from each TDC to before the next.
pub(super) fn folded(curve: &[f64], cylinders: usize) -> Vec<f64> {
    let spacing = curve.len() / cylinders;
    (0..spacing)
        .map(|j| {
            let sum: f64 = (0..cylinders).map(|i| curve[i * spacing + j]).sum();
            sum / cylinders as f64
        })
        .collect()
}

/// Element by element mean of curves of one length.
pub(super) fn mean_curve<'a>(curves: impl Iterator<Item = &'a [f64]>) -> Vec<f64> {
    let mut sum: Vec<f64> = Vec::new();
    let mut n = 0.0;
    for curve in curves {
        sum.resize(curve.len(), 0.0);
        sum.iter_mut().zip(curve).for_each(|(s, v)| *s += v);
        n += 1.0;
    }
    sum.iter_mut().for_each(|s| *s /= n);
    sum
}

/// Places of the lowest and of the highest value.
pub(super) fn ends(curve: &[f64]) -> [usize; 2] {
    let by = |better: fn(f64, f64) -> bool| {
        (0..curve.len()).fold(0, |best, j| {
            if better(curve[j], curve[best]) {
                j
            } else {
                best
            }
        })
    };
    [by(|a, b| a < b), by(|a, b| a > b)]
}

/// Mean, standard deviation and standard error of the mean.
pub(super) fn statistics(values: &[f64]) -> [f64; 3] {
    let n = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n;
    let squares: f64 = values.iter().map(|v| (v - mean).powi(2)).sum();
    let deviation = (squares / (n - 1.0).max(1.0)).sqrt();
    [mean, deviation, deviation / n.sqrt()]
}
