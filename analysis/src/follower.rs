//! A supposition of which tooth the last edge was, carried on from edge to edge with what speaks against it.
//!
//! What speaks against is counted as a negative log-likelihood: half the square of a deviation in standard
//! deviations, and fixed prices for a tooth that was missed or an edge that is none.

use crate::course::Course;
use crate::damage::Flaw;
use crate::teeth::Tooth;
use crate::wheel::Width;

/// Price of an edge that is no tooth. As a likelihood: one edge in a thousand.
const EXTRA: f64 = 7.0;
/// Price of a tooth without an edge: rarer, one in twenty thousand. Less, and at the worst phase of cranking ripple
/// the suspicion that one was lost in the gap would never be laid to rest.
const MISSED: f64 = 10.0;
/// The same of a tooth that has been seen to be missing.
const MISSED_AGAIN: f64 = 0.5;
/// Price of a tooth out of place: likelier than one that is missing and an edge that is none besides.
const DISPLACED: f64 = 5.0;
/// Cost of an interval from which on the tooth may be out of place instead.
const MAY_BE_DISPLACED: f64 = 1.0;
/// Most an interval may cost that is out of proportion with its neighbours.
const MOST_BETWEEN: f64 = 5.0;
/// Price of a coded tooth of the wrong width, and how far from one half its share of the pitch must be to tell.
const WRONG_WIDTH: f64 = 6.0;
const UNCLEAR_WIDTH: f64 = 0.08;
/// Intervals that cost less have no other explanation worth following.
const PLAIN: f64 = 0.2;
/// Teeth missed together at most.
const MOST_MISSED: u8 = 2;
/// Edges passed over in a row at most.
const MOST_EXTRA: u8 = 6;
/// An interval that deviates by more standard deviations cannot be explained: two of them hold the worst that a
/// crank is known to do.
const FAR: f64 = 2.6;
/// But among equal teeth one may be out of place: logarithm of the greatest ratio to the expected interval that is too much for that.
const BEYOND: f64 = 0.5;
/// An edge that comes after less than 0.3 of an interval is the tooth before once more.
const TWIN: f64 = 1.2;
/// Below this many rpm an irregularity may be ripple.
const CRANKING: f64 = 400.0;
/// Below this many rpm a crank may turn back on compression.
const MAY_TURN_BACK: f64 = 250.0;
/// Logarithm of the ratio of two intervals beyond which the crank slows as if it came to a stand: of 1.29, with room for noise.
const SLOWS: f64 = 0.22;
/// Part of the lowest speed of the last turn or two below which it is slower than the starter lets it be.
const SLOWEST: f64 = 0.93;
/// And below this it may stand and turn back between two teeth.
const MAY_STAND: f64 = 25.0;

/// An active edge, with the width of the tooth before it where that was seen.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Mark {
    pub at: f64,
    /// Share of the interval before this edge that the tooth took.
    pub share: Option<f64>,
}

/// A supposition.
#[derive(Debug, Clone)]
pub(crate) struct Follower {
    pub tooth: usize,
    /// Degrees counted on over the revolutions.
    pub angle: f64,
    pub at: f64,
    /// What speaks against it.
    pub cost: f64,
    /// Degrees travelled since it was supposed.
    pub travelled: f64,
    /// Teeth not yet handed on.
    pub trail: Vec<Tooth>,
    /// Irregularities in the part of the wheel under way and in the one before.
    flaws: [u16; 2],
    /// Greatest deviation of an interval in the part under way and in the one before.
    rough: [f64; 2],
    /// Samples per degree, to be expected next; 0 before the first interval.
    pace: f64,
    /// Most samples per degree in the turn under way and the one before, and degrees travelled when that began.
    slow: [f64; 2],
    turned: f64,
    /// Samples per degree and degrees of the last intervals, newest first.
    raw: [(f64, f64); 2],
    /// The last tooth in its place and the degrees since, while the one after it is out of place.
    anchor: Option<(f64, f64)>,
    extra: u8,
    /// Whether the crank may have turned back since the last interval that told where the wheel is.
    pub doubt: bool,
    /// Angle at which that was last so. Every interval of a coarse wheel may tell something, and a crank that has turned
    /// back still fits one of them.
    lagged: f64,
    /// Angle of the last tooth that such an interval vouches for.
    pub vouched: f64,
    /// Coded teeth of the right width in a row.
    coded: u8,
    /// Teeth missed, and edges passed over in intervals that stand out, in this part of the wheel and the one before.
    missed: [u8; 2],
    stray: [u8; 2],
    /// Edges passed over that were not the tooth before once more.
    surplus: [u8; 2],
    /// Whether there were both: a wrong count finds teeth where the gap should be, and a gap among the teeth.
    pub is_miscount: bool,
    /// Tooth that was missed or out of place in the last step.
    pub flawed: Option<(usize, Flaw)>,
}

