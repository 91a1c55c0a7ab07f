//! What the cam has done with its command over the session, in degrees along the drive: zero at the reference at rest,
//! positive when driven away. Times are seconds.

use crate::engine::PhaserSheet;
use std::collections::VecDeque;

/// A movement to one side of at least this, with no more than [`BACK`] back, is one: above the tolerance of a sound
/// edge (2.4 crank degrees, Allegro ATS673 data sheet) and what a cam swings on its chain.
const MOVE: f64 = 5.0;
/// Movement back that ends one.
const BACK: f64 = 2.5;
/// While the phase stays within this it stands: twice the 1.2 crank degrees that a mean of edges may wander.
const STANDS: f64 = 2.5;
/// Seconds driven to a side while it stands, after which it has had time to move: dead time of cold oil and the lag of
/// the rolling phase are below a second (from memory); less would take a slow start for a standstill.
const OWED: f64 = 1.5;
/// Commanded to rest for this long and still for [`SETTLED`], it has come to rest.
const REST: f64 = 2.0;
const SETTLED: f64 = 0.8;
/// Motion below which it is still, as the agreement takes it.
const STILL: f64 = 0.75;
/// Rests kept; of more the oldest go.
const MOST: usize = 200;

/// Movements to one side.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(crate) struct Moves {
    pub count: usize,
    /// The largest, degrees.
    pub largest: f64,
    /// End of the last.
    pub last: f64,
    /// Duty of the largest.
    pub duty: f64,
}

impl Moves {
    fn add(&mut self, degrees: f64, at: f64, duty: f64) {
        self.count += 1;
        self.last = at;
        if degrees > self.largest {
            self.largest = degrees;
            self.duty = duty;
        }
    }
}

/// A time in which it stood although it was driven both ways.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Stand {
    pub from: f64,
    pub to: f64,
    /// Where, degrees along the drive.
    pub low: f64,
    pub high: f64,
    /// Seconds driven away from rest, and towards rest.
    pub out: f64,
    pub back: f64,
}

impl Stand {
    /// Whether it was driven both ways for long enough to have had to move, whatever stop it stands at.
    pub fn both_ways(&self) -> bool {
        self.out >= OWED && self.back >= OWED
    }
}

/// A coming to rest.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Rested {
    pub at: f64,
    pub x: f64,
    /// Whether it had moved away since the rest before.
    pub anew: bool,
}

/// One look at a cam whose leads are all proven.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Point {
    pub at: f64,
    /// Degrees along the drive.
    pub x: f64,
    pub duty: f64,
}

/// The leg of the zigzag under way.
#[derive(Debug, Clone, Copy)]
struct Leg {
    from: Point,
    top: Point,
    sum: f64,
    n: f64,
    up: bool,
}

/// What one cam has done.
#[derive(Debug, Clone)]
pub(crate) struct MotionLog {
    hold: [f64; 2],
    rest_below: f64,
    /// Seconds looked at.
    pub seconds: f64,
    /// With the drive: away from rest and towards rest.
    pub out: Moves,
    pub back: Moves,
    /// All ends of movements with the drive, bounded; to say whether it moved after an instant.
    pub ends: VecDeque<(f64, bool)>,
    /// Against a drive outside the hold zone.
    pub against: Moves,
    pub x: [f64; 2],
    pub duty: [f64; 2],
    leg: Option<Leg>,
    stand: Option<Stand>,
    /// The longest time it stood though driven both ways.
    pub stood: Option<Stand>,
    recent: VecDeque<Point>,
    rest_since: Option<f64>,
    moved_since_rest: bool,
    pub rests: VecDeque<Rested>,
    last: Option<f64>,
}

impl MotionLog {
    pub fn new(phaser: &PhaserSheet) -> Self {
        Self {
            hold: [phaser.hold.low.0, phaser.hold.high.0],
            rest_below: phaser.rest_below.0,
            seconds: 0.0,
            out: Moves::default(),
            back: Moves::default(),
            ends: VecDeque::new(),
            against: Moves::default(),
            x: [f64::INFINITY, f64::NEG_INFINITY],
            duty: [f64::INFINITY, f64::NEG_INFINITY],
            leg: None,
            stand: None,
            stood: None,
            recent: VecDeque::new(),
            rest_since: None,
            moved_since_rest: true,
            rests: VecDeque::new(),
            last: None,
        }
    }

    /// Nothing could be looked at: what was under way is not carried on.
    pub fn pause(&mut self) {
        self.leg = None;
        self.stand = None;
        self.recent.clear();
        self.rest_since = None;
        self.last = None;
    }

