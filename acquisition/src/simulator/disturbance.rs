//! What disturbs the signal of a sensor on its way to the scope. Each has its own random numbers, made from
//! the seed of the engine, so that one never changes another.

use super::bounds;
use rand::SeedableRng;
use rand_distr::{Distribution, Exp1, StandardNormal, StandardUniform};
use rand_pcg::Pcg64Mcg;
use serde::Deserialize;
use std::f64::consts::TAU;

const MICRO: f64 = 1e-6;

/// A disturbance as data.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(tag = "kind", rename_all = "lowercase", deny_unknown_fields)]
pub enum Disturbance {
    /// Spikes at random times, up and down, as from ignition.
    Spikes {
        /// How many a second in the mean.
        #[serde(deserialize_with = "bounds::positive")]
        rate: f64,
        /// Volts.
        #[serde(deserialize_with = "bounds::positive")]
        height: f64,
        /// Microseconds. One that is shorter than a sample's period is mostly not seen.
        #[serde(deserialize_with = "bounds::positive")]
        width: f64,
    },
    /// Edges that come twice: after passing the middle, the signal is thrown back once.
    Chatter {
        /// Part of the edges that do.
        #[serde(deserialize_with = "bounds::fraction")]
        share: f64,
        /// For how long it is thrown back, and after how long, microseconds.
        #[serde(deserialize_with = "bounds::positive")]
        width: f64,
    },
    /// A connector that opens at random times: a coil's voltage is gone, a switch's line goes high.
    Contact {
        /// How many times a second in the mean.
        #[serde(deserialize_with = "bounds::positive")]
        rate: f64,
        /// Microseconds.
        #[serde(deserialize_with = "bounds::positive")]
        width: f64,
    },
    /// Each fall through the middle strikes a damped oscillation: A·exp(-2πdft)·sin(2πft).
    Ringing {
        /// Its frequency f.
        #[serde(deserialize_with = "bounds::positive")]
        hertz: f64,
        /// Its damping d as a part of the critical one.
        #[serde(deserialize_with = "bounds::fraction")]
        damping: f64,
        /// Its height A as a part of the peak before the fall.
        #[serde(deserialize_with = "bounds::not_negative")]
        height: f64,
    },
    /// The zero level wanders as a sine.
    Drift {
        /// Largest offset.
        #[serde(deserialize_with = "bounds::positive")]
        volts: f64,
        /// Period.
        #[serde(deserialize_with = "bounds::positive")]
        seconds: f64,
    },
    /// White noise beyond the usual.
    Noise {
        /// Volts rms.
        #[serde(deserialize_with = "bounds::positive")]
        volts: f64,
    },
}

/// Levels of a signal that its disturbances go by, volts.
#[derive(Debug, Clone, Copy)]
pub(super) struct Middle {
    /// Between the two states, or zero of a coil.
    pub level: f64,
    /// What is seen when the connector is open.
    pub open: f64,
}

/// A disturbance at work.
#[derive(Debug, Clone)]
pub(super) struct Disturber {
    what: Disturbance,
    middle: Middle,
    rng: Pcg64Mcg,
    /// Begin and end of the event that comes or lasts, seconds, and its sign.
    from: f64,
    to: f64,
    sign: f64,
    /// Signal at the sample before, against the middle, and its largest distance since the last fall.
    was: f64,
    peak: f64,
    /// Strength and begin of the oscillation that was struck last.
    struck: (f64, f64),
}

impl Disturber {
    pub fn new(what: Disturbance, middle: Middle, after: f64, seed: u64) -> Self {
        let mut new = Self {
            what,
            middle,
            rng: Pcg64Mcg::seed_from_u64(seed),
            from: after.max(0.0),
            to: after.max(0.0),
            sign: 1.0,
            was: 0.0,
            peak: 0.0,
            struck: (0.0, 0.0),
        };
        new.await_next();
        new
    }

    /// The next event of those that come at random times: a Poisson process.
    fn await_next(&mut self) {
        if let Disturbance::Spikes { rate, width, .. } | Disturbance::Contact { rate, width } =
            self.what
        {
            let pause: f64 = Exp1.sample(&mut self.rng);
            let up: bool = StandardUniform.sample(&mut self.rng);
            self.from = self.to + pause / rate;
            self.to = self.from + width * MICRO;
            self.sign = if up { 1.0 } else { -1.0 };
        }
    }

    /// What becomes of `volts` at a time. Times must not go back.
    pub fn disturb(&mut self, time: f64, volts: f64) -> f64 {
        match self.what {
            Disturbance::Spikes { height, .. } => {
                if self.is_on(time) {
                    volts + self.sign * height
                } else {
                    volts
                }
            }
            Disturbance::Contact { .. } => {
                if self.is_on(time) {
                    self.middle.open
                } else {
                    volts
                }
            }
            Disturbance::Chatter { share, width } => {
                self.chatter(time, volts, share, width * MICRO)
            }
            Disturbance::Ringing {
                hertz,
                damping,
                height,
            } => volts + self.ring(time, volts, TAU * hertz, damping, height),
            Disturbance::Drift {
                volts: most,
                seconds,
            } => volts + most * (time / seconds * TAU).sin(),
            Disturbance::Noise { volts: rms } => {
                let noise: f64 = StandardNormal.sample(&mut self.rng);
                volts + rms * noise
            }
        }
    }

