//! A steady speed: does the cam hold still away from rest.

use super::Outcome;
use super::setup::{Guide, Moment, Setup, Turns, Verdict, mean, measure, missing, sentence};
use crate::repeats::{Repeats, quantile};

/// Seconds of steady speed before it counts, so that the cam has arrived.
const ARRIVES: f64 = 2.0;
/// Seconds that are enough: several swings of a loop that hunts at half a hertz and more.
const ENOUGH: f64 = 10.0;
/// The speed is steady within this part of it. Feet do not hold it better; a wider zone moves the target.
const STEADY: f64 = 0.06;
/// Correlation of the cam with the speed from which the speed explains the swing (half of its square).
const EXPLAINED: f64 = 0.7;

/// The trial.
#[derive(Debug, Clone, Default)]
pub(super) struct Hold {
    about: Option<(f64, f64)>,
    turns: Turns,
    /// Speed and phase at each look that counts.
    looks: Vec<(f64, f64)>,
    duties: Vec<f64>,
    /// Looks at which the command let it rest.
    rested: usize,
}

impl Hold {
    pub fn pause(&mut self) {
        self.about = None;
        self.turns.clear();
        self.looks.clear();
        self.duties.clear();
        self.rested = 0;
    }

    pub fn look(&mut self, setup: &Setup, m: &Moment<'_>) -> Guide {
        let watching = |duty: Option<f64>| {
            let duty = duty.map_or(String::new(), |d| format!(", command {d:.0} %"));
            format!("{:.0} rpm, cam at {:+.1}°{duty}", m.rpm, m.phase)
        };
        if m.rpm <= setup.idle[1] {
            self.pause();
            return Guide {
                instruct: format!("Now hold {:.0} rpm, as steadily as you can.", setup.rev),
                watching: watching(m.duty),
                progress: 0.0,
            };
        }
        let (since, about) = *self.about.get_or_insert((m.t, m.rpm));
        if (m.rpm / about - 1.0).abs() > STEADY {
            self.pause();
            self.about = Some((m.t, m.rpm));
        } else if m.t - since > ARRIVES {
            self.turns.push(m.edges, setup.edges());
            self.looks.push((m.rpm, m.phase));
            self.duties.extend(m.duty);
            self.rested += usize::from(setup.rests(m.duty));
        }
        let counted = self
            .about
            .map_or(0.0, |(since, _)| (m.t - since - ARRIVES).max(0.0));
        let instruct = if counted <= 0.0 {
            format!("Now hold {:.0} rpm, as steadily as you can.", setup.rev)
        } else if self.rests() {
            "The command lets the cam rest at this speed: hold another.".to_owned()
        } else {
            format!("Keep the speed at {about:.0} rpm.")
        };
        Guide {
            instruct,
            watching: watching(m.duty),
            progress: counted / ENOUGH,
        }
    }

    /// Whether it was let rest for most of the time; a loop that swings may come down to that now and then.
    fn rests(&self) -> bool {
        2 * self.rested > self.looks.len()
    }

    pub fn conclude(&self, setup: &Setup, why_not: &str) -> Verdict {
        let mut sorted = self.turns.means.clone();
        sorted.sort_by(f64::total_cmp);
        let swing = quantile(&sorted, 0.975).zip(quantile(&sorted, 0.025));
        let (Some(place), Some((high, low)), true) = (
            Repeats::of(&sorted),
            swing,
            self.looks.len() as f64 >= 0.9 * ENOUGH * super::LOOKS,
        ) else {
            return Verdict {
                measures: vec![missing("swing", "°", why_not)],
                outcome: Outcome::NotShown,
                sentence: format!("Not shown: {why_not}."),
            };
        };
        let swing = high - low;
        let speeds: Vec<f64> = self.looks.iter().map(|l| l.0).collect();
        let speed = Repeats::of(&speeds).map_or(0.0, |r| r.mean);
        let measures = vec![
            measure("position", place.mean, place.half_width(), "°"),
            measure("swing, 95 % of turns", swing, None, "°"),
            measure(
                "from one turn to the next",
                place.deviation.unwrap_or(0.0),
                None,
                "°",
            ),
            mean("duty", &self.duties, "%", "the command was not read"),
            mean("speed", &speeds, "rpm", ""),
        ];
        let tolerance = setup.tolerance();
        let by_speed = correlation(&self.looks).abs();
        let held = format!(
            "{} held {:.1}° at {speed:.0} rpm and swung by {swing:.1}°",
            sentence(&setup.name()),
            place.mean
        );
        let (outcome, sentence) = if self.rests() {
            (
                Outcome::NotShown,
                format!("{held}, but the command let it rest there; that holds nothing."),
            )
        } else if swing <= tolerance {
            (
                Outcome::Sound,
                format!("{held}, no more than the tolerance of {tolerance:.1}°."),
            )
        } else if by_speed >= EXPLAINED {
            (
                Outcome::NotShown,
                format!(
                    "{held}, in step with the speed (correlation {by_speed:.1}): hold it steadier."
                ),
            )
        } else if swing > 2.0 * tolerance {
            (
                Outcome::Unsound,
                format!(
                    "{held} while the speed was steady: more than twice the tolerance of {tolerance:.1}°. It does not hold still."
                ),
            )
        } else {
            (
                Outcome::NotShown,
                format!(
                    "{held}: more than the tolerance of {tolerance:.1}°, but not twice as much."
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

/// Pearson's correlation; 0 where either does not change.
fn correlation(pairs: &[(f64, f64)]) -> f64 {
    let n: f64 = pairs.iter().map(|_| 1.0).sum();
    let (x, y) = pairs
        .iter()
        .fold((0.0, 0.0), |s, p| (s.0 + p.0 / n, s.1 + p.1 / n));
    let (mut xx, mut xy, mut yy) = (0.0, 0.0, 0.0);
    for p in pairs {
        xx += (p.0 - x).powi(2);
        xy += (p.0 - x) * (p.1 - y);
        yy += (p.1 - y).powi(2);
    }
    if xx > 0.0 && yy > 0.0 {
        xy / (xx * yy).sqrt()
    } else {
        0.0
    }
}
