//! What the cam answered to the steps of a command, and what that amounts to.

use super::setup::{Setup, Verdict, measure, missing, sentence, with_range};
use super::step::{ENOUGH, nothing};
use super::{Measure, Outcome};
use crate::repeats::Repeats;
use crate::step_response::{StepResponse, Timed};
use crate::units::Seconds;

/// A command that takes longer than this to half of its way did not step, seconds: its answer begins when it will.
/// Below that, half of it is added to what is not known of the dead time.
const STEPPED: f64 = 0.1;
/// Share of the time from 10 to 90 % for which the command must have pushed for a low rate to be the phaser's own.
const PUSHED: f64 = 0.5;

/// One answer.
#[derive(Debug, Clone, Copy)]
pub(super) struct Answer {
    /// 1 away from rest, -1 back.
    pub sign: f64,
    pub response: StepResponse,
    /// Seconds that the command took to half of its way.
    pub command: f64,
    /// Seconds for which it pushed outside the hold zone.
    pub pushed: f64,
    pub rpm: f64,
}

/// All answers, and the steps that were not answered.
#[derive(Debug, Clone, Default)]
pub(super) struct Answers {
    list: Vec<Answer>,
    /// Direction, seconds pushed, degrees moved.
    refused: Vec<(f64, f64, f64)>,
}

impl Answers {
    pub fn push(&mut self, answer: Answer) {
        self.list.push(answer);
    }

    pub fn refuse(&mut self, sign: f64, pushed: f64, moved: f64) {
        self.refused.push((sign, pushed, moved));
    }

    /// Steps in a direction, answered or not.
    pub fn seen(&self, sign: f64) -> usize {
        self.of(sign).count() + self.refusals(sign)
    }

    fn of(&self, sign: f64) -> impl Iterator<Item = &Answer> {
        self.list.iter().filter(move |a| a.sign * sign > 0.0)
    }

    fn refusals(&self, sign: f64) -> usize {
        self.refused.iter().filter(|r| r.0 * sign > 0.0).count()
    }

    /// Enough of both directions, or refused often enough in one.
    pub fn progress(&self) -> f64 {
        let share = |n: usize| n.min(ENOUGH) as f64 / ENOUGH as f64;
        let both = [1.0, -1.0].map(|s| share(self.seen(s)));
        let refused = [1.0, -1.0].map(|s| share(self.refusals(s)));
        (0.5 * (both[0] + both[1])).max(refused[0]).max(refused[1])
    }

    pub fn conclude(&self, setup: &Setup, why_not: &str) -> Verdict {
        if self.list.is_empty() && self.refused.is_empty() {
            return nothing(why_not);
        }
        let mut measures = Vec::new();
        for sign in [1.0, -1.0] {
            measures.extend(self.measures(sign));
        }
        measures.push(setup.oil_measure());
        let (outcome, sentence) = self.judge(setup, why_not);
        Verdict {
            measures,
            outcome,
            sentence,
        }
    }

    fn measures(&self, sign: f64) -> Vec<Measure> {
        let way = if sign > 0.0 {
            "away from rest"
        } else {
            "back to rest"
        };
        let none = "no step that way was answered";
        let of = |name: &str, unit: &str, f: &dyn Fn(&Answer) -> f64| {
            let values: Vec<f64> = self.of(sign).map(f).collect();
            super::setup::mean(&format!("{name}, {way}"), &values, unit, none)
        };
        let stepped = |a: &&Answer| a.command <= STEPPED;
        let with_command = |a: &Answer, t: Timed| Timed {
            within: Seconds(t.within.0.hypot(0.5 * a.command)),
            ..t
        };
        let dead = if self.of(sign).next().is_some() {
            "the command ran instead of stepping"
        } else {
            none
        };
        let settled = if self.of(sign).next().is_some() {
            "it did not stay within 5 %"
        } else {
            none
        };
        vec![
            of("transition", "°", &|a| {
                (a.response.to - a.response.from).0.abs()
            }),
            timed(
                &format!("dead time, {way}"),
                self.of(sign)
                    .filter(stepped)
                    .map(|a| with_command(a, a.response.dead_time)),
                dead,
            ),
            timed(
                &format!("command to 10 %, {way}"),
                self.of(sign)
                    .filter(stepped)
                    .map(|a| with_command(a, a.response.to_ten)),
                dead,
            ),
            timed(
                &format!("rise time 10 to 90 %, {way}"),
                self.of(sign).map(|a| a.response.rise_time),
                none,
            ),
            of("rate 10 to 90 %", "°/s", &|a| a.response.rate.0.abs()),
            of("overshoot", "%", &|a| a.response.overshoot.0),
            timed(
                &format!("settling time to 5 %, {way}"),
                self.of(sign).filter_map(|a| a.response.settling_time),
                settled,
            ),
            of("speed at the step", "rpm", &|a| a.rpm),
        ]
    }

