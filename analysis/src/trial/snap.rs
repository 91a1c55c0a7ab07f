//! A quick rev: does the phaser answer at all.

use super::Outcome;
use super::setup::{Guide, Moment, Setup, Verdict, mean, measure, missing, sentence, with_range};
use crate::repeats::Repeats;

/// Revs that are enough.
const ENOUGH: usize = 3;
/// Seconds of idle before a rev, and after it, in which the cam may still answer.
const QUIET: f64 = 1.0;
const AFTER: f64 = 1.0;
/// Motion that is an answer, crank degrees: well above what shakes at idle.
const ANSWER: f64 = 5.0;
/// Seconds that a pushed phaser may take to start: what an unlocking pin and cold oil need (from memory).
const START: f64 = 0.5;

/// One rev.
#[derive(Debug, Clone, Copy)]
struct Rev {
    peak_rpm: f64,
    peak_duty: Option<f64>,
    rest: f64,
    /// Farthest from where it began, along the drive and against it.
    away: f64,
    against: f64,
    /// Seconds with the command outside the hold zone, away from rest.
    pushed: f64,
    /// Idle again since.
    idle: Option<f64>,
}

/// The trial.
#[derive(Debug, Clone, Default)]
pub(super) struct Snap {
    revs: Vec<Rev>,
    rev: Option<Rev>,
    idle: Option<f64>,
    last: Option<f64>,
}

impl Snap {
    pub fn pause(&mut self) {
        self.rev = None;
        self.idle = None;
        self.last = None;
    }

    pub fn look(&mut self, setup: &Setup, m: &Moment<'_>) -> Guide {
        let passed = self.last.map_or(0.0, |last| (m.t - last).clamp(0.0, 0.1));
        self.last = Some(m.t);
        let travel = setup.travel(m.phase);
        let is_idle = m.rpm <= setup.idle[1];
        if let Some(rev) = &mut self.rev {
            rev.peak_rpm = rev.peak_rpm.max(m.rpm);
            rev.peak_duty = rev.peak_duty.into_iter().chain(m.duty).reduce(f64::max);
            rev.away = rev.away.max(travel - rev.rest);
            rev.against = rev.against.max(rev.rest - travel);
            if setup.push(m.duty, m.supply) > 0.0 {
                rev.pushed += passed;
            }
            rev.idle = is_idle.then(|| rev.idle.unwrap_or(m.t));
            if rev.idle.is_some_and(|since| m.t - since > AFTER) {
                if rev.peak_rpm >= 0.8 * setup.rev {
                    self.revs.push(*rev);
                }
                self.rev = None;
                self.idle = Some(m.t);
            }
        } else if is_idle {
            let _ = self.idle.get_or_insert(m.t);
        } else if self.idle.is_some_and(|since| m.t - since > QUIET) {
            self.idle = None;
            self.rev = Some(Rev {
                peak_rpm: m.rpm,
                peak_duty: m.duty,
                rest: travel,
                away: 0.0,
                against: 0.0,
                pushed: 0.0,
                idle: None,
            });
        } else {
            self.idle = None;
        }
        let ready = self.idle.is_some_and(|since| m.t - since > QUIET);
        let instruct = match &self.rev {
            Some(rev) if rev.peak_rpm < 0.8 * setup.rev => {
                format!("A little more, to {:.0} rpm, then foot off.", setup.rev)
            }
            Some(_) => "Foot off, let it fall back to idle.".to_owned(),
            None if ready => format!("Now a quick rev to {:.0} rpm, and foot off.", setup.rev),
            None => "Let it idle, foot off.".to_owned(),
        };
        let duty = m
            .duty
            .map_or(String::new(), |d| format!(", command {d:.0} %"));
        Guide {
            instruct,
            watching: format!(
                "{:.0} rpm, cam at {:+.1}°{duty}, {} of {ENOUGH} revs",
                m.rpm,
                m.phase,
                self.revs.len()
            ),
            progress: self.revs.len() as f64 / ENOUGH as f64,
        }
    }

    pub fn conclude(&self, setup: &Setup, why_not: &str) -> Verdict {
        if self.revs.is_empty() {
            return Verdict {
                measures: vec![missing("greatest motion", "°", why_not)],
                outcome: Outcome::NotShown,
                sentence: format!("Not shown: {why_not}."),
            };
        }
        let of = |f: fn(&Rev) -> f64| self.revs.iter().map(f).collect::<Vec<f64>>();
        let (away, against, pushed) = (of(|r| r.away), of(|r| r.against), of(|r| r.pushed));
        let duties: Vec<f64> = self.revs.iter().filter_map(|r| r.peak_duty).collect();
        let most = duties.iter().copied().fold(0.0, f64::max);
        let measures = vec![
            mean("greatest motion", &away, "°", why_not),
            mean("greatest duty", &duties, "%", "the command was not read"),
            mean("command outside the hold zone", &pushed, "s", ""),
            mean("greatest speed", &of(|r| r.peak_rpm), "rpm", ""),
            measure("revs", self.revs.len() as f64, None, ""),
        ];
        let moved =
            Repeats::of(&away).map_or(String::new(), |r| with_range(r.mean, r.half_width()));
        let answers = away.iter().filter(|&&a| a >= ANSWER).count();
        let owed = |seconds: f64| setup.slowest() * (seconds - START).max(0.0);
        // Owed enough to be an answer, and not a quarter of it given.
        let refusals = (self.revs.iter())
            .filter(|r| owed(r.pushed) >= ANSWER && r.away < 0.25 * owed(r.pushed))
            .count();
        let backwards = (against.iter().zip(&away))
            .filter(|(against, away)| **against >= ANSWER && *against > *away)
            .count();
        let name = sentence(&setup.name());
        let (outcome, sentence) = if self.revs.len() < 2 {
            (
                Outcome::NotShown,
                format!("{name} moved by {moved}° in one rev; not enough, {why_not}."),
            )
        } else if backwards * 2 > self.revs.len() {
            (
                Outcome::Unsound,
                format!(
                    "{name} moved against the drive, by up to {:.1}°, at up to {most:.0} % of command.",
                    against.iter().copied().fold(0.0, f64::max)
                ),
            )
        } else if answers * 2 > self.revs.len() {
            (
                Outcome::Sound,
                format!(
                    "{name} answered {answers} of {} revs and moved by {moved}°, at up to {most:.0} % of command.",
                    self.revs.len()
                ),
            )
        } else if refusals * 2 > self.revs.len() {
            let seconds = pushed.iter().copied().fold(0.0, f64::max);
            (
                Outcome::Unsound,
                format!(
                    "{name} moved by only {moved}° while the command drove it at up to {most:.0} %, outside the hold zone for up to {seconds:.1} s."
                ),
            )
        } else {
            (
                Outcome::NotShown,
                format!(
                    "{name} moved by {moved}° at up to {most:.0} % of command: the controller did not drive it far enough to tell."
                ),
            )
        };
        Verdict {
            measures,
            outcome,
            sentence,
        }
    }
}
