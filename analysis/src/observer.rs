//! What is learnt of a phaser while it works: hold duty, rate, travel and the sense of its command.
//!
//! Only from motion that followed: a phaser that stands because it is stuck teaches nothing. What is learnt makes a
//! verdict faster and finer; the bounds of the sheet hold without it.

mod excursion;
mod hold;
mod motion;
mod rates;
mod sense;

use crate::drive::{FASTEST, Stops, Zone, supply_share};
use crate::engine::PhaserSheet;
use crate::reading::{Reading, Why};
use crate::units::{Band, CrankDegrees, DegreesPerSecond, Percent, Seconds, Volts};
use excursion::Excursions;
use hold::HoldLearner;
use motion::Motion;
use rates::Rates;
use sense::SenseLearner;

/// A far stop may lie this far short of the sheet's authority: makers give the travel of the part, engines use less of
/// it (from memory). The price of less is a false flag at a stop, of more a phaser stuck near its stop that is not told.
const NEAREST_STOP: f64 = 0.78;
/// And this far beyond.
const FARTHEST_STOP: f64 = 1.1;
/// Travel that is worth showing, crank degrees.
const TRAVELS: f64 = 5.0;
/// Share of the learnt rate below which it does not follow, and below which it lags: rates fall with oil pressure and
/// a smaller push by half and more without a fault.
const STILL_SHARE: f64 = 0.2;
const SLOW_SHARE: f64 = 0.3;
/// Share of the sheet's slowest rate below which it lags.
const SLOW_OF_SHEET: f64 = 0.8;
/// It stands between its stops when it stays within this for [`STANDS_FOR`], beside the noise.
const STANDS: f64 = 0.8;
const STANDS_FOR: f64 = 0.6;
/// A jump of the timing: half of a tooth of a sprocket of 48.
const SPRINGS: f64 = 7.5;
/// The same for where a change of duty finds it.
const STOOD_FOR: f64 = 0.3;
/// Duty may swing by as much meanwhile, points.
const STANDS_DUTY: f64 = 8.0;
/// Points of duty over which the rate goes from nothing to the greatest, at the steepest.
const STEEPEST: f64 = 15.0;
/// Points more than the duty at which it last left its rest that may be needed the next time.
const LEFT: f64 = 5.0;
/// A figure older than this is shown as stale, seconds.
const STALE: f64 = 60.0;

/// What has been learnt of one phaser.
#[derive(Debug, Clone, PartialEq)]
pub struct ObserverView {
    /// Duty band in which it stands, as learnt, at the present supply.
    pub hold: Reading<Band<Percent>>,
    /// Rate away from rest when driven hard.
    pub rate_out: Reading<DegreesPerSecond>,
    /// Rate back to rest when driven hard.
    pub rate_back: Reading<DegreesPerSecond>,
    /// Travel seen from rest, at least the authority it has.
    pub travel: Reading<CrankDegrees>,
    /// Phase the model predicts for now.
    pub predicted: Reading<Band<CrankDegrees>>,
    /// Whether more duty moves it the way the engine sheet says.
    pub sense: Sense,
}

/// Which way more duty moves the cam.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sense {
    /// Not seen yet.
    Unknown,
    /// As the sheet says.
    AsSheet,
    /// Always the other way: the sheet's rest side, or its sense of the command, is wrong.
    Opposite,
}

/// One look of the observer, along the drive.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Look {
    pub now: f64,
    pub dt: f64,
    pub x: f64,
    pub duty: f64,
    pub supply: Option<Volts>,
    pub rpm: f64,
    /// The push that has surely arrived.
    pub felt: f64,
    /// Whether nothing speaks against the phaser.
    pub healthy: bool,
}

/// Learns what one phaser does.
#[derive(Debug, Clone)]
pub(crate) struct Observer {
    pub motion: Motion,
    excursions: Excursions,
    sense: SenseLearner,
    hold: HoldLearner,
    out: Rates,
    back: Rates,
    lowest: f64,
    highest: f64,
    duties: std::collections::VecDeque<(f64, f64)>,
    /// A duty with which it has left its rest: the least of those that were seen to be enough.
    left_at: Option<f64>,
    was_at_rest: bool,
}

