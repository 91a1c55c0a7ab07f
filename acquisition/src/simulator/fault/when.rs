//! When a fault acts: a stretch of time, a range of speed, or bouts that vibration brings on.

use super::super::bounds;
use super::Conditions;
use rand::SeedableRng;
use rand_distr::{Distribution, Exp1, StandardUniform};
use rand_pcg::Pcg64Mcg;
use serde::Deserialize;

/// Speed at which `vibration` gives the bouts per second, rpm.
const RATED: f64 = 3000.0;
/// Shortest and longest bout, seconds: what a terminal that has lost its spring does (assumed).
const BOUT: [f64; 2] = [0.020, 0.500];

/// When a fault acts. Everything left away is no condition.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct When {
    /// From this time on, seconds.
    pub after: f64,
    /// Up to this time, seconds.
    pub until: f64,
    /// Only above this speed, rpm.
    pub above_rpm: f64,
    /// Only below this speed, rpm.
    pub below_rpm: f64,
    /// Only with the oil at least this warm, °C.
    pub oil_above: f64,
    /// If above 0, it comes and goes at random as the engine shakes: so many bouts a second at 3000 rpm,
    /// with the square of the speed (as the forces of unbalance), each 20 to 500 ms long.
    #[serde(deserialize_with = "bounds::not_negative")]
    pub vibration: f64,
}

impl Default for When {
    fn default() -> Self {
        Self {
            after: f64::NEG_INFINITY,
            until: f64::INFINITY,
            above_rpm: f64::NEG_INFINITY,
            below_rpm: f64::INFINITY,
            oil_above: f64::NEG_INFINITY,
            vibration: 0.0,
        }
    }
}

impl When {
    /// From a time on, seconds.
    pub fn after(after: f64) -> Self {
        Self {
            after,
            ..Self::default()
        }
    }

    /// Between two times, seconds.
    pub fn between(after: f64, until: f64) -> Self {
        Self {
            after,
            until,
            ..Self::default()
        }
    }

    fn allows(&self, now: Conditions) -> bool {
        // What is there from the start is there while the engine warms up, too.
        (self.after <= 0.0 || now.time >= self.after)
            && now.time < self.until
            && now.rpm > self.above_rpm
            && now.rpm < self.below_rpm
            && now.oil >= self.oil_above
    }

    /// Checks what one figure alone cannot show. The error is one sentence.
    pub(super) fn check(&self) -> Result<(), String> {
        if self.after.is_nan() || self.until.is_nan() || self.until <= self.after {
            return Err(format!(
                "until {} must come after {}",
                self.until, self.after
            ));
        }
        if self.above_rpm >= self.below_rpm {
            return Err(format!(
                "below_rpm {} must be higher than above_rpm {}",
                self.below_rpm, self.above_rpm
            ));
        }
        Ok(())
    }
}

/// Keeps a [`When`] over time.
#[derive(Debug, Clone)]
pub(super) struct Clock {
    when: When,
    /// How many bouts are expected until the next one comes.
    to_come: f64,
    /// End of the one that is on.
    bout_until: f64,
    last: f64,
    rng: Pcg64Mcg,
}

impl Clock {
    pub fn new(when: When, seed: u64) -> Self {
        let mut rng = Pcg64Mcg::seed_from_u64(seed);
        Self {
            when,
            to_come: Exp1.sample(&mut rng),
            bout_until: f64::NEG_INFINITY,
            last: f64::NAN,
            rng,
        }
    }

    /// Whether it acts; asked once a step, at times that do not go back.
    pub fn acts(&mut self, now: Conditions) -> bool {
        if !self.when.allows(now) {
            self.last = now.time;
            return false;
        }
        if self.when.vibration <= 0.0 {
            return true;
        }
        let passed = now.time - self.last;
        self.last = now.time;
        if now.time < self.bout_until {
            return true;
        }
        if passed > 0.0 {
            self.to_come -= self.when.vibration * (now.rpm / RATED).powi(2) * passed;
        }
        if self.to_come > 0.0 {
            return false;
        }
        self.to_come = Exp1.sample(&mut self.rng);
        let [shortest, longest] = BOUT;
        let share: f64 = StandardUniform.sample(&mut self.rng);
        self.bout_until = now.time + shortest * (longest / shortest).powf(share);
        true
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(time: f64, rpm: f64) -> Conditions {
        Conditions {
            time,
            oil: 90.0,
            rpm,
            travel: [0.0; 2],
        }
    }

    /// Bouts and the seconds they hold in a run.
    fn bouts(rpm: f64, seconds: f64) -> (f64, f64) {
        let when = When {
            vibration: 0.5,
            ..When::default()
        };
        let mut clock = Clock::new(when, 3);
        let (mut count, mut held, mut before) = (0.0, 0.0, false);
        let mut time = 0.0;
        while time < seconds {
            let on = clock.acts(at(time, rpm));
            count += f64::from(u8::from(on && !before));
            held += if on { 1e-3 } else { 0.0 };
            before = on;
            time += 1e-3;
        }
        (count, held)
    }

    /// A Poisson process: at 3000 rpm one bout for each 2 s without one; at half the speed a quarter. A length that
    /// is uniform in its logarithm between 20 and 500 ms has the mean 480/ln(25) = 149 ms.
    #[test]
    fn bouts_come_with_the_square_of_the_speed() {
        let (fast, held) = bouts(3000.0, 4000.0);
        let due = (4000.0 - held) * 0.5;
        // Four standard deviations of the count.
        assert!((fast - due).abs() < 4.0 * due.sqrt(), "{fast} {due}");
        assert!((held / fast - 0.149).abs() < 0.012, "{}", held / fast);
        let (slow, held) = bouts(1500.0, 4000.0);
        let due = (4000.0 - held) * 0.125;
        assert!((slow - due).abs() < 4.0 * due.sqrt(), "{slow} {due}");
    }

    #[test]
    fn a_stretch_of_time_and_speed_is_kept() {
        let when = When {
            above_rpm: 2000.0,
            ..When::between(3.0, 5.0)
        };
        let mut clock = Clock::new(when, 1);
        let acts = [
            (2.9, 2500.0),
            (3.1, 2500.0),
            (3.2, 1900.0),
            (4.9, 2100.0),
            (5.0, 2100.0),
        ]
        .map(|(t, rpm)| clock.acts(at(t, rpm)));
        assert_eq!(acts, [false, true, false, true, false]);
        assert!(When::between(5.0, 3.0).check().is_err());
    }
}
