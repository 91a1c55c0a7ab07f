//! What motion a command owes: how hard a duty pushes, which push must have arrived by now, and one drive from its
//! beginning to its end.

use crate::engine::PhaserSheet;
use crate::units::Volts;
use std::collections::VecDeque;

/// Longest time from a change of duty to the first motion of a healthy phaser, cold oil included (common practice,
/// from memory). The price of more is a later verdict, of less a false one on cold oil.
const DEAD: f64 = 0.3;
/// A drive that pauses this long is over: dither and a noisy loop cross the zone's edge for a moment.
const PAUSE: f64 = 0.15;
/// Points outside the zone over which the owed rate rises from nothing to the slowest rate:
/// cold oil moves in proportion to the duty's excess. The price of a wider ramp is a later verdict just outside the zone.
const RAMP: f64 = 8.0;
/// The zone of the sheet holds at this supply; below it the same current needs more duty (duty × supply constant for a current-set valve).
pub const ZONE_SUPPLY: f64 = 13.5;
/// Twice the quickest rate found in print (150 °/s, Schaeffler, basis not stated).
pub const FASTEST: f64 = 300.0;
/// Within this of a stop it may stand.
pub const STOP_MARGIN: f64 = 3.0;
/// How long pushes are kept: longer than the longest delay.
const KEPT: f64 = 1.0;

/// One look at the cam, along the drive.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Point {
    /// Seconds.
    pub t: f64,
    /// Degrees along the drive.
    pub x: f64,
    /// Duty, percent.
    pub duty: f64,
    /// Speed.
    pub rpm: f64,
}

/// The share by which the duty for one and the same current is higher than at the zone's supply.
pub fn supply_share(supply: Option<Volts>) -> f64 {
    supply.map_or(1.0, |v| {
        (ZONE_SUPPLY / v.0.clamp(6.0, 18.0)).clamp(0.75, 1.5)
    })
}

/// Longest time from a change of duty until motion shows: dead time, and half a cam revolution by which the rolling
/// phase lags.
pub fn longest_delay(rpm: f64) -> f64 {
    DEAD + 60.0 / rpm.max(300.0)
}

/// The duties between which no motion is owed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Zone {
    /// Below it the command pushes to rest.
    pub low: f64,
    /// Above it the command pushes away.
    pub high: f64,
}

impl Zone {
    /// The zone of the sheet, widened with the supply if that is known: never narrower than the sheet says.
    pub fn of_sheet(phaser: &PhaserSheet, supply: Option<Volts>) -> Self {
        let share = supply_share(supply);
        Self {
            low: phaser.hold.low.0 * share.min(1.0),
            high: phaser.hold.high.0 * share.max(1.0),
        }
    }

    /// How hard `duty` pushes: -1 to rest, 0 within the zone, 1 away.
    pub fn push(&self, duty: f64) -> f64 {
        let ramp = |excess: f64| (excess / RAMP).clamp(0.0, 1.0);
        ramp(duty - self.high) - ramp(self.low - duty)
    }
}

/// The pushes of the last second.
#[derive(Debug, Clone, Default)]
pub struct Pushes(VecDeque<(f64, f64)>);

impl Pushes {
    /// Takes the push of one look.
    pub fn add(&mut self, now: f64, push: f64) {
        self.0.push_back((now, push));
        while self.0.front().is_some_and(|p| now - p.0 > KEPT) {
            let _ = self.0.pop_front();
        }
    }

    /// Forgets all.
    pub fn clear(&mut self) {
        self.0.clear();
    }

    /// The push that is felt whatever the delay is up to `longest`: the weakest in that time if all go one way, else none.
    pub fn felt(&self, now: f64, longest: f64) -> f64 {
        let mut weakest: Option<f64> = None;
        for &(t, push) in self.0.iter().rev() {
            weakest = Some(match weakest {
                None => push,
                Some(w) if w * push <= 0.0 => return 0.0,
                Some(w) if push.abs() < w.abs() => push,
                Some(w) => w,
            });
            if now - t >= longest {
                return weakest.unwrap_or(0.0);
            }
        }
        0.0
    }
}

/// A drive under way.
#[derive(Debug, Clone)]
pub struct Drive {
    direction: f64,
    began: f64,
    x0: f64,
    /// How fast it moved when the drive began, at most.
    rate0: f64,
    pushed: f64,
    /// Motion owed since the beginning.
    total: f64,
}

