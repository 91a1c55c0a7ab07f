//! How fast a phaser moves as the controller drives it, each way; every move is a value of its own. Rates under another
//! drive are not compared: that of a phaser follows its duty.

use super::position;
use super::side::named;
use super::take::{Part, Take};
use keyway_analysis::comparison::{Conditions, Estimate, Finding, Group, Measure, Speed};
use keyway_analysis::engine::{CamSheet, PhaserSheet};
use keyway_analysis::lead::Role;
use keyway_analysis::units::Percent;

/// Least length of a move, crank degrees: with less the noise of single edges shows in its rate.
const LEAST: f64 = 8.0;
/// A move has ended when the phase has gone back by this much, crank degrees.
const BACK: f64 = 3.0;

/// A move from one extreme to the next.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Move {
    from: (f64, f64),
    to: (f64, f64),
    /// Times at which a tenth and nine tenths of it were done.
    tenth: f64,
    nine: f64,
}

impl Move {
    fn rate(&self) -> f64 {
        0.8 * (self.to.1 - self.from.1) / (self.nine - self.tenth)
    }
}

/// A move with what drove it meanwhile: percent of duty, rpm.
struct Driven {
    rate: f64,
    duties: Vec<f64>,
    speeds: Vec<f64>,
}

/// The moves of a course of (seconds, phase).
fn moves(course: &[(f64, f64)]) -> Vec<Move> {
    let Some(&first) = course.first() else {
        return Vec::new();
    };
    let (mut moves, mut start, mut low, mut high) = (Vec::new(), 0, (0, first.1), (0, first.1));
    for (i, (_, phase)) in course.iter().enumerate() {
        if *phase < low.1 {
            low = (i, *phase);
        }
        if *phase > high.1 {
            high = (i, *phase);
        }
        // Up and come back: what lies before the top is a move, and the next one begins there.
        let end = if high.0 > low.0 && high.1 - phase > BACK {
            high.0
        } else if low.0 > high.0 && phase - low.1 > BACK {
            low.0
        } else {
            continue;
        };
        moves.extend(measured(&course[start..=end]));
        start = end;
        (low, high) = ((end, course[end].1), (end, course[end].1));
        for (k, (_, phase)) in course.iter().enumerate().take(i + 1).skip(end) {
            if *phase < low.1 {
                low = (k, *phase);
            }
            if *phase > high.1 {
                high = (k, *phase);
            }
        }
    }
    moves.extend(measured(&course[start..]));
    moves
}

fn measured(part: &[(f64, f64)]) -> Option<Move> {
    let (from, last) = (*part.first()?, *part.last()?);
    let far =
        |a: &&(f64, f64), b: &&(f64, f64)| (a.1 - from.1).abs().total_cmp(&(b.1 - from.1).abs());
    let to = *part.iter().max_by(far).unwrap_or(&last);
    let length = to.1 - from.1;
    if length.abs() < LEAST {
        return None;
    }
    let done = |share: f64| {
        let is_past = |p: &&(f64, f64)| (p.1 - from.1) / length >= share;
        part.iter().find(is_past).map(|p| p.0)
    };
    let (tenth, nine) = (done(0.1)?, done(0.9)?);
    (nine > tenth).then_some(Move {
        from,
        to,
        tenth,
        nine,
    })
}

/// The rates of a cam's phaser.
pub(super) fn measures(
    parts: &[Part<'_>],
    cam: usize,
    sheet: &CamSheet,
    phaser: &PhaserSheet,
) -> Vec<Measure> {
    let roles = vec![Role::Crank, Role::Cam(sheet.cam), Role::Command(sheet.cam)];
    let take = Take::always(parts, roles);
    let (mut out, mut back) = (Vec::new(), Vec::new());
    for part in parts {
        let course = take.of(part, position::course(part.survey, cam).into_iter());
        for done in moves(&course) {
            let within = |at: f64| at >= done.tenth - 0.1 && at <= done.nine;
            let points = (part.survey.points.iter())
                .filter(|p| within(position::seconds(part.survey, p.at)));
            let (mut duties, mut speeds) = (Vec::new(), Vec::new());
            for point in points {
                duties.extend(point.cams.get(cam).and_then(|c| c.duty).map(|d| d.0));
                speeds.extend(point.speed.map(|s| s.0));
            }
            let moved = Driven {
                rate: done.rate().abs(),
                duties,
                speeds,
            };
            if done.rate() * phaser.rest.drive_sign() > 0.0 {
                out.push(moved);
            } else {
                back.push(moved);
            }
        }
    }
    let rate = |key: &str, name: &str, moves: Vec<Driven>| {
        let rates: Vec<f64> = moves.iter().map(|m| m.rate).collect();
        let finding = match (Estimate::of_independent(&rates), rates.as_slice()) {
            (Ok(estimate), _) => Finding::Figure(estimate),
            (Err(_), [one]) => Finding::Alone(
                *one,
                "one move alone says nothing of its scatter".to_owned(),
            ),
            (Err(_), _) => Finding::NotShown(
                take.hindrance()
                    .unwrap_or(format!("no move of {LEAST:.0}° and more")),
            ),
        };
        let duties: Vec<f64> = moves.iter().flat_map(|m| m.duties.clone()).collect();
        let speeds = moves.into_iter().flat_map(|m| m.speeds);
        Measure {
            conditions: Conditions {
                words: "as the controller drove it".to_owned(),
                speed: Speed::of(speeds),
                duty: Estimate::of_independent(&duties)
                    .ok()
                    .map(|e| Percent(e.value)),
                follows_speed: true,
                ..Conditions::default()
            },
            ..named(sheet.cam, key, name, (Group::Movement, "°/s", 0), finding)
        }
    };
    vec![
        rate("rate-out", "rate away from rest", out),
        rate("rate-back", "rate back to rest", back),
    ]
}

#[cfg(test)]
mod tests {
    use super::moves;

    #[test]
    fn moves_of_a_known_course_have_its_rates() {
        // Rest, up 30° at 60°/s, stand, back at 40°/s, a twitch of 4°, all with 0.2° of ripple.
        let course: Vec<(f64, f64)> = (0..400)
            .map(|i| {
                let t = 0.02 * f64::from(i);
                let phase = match t {
                    t if t < 2.0 => 0.0,
                    t if t < 2.5 => 60.0 * (t - 2.0),
                    t if t < 4.0 => 30.0,
                    t if t < 4.75 => 30.0 - 40.0 * (t - 4.0),
                    t if t < 6.0 => 0.0,
                    t if t < 6.5 => 4.0,
                    _ => 0.0,
                };
                (t, phase + if i % 2 == 0 { 0.1 } else { -0.1 })
            })
            .collect();
        let rates: Vec<f64> = moves(&course).iter().map(super::Move::rate).collect();
        assert_eq!(rates.len(), 2, "{rates:?}");
        assert!(
            (rates[0] - 60.0).abs() < 4.0 && (rates[1] + 40.0).abs() < 3.0,
            "{rates:?}"
        );
    }
}