impl Follower {
    /// Supposes that the edge at `at` was this tooth.
    pub fn suppose(tooth: usize, angle: f64, at: f64) -> Self {
        Self {
            tooth,
            angle,
            at,
            cost: 0.0,
            travelled: 0.0,
            trail: vec![Tooth { at, angle }],
            flaws: [0; 2],
            rough: [0.0; 2],
            pace: 0.0,
            slow: [0.0; 2],
            turned: 0.0,
            raw: [(0.0, 0.0); 2],
            anchor: None,
            extra: 0,
            doubt: false,
            lagged: f64::NEG_INFINITY,
            vouched: angle,
            coded: 0,
            missed: [0; 2],
            stray: [0; 2],
            surplus: [0; 2],
            is_miscount: false,
            flawed: None,
        }
    }

    /// Samples per degree to be expected next.
    pub fn pace(&self) -> f64 {
        self.pace
    }

    /// Whether teeth that are not known to be missing were missed.
    pub fn misses_teeth(&self) -> bool {
        self.missed != [0; 2]
    }

    /// Whether there were edges that are none and look like teeth.
    pub fn has_surplus(&self) -> bool {
        self.surplus != [0; 2]
    }

    /// Whether the last tooth is supposed to be out of its place.
    pub fn is_displaced(&self) -> bool {
        self.anchor.is_some()
    }

    /// Irregularities in the part of the wheel under way or the one before, whichever had more.
    pub fn flaws(&self) -> u16 {
        self.flaws[0].max(self.flaws[1])
    }

    /// Logarithm of the greatest deviation of an interval in the last one to two parts of the wheel.
    pub fn roughest(&self) -> f64 {
        self.rough[0].max(self.rough[1])
    }

    /// Where this supposition has the crank at a time.
    pub fn reached(&self, at: f64) -> f64 {
        if self.pace > 0.0 {
            self.angle + (at - self.at) / self.pace
        } else {
            self.angle
        }
    }

    /// Every way in which the next edge can be understood is put into `out`; nothing if there is none.
    /// `per_rpm` is samples times rpm of one degree; `missing` says which teeth are known to be.
    pub fn step(
        mut self,
        mark: Mark,
        course: &Course,
        per_rpm: f64,
        missing: &[bool],
        out: &mut Vec<Self>,
    ) {
        self.flawed = None;
        let pitch = course.pitch(self.tooth);
        if self.pace <= 0.0 {
            self.take(mark, course, pitch, 0, 0.0, per_rpm);
            out.push(self);
            return;
        }
        // After a tooth out of place the next is measured from the one before it.
        let (from, since) = self.anchor.unwrap_or((self.at, 0.0));
        let deviation = |span: f64| {
            let (pace, sigma) = self.expected(course, since + span, per_rpm);
            (((mark.at - from) / (pace * (since + span))).ln(), sigma)
        };
        let rpm = per_rpm / self.pace;
        let (x, sigma) = deviation(pitch);
        let plain = 0.5 * (x / sigma).powi(2);
        if plain < PLAIN {
            self.rough[0] = self.rough[0].max(x.abs());
            self.take(mark, course, pitch, 0, plain, per_rpm);
            out.push(self);
            return;
        }
        if x > 0.0 && course.is_fine() {
            let (mut span, mut tooth, mut price) = (pitch, self.tooth, 0.0);
            for missed in 1..=MOST_MISSED {
                tooth = course.after(tooth);
                span += course.pitch(tooth);
                let known = missing.get(tooth).copied().unwrap_or(false);
                price += if known { MISSED_AGAIN } else { MISSED };
                let (x, sigma) = deviation(span);
                if x.abs() <= FAR * sigma {
                    let mut other = self.clone();
                    other.rough[0] = other.rough[0].max(x.abs());
                    if !known {
                        other.flaw(rpm);
                        other.missed[0] += missed;
                    }
                    let cost = price + 0.5 * (x / sigma).powi(2);
                    let doubt = other.doubt;
                    other.take(mark, course, span, missed, cost, per_rpm);
                    other.doubt |= doubt;
                    other.flawed = Some((tooth, Flaw::Missing));
                    out.push(other);
                }
            }
        }
        if x < 0.0 && self.extra < MOST_EXTRA {
            let mut other = self.clone();
            other.extra += 1;
            other.cost += EXTRA;
            if x.abs() <= TWIN {
                other.surplus[0] = other.surplus[0].saturating_add(1);
            }
            // An edge right after another is no tooth beyond doubt, and one in the middle of nowhere neither, unless
            // it is the tooth before that was none.
            let clear = if rpm < CRANKING {
                TWIN
            } else {
                (FAR * sigma).max(BEYOND)
            };
            if x.abs() <= clear {
                other.flaw(rpm);
            }
            out.push(other);
        }
        if x.abs() <= FAR * sigma {
            let mut other = self.clone();
            other.rough[0] = other.rough[0].max(x.abs());
            other.take(mark, course, pitch, 0, plain, per_rpm);
            out.push(other);
        }
        // Where the wheel is told no tooth is supposed to be out of place: a gap that comes a tooth early or late
        // must not pass for one in its place.
        let may_be_displaced = self.anchor.is_none() && !course.stands_out(self.tooth);
        if plain > MAY_BE_DISPLACED && x.abs() <= BEYOND && may_be_displaced {
            self.flaw(rpm);
            self.take_displaced(mark, course, pitch);
            out.push(self);
        }
    }

