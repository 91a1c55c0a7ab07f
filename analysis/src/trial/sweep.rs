//! A slow sweep of the speed: does the cam follow everywhere.

use super::Outcome;
use super::setup::{Guide, Moment, Setup, Verdict, measure, sentence};
use crate::repeats::ends;
use std::collections::VecDeque;

/// Parts into which the speeds are divided, and seconds that each must be passed slowly.
const PARTS: usize = 8;
const EACH: f64 = 0.4;
/// Rpm a second that is still slow: the whole sweep takes some five seconds up.
const SLOW: f64 = 600.0;
/// Seconds over which that is measured.
const SPAN: f64 = 0.5;
/// Motion that shows that it was driven at all, crank degrees.
const MOVED: f64 = 5.0;
/// Seconds that a pushed phaser may take to start, motion that must then be owed, and the part of it that must be given.
const START: f64 = 0.5;
const OWED: f64 = 3.0;
const GIVEN: f64 = 0.25;

/// A stretch of time in which the command pushes one way.
#[derive(Debug, Clone, Copy)]
struct Stretch {
    since: f64,
    from: f64,
    push: f64,
}

/// The longest time it did not answer.
#[derive(Debug, Clone, Copy)]
struct Refusal {
    seconds: f64,
    rpm: f64,
    duty: f64,
    moved: f64,
}

/// The trial.
#[derive(Debug, Clone, Default)]
pub(super) struct Sweep {
    slow: [f64; PARTS],
    track: VecDeque<(f64, f64)>,
    stretch: Option<Stretch>,
    worst: Option<Refusal>,
    travels: Option<[f64; 2]>,
    speeds: Option<[f64; 2]>,
    last: Option<f64>,
}

impl Sweep {
    pub fn pause(&mut self) {
        self.track.clear();
        self.stretch = None;
        self.last = None;
    }

    fn limits(setup: &Setup) -> [f64; 2] {
        [setup.idle[1], 1.2 * setup.rev]
    }

    pub fn look(&mut self, setup: &Setup, m: &Moment<'_>) -> Guide {
        let passed = self.last.map_or(0.0, |last| (m.t - last).clamp(0.0, 0.1));
        self.last = Some(m.t);
        self.track.push_back((m.t, m.rpm));
        while self.track.front().is_some_and(|p| m.t - p.0 > SPAN) {
            let _ = self.track.pop_front();
        }
        let pace = self.track.front().map_or(0.0, |&(t, rpm)| {
            if m.t > t {
                (m.rpm - rpm).abs() / (m.t - t)
            } else {
                0.0
            }
        });
        let travel = setup.travel(m.phase);
        self.watch(setup, m, travel);
        let [low, high] = Self::limits(setup);
        let place = (m.rpm - low) / (high - low) * PARTS as f64;
        if pace <= SLOW {
            let part = (0..PARTS).find(|&i| (i as f64..i as f64 + 1.0).contains(&place));
            if let Some(part) = part {
                self.slow[part] += passed;
                self.travels = ends(self.travels.into_iter().flatten().chain([travel]));
                self.speeds = ends(self.speeds.into_iter().flatten().chain([m.rpm]));
            }
        }
        let done = self.slow.iter().filter(|&&s| s >= EACH).count();
        let instruct = if pace > SLOW && m.rpm > low {
            "Slower: it must pass every speed slowly.".to_owned()
        } else if done == PARTS {
            "Done: foot off, let it idle.".to_owned()
        } else {
            format!(
                "Raise the speed slowly from idle to {high:.0} rpm, within ten seconds or so, and back."
            )
        };
        let duty = m
            .duty
            .map_or(String::new(), |d| format!(", command {d:.0} %"));
        Guide {
            instruct,
            watching: format!(
                "{:.0} rpm, cam at {:+.1}°{duty}, {done} of {PARTS} parts of the way",
                m.rpm, m.phase
            ),
            progress: done as f64 / PARTS as f64,
        }
    }

    /// Watches whether what is owed is given.
    fn watch(&mut self, setup: &Setup, m: &Moment<'_>, travel: f64) {
        let push = setup.push(m.duty, m.supply);
        let begun = self.stretch.is_some_and(|s| s.push * push > 0.5);
        if !begun || setup.at_stop(travel, push) {
            self.stretch = (push.abs() > 0.5).then_some(Stretch {
                since: m.t,
                from: travel,
                push,
            });
            return;
        }
        let Some(stretch) = &mut self.stretch else {
            return;
        };
        let seconds = m.t - stretch.since;
        let moved = (travel - stretch.from) * push;
        let owed = setup.slowest() * (seconds - START);
        if owed < OWED {
            return;
        }
        if moved >= GIVEN * owed {
            // What it gave before is no credit for what comes.
            if moved >= OWED {
                (stretch.since, stretch.from) = (m.t, travel);
            }
            return;
        }
        if self.worst.is_none_or(|w| seconds > w.seconds) {
            self.worst = Some(Refusal {
                seconds,
                rpm: m.rpm,
                duty: m.duty.unwrap_or(0.0),
                moved,
            });
        }
    }

    pub fn conclude(&self, setup: &Setup, why_not: &str) -> Verdict {
        let name = sentence(&setup.name());
        let done = self.slow.iter().filter(|&&s| s >= EACH).count();
        let [low, high] = self.travels.unwrap_or([0.0; 2]);
        let [from, to] = self.speeds.unwrap_or([0.0; 2]);
        let mut measures = vec![
            measure("range of the cam", high - low, None, "°"),
            measure("lowest speed passed slowly", from, None, "rpm"),
            measure("highest speed passed slowly", to, None, "rpm"),
            measure(
                "longest without an answer",
                self.worst.map_or(0.0, |w| w.seconds),
                None,
                "s",
            ),
        ];
        if self.speeds.is_none() {
            measures.clear();
        }
        let (outcome, sentence) = if let Some(w) = self.worst {
            (
                Outcome::Unsound,
                format!(
                    "{name} moved by {:.1}° in {:.1} s at {:.0} % of command, near {:.0} rpm: it did not follow there.",
                    w.moved, w.seconds, w.duty, w.rpm
                ),
            )
        } else if done < PARTS {
            (
                Outcome::NotShown,
                format!(
                    "Not shown: {done} of {PARTS} parts of the way were passed slowly, {why_not}."
                ),
            )
        } else if high - low < MOVED {
            (
                Outcome::NotShown,
                format!(
                    "The command hardly moved {} between {from:.0} and {to:.0} rpm: {:.1}° in all.",
                    setup.name(),
                    high - low
                ),
            )
        } else {
            (
                Outcome::Sound,
                format!(
                    "{name} moved over {:.1}° between {from:.0} and {to:.0} rpm and answered everywhere.",
                    high - low
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
