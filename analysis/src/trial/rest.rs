//! Where the cam stands at idle with the command at rest, or with the actuator unplugged.

use super::Outcome;
use super::setup::{Guide, Moment, Setup, Turns, Verdict, mean, measure, sentence, with_range};
use crate::repeats::{Repeats, ends};

/// Seconds of rest before anything counts, so that it has come home.
const SETTLES: f64 = 1.2;
/// Cam revolutions that are enough: three seconds at idle. More would narrow the range by the root of their number.
const ENOUGH: usize = 20;
/// Those of the last second must lie within this, crank degrees, or it still moves.
const STILL: f64 = 1.0;
/// Cam revolutions that are looked at for that.
const LAST: usize = 6;

/// The trial.
#[derive(Debug, Clone, Default)]
pub(super) struct AtRest {
    unplugged: bool,
    since: Option<f64>,
    turns: Turns,
    speeds: Vec<f64>,
    duties: Vec<f64>,
}

impl AtRest {
    pub fn new(unplugged: bool) -> Self {
        Self {
            unplugged,
            ..Self::default()
        }
    }

    pub fn pause(&mut self) {
        self.since = None;
        self.turns.clear();
        self.speeds.clear();
        self.duties.clear();
    }

    pub fn look(&mut self, setup: &Setup, m: &Moment<'_>) -> Guide {
        let watching = |text: &str| format!("{:.0} rpm, cam at {:+.1}°{text}", m.rpm, m.phase);
        let resting = self.unplugged || setup.rests(m.duty);
        if !setup.is_idle(m.rpm) || !resting {
            self.pause();
            let duty = m
                .duty
                .map_or(String::new(), |d| format!(", command {d:.0} %"));
            return Guide {
                instruct: "Let it idle, foot off.".to_owned(),
                watching: watching(&duty),
                progress: 0.0,
            };
        }
        let since = *self.since.get_or_insert(m.t);
        if m.t - since > SETTLES {
            self.turns.push(m.edges, setup.edges());
            self.speeds.push(m.rpm);
            self.duties.extend(m.duty);
            let means = &self.turns.means;
            let last = ends(means.iter().rev().take(LAST).copied());
            if last.is_some_and(|[low, high]| high - low > STILL) {
                self.pause();
                self.since = Some(m.t - SETTLES);
            }
        }
        Guide {
            instruct: "Keep it idling, foot off, until this is done.".to_owned(),
            watching: watching(""),
            progress: self.turns.means.len() as f64 / ENOUGH as f64,
        }
    }

    pub fn conclude(&self, setup: &Setup, why_not: &str) -> Verdict {
        let means = &self.turns.means;
        let rest = Repeats::of(means).filter(|_| means.len() >= ENOUGH);
        let what = if self.unplugged {
            "with the actuator unplugged"
        } else {
            "with the command at rest"
        };
        let Some(rest) = rest else {
            return Verdict {
                measures: vec![super::setup::missing("position at rest", "°", why_not)],
                outcome: Outcome::NotShown,
                sentence: format!("Not shown: {why_not}."),
            };
        };
        let mut measures = vec![
            measure("position at rest", rest.mean, rest.half_width(), "°"),
            measure(
                "from one turn to the next",
                rest.deviation.unwrap_or(0.0),
                None,
                "°",
            ),
            mean("speed", &self.speeds, "rpm", ""),
        ];
        if !self.unplugged && setup.phaser.is_some() {
            measures.push(mean("duty", &self.duties, "%", ""));
        }
        let (half, tolerance) = (rest.half_width().unwrap_or(0.0), setup.tolerance());
        let stood = format!(
            "{} stands at {}° {what}",
            setup.name(),
            with_range(rest.mean, Some(half))
        );
        let (outcome, said) = if !setup.cam.known_good {
            (
                Outcome::NotShown,
                match &setup.cam.reference {
                    None => "but the sheet has no reference from a good engine to judge that by",
                    Some(_) => "but the reference does not give all of its edges to judge that by",
                }
                .to_owned(),
            )
        } else if rest.mean.abs() + half <= tolerance {
            (
                Outcome::Sound,
                format!("within ±{tolerance:.1}° of its reference"),
            )
        } else if rest.mean.abs() - half > tolerance {
            (
                Outcome::Unsound,
                format!("outside ±{tolerance:.1}° of its reference"),
            )
        } else {
            (
                Outcome::NotShown,
                format!("too near the limit of ±{tolerance:.1}° to tell"),
            )
        };
        Verdict {
            measures,
            outcome,
            sentence: format!("{}, {said}.", sentence(&stood)),
        }
    }
}