    /// Notes an irregularity. While cranking it may be ripple instead, and the count wrong.
    fn flaw(&mut self, rpm: f64) {
        self.flaws[0] += 1;
        if rpm < CRANKING {
            self.doubt = true;
        }
    }

    /// Samples per degree to be expected over the next `span`, and the standard deviation of its logarithm. A change
    /// of pace goes on, as far as a crank can change its pace.
    fn expected(&self, course: &Course, span: f64, per_rpm: f64) -> (f64, f64) {
        let [(pace, wide), (before, length)] = self.raw;
        let degrees = 0.5 * (wide + span);
        let rpm = per_rpm / self.pace;
        if pace <= 0.0 || before <= 0.0 {
            return (self.pace, course.slack(degrees, rpm));
        }
        let (share, sigma) = course.ahead(degrees, rpm);
        let most = course.steepest(degrees, rpm);
        let change = (pace / before).ln() * degrees / (0.5 * (wide + length));
        (self.pace * (share * change.clamp(-most, most)).exp(), sigma)
    }

    /// Takes the edge for the next tooth, out of its place.
    fn take_displaced(&mut self, mark: Mark, course: &Course, span: f64) {
        self.cost += DISPLACED;
        self.anchor = Some((self.at, span));
        self.flawed = Some((course.after(self.tooth), Flaw::Misplaced));
        self.raw = [(0.0, span), (0.0, self.raw[0].1)];
        self.move_on(mark, course, span, 0);
    }

    /// Takes the edge for the tooth `missed` after the next, `span` degrees on.
    fn take(
        &mut self,
        mark: Mark,
        course: &Course,
        span: f64,
        missed: u8,
        cost: f64,
        per_rpm: f64,
    ) {
        let from = self.tooth;
        let usual = self.pace;
        let pace = match self.anchor.take() {
            Some((at, since)) => (mark.at - at) / (since + span),
            None => (mark.at - self.at) / span,
        };
        let is_whole = missed == 0 && self.raw[0].0 > 0.0;
        let between = self.between(course, pace, span, missed, per_rpm);
        self.cost += cost + between.unwrap_or(0.0);
        let width = self.judge_width(mark, course, missed);
        let lags = usual > 0.0
            && !course.is_even()
            && self.may_turn_back(course, pace / usual, span, per_rpm);
        if course.stands_out(from) {
            self.stray[0] += self.extra;
        }
        let hides_teeth = missed > 1 || (course.stands_out(from) && self.extra > 1);
        self.is_miscount = self.stray != [0; 2] && self.missed != [0; 2];
        self.pace = pace;
        self.slow[0] = self.slow[0].max(pace);
        if self.travelled > self.turned + 360.0 {
            self.turned = self.travelled;
            self.slow = [pace, self.slow[0]];
        }
        self.raw = [(if missed == 0 { pace } else { 0.0 }, span), self.raw[0]];
        self.move_on(mark, course, span, missed);

        let tells = if course.is_coded() {
            width == Some(true) && self.coded >= 8
        } else {
            // The interval before this one is known on both sides now.
            is_whole && self.told_by(course, from, between)
        };
        let settled = !course.is_coarse() || self.angle > self.lagged + course.length();
        if lags || (hides_teeth && usual > 0.0) {
            self.doubt = true;
            self.lagged = self.angle;
        } else if tells && settled {
            self.doubt = false;
            self.vouched = self.angle;
        }
    }