    fn is_on(&mut self, time: f64) -> bool {
        while time >= self.to {
            self.await_next();
        }
        time >= self.from
    }

    fn chatter(&mut self, time: f64, volts: f64, share: f64, width: f64) -> f64 {
        let against = volts - self.middle.level;
        if against * self.was < 0.0 {
            let chance: f64 = StandardUniform.sample(&mut self.rng);
            if chance < share {
                (self.from, self.to) = (time + width, time + 2.0 * width);
            }
        }
        self.was = against;
        if time >= self.from && time < self.to {
            volts - 2.0 * against
        } else {
            volts
        }
    }

    fn ring(&mut self, time: f64, volts: f64, omega: f64, damping: f64, height: f64) -> f64 {
        let against = volts - self.middle.level;
        if against <= 0.0 && self.was > 0.0 {
            self.struck = (height * self.peak, time);
            self.peak = 0.0;
        }
        self.was = against;
        self.peak = self.peak.max(against.abs());
        let (strength, begun) = self.struck;
        let phase = omega * (time - begun);
        // Twenty times the time constant later nothing is left.
        if strength == 0.0 || damping * phase > 20.0 {
            return 0.0;
        }
        strength * (-damping * phase).exp() * phase.sin()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const COIL: Middle = Middle {
        level: 0.0,
        open: 0.0,
    };
    const SWITCH: Middle = Middle {
        level: 2.6,
        open: 5.0,
    };

    /// Ten seconds at 1 MS/s of what a signal becomes.
    fn over(what: Disturbance, middle: Middle, signal: impl Fn(f64) -> f64) -> Vec<f64> {
        let mut d = Disturber::new(what, middle, 0.0, 7);
        (0..10_000_000u32)
            .map(|n| f64::from(n) * MICRO)
            .map(|t| d.disturb(t, signal(t)))
            .collect()
    }

    #[test]
    fn events_come_as_often_and_last_as_long_as_said() {
        let spikes = Disturbance::Spikes {
            rate: 200.0,
            height: 3.0,
            width: 4.0,
        };
        let out = over(spikes, COIL, |_| 0.0);
        let on = out.iter().filter(|v| v.abs() > 2.9).count() as f64;
        let starts = out
            .windows(2)
            .filter(|w| w[0] == 0.0 && w[1] != 0.0)
            .count() as f64;
        // 2000 expected; four standard deviations of a Poisson count are 180.
        assert!((starts - 2000.0).abs() < 180.0, "{starts}");
        assert!((on / starts - 4.0).abs() < 0.2);
        assert!(out.iter().any(|v| *v > 0.0) && out.iter().any(|v| *v < 0.0));
        let contact = Disturbance::Contact {
            rate: 50.0,
            width: 300.0,
        };
        let open = over(contact, SWITCH, |_| 0.2)
            .iter()
            .filter(|v| **v > 4.9)
            .count();
        assert!((open as f64 / 150_000.0 - 1.0).abs() < 0.2, "{open}");
    }

    #[test]
    fn chatter_doubles_its_share_of_the_edges() {
        let square = |t: f64| if (t * 100.0).fract() < 0.5 { 0.2 } else { 5.0 };
        let chatter = Disturbance::Chatter {
            share: 0.25,
            width: 20.0,
        };
        let out = over(chatter, SWITCH, square);
        let edges = out
            .windows(2)
            .filter(|w| (w[0] - 2.6) * (w[1] - 2.6) < 0.0)
            .count() as f64;
        // 2000 edges, a quarter of them thrown back: two more each; four standard deviations are 155.
        assert!((edges - 3000.0).abs() < 155.0, "{edges}");
    }

    #[test]
    fn ringing_decays_as_the_formula_says() {
        let ringing = Disturbance::Ringing {
            hertz: 5000.0,
            damping: 0.1,
            height: 0.5,
        };
        let mut d = Disturber::new(ringing, COIL, 0.0, 1);
        let _ = d.disturb(0.0, 4.0);
        assert!(d.disturb(1e-3, -1e-9).abs() < 1e-6);
        // A quarter of a period later: 2 V times exp(-2π·0.1/4).
        let v = d.disturb(1.05e-3, -1e-9);
        assert!(
            (v - 2.0 * (-0.05 * std::f64::consts::PI).exp()).abs() < 1e-6,
            "{v}"
        );
    }

    #[test]
    fn drift_and_noise_have_the_sizes_said() {
        let drift = Disturbance::Drift {
            volts: 0.5,
            seconds: 4.0,
        };
        let mut d = Disturber::new(drift, COIL, 0.0, 1);
        assert!((d.disturb(1.0, 1.0) - 1.5).abs() < 1e-9);
        let out = over(Disturbance::Noise { volts: 0.3 }, COIL, |_| 1.0);
        let square: f64 = out.iter().map(|v| (v - 1.0).powi(2)).sum::<f64>();
        assert!((square / out.len() as f64).sqrt() - 0.3 < 0.001);
    }
}