impl Observer {
    pub fn new() -> Self {
        Self {
            motion: Motion::new(),
            excursions: Excursions::default(),
            sense: SenseLearner::new(),
            hold: HoldLearner::new(),
            out: Rates::default(),
            back: Rates::default(),
            lowest: f64::INFINITY,
            highest: f64::NEG_INFINITY,
            duties: std::collections::VecDeque::new(),
            left_at: None,
            was_at_rest: false,
        }
    }

    /// The view has holes: nothing is measured across them.
    pub fn gap(&mut self) {
        self.motion.gap();
        self.out.discard();
        self.back.discard();
        self.duties.clear();
        self.excursions = Excursions::default();
    }

    pub fn sense(&self) -> Sense {
        self.sense.sense()
    }

    /// The ends of the travel, `shift` being how far below its reference it rests.
    pub fn stops(
        &self,
        phaser: &PhaserSheet,
        shift: f64,
        reference: bool,
        tolerance: f64,
    ) -> Stops {
        let authority = phaser.authority.0;
        Stops {
            near: (NEAREST_STOP * authority + shift).max(if shift < 0.0 {
                f64::NEG_INFINITY
            } else {
                self.highest - 2.0
            }),
            far: (FARTHEST_STOP * authority + shift).max(self.highest),
            rest: if reference {
                Some(0.0)
            } else {
                Some(self.lowest).filter(|x| x.is_finite())
            },
            tolerance,
        }
    }

    /// The zone of the sheet, narrowed by what has been learnt.
    /// Near its rest a pin may want more duty than the phaser once it is free: there it is owed
    /// no earlier than with the duty at which it has left before.
    pub fn zone(&self, now: f64, sheet: Zone, supply: Option<Volts>, near_rest: bool) -> Zone {
        let Some((mean, half)) = self.hold.owes_outside(now, supply.is_some()) else {
            return sheet;
        };
        let share = supply_share(supply);
        let away = if near_rest {
            self.left_at.map(|left| (left + LEFT).max(mean + half))
        } else {
            Some(mean + half)
        };
        Zone {
            low: sheet.low.max((mean - half) * share),
            high: away.map_or(sheet.high, |away| sheet.high.min(away * share)),
        }
    }

    /// Rates below which it does not follow, and below which it lags, degrees per second.
    pub fn least_rates(&self, rpm: f64, away: bool, slowest: f64) -> (f64, f64) {
        let learnt = if away { &self.out } else { &self.back };
        let learnt = learnt.at(rpm).unwrap_or(0.0);
        (
            slowest.max(STILL_SHARE * learnt),
            (SLOW_OF_SHEET * slowest).max(SLOW_SHARE * learnt),
        )
    }

    pub fn look(&mut self, l: &Look, stops: &Stops) {
        let (now, dt) = (l.now, l.dt);
        let window = self.motion.window();
        let rate = self.motion.rate();
        self.duties
            .push_back((now, l.duty / supply_share(l.supply)));
        while self.duties.front().is_some_and(|d| now - d.0 > STANDS_FOR) {
            let _ = self.duties.pop_front();
        }
        if let Some((low, high)) = self.motion.range(now, window) {
            self.highest = self.highest.max(low);
            self.lowest = self.lowest.min(high);
        }
        let Some(rate) = rate else {
            return;
        };
        let still = self
            .motion
            .range(now, STOOD_FOR)
            .is_some_and(|(a, b)| b - a <= STANDS + 4.0 * self.motion.noise());
        let answer = self
            .excursions
            .look(now, l.x, l.duty / supply_share(l.supply), still);
        self.sense.look(now, answer, window);
        if !l.healthy {
            self.hold.doubted();
            self.out.discard();
            self.back.discard();
            return;
        }
        let right = self.sense() == Sense::AsSheet;
        let hard = |away: bool| {
            let push = if away { l.felt } else { -l.felt };
            right && push >= 1.0 && !stops.reached(away, l.x)
        };
        self.out.look(now, dt, hard(true), rate, window, l.rpm);
        self.back.look(now, dt, hard(false), -rate, window, l.rpm);
        if right && rate * l.felt >= 3.0 {
            self.hold.followed(now);
        }
        let at_rest = stops.reached(false, l.x);
        if self.was_at_rest && !at_rest && rate > 0.0 && right {
            let most = self.duties.iter().map(|d| d.1).fold(0.0, f64::max);
            self.left_at = Some(self.left_at.map_or(most, |left| left.min(most)));
        }
        self.was_at_rest = at_rest;
        let between = l.x > stops.tolerance + 1.0 && !stops.reached(true, l.x);
        if let (true, Some((low, high))) = (between && right, self.motion.range(now, STANDS_FOR)) {
            let (least, most, sum) = self
                .duties
                .iter()
                .fold((f64::INFINITY, f64::NEG_INFINITY, 0.0), |(a, b, s), d| {
                    (a.min(d.1), b.max(d.1), s + d.1)
                });
            let still = high - low <= STANDS + 4.0 * self.motion.noise();
            if still && most - least <= STANDS_DUTY {
                self.hold.stands(now, sum / self.duties.len() as f64);
            }
        }
    }