    fn move_on(&mut self, mark: Mark, course: &Course, span: f64, missed: u8) {
        for _ in 0..=missed {
            self.tooth = course.after(self.tooth);
            if self.tooth == 0 {
                self.flaws = [0, self.flaws[0]];
                self.rough = [0.0, self.rough[0]];
                self.missed = [0, self.missed[0]];
                self.stray = [0, self.stray[0]];
                self.surplus = [0, self.surplus[0]];
            }
        }
        self.angle += span;
        self.travelled += span;
        self.at = mark.at;
        self.extra = 0;
        self.trail.push(Tooth {
            at: mark.at,
            angle: self.angle,
        });
    }

    /// Whether the interval that ended at tooth `from` stands out, as it should.
    fn told_by(&self, course: &Course, from: usize, between: Option<f64>) -> bool {
        let before = (from + course.teeth() - 1) % course.teeth();
        between.is_some_and(|cost| cost < MOST_BETWEEN) && course.stands_out(before)
    }

    /// What the last interval but this costs between its neighbours; unknown where teeth were missed.
    fn between(
        &self,
        course: &Course,
        pace: f64,
        span: f64,
        missed: u8,
        per_rpm: f64,
    ) -> Option<f64> {
        let [(middle, wide), (first, length)] = self.raw;
        if missed > 0 || first <= 0.0 || middle <= 0.0 {
            return None;
        }
        let x = (2.0 * middle / (first + pace)).ln();
        let degrees = 0.5 * wide + 0.25 * (length + span);
        let sigma = course.slack_between(degrees, per_rpm / middle);
        Some((0.5 * (x / sigma).powi(2)).min(MOST_BETWEEN))
    }

    fn judge_width(&mut self, mark: Mark, course: &Course, missed: u8) -> Option<bool> {
        let (share, due) = (mark.share?, course.width(self.tooth)?);
        if missed > 0 || self.extra > 0 || (share - 0.5).abs() < UNCLEAR_WIDTH {
            return None;
        }
        let is_right = (share < 0.5) == (due == Width::Narrow);
        if is_right {
            self.coded = self.coded.saturating_add(1);
        } else {
            self.coded = 0;
            self.cost += WRONG_WIDTH;
            self.flaws[0] += 1;
        }
        Some(is_right)
    }

    /// Under a constant braking torque the square of the speed falls evenly with the angle, so that the last interval
    /// before a stand is at least 1.29 times the one before it. A crank that slows like that, and is so slow that it
    /// may come to a stand within the next interval, may turn back there, and one sensor cannot tell which way it
    /// turns. While the starter turns it, it slows at every compression, but no further than at the one before. One that
    /// slows faster than cranking ripple does may turn back as well.
    fn may_turn_back(&self, course: &Course, ratio: f64, span: f64, per_rpm: f64) -> bool {
        let now = per_rpm / self.pace / ratio;
        let degrees = 0.5 * (self.raw[0].1 + span);
        let ahead = course.pitch(course.after(self.tooth));
        let is_slowest = now < SLOWEST * per_rpm / self.slow[0].max(self.slow[1]).max(1e-9);
        let may_stop = is_slowest && now < course.may_stop_below(ahead) && ratio.ln() > SLOWS;
        let brakes =
            now < MAY_TURN_BACK && ratio.ln() > 0.08 + 1.05 * course.steepest(degrees, now);
        now < MAY_STAND || may_stop || brakes
    }
}
