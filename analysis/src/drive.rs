//! One drive: the time during which the duty stays on one side outside the hold zone, and what motion it owes.

use crate::engine::PhaserSheet;
use crate::units::Volts;
use std::collections::VecDeque;

/// Oil and spool need this long before motion is owed, and the rolling phase lags by half a cam revolution (75 ms at 800 rpm).
const DEAD: f64 = 0.25;
/// A drive that pauses this long is over: dither and a noisy loop cross the zone's edge for a moment.
const PAUSE: f64 = 0.15;
/// Points outside the zone over which the owed rate rises from nothing to the slowest rate:
/// cold oil moves in proportion to the duty's excess. The price of a wider ramp is a later verdict just outside the zone.
const RAMP: f64 = 12.0;
/// The zone of the sheet holds at this supply; below it the same current needs more duty (duty × supply constant for a current-set valve).
const ZONE_SUPPLY: f64 = 13.5;
/// Motion owed before standing still is a verdict: degrees and seconds at the slowest rate, the greater counts.
const STILL_OWED: f64 = 5.0;
const STILL_TIME: f64 = 0.65;
/// Share of the owed motion below which it stands still.
const STILL_SHARE: f64 = 0.3;
/// Motion owed before a lag is a verdict.
const SLOW_OWED: f64 = 10.0;
const SLOW_TIME: f64 = 1.3;
const SLOW_SHARE: f64 = 0.7;
/// Motion that shows it following.
const MOVES: f64 = 1.5;
/// Within this of a stop it may stand.
const STOP_MARGIN: f64 = 3.0;
/// Motion against the drive that is a verdict, and how long the drive must have lasted.
const AGAINST: f64 = 3.0;
const AGAINST_TIME: f64 = 0.5;
/// Twice the quickest rate found in print (150 °/s, Schaeffler, basis not stated).
const FASTEST: f64 = 300.0;
/// How far back a drive looks.
const LOOK: f64 = 4.0;

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

/// How hard the duty pushes: -1 to rest, 0 within the zone, 1 away.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Push(f64);

/// What a drive shows.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Verdict {
    /// Nothing can be said yet.
    Open {
        /// Motion so far.
        moved: f64,
    },
    /// At the stop it is driven to.
    AtStop,
    /// Moves as it must.
    Moving {
        /// Motion so far.
        moved: f64,
    },
    /// Stands although it must move.
    Still {
        /// Start of the window in which motion was owed.
        since: f64,
        /// Motion in it.
        moved: f64,
        /// Least motion owed in it.
        due: f64,
    },
    /// Moves too slowly.
    Slow {
        /// Start of the window.
        since: f64,
        /// Motion in it.
        moved: f64,
        /// Least motion owed in it.
        due: f64,
    },
    /// Moves the other way.
    Against {
        /// When it turned.
        since: f64,
        /// How far it went.
        moved: f64,
    },
}

#[derive(Debug, Clone, Copy)]
struct Mark {
    t: f64,
    x: f64,
    owed: f64,
}

/// A drive under way.
#[derive(Debug, Clone)]
pub struct Drive {
    direction: f64,
    began: f64,
    x0: f64,
    last: f64,
    pushed: f64,
    /// Motion owed since it was last at a stop.
    owed: f64,
    /// Motion owed since the beginning.
    total: f64,
    marks: VecDeque<Mark>,
    still_since: Option<f64>,
}

impl Drive {
    /// How hard `duty` pushes, the zone moved with the supply if that is known.
    pub fn push(duty: f64, supply: Option<Volts>, phaser: &PhaserSheet) -> Push {
        let share = supply.map_or(1.0, |v| {
            (ZONE_SUPPLY / v.0.clamp(6.0, 18.0)).clamp(0.75, 1.5)
        });
        let high = phaser.hold.high.0 * share.max(1.0);
        let low = phaser.hold.low.0 * share.min(1.0);
        let ramp = |excess: f64| (excess / RAMP).clamp(0.0, 1.0);
        Push(ramp(duty - high) - ramp(low - duty))
    }

    /// A drive that begins now, if there is a push.
    pub fn begin(now: f64, x: f64, push: Push) -> Option<Self> {
        (push.0.abs() > 0.0).then(|| Self {
            direction: push.0.signum(),
            began: now,
            x0: x,
            last: now,
            pushed: now,
            owed: 0.0,
            total: 0.0,
            marks: VecDeque::new(),
            still_since: None,
        })
    }

    /// Whether the push has turned or ceased.
    pub fn is_over(&self, now: f64, push: Push) -> bool {
        push.0 * self.direction < 0.0 || now - self.pushed > PAUSE
    }

