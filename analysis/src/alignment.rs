//! All suppositions of which tooth the last edge was, side by side. Unlikely ones are given up, and one that is
//! far more likely than every other is believed.

use crate::course::Course;
use crate::follower::{Follower, Mark};
use crate::teeth::Tooth;

/// By how much the likeliest must lead before it is believed: odds of e^8, one error in 3000 searches of noise.
const LEAD: f64 = 8.0;
/// A rival nearer than this still throws doubt on one that was believed.
const RIVAL: f64 = 7.0;
/// A supposition this far behind is given up once another is believed.
const GIVEN_UP: f64 = 24.0;
/// While searching, none is ever further behind, so that the true one can catch up within a revolution
/// after any disturbance.
const MOST_BEHIND: f64 = 30.0;
/// Parts of the wheel after which what spoke against one is forgotten while searching: the ripple of a crank is the
/// same every turn, so that more turns are not more evidence.
const MEMORY: f64 = 1.5;
/// Irregularities within a part of the wheel that one may still have when it is first believed.
const MOST_FLAWS: u16 = 3;
/// The speed must change from tooth to tooth by less than this part of what a gap stands out by: the intervals of a
/// coarse wheel may change as much by cranking ripple alone.
const CLEARLY: f64 = 0.75;
/// Teeth of an even wheel that must come evenly.
const EVEN_TEETH: f64 = 8.0;
/// Intervals that must have been explained of any wheel: fewer fit two or four teeth by chance.
const FEWEST: f64 = 8.0;

/// The suppositions.
#[derive(Debug, Clone, Default)]
pub(crate) struct Alignment {
    followers: Vec<Follower>,
    next: Vec<Follower>,
}

impl Alignment {
    /// Forgets all.
    pub fn clear(&mut self) {
        self.followers.clear();
    }

    /// Takes an edge while nothing is believed yet. Returns the supposition to believe, the others being kept beside it.
    pub fn search(
        &mut self,
        mark: Mark,
        course: &Course,
        per_rpm: f64,
        base: f64,
    ) -> Option<Follower> {
        let length = MEMORY * course.length();
        for mut follower in std::mem::take(&mut self.followers) {
            follower.cost *= (1.0 - course.pitch(follower.tooth) / length).max(0.0);
            follower.step(mark, course, per_rpm, &[], &mut self.next);
        }
        // A tooth that nothing better is supposed of begins anew, so that the true one is among them after any disturbance.
        let anew = |tooth: usize| {
            let mut anew = Follower::suppose(tooth, base + course.angle(tooth), mark.at);
            anew.cost = MOST_BEHIND;
            anew
        };
        self.next.extend((0..course.teeth()).map(anew));
        self.settle(MOST_BEHIND, f64::INFINITY, course);
        let longest = 2 * course.teeth() + 16;
        for follower in &mut self.followers {
            if follower.trail.len() > longest {
                let _ = follower.trail.drain(..longest / 2);
            }
        }
        let best = self.followers.first()?;
        let pitch = course.length() / course.teeth() as f64;
        let enough = if course.is_even() {
            EVEN_TEETH * pitch
        } else {
            // And one interval more, so that each has been explained, the first one too.
            (course.length() + course.pitch(best.tooth)).max(FEWEST * pitch)
        };
        let is_clear = best.travelled > enough - 1e-6
            && best.flaws() <= MOST_FLAWS
            && !best.doubt
            && !best.is_miscount
            && !(best.misses_teeth() && course.is_mocked_by_a_missing_tooth())
            && !(best.has_surplus() && course.is_mocked_by_an_extra_tooth())
            && best.roughest() < CLEARLY * course.contrast()
            && self.rival(course, LEAD, 0.5 * pitch).is_none();
        is_clear.then(|| best.clone())
    }

    /// Takes an edge while one is believed. None are left if no supposition explains it.
    pub fn follow(&mut self, mark: Mark, course: &Course, per_rpm: f64, missing: &[bool]) {
        for follower in self.followers.drain(..) {
            follower.step(mark, course, per_rpm, missing, &mut self.next);
        }
        self.settle(f64::INFINITY, GIVEN_UP, course);
    }

    /// The likeliest.
    pub fn best(&self) -> Option<&Follower> {
        self.followers.first()
    }

    /// Whether any other that is nearly as likely has the crank elsewhere by most of a tooth.
    pub fn is_disputed(&self, course: &Course) -> bool {
        let pitch = course.length() / course.teeth() as f64;
        self.rival(course, RIVAL, 0.6 * pitch).is_some()
    }

    /// Hands on the teeth of the likeliest, oldest first; the others begin theirs anew.
    pub fn hand_on(&mut self, take: impl FnMut(Tooth)) {
        let mut followers = self.followers.iter_mut();
        if let Some(best) = followers.next() {
            best.trail.drain(..).for_each(take);
        }
        followers.for_each(|f| f.trail.clear());
    }

    /// Another that is at most `lead` behind the likeliest and has the crank more than `degrees` elsewhere.
    fn rival(&self, course: &Course, lead: f64, degrees: f64) -> Option<&Follower> {
        let (best, others) = self.followers.split_first()?;
        let at = self.followers.iter().map(|f| f.at).fold(best.at, f64::max);
        let here = best.reached(at);
        others
            .iter()
            .take_while(|f| f.cost < best.cost + lead)
            .find(|f| {
                let apart = (f.reached(at) - here).rem_euclid(course.length());
                apart.min(course.length() - apart) > degrees
            })
    }

    /// Keeps of suppositions that agree the likeliest; the costs are counted from the least.
    fn settle(&mut self, most_behind: f64, given_up: f64, course: &Course) {
        self.followers.clear();
        std::mem::swap(&mut self.followers, &mut self.next);
        let list = &mut self.followers;
        if list.len() > 1 {
            list.sort_by(|a, b| {
                (a.tooth.cmp(&b.tooth))
                    .then(a.at.total_cmp(&b.at))
                    .then(a.is_displaced().cmp(&b.is_displaced()))
                    .then(a.cost.total_cmp(&b.cost))
            });
            list.dedup_by(|later, kept| {
                later.tooth == kept.tooth
                    && later.at.total_cmp(&kept.at).is_eq()
                    && later.is_displaced() == kept.is_displaced()
            });
            list.sort_by(|a, b| a.cost.total_cmp(&b.cost));
            list.truncate(3 * course.teeth() + 8);
        }
        let Some(least) = list.first().map(|f| f.cost) else {
            return;
        };
        list.retain_mut(|f| {
            f.cost = (f.cost - least).min(most_behind);
            f.cost <= given_up
        });
    }
}
