//! Follows the tone wheel: which tooth an edge is, and when that is no longer certain.
//!
//! [`crate::alignment`] keeps every supposition that is not ruled out. An angle is given only while those that are
//! nearly as likely as the best have the crank within a tooth of it, and while the crank cannot have turned back
//! unseen; the teeth of the meantime are handed on when that is settled, or not at all.

use crate::alignment::Alignment;
use crate::course::Course;
use crate::damage::{Damage, Flaw};
use crate::follower::Mark;
use crate::reading::Why;
use crate::rotation::Revolution;
use crate::teeth::Teeth;
use crate::units::{Hertz, Rpm, SampleTime};
use crate::wheel::Wheel;
use std::collections::VecDeque;

/// A crank without a tooth for this long stands: at 60-2 that is below 20 rpm even in the gap.
const STOPPED_AFTER_SECONDS: f64 = 0.3;
/// A crank so slow that the widest interval alone takes this part of the time-out gets a longer one.
const STOPPED_AFTER_GAPS: f64 = 3.0;
/// Irregularities within a turn of the pattern after which it is not the pattern.
const MOST_FLAWS: u16 = 6;
/// Turns of the pattern for which the count may stay uncertain before it is given up.
const UNCERTAIN_TURNS: f64 = 1.25;
/// Revolutions waiting to be drained; whoever does not drain loses the oldest.
const MOST_WAITING: usize = 4096;

/// The decoder of one crank lead.
#[derive(Debug, Clone)]
pub(crate) struct Crank {
    course: Course,
    rate: Hertz,
    /// Angle of tooth 0 in the first turn that is counted.
    base: f64,
    alignment: Alignment,
    is_tracking: bool,
    is_certain: bool,
    damage: Damage,
    teeth: Teeth,
    /// Angle at which the revolution under way ends, and when it began if that was seen.
    turn: f64,
    turn_began: Option<f64>,
    last_edge: Option<f64>,
    last_interval: f64,
    /// Share of the interval under way that a coded tooth took, once its end has come.
    tooth_ended: Option<f64>,
    edges: u32,
    after_gap: bool,
    adoptions: u64,
    losses: u64,
    revolutions: u64,
    waiting: VecDeque<Revolution>,
}

impl Crank {
    pub fn new(wheel: &Wheel, gap_to_tdc: f64, cylinders: u8, rate: Hertz) -> Self {
        Self {
            course: Course::new(wheel, cylinders),
            rate,
            base: -gap_to_tdc,
            alignment: Alignment::default(),
            is_tracking: false,
            is_certain: false,
            damage: Damage::new(wheel),
            teeth: Teeth::default(),
            turn: 0.0,
            turn_began: None,
            last_edge: None,
            last_interval: 0.0,
            tooth_ended: None,
            edges: 0,
            after_gap: false,
            adoptions: 0,
            losses: 0,
            revolutions: 0,
            waiting: VecDeque::new(),
        }
    }

    /// Takes an active edge. Edges that do not come later than the one before are passed over.
    pub fn push(&mut self, at: f64) {
        if !at.is_finite() || self.last_edge.is_some_and(|last| at <= last) {
            return;
        }
        if self.is_over(at) {
            self.stop();
        }
        let mut share = None;
        if let Some(last) = self.last_edge {
            self.last_interval = at - last;
            share = self
                .tooth_ended
                .take()
                .map(|end| (end - last) / (at - last));
        }
        self.last_edge = Some(at);
        self.edges = self.edges.saturating_add(1);
        let mark = Mark { at, share };
        if self.is_tracking {
            self.follow(mark);
        } else {
            self.search(mark);
        }
    }

    /// Takes an edge of the other direction: on a coded wheel it ends a tooth.
    pub fn push_other(&mut self, at: f64) {
        if self.course.is_coded() && self.last_edge.is_some_and(|last| at > last) {
            self.tooth_ended = Some(at);
        }
    }

    /// Notices that no tooth has come for too long.
    pub fn settle(&mut self, until: f64) {
        if self.is_over(until) {
            self.stop();
        }
        self.teeth.trim();
    }

    /// Samples were lost before `first_good`.
    pub fn gap(&mut self, first_good: f64) {
        self.is_tracking = false;
        self.alignment.clear();
        self.teeth.clear();
        self.last_edge = Some(first_good);
        self.last_interval = 0.0;
        self.tooth_ended = None;
        self.after_gap = true;
    }

    pub fn teeth(&self) -> &Teeth {
        &self.teeth
    }

    /// Degrees after which the wheel looks the same: the count is right but for a multiple of it.
    pub fn step(&self) -> f64 {
        self.course.length()
    }

    /// Whether the pattern is followed. The angle may still be uncertain for a moment.
    pub fn is_tracking(&self) -> bool {
        self.is_tracking
    }

    /// Whether teeth come, recognised or not.
    pub fn is_turning(&self) -> bool {
        self.edges >= 3
    }

    /// Teeth that are missing or out of place turn after turn, and how.
    pub fn flaws(&self) -> Vec<(usize, Flaw)> {
        self.damage.known()
    }

    /// How often the pattern was found anew; angles of different counts do not compare.
    pub fn adoptions(&self) -> u64 {
        self.adoptions
    }

    /// Why the angle is not known.
    pub fn why(&self) -> Why {
        if self.after_gap {
            Why::StreamGap
        } else if self.is_turning() {
            Why::NoSync
        } else {
            Why::EngineStopped
        }
    }

    pub fn losses(&self) -> u64 {
        self.losses
    }

