//! Finds steps in the course of a command: where it has been quiet and leaves for good.

use super::setup::Pulse;
use crate::repeats::quantile;
use std::collections::VecDeque;

/// Seconds of quiet before a step. Less takes the end of one motion for the rest before the next.
const QUIET: f64 = 0.5;
/// Least distance from the quiet level that is a step, points of duty, and the spread that is still quiet: controllers
/// dither by a few points. Fewer points would find steps in the noise of a loop, more would miss gentle ones.
const LEAST: f64 = 3.0;
const LOOSE: f64 = 8.0;
/// Seconds that it must stay away.
const LASTS: f64 = 0.08;
/// Pulses that it must stay away.
const LEAST_PULSES: usize = 3;

/// A step.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Step {
    /// When the first period began that was no more of the quiet level, seconds.
    pub at: f64,
    /// Level before, percent.
    pub from: f64,
    /// 1 for more duty, -1 for less.
    pub sign: f64,
}

/// The finder.
#[derive(Debug, Clone, Default)]
pub(super) struct StepFinder {
    recent: VecDeque<Pulse>,
    /// Pulses beyond the quiet level, all on one side.
    leaving: Vec<Pulse>,
}

impl StepFinder {
    pub fn clear(&mut self) {
        self.recent.clear();
        self.leaving.clear();
    }

    /// Level and half width about it of the last half second, if it was quiet.
    fn quiet(&self) -> Option<(f64, f64)> {
        let (first, last) = (self.recent.front()?, self.recent.back()?);
        if last.end - first.start < QUIET {
            return None;
        }
        let mut duties: Vec<f64> = self.recent.iter().map(|p| p.duty).collect();
        duties.sort_by(f64::total_cmp);
        let spread = quantile(&duties, 0.9)? - quantile(&duties, 0.1)?;
        (spread <= LOOSE).then_some((quantile(&duties, 0.5)?, spread))
    }

    /// Whether the command is quiet now.
    pub fn is_quiet(&self) -> bool {
        self.leaving.is_empty() && self.quiet().is_some()
    }

    /// Takes the next period; returns the step that it makes sure.
    pub fn push(&mut self, pulse: Pulse) -> Option<Step> {
        let quiet = self.quiet();
        let Some((level, spread)) = quiet else {
            self.keep(pulse);
            return None;
        };
        let away = pulse.duty - level;
        if away.abs() <= LEAST.max(spread) {
            for early in std::mem::take(&mut self.leaving) {
                self.keep(early);
            }
            self.keep(pulse);
            return None;
        }
        let sign = away.signum();
        if self
            .leaving
            .first()
            .is_some_and(|p| (p.duty - level) * sign < 0.0)
        {
            self.leaving.clear();
        }
        self.leaving.push(pulse);
        let first = self.leaving.first()?;
        if self.leaving.len() < LEAST_PULSES || pulse.end - first.start < LASTS {
            return None;
        }
        // A command that leaves slowly has left its own noise before it is that far away.
        let own = (0.5 * spread).max(0.5);
        let at = (self.recent.iter().rev())
            .take_while(|p| (p.duty - level) * sign > own)
            .last()
            .map_or(first.start, |p| p.start);
        let leaving = std::mem::take(&mut self.leaving);
        self.recent.clear();
        self.recent.extend(leaving);
        Some(Step {
            at,
            from: level,
            sign,
        })
    }

    fn keep(&mut self, pulse: Pulse) {
        self.recent.push_back(pulse);
        while (self.recent.get(1)).is_some_and(|second| pulse.end - second.start >= QUIET) {
            let _ = self.recent.pop_front();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 200 Hz, a duty at each instant.
    fn found(seconds: f64, duty: impl Fn(f64) -> f64) -> Vec<Step> {
        let (mut finder, mut t, mut steps) = (StepFinder::default(), 0.0, Vec::new());
        while t < seconds {
            let (start, end) = (t, t + 0.005);
            steps.extend(finder.push(Pulse {
                start,
                end,
                duty: duty(t),
            }));
            t = end;
        }
        steps
    }

    #[test]
    fn a_lasting_change_is_found_to_the_period_and_a_short_one_is_not() {
        let steps = found(4.0, |t| match t {
            t if (0.8..0.83).contains(&t) => 60.0,
            t if (1.2..2.5).contains(&t) => 45.0,
            _ => 8.0,
        });
        assert_eq!(steps.len(), 2, "{steps:?}");
        assert!((steps[0].at - 1.2).abs() < 0.0051 && steps[0].sign > 0.0);
        assert!((steps[1].at - 2.5).abs() < 0.0051 && steps[1].sign < 0.0);
        assert!((steps[0].from - 8.0).abs() < 1e-9 && (steps[1].from - 45.0).abs() < 1e-9);
    }

    #[test]
    fn the_beginning_of_a_ramp_is_found_and_dither_is_none() {
        // From 47 % down at 100 points a second: beyond 3 points after 30 ms, but it began before.
        let steps = found(2.0, |t| 47.0 - (100.0 * (t - 1.0)).clamp(0.0, 40.0));
        assert_eq!(steps.len(), 1, "{steps:?}");
        assert!((steps[0].at - 1.0).abs() < 0.011, "{steps:?}");
        let dither = found(5.0, |t| 47.0 + 3.5 * (t * 60.0).sin());
        assert_eq!(dither, []);
    }
}
