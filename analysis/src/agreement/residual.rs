//! The sequential test of one direction: motion that the felt push owes, less the motion seen, added up by Page's
//! cumulative sum. The limit grows with the noise of the phase and with the spread of what is owed.

use crate::cusum::Sum;

/// Share of the owed rate that is owed in the test for standing still: K of the tabular form is what lies between a
/// healthy phaser at its slowest and one that stands.
const STILL_SHARE: f64 = 0.7;
/// Share of the slowest rate below which it stands still rather than moves too slowly.
const CREEPS: f64 = 0.3;
/// H for standing still: degrees, standard deviations of the phase, and seconds of the owed rate (the spread of the
/// delay). Noise of a phase does not add up over time, so that four deviations are its whole range.
const STILL_LIMIT: [f64; 3] = [1.0, 4.0, 0.06];
/// The same for moving too slowly, where the difference is small and the rate itself is spread.
const SLOW_LIMIT: [f64; 3] = [2.5, 6.0, 0.15];
/// How far a sum may go beyond its limit, degrees: as much motion is needed to bring it back.
const BEYOND: f64 = 2.0;
/// What a sum loses while nothing is owed, degrees per second: evidence of the last drives counts for some seconds.
const LEAK: f64 = 0.3;
/// Motion against the push that is a verdict, crank degrees.
const AGAINST: f64 = 3.0;
/// Rate against it that is motion, degrees per second.
const TURNS: f64 = 3.0;
/// A jump of the timing passes through the rolling phase within one cam revolution; motion against the push must last
/// this much longer, seconds.
const LASTS: f64 = 0.3;
/// Seconds without such motion after which it stands again.
const STOOD: f64 = 0.4;
/// Motion while nothing is owed that voids what was seen of a standing cam, crank degrees beside its noise: what has
/// gone elsewhere since is not stuck there. Less would let noise and a jolt void it, more would keep it against a phaser
/// that works.
const FREED: f64 = 3.0;

/// What a drive shows.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Verdict {
    /// Nothing can be said yet.
    Open,
    /// At the stop it is driven to.
    AtStop,
    /// Stands although it must move.
    Still {
        /// When it ought to have begun.
        since: f64,
        /// Motion since.
        moved: f64,
        /// Least motion owed since.
        due: f64,
    },
    /// Moves too slowly.
    Slow {
        /// When it began to.
        since: f64,
        /// Motion since.
        moved: f64,
        /// Least motion owed since.
        due: f64,
    },
    /// Moves the other way.
    Against {
        /// When it turned.
        since: f64,
        /// How far it went.
        moved: f64,
        /// Whether that has lasted longer than a jump of the timing would.
        lasts: bool,
    },
}

/// What is owed now.
#[derive(Debug, Clone, Copy)]
pub struct Due {
    /// How hard it is pushed in this direction whatever the delay, 0 to 1.
    pub strength: f64,
    /// Slowest rate of the sheet, degrees per second.
    pub slowest: f64,
    /// Rate below which it does not follow.
    pub still: f64,
    /// Rate below which it lags.
    pub slow: f64,
    /// Standard deviation of the phase.
    pub noise: f64,
    /// When the drive began and where, along its direction.
    pub began: (f64, f64),
}

#[derive(Debug, Clone, Copy, Default)]
struct Mark {
    t: f64,
    x: f64,
    /// Motion owed at the sheet's slowest rate until then.
    owed: f64,
    /// Motion asked for by the test until then.
    asked: f64,
    /// Motion seen while it was owed until then.
    seen: f64,
}

/// The test.
#[derive(Debug, Clone, Default)]
pub struct Residual {
    still: Sum,
    slow: Sum,
    still_from: Mark,
    slow_from: Mark,
    last: Option<(f64, f64)>,
    /// Position at the last look of a drive, whether or not anything was owed.
    early: Option<f64>,
    looked: f64,
    owed: f64,
    asked_still: f64,
    asked_slow: f64,
    moved: f64,
    /// Where it was when motion was last owed, and the noise of that.
    place: f64,
    noise: f64,
    limits: [f64; 2],
    /// Since when it moves against the push, and whether that has lasted.
    turned: Option<f64>,
    lasts: bool,
    /// When it last moved against the push.
    last_turn: f64,
}

