//! A step of the command and its return, several times: dead time, rate, overshoot, settling.
//!
//! The steps are found in the course of the command, to the period; the answer is in the cam edges, each timed to a
//! part of a sample. Neither is taken from the looks 50 times a second.

use super::Outcome;
use super::answers::{Answer, Answers};
use super::setup::{Guide, Moment, Pulse, Setup, Verdict};
use super::step_finder::{Step, StepFinder};
use crate::repeats::{Repeats, ends};
use crate::step_response::{self, Point};
use crate::units::{CrankDegrees, Seconds};
use std::collections::VecDeque;

/// Steps of each direction that are enough. More would narrow the ranges by the root of their number.
pub(super) const ENOUGH: usize = 3;
/// Least transition that is measured, crank degrees: of a smaller one 5 % are lost in the noise of the edges.
const LEAST: f64 = 5.0;
/// Seconds before a step that are taken with it.
const BEFORE: f64 = 0.6;
/// The answer is complete when the cam has stood within this, crank degrees, for so many seconds, this long after the
/// step at the earliest.
const STILL: f64 = 1.0;
const STILL_FOR: f64 = 0.6;
const EARLIEST: f64 = 1.0;
/// Seconds that a pushed phaser may take to start, and part of what is then owed that it must give.
const START: f64 = 0.5;
const GIVEN: f64 = 0.25;
/// Seconds beyond the time for the whole travel after which no answer is waited for.
const PATIENCE: f64 = 2.0;
/// Seconds of the command after a step in which it must have gone half of its way to have stepped.
const COMMAND: f64 = 0.4;

/// A step whose answer is not complete.
#[derive(Debug, Clone)]
struct Open {
    step: Step,
    pulses: Vec<Pulse>,
    /// Seconds for which the command pushed in the direction of the step.
    pushed: f64,
    rpm: f64,
}

/// The trial.
#[derive(Debug, Clone, Default)]
pub(super) struct Stepping {
    finder: StepFinder,
    /// The last periods: what went before a step belongs to it.
    pulses: VecDeque<Pulse>,
    edges: VecDeque<Point>,
    open: Option<Open>,
    answers: Answers,
    last: Option<f64>,
}

impl Stepping {
    pub fn pause(&mut self) {
        self.finder.clear();
        self.pulses.clear();
        self.edges.clear();
        self.open = None;
        self.last = None;
    }

    pub fn look(&mut self, setup: &Setup, m: &Moment<'_>) -> Guide {
        let passed = self.last.map_or(0.0, |last| (m.t - last).clamp(0.0, 0.1));
        self.last = Some(m.t);
        self.edges.extend(m.edges.iter().map(|&(at, phase)| Point {
            at: Seconds(at),
            phase: CrankDegrees(phase),
        }));
        let kept = setup.longest() + PATIENCE + BEFORE + EARLIEST;
        while self.edges.front().is_some_and(|p| m.t - p.at.0 > kept) {
            let _ = self.edges.pop_front();
        }
        if let Some(open) = &mut self.open
            && setup.push(m.duty, m.supply) * open.step.sign > 0.5
        {
            open.pushed += passed;
        }
        for &pulse in m.pulses {
            self.pulses.push_back(pulse);
            while self
                .pulses
                .front()
                .is_some_and(|p| pulse.end - p.start > COMMAND)
            {
                let _ = self.pulses.pop_front();
            }
            if let Some(open) = &mut self.open
                && pulse.end - open.step.at <= COMMAND
            {
                open.pulses.push(pulse);
            }
            if let Some(step) = self.finder.push(pulse) {
                // What a loop does while the cam is on its way, or after it has gone the same way, belongs to the step
                // before; any other ends the wait for that.
                let goes_on = self.open.as_ref().is_some_and(|o| {
                    let same = o.step.sign * step.sign > 0.0 && self.has_moved(o.step.at);
                    same || !self.is_still(setup, step.at)
                });
                if goes_on {
                    continue;
                }
                if let Some(open) = self.open.take() {
                    self.close(setup, &open, step.at);
                }
                self.open = Some(Open {
                    step,
                    pulses: (self.pulses.iter().copied())
                        .filter(|p| p.end > step.at)
                        .collect(),
                    pushed: 0.0,
                    rpm: m.rpm,
                });
            }
        }
        if let Some(open) = self.open.take() {
            if self.is_complete(setup, &open, m.t) {
                self.close(setup, &open, m.t);
            } else {
                self.open = Some(open);
            }
        }
        self.guide(setup, m)
    }

