//! A variable-reluctance sensor over a tone wheel: the voltage is the rate of change of a flux that has a bell-shaped
//! hill at each tooth, so that it grows with speed and crosses zero at the tooth's centre.

use crate::motion::{Motion, steady};
use crate::noise::Noise;
use crate::scope::Scope;
use crate::score::{Score, True, score};
use keyway_analysis::engine::{EdgeKind, Sensor};
use keyway_analysis::quality::Quality;
use std::f64::consts::TAU;

/// One row of the table.
#[derive(Debug, Clone, Copy)]
pub struct Coil {
    pub scope: Scope,
    pub motion: Motion,
    pub seconds: f64,
    /// Teeth of a full wheel, and how many of them are missing.
    pub wheel: (u32, u32),
    /// Peak volts at 1000 rpm.
    pub strength: f64,
    /// Standard deviation of the noise, volts.
    pub noise: f64,
    pub bias: f64,
    /// Wander: volts and Hertz.
    pub wander: (f64, f64),
    /// Amplitude up and down by this part once a turn.
    pub runout: f64,
    /// Damped oscillation after each tooth: part of the peak, Hertz, time constant.
    pub ringing: (f64, f64, f64),
    /// Spikes a second of up to the whole range, one sample long.
    pub spikes: f64,
    /// Contact chatter: times a second that the lead is open for up to 100 µs in all, in pieces.
    pub chatter: f64,
    /// The engine stands from and to, seconds: the signal is gone, the noise is not.
    pub silent: (f64, f64),
    /// Hum: peak volts and Hertz.
    pub hum: (f64, f64),
    /// Not judged before this, seconds.
    pub from: f64,
}

/// A quiet sensor at idle on a 60-2 wheel.
pub const QUIET: Coil = Coil {
    scope: Scope {
        rate: 200_000.0,
        range: 20.0,
        bits: 14,
    },
    motion: steady(800.0),
    seconds: 1.5,
    wheel: (60, 2),
    strength: 5.0,
    noise: 0.01,
    bias: 0.0,
    wander: (0.0, 1.0),
    runout: 0.0,
    ringing: (0.0, 5000.0, 1e-4),
    spikes: 0.0,
    chatter: 0.0,
    silent: (0.0, 0.0),
    hum: (0.0, 50.0),
    from: 0.2,
};

impl Coil {
    fn pitch(&self) -> f64 {
        360.0 / f64::from(self.wheel.0)
    }

    fn is_there(&self, tooth: f64) -> bool {
        tooth.rem_euclid(f64::from(self.wheel.0)) < f64::from(self.wheel.0 - self.wheel.1) - 0.5
    }

    /// Volts of the coil at an angle, for a peak of one volt.
    fn shape(&self, angle: f64) -> f64 {
        // No tooth is wider than 12 degrees, however few there are.
        let width = 0.37_f64.min(4.0 / self.pitch());
        let steepest = 2.0_f64.sqrt() / width * (-0.5_f64).exp();
        let place = angle / self.pitch() - 0.5;
        let near = place.round();
        (-2..=2)
            .map(|k| near + f64::from(k))
            .filter(|&tooth| self.is_there(tooth))
            .map(|tooth| {
                let x = (place - tooth) / width;
                -2.0 * x / width * (-x * x).exp() / steepest
            })
            .sum()
    }

    /// Instants of the tooth centres.
    pub fn truth(&self) -> Vec<True> {
        let end = self.motion.angle(self.seconds);
        (0..)
            .map(f64::from)
            .take_while(|i| (i + 0.5) * self.pitch() < end)
            .filter(|&i| self.is_there(i))
            .map(|i| True {
                seconds: self.motion.time((i + 0.5) * self.pitch(), self.seconds),
                kind: EdgeKind::Falling,
            })
            .filter(|t| t.seconds < self.silent.0 || t.seconds >= self.silent.1)
            .collect()
    }

    /// What the scope samples.
    pub fn samples(&self) -> Vec<i16> {
        let mut noise = Noise::new(7);
        let teeth = self.truth();
        let mut next = 0;
        let mut open_until = -1.0;
        let mut is_open = false;
        let mut turns = 0.0;
        let dt = 1.0 / self.scope.rate;
        let (mut i, mut out) = (0_u32, Vec::new());
        loop {
            let t = f64::from(i) * dt;
            if t >= self.seconds {
                return out;
            }
            i += 1;
            let angle = self.motion.angle(t);
            let turns_out = 1.0 + self.runout * (angle.to_radians()).sin();
            let peak = self.strength * self.motion.rpm_at(t) / 1000.0 * turns_out;
            let mut v = peak * self.shape(angle);
            while teeth.get(next).is_some_and(|x| x.seconds <= t) {
                next += 1;
            }
            let (part, hertz, tau) = self.ringing;
            if let Some(tooth) = next.checked_sub(1).filter(|_| part > 0.0) {
                let since = t - teeth[tooth].seconds;
                v -= part * peak * (-since / tau).exp() * (TAU * hertz * since).sin();
            }
            if (self.silent.0..self.silent.1).contains(&t) {
                v = 0.0;
            }
            if noise.even() < self.chatter * dt {
                open_until = t + 100e-6 * noise.even();
                turns = t;
            }
            if t < open_until {
                if t >= turns {
                    is_open = !is_open;
                    turns = t + 30e-6 * noise.even();
                }
                if is_open {
                    v = 0.0;
                }
            }
            v += self.bias + self.wander.0 * (TAU * self.wander.1 * t).sin();
            v += self.hum.0 * (TAU * self.hum.1 * t).sin() + self.noise * noise.bell();
            if noise.even() < self.spikes * dt {
                v += 2.0 * self.scope.range * (2.0 * noise.even() - 1.0);
            }
            out.push(self.scope.counts(v));
        }
    }

    /// Generates, detects and compares.
    pub fn run(&self) -> (Score, Quality) {
        let samples = self.samples();
        let (edges, quality) = self.scope.edges(Sensor::Vr, &samples);
        let to = self.seconds - 0.02;
        let rate = self.scope.rate;
        let s = score(&self.truth(), &edges, rate, &self.motion, self.from, to);
        (s, quality)
    }
}
