//! Finding stretches of a recording by what was measured: `duty > 60 and phase < 5`, `exhaust off
//! rest for 2 s`.
//!
//! ```text
//! wish       = either [ "for" number ( "ms" | "s" | "min" ) ]
//! either     = both { "or" both }
//! both       = one { "and" one }
//! one        = "not" one | "(" either ")" | comparison | state
//! comparison = field ( ">" | ">=" | "<" | "<=" | "=" | "!=" ) number
//! field      = "speed" | "supply" | ( "duty" | "phase" ) [ cam ]
//! state      = [ cam ] ( "following" | "not following" | "off rest" | … | "disagreeing" )
//! cam        = "intake" | "exhaust" | "intake-2" | "exhaust-2"
//! ```
//!
//! A field or state without a cam means any cam, the same one throughout: `duty > 60 and phase < 5`
//! is where one cam has both. What is not known is neither true nor false, so a stretch is found
//! only where the wish is certainly met. Equal means to the last written digit of the number.

mod parse;

use super::course::{Course, INTERVAL};
use keyway_analysis::lead::CamId;
use keyway_analysis::snapshot::AgreementState;
use serde::Serialize;
use std::fmt;

/// What is looked for.
#[derive(Debug, Clone, PartialEq)]
pub struct Wish {
    test: Test,
    /// Shortest stretch, seconds.
    least: f64,
}

/// A stretch in which the wish is met.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Hit {
    /// Begin, seconds since the start of the recording.
    pub from: f64,
    /// End.
    pub to: f64,
    /// The cams for which it is met; empty when the wish is of no particular cam.
    pub cams: Vec<CamId>,
}

/// Why a text is not understood, and what is expected there.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{what} {place}: expected {expected}")]
pub struct NotUnderstood {
    what: String,
    place: String,
    expected: String,
}

#[derive(Debug, Clone, PartialEq)]
enum Test {
    Compare(Field, Relation, Limit),
    State(Option<CamId>, Wanted),
    Not(Box<Test>),
    And(Box<Test>, Box<Test>),
    Or(Box<Test>, Box<Test>),
}

#[derive(Debug, Clone, Copy, PartialEq)]
enum Field {
    Speed,
    Supply,
    Duty(Option<CamId>),
    Phase(Option<CamId>),
}

#[derive(Debug, Clone, Copy, PartialEq)]
enum Wanted {
    Is(AgreementState),
    Disagreeing,
}

#[derive(Debug, Clone, Copy, PartialEq)]
enum Relation {
    Above,
    AtLeast,
    Below,
    AtMost,
    Equal,
    Unequal,
}

/// A number as it was written.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Limit {
    value: f64,
    /// Half a unit of its last digit.
    half_digit: f64,
}

impl Wish {
    /// Understands a text.
    pub fn of(text: &str) -> Result<Self, NotUnderstood> {
        parse::wish(text)
    }

    /// The cams it names must be in the course; else the first that is not.
    pub fn stranger(&self, course: &Course) -> Option<CamId> {
        let mut named = Vec::new();
        self.test.cams(&mut named);
        let is_there = |id: &CamId| course.cams.iter().any(|c| c.id == *id);
        named.into_iter().flatten().find(|id| !is_there(id))
    }

    /// Where it is met, in order.
    pub fn hits(&self, course: &Course) -> Vec<Hit> {
        let mut named = Vec::new();
        self.test.cams(&mut named);
        let is_of_any = named.iter().any(Option::is_none);
        let cams = if is_of_any { course.cams.len() } else { 0 };
        let mut hits: Vec<Hit> = Vec::new();
        for i in 0..course.len() {
            let mut met: Vec<CamId> = Vec::new();
            for cam in 0..cams {
                if self.test.at(course, i, cam) == Some(true) {
                    met.push(course.cams[cam].id);
                }
            }
            let is_met = if is_of_any {
                !met.is_empty()
            } else {
                self.test.at(course, i, 0) == Some(true)
            };
            if !is_met {
                continue;
            }
            let (from, to) = (course.at[i] - INTERVAL / 2.0, course.at[i] + INTERVAL / 2.0);
            match hits.last_mut() {
                Some(last) if course.follows(i) && from - last.to < INTERVAL / 2.0 => {
                    last.to = to;
                    let new = met.into_iter().filter(|id| !last.cams.contains(id));
                    let new: Vec<CamId> = new.collect();
                    last.cams.extend(new);
                }
                _ => hits.push(Hit {
                    from,
                    to,
                    cams: met,
                }),
            }
        }
        hits.retain(|h| h.to - h.from >= self.least - 1e-6);
        hits
    }
}

impl Test {
    fn cams(&self, named: &mut Vec<Option<CamId>>) {
        match self {
            Self::Compare(Field::Duty(cam) | Field::Phase(cam), ..) | Self::State(cam, _) => {
                named.push(*cam);
            }
            Self::Compare(Field::Speed | Field::Supply, ..) => {}
            Self::Not(one) => one.cams(named),
            Self::And(a, b) | Self::Or(a, b) => {
                a.cams(named);
                b.cams(named);
            }
        }
    }

    /// Whether it is met at point `i`, with the cam at `any` where none is named; `None` when that
    /// is not known.
    fn at(&self, course: &Course, i: usize, any: usize) -> Option<bool> {
        let cam = |id: Option<CamId>| match id {
            Some(id) => course.cams.iter().find(|c| c.id == id),
            None => course.cams.get(any),
        };
        match self {
            Self::Compare(field, relation, limit) => {
                let value = match field {
                    Field::Speed => course.speed[i],
                    Field::Supply => course.supply[i],
                    Field::Duty(id) => cam(*id)?.duty[i],
                    Field::Phase(id) => cam(*id)?.phase[i],
                };
                Some(relation.holds(f64::from(value?), *limit))
            }
            Self::State(id, wanted) => {
                let state = cam(*id)?.state[i];
                match wanted {
                    // That it could not be judged is known, and so is that it was asked for.
                    Wanted::Is(AgreementState::NotJudged) => {
                        Some(state == AgreementState::NotJudged)
                    }
                    _ if state == AgreementState::NotJudged => None,
                    Wanted::Is(wanted) => Some(state == *wanted),
                    Wanted::Disagreeing => Some(state.is_disagreement()),
                }
            }
            Self::Not(one) => one.at(course, i, any).map(|met| !met),
            Self::And(a, b) => match (a.at(course, i, any), b.at(course, i, any)) {
                (Some(false), _) | (_, Some(false)) => Some(false),
                (Some(true), Some(true)) => Some(true),
                _ => None,
            },
            Self::Or(a, b) => match (a.at(course, i, any), b.at(course, i, any)) {
                (Some(true), _) | (_, Some(true)) => Some(true),
                (Some(false), Some(false)) => Some(false),
                _ => None,
            },
        }
    }
}

impl Relation {
    fn holds(self, value: f64, limit: Limit) -> bool {
        let is_equal = (value - limit.value).abs() <= limit.half_digit;
        match self {
            Self::Above => value > limit.value,
            Self::AtLeast => value >= limit.value,
            Self::Below => value < limit.value,
            Self::AtMost => value <= limit.value,
            Self::Equal => is_equal,
            Self::Unequal => !is_equal,
        }
    }
}

impl fmt::Display for Hit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:.2} s to {:.2} s", self.from, self.to)?;
        for (i, cam) in self.cams.iter().enumerate() {
            write!(f, "{}{cam}", if i == 0 { "  " } else { ", " })?;
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests;
