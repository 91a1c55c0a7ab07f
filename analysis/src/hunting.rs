//! Hunting: position and duty swing to and fro together, evenly, while the engine speed gives no cause.

use crate::drive::Point;
use crate::sentence::Finding;
use std::collections::VecDeque;

/// Least swing of the phase that counts as one, crank degrees: more than a usual base tolerance.
const SWING: f64 = 4.0;
/// And as many standard deviations of the phase: rough idle is not hunting.
const NOISE: f64 = 8.0;
/// Least swing of the duty that counts as one, points.
const DUTY_SWING: f64 = 8.0;
/// Reversals within the track. Four are two swings: targets that are changed by hand or by load have not yet repeated.
const REVERSALS: usize = 4;
/// A loop that hunts swings evenly: the longest time between reversals is no more than so many times the shortest.
const EVEN: f64 = 2.2;
/// Slowest swing that is hunting, seconds from one reversal to the next: half a period of 0.4 Hz.
const SLOWEST: f64 = 1.25;
/// Steady speed: extremes within this share of the present speed. Targets move with speed, and then swings are asked for.
const STEADY: f64 = 0.12;

/// The finding and its onset, seconds, when the end of the track shows hunting; `noise` is that of the phase.
pub fn hunting(track: &VecDeque<Point>, noise: f64) -> Option<(f64, Finding)> {
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
    let least = SWING.max(NOISE * noise);
    let (x, duty) = (swing(|p| p.x), swing(|p| p.duty));
    if x < least || duty < DUTY_SWING {
        return None;
    }
    let turns = reversals(stretch().map(|p| (p.t, p.x)), least);
    let duties = reversals(stretch().map(|p| (p.t, p.duty)), DUTY_SWING);
    // It hunts as long as it goes on: the newest swings count, and the last must not be long ago.
    let newest = &turns[turns.len().checked_sub(REVERSALS)?..];
    let gaps = || newest.windows(2).map(|w| w[1] - w[0]);
    let longest = gaps().fold(0.0, f64::max);
    let shortest = gaps().fold(f64::INFINITY, f64::min);
    let (first, end) = (newest.first()?, newest.last()?);
    let goes_on = last.t - end <= 1.5 * longest;
    let asked = duties.iter().filter(|t| **t >= *first - longest).count();
    (goes_on && longest <= SLOWEST && longest <= EVEN * shortest && asked + 1 >= REVERSALS).then(
        || {
            (
                turns.first().copied().unwrap_or(*first),
                Finding::Hunting {
                    reversals: turns.len(),
                    swing: x,
                    seconds: last.t - turns.first().copied().unwrap_or(*first),
                    duty_swing: duty,
                },
            )
        },
    )
}

/// Times of the turning points between which the values move by at least `swing`.
fn reversals(values: impl Iterator<Item = (f64, f64)>, swing: f64) -> Vec<f64> {
    let (mut low, mut high) = ((0.0, f64::INFINITY), (0.0, f64::NEG_INFINITY));
    let mut rising: Option<bool> = None;
    let mut turns = Vec::new();
    for (t, v) in values {
        if v < low.1 {
            low = (t, v);
        }
        if v > high.1 {
            high = (t, v);
        }
        let turns_down = rising != Some(false) && high.1 - v >= swing;
        let turns_up = rising != Some(true) && v - low.1 >= swing;
        if turns_down || turns_up {
            if rising.is_some() {
                turns.push(if turns_down { high.0 } else { low.0 });
            }
            rising = Some(turns_up);
            // The search for the next extreme starts here.
            (low, high) = ((t, v), (t, v));
        }
    }
    turns
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_triangle_of_two_periods_turns_three_times() {
        let triangle = (0..200)
            .map(f64::from)
            .map(|i| (i, 10.0 - ((i % 100.0) - 50.0).abs() * 0.4));
        assert_eq!(reversals(triangle, 6.0), [50.0, 100.0, 150.0]);
        assert!(reversals((0..100).map(|i| (0.0, f64::from(i))), 6.0).is_empty());
    }

    fn swings(hertz: f64, degrees: f64, uneven: f64) -> bool {
        let mut track = VecDeque::new();
        let mut phase = 0.0_f64;
        for n in 0..250 {
            let t = f64::from(n) * 0.02;
            let slower = if (t / 2.5).fract() < 0.5 { 1.0 } else { uneven };
            phase += std::f64::consts::TAU * hertz * slower * 0.02;
            track.push_back(Point {
                t,
                x: 20.0 + 0.5 * degrees * phase.sin(),
                duty: 50.0 + 15.0 * phase.cos(),
                rpm: 2000.0,
            });
        }
        hunting(&track, 0.2).is_some()
    }

    #[test]
    fn slow_and_fast_swings_are_hunting_and_uneven_or_small_ones_are_not() {
        for hertz in [0.5, 1.0, 3.0, 5.0] {
            assert!(swings(hertz, 10.0, 1.0), "{hertz} Hz");
        }
        assert!(!swings(1.0, 2.0, 1.0));
        assert!(!swings(1.5, 10.0, 0.2));
    }
}
