//! Errors of the tooth spacing, learnt at higher speed and taken out at idle.
//!
//! Kinetic energy grows with the square of speed, so the angle by which the gas torque makes the crank lead or lag
//! shrinks with it, while a misplaced tooth is misplaced at any speed (why spacing is to be learnt before ripple is
//! judged: US 5,699,252, by its title; the way it is done here is from memory). What all firing intervals
//! have in common is not taken: it is the ripple of sound cylinders, and it makes none of them differ.
//! What remains wrong: imbalance of the cylinders at the speed of learning, smaller by the square of the ratio of
//! speeds, a quarter at most.

use super::waveform::PARTS;
use crate::rotation::whole_cycle::WholeCycle;
use crate::units::SampleTime;

/// Parts of a revolution.
const TURN: usize = PARTS as usize / 2;
/// Revolutions from which the errors are taken as learnt: the scatter of single combustions, some 0.05° at this
/// speed (assumed), then counts for less than 0.01°.
const LEAST: u32 = 40;
/// Revolutions after which no more are taken.
const MOST: u32 = 200;
/// Change of the time of a revolution from one to the next, as a part of it, beyond which the speed is not steady.
const STEADY: f64 = 0.01;

/// Lead of the true angle over the nominal one at each part of a revolution, degrees.
#[derive(Debug, Clone)]
pub(super) struct Spacing {
    sums: [f64; TURN],
    turns: u32,
    /// Parts after which sound cylinders repeat within a revolution.
    interval: usize,
}

impl Spacing {
    pub fn new(cylinders: usize) -> Self {
        let halves = if cylinders.is_multiple_of(2) { 1 } else { 2 };
        Self {
            sums: [0.0; TURN],
            turns: 0,
            interval: (2 * TURN / cylinders.max(1) / halves).max(1),
        }
    }

    /// Revolutions learnt from, once there are enough.
    pub fn learnt(&self) -> Option<u32> {
        (self.turns >= LEAST).then_some(self.turns)
    }

    pub fn is_full(&self) -> bool {
        self.turns >= MOST
    }

    /// Takes a cycle at higher speed.
    pub fn take(&mut self, cycle: &WholeCycle) {
        // Without the margin: 0 to 720 degrees.
        let times: Vec<f64> = (cycle.times.iter().skip(1).take(2 * TURN + 1))
            .map(|t| t.0)
            .collect();
        if times.len() != 2 * TURN + 1 || self.is_full() {
            return;
        }
        let lengths = [times[TURN] - times[0], times[2 * TURN] - times[TURN]];
        let gain = 2.0 * (lengths[0] - lengths[1]) / (lengths[0] + lengths[1]);
        if gain.abs() > STEADY {
            return;
        }
        for (first, length) in [0, TURN].into_iter().zip(lengths) {
            for (k, sum) in self.sums.iter_mut().enumerate() {
                let x = (times[first + k] - times[first]) / length;
                let nominal = k as f64 / TURN as f64;
                // Time runs ahead of the parts by the even gain of speed.
                *sum += 360.0 * (x - gain / 2.0 * x * (1.0 - x) - nominal);
            }
            self.turns += 1;
        }
    }

    /// The cycle with each instant moved to where the true angle is passed.
    pub fn correct(&self, cycle: &mut WholeCycle) {
        if self.learnt().is_none() {
            return;
        }
        let leads = self.leads();
        let old: Vec<f64> = cycle.times.iter().map(|t| t.0).collect();
        let last = old.len() - 1;
        for (i, time) in cycle.times.iter_mut().enumerate() {
            let (a, b) = (i.saturating_sub(1), (i + 1).min(last));
            let degree = (old[b] - old[a]) / ((b - a) as f64 * 360.0 / TURN as f64);
            // The first instant lies one part before the cycle.
            *time = SampleTime(old[i] - leads[(i + TURN - 1) % TURN] * degree);
        }
    }

    fn leads(&self) -> Vec<f64> {
        let intervals = TURN / self.interval;
        let mean = |j: usize| {
            let sum: f64 = (0..intervals)
                .map(|i| self.sums[i * self.interval + j])
                .sum();
            sum / intervals as f64
        };
        (self.sums.iter().enumerate())
            .map(|(k, sum)| (sum - mean(k % self.interval)) / f64::from(self.turns))
            .collect()
    }
}