fn limit(of: [f64; 3], noise: f64, rate: f64) -> f64 {
    of[0] + of[1] * noise + of[2] * rate
}

impl Residual {
    /// It is where it is driven to, or nothing of before holds.
    pub fn reset(&mut self) {
        self.still.reset();
        self.slow.reset();
        self.interrupt();
    }

    /// Position across a loss of samples is not compared; what was added up stays.
    pub fn interrupt(&mut self) {
        self.last = None;
        self.early = None;
    }

    /// One look at `x` along the direction; `fresh` if the phase is a new one.
    pub fn look(&mut self, now: f64, x: f64, fresh: bool, due: Option<&Due>) {
        let dt = (now - self.looked).clamp(0.0, 0.1);
        self.looked = now;
        let Some(due) = due.filter(|d| d.strength > 0.0) else {
            // Not owed yet, or no more: what moves along a drive counts for it all the same.
            let moved = match (due, self.early) {
                (Some(_), Some(before)) => (x - before).max(0.0),
                _ => 0.0,
            };
            self.early = due.map(|_| x);
            self.last = None;
            self.still.add(now, -LEAK * dt - moved);
            self.slow.add(now, -LEAK * dt - moved);
            if due.is_none() {
                self.forget_place(x);
            }
            return;
        };
        self.early = Some(x);
        (self.place, self.noise) = (x, due.noise);
        self.limits = [
            limit(STILL_LIMIT, due.noise, due.still),
            limit(SLOW_LIMIT, due.noise, due.slow),
        ];
        let Some((t, before)) = self.last else {
            let (t, x0) = due.began;
            let start = |asked| Mark {
                t,
                x: x0,
                owed: self.owed,
                asked,
                seen: self.moved,
            };
            if self.still.value() <= 0.0 {
                self.still_from = start(self.asked_still);
            }
            if self.slow.value() <= 0.0 {
                self.slow_from = start(self.asked_slow);
            }
            self.last = Some((now, x));
            return;
        };
        if !fresh {
            return;
        }
        self.last = Some((now, x));
        let (dt, moved) = (now - t, x - before);
        self.owed += due.slowest * due.strength * dt;
        self.asked_still += due.still * due.strength * dt;
        self.moved += moved;
        let (owed, seen) = (self.owed, self.moved);
        let mark = |asked| Mark {
            t: now,
            x,
            owed,
            asked,
            seen,
        };
        self.still
            .add(now, STILL_SHARE * due.still * due.strength * dt - moved);
        self.still.cap(self.limits[0] + BEYOND);
        if self.still.value() <= 0.0 {
            self.still_from = mark(self.asked_still);
        }
        // A part of the push may bring a part of the rate, and nobody knows which.
        if due.strength >= 1.0 {
            self.asked_slow += due.slow * dt;
            self.slow.add(now, due.slow * dt - moved);
            self.slow.cap(self.limits[1] + BEYOND);
            if self.slow.value() <= 0.0 {
                self.slow_from = mark(self.asked_slow);
            }
        }
    }

    /// Drops what was seen while it stood, once it is elsewhere although nothing was owed in this direction. What moved
    /// too slowly is slow wherever it is now.
    fn forget_place(&mut self, x: f64) {
        if (x - self.place).abs() < FREED + 4.0 * self.noise {
            return;
        }
        self.still.reset();
        let from = self.slow_from;
        if self.moved - from.seen < CREEPS * (self.asked_slow - from.asked) {
            self.slow.reset();
        }
    }

    /// Sees at which rate along the direction it moves; `window` is the time over which that was measured.
    pub fn turn(&mut self, now: f64, rate: f64, window: f64) {
        if self.last.is_none() || rate > -TURNS {
            self.turned = None;
        } else {
            let since = *self.turned.get_or_insert(now);
            self.last_turn = now;
            self.lasts |= now - since >= window + LASTS;
        }
        self.lasts &= self.still.value() > 0.0;
    }

    /// Whether what was owed has been seen: the sum for moving too slowly is empty.
    pub fn is_clear(&self) -> bool {
        self.slow.value() <= 0.0 && self.still.value() <= 0.0
    }