    pub fn revolutions(&self) -> u64 {
        self.revolutions
    }

    pub fn drain_revolutions(&mut self) -> impl Iterator<Item = Revolution> + '_ {
        self.waiting.drain(..)
    }

    /// Angle at a time, up to the next tooth that is due.
    pub fn angle_at(&self, at: f64) -> Option<f64> {
        self.teeth.angle_at(at).or_else(|| {
            let is_known = self.is_tracking && self.is_certain;
            let best = self.alignment.best().filter(|_| is_known)?;
            let ahead = (at - best.at) / best.pace();
            (0.0..=self.course.pitch(best.tooth) * 1.25)
                .contains(&ahead)
                .then_some(best.angle + ahead)
        })
    }

    /// Whether the last tooth is so recent that the next is not overdue.
    pub fn is_fresh(&self, now: f64) -> bool {
        let (true, Some(best), Some(last)) =
            (self.is_tracking(), self.alignment.best(), self.teeth.last())
        else {
            return false;
        };
        // An edge is known only after the signal has passed on; a twentieth of a second hides that.
        now - last.at < (3.0 * best.pace() * self.course.widest()).max(0.05 * self.rate.0)
    }

    /// Time within which the next tooth must come, in samples.
    pub fn patience(&self) -> f64 {
        let gap = match self.alignment.best().filter(|_| self.is_tracking) {
            Some(best) => best.pace() * self.course.widest(),
            // Unrecognised, the last interval may have been the gap already.
            None => self.last_interval,
        };
        (STOPPED_AFTER_SECONDS * self.rate.0).max(STOPPED_AFTER_GAPS * gap)
    }

    fn is_over(&self, at: f64) -> bool {
        // A single long interval before the stop must not stretch the time-out without end.
        let longest = 10.0 * STOPPED_AFTER_SECONDS * self.rate.0;
        self.last_edge
            .is_some_and(|last| at - last > self.patience().min(longest))
    }

    fn stop(&mut self) {
        self.is_tracking = false;
        self.alignment.clear();
        self.last_edge = None;
        self.last_interval = 0.0;
        self.tooth_ended = None;
        self.edges = 0;
        self.after_gap = false;
    }

    fn lose(&mut self, vouched: f64) {
        self.is_tracking = false;
        self.alignment.clear();
        self.teeth.retract(vouched + 1e-3);
        self.losses += 1;
    }

    /// Samples times rpm of one degree.
    fn per_rpm(&self) -> f64 {
        self.rate.0 / 6.0
    }

    fn search(&mut self, mark: Mark) {
        let per_rpm = self.per_rpm();
        let found = self
            .alignment
            .search(mark, &self.course, per_rpm, self.base);
        let Some(found) = found else {
            return;
        };
        self.teeth.clear();
        self.is_tracking = true;
        self.is_certain = true;
        self.adoptions += 1;
        self.after_gap = false;
        let begin = found.trail.first().map_or(found.angle, |t| t.angle);
        // The first revolution that was seen whole begins with the first tooth 0.
        self.turn = self.base + 360.0 * ((begin - self.base) / 360.0 - 1e-6).ceil();
        self.turn_began = None;
        self.hand_on();
    }

    fn follow(&mut self, mark: Mark) {
        let per_rpm = self.per_rpm();
        let vouched = self.alignment.best().map_or(0.0, |b| b.vouched);
        self.alignment
            .follow(mark, &self.course, per_rpm, self.damage.missing());
        let Some(best) = self.alignment.best() else {
            return self.lose(vouched);
        };
        let limit = if self.course.is_even() { 0 } else { MOST_FLAWS };
        if best.flaws() > limit || best.is_miscount {
            return self.lose(best.vouched);
        }
        self.is_certain = !best.doubt && !self.alignment.is_disputed(&self.course);
        let (tooth, flawed, at) = (best.tooth, best.flawed, best.at);
        let (angle, vouched) = (best.angle, best.vouched);
        if at >= mark.at {
            self.damage.note(tooth, flawed);
        }
        if self.is_certain {
            self.hand_on();
        } else {
            let last = self.teeth.last().map_or(vouched, |t| t.angle);
            if angle - last > UNCERTAIN_TURNS * self.course.length().max(360.0) {
                self.lose(vouched);
            }
        }
    }

    /// Takes over the teeth that have become certain.
    fn hand_on(&mut self) {
        let (teeth, turn) = (&mut self.teeth, &mut self.turn);
        let (began, rate, done) = (&mut self.turn_began, self.rate, &mut self.waiting);
        let before = done.len();
        self.alignment.hand_on(|tooth| {
            // A supposition that has taken over may count a tooth less than the one before it.
            let is_next = teeth
                .last()
                .is_none_or(|last| tooth.at > last.at && tooth.angle > last.angle + 1e-3);
            if !is_next {
                return;
            }
            teeth.push(tooth);
            while tooth.angle > *turn - 1e-3 {
                // The tooth itself where it was seen; else the instant at which it would have been.
                let at = if tooth.angle < *turn + 1e-3 {
                    Some(tooth.at)
                } else {
                    teeth.time_at(*turn)
                };
                if let (Some(start), Some(end)) = (*began, at) {
                    done.push_back(Revolution {
                        start: SampleTime(start),
                        end: SampleTime(end),
                        speed: Rpm(60.0 * rate.0 / (end - start)),
                    });
                }
                *began = at;
                *turn += 360.0;
            }
        });
        self.revolutions += (done.len() - before) as u64;
        let surplus = done.len().saturating_sub(MOST_WAITING);
        let _ = done.drain(..surplus);
    }
}