impl Drive {
    /// A drive that begins now, if there is a push.
    pub fn begin(now: f64, x: f64, rate: f64, push: f64) -> Option<Self> {
        (push.abs() > 0.0).then(|| Self {
            direction: push.signum(),
            began: now,
            x0: x,
            rate0: rate.abs(),
            pushed: now,
            total: 0.0,
        })
    }

    /// Whether the push has turned or ceased.
    pub fn is_over(&self, now: f64, push: f64) -> bool {
        push * self.direction < 0.0 || now - self.pushed > PAUSE
    }

    /// Goes on; `owed` degrees were owed since the last look.
    pub fn go_on(&mut self, now: f64, push: f64, owed: f64) {
        if push * self.direction > 0.0 {
            self.pushed = now;
        }
        self.total += owed;
    }

    /// When it began, seconds.
    pub fn began(&self) -> f64 {
        self.began
    }

    /// Where it began.
    pub fn from(&self) -> f64 {
        self.x0
    }

    /// Whether it drives away from rest.
    pub fn is_away(&self) -> bool {
        self.direction > 0.0
    }

    /// Motion along the drive since it began, dead time included.
    pub fn moved(&self, x: f64) -> f64 {
        self.direction * (x - self.x0)
    }

    /// Motion owed so far.
    pub fn owed(&self) -> f64 {
        self.total
    }

    /// Where the position is due, along the drive: between the slowest and the fastest plausible motion from the onset.
    pub fn band(&self, now: f64, rpm: f64, p: &Stops) -> (f64, f64) {
        let quick = FASTEST * (now - self.began);
        // Until the drive is felt, the motion before it may go on.
        let before = self.rate0 * longest_delay(rpm);
        if self.is_away() {
            let low = (self.x0 + self.total - before).min(p.near.max(self.x0 - before));
            let high = (self.x0 + quick + before).min(p.far.max(self.x0));
            (low - STOP_MARGIN, high.max(low) + STOP_MARGIN)
        } else {
            let high = (self.x0 - self.total + before).max(0.0);
            let low = (self.x0 - quick - before).max(0.0);
            (low.min(high) - p.tolerance, high + p.tolerance)
        }
    }
}

/// The ends of the travel, along the drive.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stops {
    /// Where the far stop may be at the nearest.
    pub near: f64,
    /// Where it may be at the farthest.
    pub far: f64,
    /// Where the stop at rest is, if that is known.
    pub rest: Option<f64>,
    /// How far from there still counts as at rest.
    pub tolerance: f64,
}

impl Stops {
    /// Whether it may stand at `x` although driven that way.
    pub fn reached(&self, away: bool, x: f64) -> bool {
        if away {
            x >= self.near - 1.0
        } else {
            self.rest.is_none_or(|rest| x <= rest + self.tolerance)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_a_push_that_has_lasted_as_long_as_any_delay_is_felt() {
        let mut pushes = Pushes::default();
        for n in 0..60 {
            let t = f64::from(n) * 0.02;
            pushes.add(t, if t < 0.5 { -1.0 } else { 0.4 });
            let felt = pushes.felt(t, 0.4);
            let expected = if (0.41..0.49).contains(&t) {
                -1.0
            } else if t > 0.91 {
                0.4
            } else if t < 0.39 || (0.51..0.89).contains(&t) {
                0.0
            } else {
                felt
            };
            assert!((felt - expected).abs() < 1e-12, "{t}: {felt}");
        }
    }

    #[test]
    fn a_low_supply_widens_the_zone_and_never_narrows_it() {
        let sheet = crate::engine::EngineSheet::from_toml(include_str!(
            "../../app/assets/sheets/light-van.toml"
        ))
        .expect("sheet");
        let phaser = sheet.cams[0].phaser.as_ref().expect("phaser");
        let at = |volts: f64| Zone::of_sheet(phaser, Some(Volts(volts)));
        assert!((at(12.0).high - 70.0 * 13.5 / 12.0).abs() < 1e-9);
        assert!((at(12.0).low - 30.0).abs() < 1e-9 && (at(15.0).high - 70.0).abs() < 1e-9);
    }
}