    fn judge(&self, setup: &Setup, why_not: &str) -> (Outcome, String) {
        let name = sentence(&setup.name());
        let oil = setup.oil_words();
        let way = |sign: f64| {
            if sign > 0.0 {
                "away from rest"
            } else {
                "back to rest"
            }
        };
        for sign in [1.0, -1.0] {
            let refused = self.refusals(sign);
            if refused >= 2 && refused > self.of(sign).count() {
                let (_, pushed, moved) = (self.refused.iter())
                    .filter(|r| r.0 * sign > 0.0)
                    .fold((0.0, 0.0, f64::MIN), |w, r| {
                        (0.0, f64::max(w.1, r.1), f64::max(w.2, r.2))
                    });
                return (
                    Outcome::Unsound,
                    format!(
                        "{name} did not answer {refused} steps {}: it moved by at most {:.1}° in up to {pushed:.1} s of drive, {oil}.",
                        way(sign),
                        moved.max(0.0)
                    ),
                );
            }
        }
        let rates = [1.0, -1.0].map(|sign| {
            let rates: Vec<f64> = self.of(sign).map(|a| a.response.rate.0.abs()).collect();
            Repeats::of(&rates)
        });
        let said: Vec<String> = (rates.iter().zip([1.0, -1.0]))
            .filter_map(|(r, sign)| {
                let r = r.as_ref()?;
                Some(format!(
                    "{}°/s {}",
                    with_range(r.mean, r.half_width()),
                    way(sign)
                ))
            })
            .collect();
        let said = format!(
            "{name} went {} ({} steps), {oil}",
            said.join(" and "),
            self.list.len()
        );
        let (Some(there), Some(back)) = (rates[0], rates[1]) else {
            return (
                Outcome::NotShown,
                format!("{said}; the other way was not seen, {why_not}."),
            );
        };
        let slowest = setup.slowest();
        for (rate, sign) in [(there, 1.0), (back, -1.0)] {
            let pushed = self
                .of(sign)
                .all(|a| a.pushed >= PUSHED * a.response.rise_time.value.0);
            if rate.mean + rate.half_width().unwrap_or(0.0) < slowest {
                return if pushed {
                    (
                        Outcome::Unsound,
                        format!(
                            "{said}: slower than {slowest:.0}°/s {} although it was driven.",
                            way(sign)
                        ),
                    )
                } else {
                    (
                        Outcome::NotShown,
                        format!(
                            "{said}: slower than {slowest:.0}°/s {}, but so was the command.",
                            way(sign)
                        ),
                    )
                };
            }
        }
        let unsettled = self
            .list
            .iter()
            .filter(|a| a.response.settling_time.is_none())
            .count();
        if 2 * unsettled > self.list.len() {
            return (
                Outcome::Unsound,
                format!(
                    "{said}, but did not settle after {unsettled} of {} steps.",
                    self.list.len()
                ),
            );
        }
        if there.count < 2 || back.count < 2 {
            return (
                Outcome::NotShown,
                format!("{said}; that is too few, {why_not}."),
            );
        }
        (
            Outcome::Sound,
            format!("{said}: no slower than the {slowest:.0}°/s of the sheet."),
        )
    }
}

/// The mean of durations in milliseconds: their scatter by Student's t, and what each is not known better than,
/// as likely anywhere in its range (JCGM 100:2008, 4.3.7), its part falling with the root of their number.
fn timed(name: &str, values: impl Iterator<Item = Timed>, why: &str) -> Measure {
    let (mut times, mut within) = (Vec::new(), 0.0);
    for t in values {
        times.push(1000.0 * t.value.0);
        within += (1000.0 * t.within.0).powi(2);
    }
    let Some(repeats) = Repeats::of(&times) else {
        return missing(name, "ms", why);
    };
    let n: f64 = times.iter().map(|_| 1.0).sum();
    let half = match repeats.half_width() {
        Some(scatter) => scatter.hypot(1.96 * (within / 3.0).sqrt() / n),
        None => within.sqrt(),
    };
    measure(name, repeats.mean, Some(half), "ms")
}