    fn is_complete(&self, setup: &Setup, open: &Open, now: f64) -> bool {
        let since = now - open.step.at;
        if since > setup.longest() + PATIENCE {
            return true;
        }
        // One that has not moved at all is waited for as long as motion may be owed.
        let moved = self.has_moved(open.step.at);
        let owed = setup.slowest() * (open.pushed - START) >= LEAST;
        since > EARLIEST
            && self.is_still(setup, now)
            && (moved || owed || since > 2.0 * EARLIEST + START)
    }

    /// Whether the cam has stood at an instant and for a while before: by the means of its turns, for single edges are
    /// off by the wheel's runout and their own noise.
    fn is_still(&self, setup: &Setup, now: f64) -> bool {
        let last: Vec<f64> = (self.edges.iter().rev())
            .skip_while(|p| p.at.0 > now)
            .take_while(|p| now - p.at.0 <= STILL_FOR)
            .map(|p| p.phase.0)
            .collect();
        let turns = last.chunks_exact(setup.edges().max(1));
        let seen = turns.len() > 1;
        let means = turns.filter_map(Repeats::of).map(|r| r.mean);
        seen && ends(means).is_some_and(|[a, b]| b - a <= STILL)
    }

    /// Whether the cam has moved since an instant.
    fn has_moved(&self, at: f64) -> bool {
        let since = self.edges.iter().filter(|p| p.at.0 >= at);
        ends(since.map(|p| p.phase.0)).is_some_and(|[a, b]| b - a >= LEAST)
    }

    fn close(&mut self, setup: &Setup, open: &Open, end: f64) {
        let at = open.step.at;
        let points: Vec<Point> = (self.edges.iter().copied())
            .filter(|p| p.at.0 >= at - BEFORE && p.at.0 <= end)
            .collect();
        let response = step_response::extract(&points, Seconds(at), CrankDegrees(LEAST));
        let sign = open.step.sign;
        if let Ok(response) = response
            && setup.travel(response.rate.0) * sign > 0.0
        {
            self.answers.push(Answer {
                sign,
                response,
                command: self.transition(open),
                pushed: open.pushed,
                rpm: open.rpm,
            });
            return;
        }
        let (Some(first), Some(last)) = (points.iter().find(|p| p.at.0 >= at), points.last())
        else {
            return;
        };
        let moved = setup.travel(last.phase.0 - first.phase.0) * sign;
        let owed = setup.slowest() * (open.pushed - START);
        let there = setup.at_stop(setup.travel(first.phase.0), sign);
        if owed >= LEAST && moved < GIVEN * owed && !there {
            self.answers.refuse(sign, open.pushed, moved);
        }
    }

    /// Seconds that the command took from its quiet level to half of its way.
    fn transition(&self, open: &Open) -> f64 {
        let step = open.step;
        let away = |p: &Pulse| (p.duty - step.from) * step.sign;
        let most = open.pulses.iter().map(away).fold(0.0, f64::max);
        (open.pulses.iter())
            .find(|p| away(p) >= 0.5 * most)
            .map_or(COMMAND, |p| (p.start - step.at).max(0.0))
    }

    fn guide(&self, setup: &Setup, m: &Moment<'_>) -> Guide {
        let [there, back] = [1.0, -1.0].map(|sign| self.answers.seen(sign));
        let instruct = match &self.open {
            Some(open) if open.step.sign > 0.0 => {
                "Hold the speed until it stands still.".to_owned()
            }
            Some(_) => "Keep your foot off until it stands still.".to_owned(),
            None if !self.finder.is_quiet() => {
                "Keep the speed as it is; waiting for a quiet command.".to_owned()
            }
            None if setup.rests(m.duty) || setup.is_idle(m.rpm) => {
                format!("Now rev quickly to {:.0} rpm and hold it there.", setup.rev)
            }
            None => "Now foot off at once, let it idle.".to_owned(),
        };
        let duty = m
            .duty
            .map_or(String::new(), |d| format!(", command {d:.0} %"));
        Guide {
            instruct,
            watching: format!(
                "{:.0} rpm, cam at {:+.1}°{duty}; {there} of {ENOUGH} steps away, {back} of {ENOUGH} back",
                m.rpm, m.phase
            ),
            progress: self.answers.progress(),
        }
    }

    pub fn conclude(&self, setup: &Setup, why_not: &str) -> Verdict {
        self.answers.conclude(setup, why_not)
    }
}

/// What came out, by name: used where nothing was measured at all.
pub(super) fn nothing(why_not: &str) -> Verdict {
    Verdict {
        measures: vec![super::setup::missing("rate 10 to 90 %", "°/s", why_not)],
        outcome: Outcome::NotShown,
        sentence: format!("Not shown: {why_not}."),
    }
}