    pub fn look(&mut self, p: Point) {
        let step = self.last.map_or(0.0, |last| p.at - last);
        self.last = Some(p.at);
        self.seconds += step;
        self.x = [self.x[0].min(p.x), self.x[1].max(p.x)];
        self.duty = [self.duty[0].min(p.duty), self.duty[1].max(p.duty)];
        self.follow(p);
        self.stand_still(p, step);
        self.rest(p);
    }

    /// Whether it moved both ways after that instant.
    pub fn moved_both_ways_after(&self, at: f64) -> bool {
        [true, false]
            .iter()
            .all(|&way| self.ends.iter().any(|&(end, up)| end > at && up == way))
    }

    fn follow(&mut self, p: Point) {
        let Some(leg) = &mut self.leg else {
            self.leg = Some(Leg {
                from: p,
                top: p,
                sum: p.duty,
                n: 1.0,
                up: true,
            });
            return;
        };
        leg.sum += p.duty;
        leg.n += 1.0;
        let on = if leg.up {
            p.x - leg.top.x
        } else {
            leg.top.x - p.x
        };
        if on >= 0.0 {
            leg.top = p;
        } else if -on >= BACK {
            let leg = *leg;
            self.finish(leg);
            self.leg = Some(Leg {
                from: leg.top,
                top: p,
                sum: p.duty,
                n: 1.0,
                up: !leg.up,
            });
            return;
        }
        // One that goes on for long counts before it ends.
        let leg = *leg;
        if (leg.top.x - leg.from.x).abs() >= 3.0 * MOVE {
            self.finish(leg);
            self.leg = Some(Leg {
                from: leg.top,
                top: leg.top,
                sum: p.duty,
                n: 1.0,
                up: leg.up,
            });
        }
    }

    fn finish(&mut self, leg: Leg) {
        let degrees = (leg.top.x - leg.from.x).abs();
        if degrees < MOVE {
            return;
        }
        self.moved_since_rest = true;
        let duty = leg.sum / leg.n;
        let against = if leg.up {
            duty < self.hold[0]
        } else {
            duty > self.hold[1]
        };
        if against {
            self.against.add(degrees, leg.top.at, duty);
            return;
        }
        let moves = if leg.up {
            &mut self.out
        } else {
            &mut self.back
        };
        moves.add(degrees, leg.top.at, duty);
        self.ends.push_back((leg.top.at, leg.up));
        if self.ends.len() > MOST {
            let _ = self.ends.pop_front();
        }
    }

    fn stand_still(&mut self, p: Point, step: f64) {
        let fresh = Stand {
            from: p.at,
            to: p.at,
            low: p.x,
            high: p.x,
            out: 0.0,
            back: 0.0,
        };
        let stand = self.stand.get_or_insert(fresh);
        let (low, high) = (stand.low.min(p.x), stand.high.max(p.x));
        if high - low > STANDS {
            *stand = fresh;
            return;
        }
        *stand = Stand {
            to: p.at,
            low,
            high,
            out: stand.out + if p.duty > self.hold[1] { step } else { 0.0 },
            back: stand.back + if p.duty < self.hold[0] { step } else { 0.0 },
            ..*stand
        };
        let longest = self
            .stood
            .is_none_or(|s| s.from >= stand.from || s.to - s.from < stand.to - stand.from);
        if stand.both_ways() && longest {
            self.stood = Some(*stand);
        }
    }

    fn rest(&mut self, p: Point) {
        self.recent.push_back(p);
        while self.recent.front().is_some_and(|q| p.at - q.at > SETTLED) {
            let _ = self.recent.pop_front();
        }
        if p.duty >= self.rest_below {
            self.rest_since = None;
            return;
        }
        let since = *self.rest_since.get_or_insert(p.at);
        let (low, high) = self
            .recent
            .iter()
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), q| {
                (a.min(q.x), b.max(q.x))
            });
        if p.at - since < REST || high - low > STILL {
            return;
        }
        if self.moved_since_rest || self.rests.is_empty() {
            self.rests.push_back(Rested {
                at: p.at,
                x: p.x,
                anew: self.moved_since_rest,
            });
            self.moved_since_rest = false;
            if self.rests.len() > MOST {
                let _ = self.rests.pop_front();
            }
        } else if let Some(last) = self.rests.back_mut() {
            // The same rest, seen longer.
            last.at = p.at;
            last.x = p.x;
        }
    }
}
