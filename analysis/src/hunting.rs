//! Hunting: position and duty swing to and fro together while the engine speed gives no cause.

use crate::drive::Point;
use crate::sentence::Finding;
use std::collections::VecDeque;

/// Least swing of the phase that counts as one, crank degrees: twice a usual base tolerance.
const SWING: f64 = 6.0;
/// Least swing of the duty that counts as one, points.
const DUTY_SWING: f64 = 8.0;
/// Reversals within the track. Three need one and a half swings: a single overshoot has one.
const REVERSALS: usize = 3;
/// Steady speed: extremes within this share of the present speed. Targets move with speed, and then swings are asked for.
const STEADY: f64 = 0.12;

/// The finding and its onset, seconds, when the end of the track shows hunting.
pub fn hunting(track: &VecDeque<Point>) -> Option<(f64, Finding)> {
    let last = track.back()?;
    // Only the stretch at its end in which the speed was steady counts.
    let (mut slow, mut fast) = (last.rpm, last.rpm);
    let steady = track
        .iter()
        .rev()
        .take_while(|p| {
            slow = slow.min(p.rpm);
            fast = fast.max(p.rpm);
            fast - slow <= STEADY * last.rpm
        })
        .count();
    let stretch = || track.range(track.len() - steady..);
    let swing = |f: fn(&Point) -> f64| {
        let (low, high) = stretch()
            .map(f)
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), v| {
                (a.min(v), b.max(v))
            });
        high - low
    };
    let (x, duty) = (swing(|p| p.x), swing(|p| p.duty));
    if x < SWING || duty < DUTY_SWING {
        return None;
    }
    let turns = reversals(stretch().map(|p| p.x), SWING);
    let duty_turns = reversals(stretch().map(|p| p.duty), DUTY_SWING);
    let first = stretch().next()?;
    (turns >= REVERSALS && duty_turns + 1 >= REVERSALS).then_some((
        first.t,
        Finding::Hunting {
            reversals: turns,
            swing: x,
            seconds: last.t - first.t,
            duty_swing: duty,
        },
    ))
}

/// Turning points between which `values` moves by at least `swing`.
fn reversals(values: impl Iterator<Item = f64>, swing: f64) -> usize {
    let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
    let mut rising: Option<bool> = None;
    let mut count = 0;
    for v in values {
        low = low.min(v);
        high = high.max(v);
        let turns_down = rising != Some(false) && high - v >= swing;
        let turns_up = rising != Some(true) && v - low >= swing;
        if turns_down || turns_up {
            count += usize::from(rising.is_some());
            rising = Some(turns_up);
            // The search for the next extreme starts here.
            (low, high) = (v, v);
        }
    }
    count
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_triangle_of_two_periods_turns_three_times() {
        let triangle = (0..200).map(|i| 10.0 - f64::from((i % 100) - 50).abs() * 0.4);
        assert_eq!(reversals(triangle, 6.0), 3);
        assert_eq!(reversals((0..100).map(f64::from), 6.0), 0);
    }
}
