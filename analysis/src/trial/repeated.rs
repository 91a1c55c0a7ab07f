//! Back to rest several times: does the cam always come back to the same place.

use super::Outcome;
use super::setup::{
    Guide, Moment, Setup, Turns, Verdict, mean, measure, missing, sentence, with_range,
};
use crate::repeats::{Repeats, ends};

/// Times at rest that are enough: with four, Student's factor is down to 3.2.
const ENOUGH: usize = 4;
/// Seconds of rest before it counts, and cam revolutions that then count.
const SETTLES: f64 = 1.2;
const TURNS: usize = 6;
/// Those must lie within this, crank degrees, or it still moves.
const STILL: f64 = 1.0;
/// Motion that counts as driven away, crank degrees: well above any play at rest.
const AWAY: f64 = 5.0;

/// The trial.
#[derive(Debug, Clone, Default)]
pub(super) struct Repeated {
    rests: Vec<f64>,
    since: Option<f64>,
    turns: Turns,
    /// Whether it has been driven away since the last rest.
    away: bool,
    /// Seconds for which it was pushed away without going.
    pushed: f64,
    last: Option<f64>,
}

impl Repeated {
    pub fn pause(&mut self) {
        self.since = None;
        self.turns.clear();
        self.last = None;
    }

    pub fn look(&mut self, setup: &Setup, m: &Moment<'_>) -> Guide {
        let passed = self.last.map_or(0.0, |last| (m.t - last).clamp(0.0, 0.1));
        self.last = Some(m.t);
        let waits = self.rests.is_empty() || self.away;
        if let Some(&rest) = self.rests.last() {
            self.away |= (m.phase - rest).abs() > AWAY;
            if !self.away && setup.push(m.duty, m.supply) > 0.0 {
                self.pushed += passed;
            }
        }
        if waits && setup.is_idle(m.rpm) && setup.rests(m.duty) {
            let since = *self.since.get_or_insert(m.t);
            if m.t - since > SETTLES {
                self.turns.push(m.edges, setup.edges());
            }
            let means = &self.turns.means;
            if means.len() >= TURNS {
                let still = ends(means.iter().copied()).is_some_and(|[a, b]| b - a <= STILL);
                if still {
                    self.rests.extend(Repeats::of(means).map(|r| r.mean));
                    self.away = false;
                }
                self.turns.clear();
            }
        } else {
            self.since = None;
            self.turns.clear();
        }
        let waits = self.rests.is_empty() || self.away;
        Guide {
            instruct: if waits {
                "Let it idle, foot off.".to_owned()
            } else {
                format!(
                    "Now rev to {:.0} rpm, hold it for two seconds, then foot off.",
                    setup.rev
                )
            },
            watching: format!(
                "{:.0} rpm, cam at {:+.1}°, at rest {} of {ENOUGH} times",
                m.rpm,
                m.phase,
                self.rests.len()
            ),
            progress: self.rests.len() as f64 / ENOUGH as f64,
        }
    }

    pub fn conclude(&self, setup: &Setup, why_not: &str) -> Verdict {
        let (name, tolerance) = (setup.name(), setup.tolerance());
        let (Some(rests), Some([low, high])) =
            (Repeats::of(&self.rests), ends(self.rests.iter().copied()))
        else {
            return Verdict {
                measures: vec![missing("position at rest", "°", why_not)],
                outcome: Outcome::NotShown,
                sentence: format!("Not shown: {why_not}."),
            };
        };
        let measures = vec![
            mean("position at rest", &self.rests, "°", why_not),
            measure("greatest difference between rests", high - low, None, "°"),
            measure("times at rest", self.rests.len() as f64, None, ""),
        ];
        let (outcome, sentence) = if self.rests.len() < ENOUGH {
            let pushed = if self.pushed > 1.0 {
                format!(
                    "; it was pushed away from rest for {:.1} s and did not go",
                    self.pushed
                )
            } else {
                String::new()
            };
            (
                Outcome::NotShown,
                format!(
                    "Not shown: {name} came to rest only {} of {ENOUGH} times, {why_not}{pushed}.",
                    self.rests.len()
                ),
            )
        } else {
            let text = format!(
                "{} came to rest {} times at {}°, within {:.1}° of each other",
                sentence(&name),
                self.rests.len(),
                with_range(rests.mean, rests.half_width()),
                high - low
            );
            // What a good engine may be off by at all is more than any may wander.
            if high - low <= tolerance {
                (Outcome::Sound, format!("{text}."))
            } else {
                (
                    Outcome::Unsound,
                    format!(
                        "{text}: more than the ±{tolerance:.1}° that a good one may be off by. It sticks on its way home; teeth do not come and go."
                    ),
                )
            }
        };
        Verdict {
            measures,
            outcome,
            sentence,
        }
    }
}
