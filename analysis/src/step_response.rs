//! What a step of the command makes of a position: dead time, rise, overshoot, settling.
//!
//! Levels and times follow IEEE 181-2011: the two state levels are where the position stands before and after, the
//! transition is the way between them, reference levels are percent of it, and instants at which the course crosses a
//! level lie on the straight line between two neighbouring points. The course is known only where a cam edge came, so
//! every instant is known no better than the edges lie apart; how much that is is said beside it.

use crate::repeats;
use crate::units::{CrankDegrees, DegreesPerSecond, Percent, Seconds};

/// Points that must be seen before the command changes, so that the level and the noise before are known.
const LEAST_BEFORE: usize = 4;
/// Points that the level after is the median of, at least.
const LEAST_AFTER: usize = 4;
/// Part of the time after the command, at its end, in which the position must have settled: its median is the level
/// after. A longer part would take in the end of slow transitions, a shorter one more noise.
const TAIL: f64 = 0.25;
/// Standard deviations of the position before the command that motion must exceed: one point in 370 lies outside by chance.
const BEYOND: f64 = 3.0;
/// Least motion that counts as such, crank degrees: nothing is measured more finely than some tenths.
const LEAST_MOTION: f64 = 0.3;
/// The state band about the level after, as part of the transition.
const STATE_BAND: f64 = 0.05;

/// The position at one instant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Point {
    /// When.
    pub at: Seconds,
    /// Where.
    pub phase: CrankDegrees,
}

/// A duration and how far it may be off because the position is known only at cam edges.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Timed {
    /// The duration.
    pub value: Seconds,
    /// Half width of the range in which it lies.
    pub within: Seconds,
}

/// The response to one step.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StepResponse {
    /// Level before.
    pub from: CrankDegrees,
    /// Level after.
    pub to: CrankDegrees,
    /// From the change of the command to the first motion: the last rise of the course out of its noise before the
    /// 10 % level (3 standard deviations before the command, at least 0.3 degrees), carried back to the level before
    /// along the line through the first two points outside.
    pub dead_time: Timed,
    /// From the change of the command to 10 % of the transition.
    pub to_ten: Timed,
    /// From 10 to 90 % of the transition.
    pub rise_time: Timed,
    /// Mean rate from 10 to 90 %: 80 % of the transition in that time; its sign is that of the motion.
    pub rate: DegreesPerSecond,
    /// How far it went beyond the level after, percent of the transition; 0 when it did not.
    pub overshoot: Percent,
    /// From the change of the command until it stayed within 5 % of the transition about the level after (or within
    /// its noise, where that is more); absent if it did not do so for the tail of the record.
    pub settling_time: Option<Timed>,
    /// Standard deviation before the command.
    pub noise: CrankDegrees,
}

/// Why there is nothing to measure.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum NoStep {
    /// Too few points before the command.
    #[error("too few points before the command")]
    TooFewBefore,
    /// Too few points after it.
    #[error("too few points after the command")]
    TooFewAfter,
    /// The position hardly changed.
    #[error("it moved by only {0:.1} degrees")]
    Small(f64),
}