    /// How far the phase has sprung towards rest and beyond as no phaser does. The timing may have jumped.
    pub fn sprang_back(&self, now: f64, rpm: f64) -> Option<f64> {
        self.motion.jump(now, rpm).filter(|step| *step <= -SPRINGS)
    }

    /// How far it may go in `seconds` while the duty changes by `change` points in the zone and it moved at `rate`:
    /// rate is a function of duty, at its steepest from nothing to the greatest over a few points.
    pub fn leeway(&self, seconds: f64, change: f64, rate: f64) -> f64 {
        let greatest = [self.out.greatest(), self.back.greatest()]
            .into_iter()
            .flatten()
            .reduce(f64::max);
        let fastest = greatest.map_or(FASTEST, |r| (1.5 * r + 20.0).min(FASTEST));
        let changed = fastest * (change / STEEPEST).clamp(0.0, 1.0);
        1.5 + 4.0 * self.motion.noise() + seconds * (rate.abs() + changed)
    }

    /// Hold duty at the present supply and mean rates when driven hard, as far as they are known, for a sentence.
    pub fn figures(&self, away: bool, supply: Option<Volts>) -> (Option<f64>, Option<f64>) {
        let rates = if away { &self.out } else { &self.back };
        (
            self.hold
                .band()
                .map(|(mean, ..)| mean * supply_share(supply)),
            rates.latest().map(|(rate, _)| rate),
        )
    }

    pub fn view(
        &self,
        now: f64,
        supply: Option<Volts>,
        predicted: Reading<Band<CrankDegrees>>,
    ) -> ObserverView {
        let aged = |at: f64| (now - at > STALE).then_some(Seconds(now - at));
        let reading = |found: Option<(f64, f64)>| match found {
            None => Reading::Missing(Why::NotEnoughYet),
            Some((rate, at)) => match aged(at) {
                None => Reading::Valid(DegreesPerSecond(rate)),
                Some(age) => Reading::Stale(DegreesPerSecond(rate), age),
            },
        };
        let hold = match self.hold.band() {
            None => Reading::Missing(Why::NotEnoughYet),
            Some((mean, half, at)) => {
                let share = supply_share(supply);
                let band = Band {
                    low: Percent((mean - half) * share),
                    high: Percent((mean + half) * share),
                };
                match aged(at) {
                    None => Reading::Valid(band),
                    Some(age) => Reading::Stale(band, age),
                }
            }
        };
        let travel = self.highest - self.lowest;
        ObserverView {
            hold,
            rate_out: reading(self.out.latest()),
            rate_back: reading(self.back.latest()),
            travel: if travel.is_finite() && travel >= TRAVELS {
                Reading::Valid(CrankDegrees(travel))
            } else {
                Reading::Missing(Why::NotEnoughYet)
            },
            predicted,
            sense: self.sense(),
        }
    }
}
