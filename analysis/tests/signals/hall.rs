//! The switched output of a Hall sensor over a tone wheel: low and high level, a time constant for each direction.

use crate::motion::{Motion, steady};
use crate::noise::Noise;
use crate::scope::Scope;
use crate::score::{Score, True, score};
use keyway_analysis::engine::{EdgeKind, Sensor};
use keyway_analysis::quality::Quality;
use std::f64::consts::TAU;

/// One row of the table.
#[derive(Debug, Clone)]
pub struct Hall {
    pub scope: Scope,
    pub motion: Motion,
    pub seconds: f64,
    /// High states over a turn of `turn` degrees, [rising, falling].
    pub highs: Vec<[f64; 2]>,
    pub turn: f64,
    pub low: f64,
    pub high: f64,
    pub noise: f64,
    /// Time constants of a rise and of a fall, seconds.
    pub tau: [f64; 2],
    /// Ripple of the high level: part of the swing and Hertz.
    pub ripple: (f64, f64),
    /// Both levels move: volts and Hertz.
    pub wander: (f64, f64),
    /// Ringing after each change: part of the swing, Hertz, time constant.
    pub ringing: (f64, f64, f64),
    pub spikes: f64,
    /// Share of the changes that chatter, and for how long at most.
    pub chatter: (f64, f64),
    pub from: f64,
}

/// A 60-2 wheel whose teeth are high for `share` of the pitch.
pub fn toothed(teeth: u32, missing: u32, share: f64) -> Vec<[f64; 2]> {
    let pitch = 360.0 / f64::from(teeth);
    (0..teeth - missing)
        .map(|i| [f64::from(i) * pitch, (f64::from(i) + share) * pitch])
        .collect()
}

impl Hall {
    /// A quiet sensor at idle on a 60-2 wheel.
    pub fn quiet() -> Self {
        Self {
            scope: Scope {
                rate: 200_000.0,
                range: 20.0,
                bits: 14,
            },
            motion: steady(800.0),
            seconds: 1.5,
            highs: toothed(60, 2, 0.5),
            turn: 360.0,
            low: 0.2,
            high: 5.0,
            noise: 0.01,
            tau: [2e-6, 0.5e-6],
            ripple: (0.0, 700.0),
            wander: (0.0, 1.0),
            ringing: (0.0, 150_000.0, 5e-6),
            spikes: 0.0,
            chatter: (0.0, 0.0),
            from: 0.2,
        }
    }

    /// Instants of the changes of the sensor itself.
    fn changes(&self) -> Vec<True> {
        let end = self.motion.angle(self.seconds);
        let mut out = Vec::new();
        let mut turn = 0.0;
        while turn * self.turn < end {
            for high in &self.highs {
                for (angle, kind) in high.iter().zip([EdgeKind::Rising, EdgeKind::Falling]) {
                    let angle = turn * self.turn + angle;
                    if angle > 0.0 && angle < end {
                        let seconds = self.motion.time(angle, self.seconds);
                        out.push(True { seconds, kind });
                    }
                }
            }
            turn += 1.0;
        }
        out
    }

    /// Instants at which the output passes half-way: after a time constant's logarithm of 2.
    pub fn truth(&self) -> Vec<True> {
        self.changes()
            .iter()
            .map(|c| True {
                seconds: c.seconds
                    + self.tau[usize::from(c.kind == EdgeKind::Falling)] * 2.0_f64.ln(),
                kind: c.kind,
            })
            .collect()
    }

    /// What the scope samples.
    pub fn samples(&self) -> Vec<i16> {
        let mut noise = Noise::new(11);
        // The changes with their chatter: instant and level after it.
        let mut levels: Vec<(f64, bool)> = Vec::new();
        for c in self.changes() {
            let high = c.kind == EdgeKind::Rising;
            levels.push((c.seconds, high));
            if noise.even() < self.chatter.0 {
                let mut t = c.seconds + 2e-6;
                loop {
                    t += 0.2 * self.chatter.1 * noise.even();
                    let back = t + 0.1 * self.chatter.1 * noise.even();
                    if back > c.seconds + self.chatter.1 {
                        break;
                    }
                    levels.push((t, !high));
                    levels.push((back, high));
                    t = back;
                }
            }
        }
        let dt = 1.0 / self.scope.rate;
        let (mut i, mut out, mut next) = (0_u32, Vec::new(), 0);
        // Share of the swing at the last change, and where it goes.
        let (mut at, mut from, mut to) = (-1.0, 0.0, 0.0);
        let share = |t: f64, at: f64, from: f64, to: f64| {
            let tau = self.tau[usize::from(to < 0.5)];
            to + (from - to) * (-(t - at) / tau).exp()
        };
        loop {
            let t = f64::from(i) * dt;
            if t >= self.seconds {
                return out;
            }
            i += 1;
            while let Some(&(when, high)) = levels.get(next).filter(|l| l.0 <= t) {
                from = share(when, at, from, to);
                at = when;
                to = f64::from(u8::from(high));
                next += 1;
            }
            let swing = self.high - self.low;
            let x = share(t, at, from, to);
            let (part, hertz, tau) = self.ringing;
            let since = t - at;
            let rings =
                part * (2.0 * to - 1.0) * (-since / tau).exp() * (TAU * hertz * since).sin();
            let ripple = self.ripple.0 * (TAU * self.ripple.1 * t).sin();
            let mut v = self.low + swing * (x * (1.0 + ripple) + rings);
            v += self.wander.0 * (TAU * self.wander.1 * t).sin() + self.noise * noise.bell();
            if noise.even() < self.spikes * dt {
                v += 2.0 * self.scope.range * (2.0 * noise.even() - 1.0);
            }
            out.push(self.scope.counts(v));
        }
    }

    /// Generates, detects and compares.
    pub fn run(&self) -> (Score, Quality) {
        let samples = self.samples();
        let (edges, quality) = self.scope.edges(Sensor::Hall, &samples);
        let to = self.seconds - 0.02;
        let rate = self.scope.rate;
        let s = score(&self.truth(), &edges, rate, &self.motion, self.from, to);
        (s, quality)
    }
}