/// Measures the response of a position to a change of the command at `command`. `points` are in the order of time,
/// from well before the command until the position has settled; `least` is the least transition worth measuring.
///
/// # Errors
/// When there are too few points on either side, or the transition is less than `least` or hidden in the noise.
pub fn extract(
    points: &[Point],
    command: Seconds,
    least: CrankDegrees,
) -> Result<StepResponse, NoStep> {
    let split = points.partition_point(|p| p.at.0 < command.0);
    let (before, after) = points.split_at(split);
    if before.len() < LEAST_BEFORE {
        return Err(NoStep::TooFewBefore);
    }
    let Some(last) = after.last().filter(|_| after.len() >= 2 * LEAST_AFTER) else {
        return Err(NoStep::TooFewAfter);
    };
    let tail_from = last.at.0 - TAIL * (last.at.0 - command.0);
    let tail = after.len() - after.partition_point(|p| p.at.0 < tail_from);
    let tail = after.len() - tail.max(LEAST_AFTER);
    let from = median(before);
    let to = median(&after[tail..]);
    let noise = deviation(before, from);
    let (way, sign) = ((to - from).abs(), (to - from).signum());
    let threshold = (BEYOND * noise).max(LEAST_MOTION);
    if way < least.0.max(2.0 * threshold) {
        return Err(NoStep::Small(way));
    }
    // From here on in parts of the way: 0 before, 1 after.
    let course: Vec<(f64, f64)> = (before.last().into_iter().chain(after))
        .map(|p| (p.at.0 - command.0, sign * (p.phase.0 - from) / way))
        .collect();
    // Both are crossed: the course begins in the noise about 0 and its last quarter lies about 1.
    let (Some(ten), Some(ninety)) = (crossing(&course, 0.1, 0), crossing(&course, 0.9, 0)) else {
        return Err(NoStep::Small(way));
    };
    let rise = ninety.at - ten.at;
    let rise_within = 0.5 * (ten.gap.powi(2) + ninety.gap.powi(2)).sqrt();
    let peak = course.iter().map(|p| p.1).fold(0.0, f64::max);
    Ok(StepResponse {
        from: CrankDegrees(from),
        to: CrankDegrees(to),
        dead_time: dead_time(&course, ten.after, threshold / way),
        to_ten: Timed {
            value: Seconds(ten.at),
            within: Seconds(0.5 * ten.gap),
        },
        rise_time: Timed {
            value: Seconds(rise),
            within: Seconds(rise_within),
        },
        rate: DegreesPerSecond(sign * 0.8 * way / rise.max(f64::MIN_POSITIVE)),
        overshoot: Percent(100.0 * (peak - 1.0).max(0.0)),
        settling_time: settling(&course, tail + 1, STATE_BAND.max(threshold / way)),
        noise: CrankDegrees(noise),
    })
}

/// A crossing of a level.
struct Crossing {
    at: f64,
    /// Time between the points on either side.
    gap: f64,
    /// Index of the point after it.
    after: usize,
}

/// The first crossing upwards of `level` from point `start` on.
fn crossing(course: &[(f64, f64)], level: f64, start: usize) -> Option<Crossing> {
    (start + 1..course.len())
        .find(|&i| course[i - 1].1 < level && course[i].1 >= level)
        .map(|i| between(course, i, level))
}

fn between(course: &[(f64, f64)], after: usize, level: f64) -> Crossing {
    let ((ta, a), (tb, b)) = (course[after - 1], course[after]);
    Crossing {
        at: ta + (tb - ta) * (level - a) / (b - a),
        gap: tb - ta,
        after,
    }
}

/// Motion began after the last point in the noise and at latest at the first outside, or a little earlier if it was slow.
fn dead_time(course: &[(f64, f64)], ten: usize, threshold: f64) -> Timed {
    let moved = (1..=ten)
        .rev()
        .find(|&i| course[i - 1].1 < threshold)
        .unwrap_or(1);
    let (quiet, first) = (course[moved - 1], course[moved]);
    let slope = course
        .get(moved + 1)
        .map_or(0.0, |next| (next.1 - first.1) / (next.0 - first.0));
    let line = if slope > 0.0 {
        first.0 - first.1 / slope
    } else {
        quiet.0
    };
    // At the quiet point it may already have moved by as much as the noise hides; nothing moves before it is told to.
    let hidden = if slope > 0.0 { threshold / slope } else { 0.0 };
    let latest = first.0.max(0.0);
    let onset = line.clamp((quiet.0 - hidden).max(0.0), latest);
    // If it gathers speed evenly from rest, it began where the parabola through those two points has its foot.
    let foot = course.get(moved + 1).map_or(quiet.0, |next| {
        let (a, b) = (first.1.max(0.0).sqrt(), next.1.max(0.0).sqrt());
        if b > a {
            (first.0 * b - next.0 * a) / (b - a)
        } else {
            0.0
        }
    });
    let earliest = foot.min(quiet.0 - hidden).max(0.0);
    Timed {
        value: Seconds(onset),
        within: Seconds((onset - earliest).max(latest - onset)),
    }
}