    /// When it began, seconds.
    pub fn began(&self) -> f64 {
        self.began
    }

    /// Whether it drives away from rest.
    pub fn is_away(&self) -> bool {
        self.direction > 0.0
    }

    /// Motion along the drive since it began, dead time included.
    pub fn moved(&self, x: f64) -> f64 {
        self.direction * (x - self.x0)
    }

    /// Looks at the position once more.
    pub fn look(&mut self, now: f64, x: f64, push: Push, slowest: f64, p: &Stops) -> Verdict {
        let along = self.direction * x;
        let dt = now - self.last;
        self.last = now;
        if push.0 * self.direction > 0.0 {
            self.pushed = now;
        }
        if now - self.began < DEAD {
            return Verdict::Open { moved: 0.0 };
        }
        let at_stop = if self.is_away() {
            x >= p.authority - STOP_MARGIN
        } else {
            x <= p.tolerance
        };
        let step = slowest * push.0.abs() * dt;
        self.total += step;
        if at_stop {
            self.marks.clear();
            self.still_since = None;
            self.owed = 0.0;
            return Verdict::AtStop;
        }
        if !self.marks.is_empty() {
            self.owed += step;
        }
        self.marks.push_back(Mark {
            t: now,
            x: along,
            owed: self.owed,
        });
        while self.marks.front().is_some_and(|m| now - m.t > LOOK) {
            let _ = self.marks.pop_front();
        }
        self.verdict(now, along, push, slowest)
    }

    fn verdict(&mut self, now: f64, along: f64, push: Push, slowest: f64) -> Verdict {
        let since_of = |m: &Mark, first: bool| if first { self.began } else { m.t };
        if push.0 * self.direction >= 0.5 && now - self.began >= AGAINST_TIME {
            let furthest = self
                .marks
                .iter()
                .filter(|m| now - m.t <= 1.5)
                .max_by(|a, b| a.x.total_cmp(&b.x));
            if let Some(m) = furthest.filter(|m| m.x - along >= AGAINST) {
                return Verdict::Against {
                    since: m.t,
                    moved: m.x - along,
                };
            }
        }
        // The shortest window at the end of the drive in which enough was owed.
        let window = |owed: f64| {
            self.marks
                .iter()
                .enumerate()
                .rev()
                .find(|(_, m)| self.owed - m.owed >= owed)
                .map(|(i, m)| (since_of(m, i == 0), along - m.x, self.owed - m.owed))
        };
        let still = STILL_OWED.max(STILL_TIME * slowest);
        if let Some((since, moved, due)) = window(still)
            && moved < STILL_SHARE * due
        {
            let since = *self.still_since.get_or_insert(since);
            // Once still, the whole time since counts, so that the sentence's figures grow with it.
            let whole = self.marks.iter().find(|m| m.t >= since);
            return match whole {
                Some(m) if along - m.x < STILL_SHARE * (self.owed - m.owed) => Verdict::Still {
                    since,
                    moved: along - m.x,
                    due: self.owed - m.owed,
                },
                _ => Verdict::Still { since, moved, due },
            };
        }
        self.still_since = None;
        let slow = SLOW_OWED.max(SLOW_TIME * slowest);
        if let Some((since, moved, due)) = window(slow)
            && moved < SLOW_SHARE * due
        {
            return Verdict::Slow { since, moved, due };
        }
        let moved = self.marks.front().map_or(0.0, |m| along - m.x);
        match window(MOVES) {
            Some((_, lately, due)) if lately >= SLOW_SHARE * due => Verdict::Moving { moved },
            _ => Verdict::Open { moved },
        }
    }

    /// Where the position is due, along the drive: between the slowest and the fastest plausible motion from the onset.
    pub fn band(&self, now: f64, p: &Stops) -> (f64, f64) {
        let quick = FASTEST * (now - self.began);
        if self.is_away() {
            let low = (self.x0 + self.total).min(p.authority.max(self.x0));
            let high = (self.x0 + quick).min(p.authority.max(self.x0));
            (low - STOP_MARGIN, high + STOP_MARGIN)
        } else {
            let high = (self.x0 - self.total).max(0.0);
            let low = (self.x0 - quick).max(0.0);
            (low.min(high) - p.tolerance, high + p.tolerance)
        }
    }
}

/// The ends of the travel, along the drive.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stops {
    /// From rest to the far stop.
    pub authority: f64,
    /// How far from zero still counts as at rest.
    pub tolerance: f64,
}
