//! The duty at which a phaser stands between its stops.

/// Looks are taken this far apart, seconds.
const EVERY: f64 = 0.2;
/// It must have followed within this time, seconds: what stands for longer may be stuck.
const PROVEN_FOR: f64 = 30.0;
/// Looks before a hold duty is believed: one second of standing.
const ENOUGH: f64 = 5.0;
/// Weight of the newest look at least: the hold duty drifts with the coil's temperature over a minute or more.
const WEIGHT: f64 = 0.02;
/// Narrowest half width of the band shown, points: the dead band is 1 to 5 points (common practice, from memory).
const NARROWEST: f64 = 2.0;
/// Widest dead band, points.
const DEAD_BAND: f64 = 5.0;
/// Share of the hold duty by which it may have drifted since it was learnt, supply known: copper gains 0.39 % per
/// kelvin, and 25 K within [`FRESH`] is much.
const DRIFT: f64 = 0.1;
/// The same more if the supply is not known: 14.4 to 13 V.
const SUPPLY: f64 = 0.1;
/// Seconds for which a learnt band may narrow the zone of the sheet.
const FRESH: f64 = 60.0;

/// Learns the hold duty, in points at the supply to which the zone of the sheet refers.
#[derive(Debug, Clone)]
pub(crate) struct HoldLearner {
    looks: f64,
    mean: f64,
    deviation: f64,
    next: f64,
    learnt: f64,
    proven: f64,
}

impl HoldLearner {
    pub fn new() -> Self {
        Self {
            looks: 0.0,
            mean: 0.0,
            deviation: 0.0,
            next: 0.0,
            learnt: 0.0,
            proven: f64::NEG_INFINITY,
        }
    }

    /// It has just followed a drive.
    pub fn followed(&mut self, now: f64) {
        self.proven = now;
    }

    /// It did not follow: standing still teaches nothing until it has followed again.
    pub fn doubted(&mut self) {
        self.proven = f64::NEG_INFINITY;
    }

    /// It stands between its stops at this duty.
    pub fn stands(&mut self, now: f64, duty: f64) {
        if now < self.next || now - self.proven > PROVEN_FOR {
            return;
        }
        self.next = now + EVERY;
        // A band that has not been seen for long is learnt afresh.
        if now - self.learnt > 2.0 * FRESH {
            self.looks = 0.0;
        }
        self.looks += 1.0;
        self.learnt = now;
        let weight = WEIGHT.max(1.0 / self.looks);
        let off = duty - self.mean;
        self.mean += weight * off;
        self.deviation = if self.looks < 2.0 {
            0.0
        } else {
            self.deviation + weight * (off.abs() - self.deviation)
        };
    }

    /// Middle and half width of the band, and when it was last seen.
    pub fn band(&self) -> Option<(f64, f64, f64)> {
        (self.looks >= ENOUGH).then(|| {
            let half = (2.0 * self.deviation).max(NARROWEST);
            (self.mean, half, self.learnt)
        })
    }

    /// Middle and half width outside which motion is owed, while that is fresh enough to be believed.
    pub fn owes_outside(&self, now: f64, supply_known: bool) -> Option<(f64, f64)> {
        let (mean, _, learnt) = self.band()?;
        let drift = DRIFT + if supply_known { 0.0 } else { SUPPLY };
        let half = DEAD_BAND + 2.0 * self.deviation + drift * mean;
        (now - learnt <= FRESH).then_some((mean, half))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_learns_only_after_motion_that_followed() {
        let mut hold = HoldLearner::new();
        for n in 0..200 {
            hold.stands(f64::from(n) * 0.1, 47.0);
        }
        assert_eq!(hold.band(), None);
        hold.followed(20.0);
        for n in 0..20 {
            hold.stands(20.0 + f64::from(n) * 0.1, 47.0 + 0.5 * f64::from(n % 2));
        }
        let (mean, half, at) = hold.band().expect("a band");
        assert!((mean - 47.0).abs() < 0.5 && half < 3.0 && at > 21.0);
        assert!(hold.owes_outside(22.0, true).expect("fresh").1 < 12.0);
        assert_eq!(hold.owes_outside(120.0, true), None);
    }
}