/// When it entered the band about 1 for good; `None` if it left it within the tail, which begins at point `tail`.
fn settling(course: &[(f64, f64)], tail: usize, band: f64) -> Option<Timed> {
    let outside = course.iter().rposition(|p| (p.1 - 1.0).abs() > band)?;
    if outside + 1 >= course.len() || outside >= tail {
        return None;
    }
    let level = if course[outside].1 < 1.0 {
        1.0 - band
    } else {
        1.0 + band
    };
    let entry = between(course, outside + 1, level);
    Some(Timed {
        value: Seconds(entry.at),
        within: Seconds(0.5 * entry.gap),
    })
}

fn median(points: &[Point]) -> f64 {
    let mut values: Vec<f64> = points.iter().map(|p| p.phase.0).collect();
    values.sort_by(f64::total_cmp);
    repeats::quantile(&values, 0.5).unwrap_or(0.0)
}

fn deviation(points: &[Point], about: f64) -> f64 {
    let (mut squares, mut n) = (0.0, 0.0);
    for p in points {
        squares += (p.phase.0 - about).powi(2);
        n += 1.0;
    }
    (squares / f64::max(n - 1.0, 1.0)).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn course(phase: impl Fn(f64) -> f64) -> Vec<Point> {
        (-50..150)
            .map(|i| {
                let at = f64::from(i) * 0.01;
                Point {
                    at: Seconds(at),
                    phase: CrankDegrees(phase(at)),
                }
            })
            .collect()
    }

    #[test]
    fn a_ramp_is_measured_as_it_is() {
        // 40 degrees a second from 23 ms on, to 20 degrees.
        let points = course(|t| ((t - 0.023) * 40.0).clamp(0.0, 20.0));
        let got = extract(&points, Seconds(0.0), CrankDegrees(5.0)).expect("a step");
        assert!((got.dead_time.value.0 - 0.023).abs() < 1e-9, "{got:?}");
        assert!((got.to_ten.value.0 - 0.073).abs() < 1e-9);
        assert!((got.rate.0 - 40.0).abs() < 1e-6);
        assert!(got.overshoot.0 < 1e-9);
        let settled = got.settling_time.expect("settled").value.0;
        assert!((settled - (0.023 + 19.0 / 40.0)).abs() < 1e-9);
        // The other way round it is the same, but for the sign.
        let back = course(|t| 20.0 - ((t - 0.023) * 40.0).clamp(0.0, 20.0));
        let back = extract(&back, Seconds(0.0), CrankDegrees(5.0)).expect("a step");
        assert!((back.rate.0 + 40.0).abs() < 1e-6);
        assert!((back.dead_time.value.0 - 0.023).abs() < 1e-9);
    }

    #[test]
    fn what_is_no_step_is_not_measured() {
        let least = CrankDegrees(5.0);
        let still = course(|_| 3.0);
        assert_eq!(
            extract(&still, Seconds(0.0), least),
            Err(NoStep::Small(0.0))
        );
        assert_eq!(
            extract(&still, Seconds(-0.5), least),
            Err(NoStep::TooFewBefore)
        );
        assert_eq!(
            extract(&still, Seconds(1.45), least),
            Err(NoStep::TooFewAfter)
        );
        // It swings to the end: it has not settled.
        let swings = course(|t| {
            if t < 0.1 {
                0.0
            } else {
                20.0 + 5.0 * (t * 40.0).sin()
            }
        });
        let got = extract(&swings, Seconds(0.05), least).expect("a step");
        assert_eq!(got.settling_time, None);
    }
}