    /// What the sums say at `x`.
    pub fn verdict(&self, x: f64) -> Verdict {
        if self.still.value() > self.limits[0] {
            let from = self.still_from;
            let (moved, due) = (x - from.x, self.owed - from.owed);
            let since = from.t;
            // What went back at once and has stood since, although it is pushed on, stands.
            let stands = self.turned.is_none() && self.looked - self.last_turn >= STOOD;
            if moved <= -AGAINST && (self.lasts || !stands) {
                Verdict::Against {
                    since,
                    moved: -moved,
                    lasts: self.lasts,
                }
            } else if moved < -0.5 * AGAINST && self.turned.is_some() {
                // It is turning back; how far it goes will tell.
                Verdict::Open
            } else if self.moved - from.seen < CREEPS * due.max(1.0) {
                Verdict::Still { since, moved, due }
            } else {
                let due = self.asked_still - from.asked;
                Verdict::Slow { since, moved, due }
            }
        } else if self.slow.value() > self.limits[1] {
            let from = self.slow_from;
            Verdict::Slow {
                since: from.t,
                moved: x - from.x,
                due: self.asked_slow - from.asked,
            }
        } else {
            Verdict::Open
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn due(began: f64) -> Due {
        Due {
            strength: 1.0,
            slowest: 8.0,
            still: 8.0,
            slow: 6.4,
            noise: 0.2,
            began: (began, 0.0),
        }
    }

    /// Rate along the push, and what is told within how long.
    fn told(rate: f64, seconds: f64) -> (Verdict, f64) {
        let mut test = Residual::default();
        let mut t = 0.0;
        let mut x = 0.0;
        while t < seconds {
            t += 0.02;
            x += rate * 0.02;
            test.look(t, x, true, Some(&due(0.0)));
            let verdict = test.verdict(x);
            if verdict != Verdict::Open {
                return (verdict, t);
            }
        }
        (Verdict::Open, t)
    }

    #[test]
    fn standing_creeping_crawling_and_turning_back_are_told_apart() {
        let (still, at) = told(0.01, 5.0);
        assert!(
            matches!(still, Verdict::Still { .. }) && at < 0.5,
            "{still:?} {at}"
        );
        assert!(matches!(told(1.4, 5.0).0, Verdict::Still { .. }));
        assert!(matches!(told(4.5, 5.0).0, Verdict::Slow { .. }));
        assert!(matches!(told(-30.0, 5.0).0, Verdict::Against { .. }));
        assert_eq!(told(8.0, 60.0).0, Verdict::Open);
    }

    #[test]
    fn what_has_gone_elsewhere_since_is_not_held_to_have_stood() {
        // Stands for half a second although pushed, is left alone for two seconds, and is pushed again for a moment.
        let after = |away: f64| {
            let mut test = Residual::default();
            let at = |t: f64| if (1.0..2.0).contains(&t) { away } else { 0.0 };
            for n in 1..=135 {
                let t = f64::from(n) * 0.02;
                let pushed = due(if t < 1.0 { 0.0 } else { 2.5 });
                let owed = !(0.5..2.5).contains(&t);
                // Noise below what any limit knows makes each phase a fresh one.
                let x = at(t) + 1e-6 * f64::from(n);
                test.look(t, x, true, owed.then_some(&pushed));
            }
            test.verdict(0.0)
        };
        assert!(matches!(after(0.0), Verdict::Still { .. }));
        assert_eq!(after(-12.0), Verdict::Open);
        assert_eq!(after(12.0), Verdict::Open);
    }

    #[test]
    fn the_onset_is_when_the_sum_left_zero() {
        let mut test = Residual::default();
        let mut x = 0.0;
        for n in 1..=200 {
            let t = f64::from(n) * 0.02;
            x += if t < 2.0 { 0.8 } else { 0.0001 };
            test.look(t, x, true, Some(&due(0.0)));
        }
        let Verdict::Still { since, .. } = test.verdict(x) else {
            panic!("{test:?}");
        };
        assert!((since - 2.0).abs() < 0.05, "{since}");
    }
}
