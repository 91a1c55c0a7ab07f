//! Taking values of a recording under stated conditions, and saying why there are none.

use super::watch::Tick;
use crate::screen::live::words;
use crate::survey::Survey;
use keyway_analysis::comparison::{Conditions, Estimate, Finding, Speed};
use keyway_analysis::lead::Role;
use keyway_analysis::proof::ProofState;

/// One stream of a recording: what was measured, and what was noted meanwhile.
#[derive(Debug, Clone, Copy)]
pub struct Part<'a> {
    /// What was measured.
    pub survey: &'a Survey,
    /// What was noted.
    pub ticks: &'a [Tick],
}

/// When values are taken.
pub struct Take<'a> {
    /// The streams of the recording.
    pub parts: &'a [Part<'a>],
    /// The leads that must be proven.
    pub roles: Vec<Role>,
    /// The conditions in words: "at idle, command at rest".
    pub words: &'static str,
    /// The conditions.
    pub wanted: Box<dyn Fn(&Tick) -> bool + 'a>,
    /// Whether the measure follows speed.
    pub follows_speed: bool,
}

impl<'a> Take<'a> {
    /// Whenever these leads are proven.
    pub fn always(parts: &'a [Part<'a>], roles: Vec<Role>) -> Self {
        Self {
            parts,
            roles,
            words: "",
            wanted: Box::new(|_| true),
            follows_speed: false,
        }
    }

    /// At idle.
    pub fn idle(parts: &'a [Part<'a>], roles: Vec<Role>) -> Self {
        Self {
            words: "at idle",
            wanted: Box::new(|tick| tick.idles),
            follows_speed: true,
            ..Self::always(parts, roles)
        }
    }

    /// At idle with the command of this cam at rest.
    pub fn rest(parts: &'a [Part<'a>], roles: Vec<Role>, cam: usize) -> Self {
        let rests = move |tick: &Tick| tick.cams.get(cam).is_some_and(|c| c.rests);
        Self {
            words: "at idle, command at rest",
            wanted: Box::new(move |tick| tick.idles && rests(tick)),
            follows_speed: true,
            ..Self::always(parts, roles)
        }
    }

    /// Whether values of this time are taken.
    pub fn holds(&self, tick: &Tick) -> bool {
        self.roles.iter().all(|r| tick.proven.contains(r)) && (self.wanted)(tick)
    }

    /// Values that have an instant each, of a stream.
    pub fn of<T: Copy>(
        &self,
        part: &Part<'_>,
        values: impl Iterator<Item = (f64, T)>,
    ) -> Vec<(f64, T)> {
        values
            .filter(|(at, _)| {
                // The look that closes the time in which the value lies.
                let look = part.ticks.partition_point(|t| t.at < *at);
                part.ticks.get(look).is_some_and(|tick| self.holds(tick))
            })
            .collect()
    }

    /// Values of all streams one after another.
    pub fn all<I: Iterator<Item = (f64, f64)>>(
        &self,
        values: impl Fn(&'a Survey) -> Option<I>,
    ) -> Vec<f64> {
        (self.parts.iter())
            .flat_map(|part| {
                let of = values(part.survey).map(|v| self.of(part, v));
                of.unwrap_or_default()
            })
            .map(|(_, value)| value)
            .collect()
    }

    /// What the looks hold.
    pub fn looks(&self, value: impl Fn(&Tick) -> Option<f64>) -> Vec<f64> {
        (self.parts.iter().flat_map(|part| part.ticks))
            .filter(|tick| self.holds(tick))
            .filter_map(value)
            .collect()
    }

    /// The conditions as they were.
    pub fn conditions(&self) -> Conditions {
        Conditions {
            words: self.words.to_owned(),
            speed: Speed::of(self.looks(|tick| tick.speed).into_iter()),
            follows_speed: self.follows_speed,
            ..Conditions::default()
        }
    }

    /// The mean of values that follow each other, or why there is none.
    pub fn mean(&self, values: &[f64], finish: impl Fn(Estimate) -> Estimate) -> Finding {
        match Estimate::of_sequence(values) {
            Ok(estimate) => Finding::Figure(finish(estimate)),
            Err(lacking) => Finding::NotShown(self.hindrance().unwrap_or(lacking.to_string())),
        }
    }

    /// What kept values from being taken, if it is not that there were few.
    pub fn hindrance(&self) -> Option<String> {
        let looks = || self.parts.iter().flat_map(|part| part.ticks);
        if looks().next().is_none() {
            return Some("shorter than a quarter of a second".to_owned());
        }
        for role in &self.roles {
            if !looks().any(|tick| tick.proven.contains(role)) {
                return Some(unproven(self.parts, *role));
            }
        }
        if looks().any(|tick| self.holds(tick)) {
            return None;
        }
        let proven = |tick: &&Tick| self.roles.iter().all(|r| tick.proven.contains(r));
        Some(if looks().filter(proven).any(|tick| (self.wanted)(tick)) {
            "its leads were not proven meanwhile".to_owned()
        } else {
            format!("not seen {}", self.words)
        })
    }
}

/// What is the case with a lead that was never proven.
fn unproven(parts: &[Part<'_>], role: Role) -> String {
    let last = parts.last().map(|part| &part.survey.last.leads);
    let lead = last.and_then(|leads| leads.iter().find(|lead| lead.role == role));
    let name = words::lead(role);
    match lead {
        None => format!("no {name} lead"),
        Some(lead) => {
            let state = match lead.proof {
                ProofState::Silent => "silent",
                ProofState::Doubtful => "doubtful",
                ProofState::Spare => "not fitted",
                ProofState::Proven => "proven too late",
            };
            format!("{name} lead {state}: {}", lead.note)
        }
    }
}
