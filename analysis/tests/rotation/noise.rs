//! How still the phase of a cam that stands still is: the standard deviation of each edge about its own mean.

#![allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "generated samples lie within i16, counts of samples are small"
)]

use crate::motion::{From, Motion, RATE, edges, feed, rotation, van};
use keyway_analysis::edge::{Edge, Thresholds, TwoState};
use keyway_analysis::engine::EdgeKind;
use keyway_analysis::rotation::{PhaseSample, Rotation};
use keyway_analysis::units::{Hertz, SampleTime};

const FAST: f64 = 500_000.0;
/// A Hall output with an open collector rises through its resistor and is pulled down fast: 2 µs, one sample at this
/// rate, and 0.2 µs (from memory of data sheets), which lies between two samples and is placed by them alone.
fn switching(kind: EdgeKind) -> f64 {
    match kind {
        EdgeKind::Rising => 2e-6 * FAST,
        EdgeKind::Falling => 0.2e-6 * FAST,
    }
}

/// A Hall output with these edges, in counts, with noise of a few of them.
fn hall(times: &[(f64, EdgeKind)], seconds: f64, seed: &mut u32) -> Vec<i16> {
    let starts_high = times.first().is_some_and(|e| e.1 == EdgeKind::Falling);
    let mut level: f64 = if starts_high { 15_500.0 } else { 500.0 };
    let mut next = 0;
    (0..(seconds * FAST) as u64)
        .map(|i| {
            let t = i as f64;
            while next < times.len() && times[next].0 + switching(times[next].1) / 2.0 <= t {
                level = if times[next].1 == EdgeKind::Rising {
                    15_500.0
                } else {
                    500.0
                };
                next += 1;
            }
            let into = times
                .get(next)
                .map_or(0.0, |e| ((t - e.0) / switching(e.1) + 0.5).clamp(0.0, 1.0));
            let other = 16_000.0 - level;
            *seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let noise = (f64::from(*seed >> 8) / f64::from(1_u32 << 24) - 0.5) * 20.0;
            (level + into * (other - level) + noise).round() as i16
        })
        .collect()
}

fn found(samples: &[i16]) -> Vec<Edge> {
    let levels = Thresholds {
        low: 5500,
        mid: 8000.0,
        high: 10_500,
    };
    let mut out = Vec::new();
    TwoState::default().push(0, samples, levels, &mut out);
    out
}

/// Root mean square over the edges of a cam of the deviation of each about its own mean.
fn deviation(samples: &[PhaseSample], cleaned: bool) -> (f64, usize) {
    let (mut squares, mut freedom, mut count) = (0.0, 0.0, 0);
    for cam in 0..2 {
        for edge in 0..16 {
            let own: Vec<f64> = samples
                .iter()
                .filter(|s| s.cam == cam && s.edge == edge)
                .map(|s| s.phase.0 - s.learnt.filter(|_| cleaned).map_or(0.0, |l| l.0))
                .collect();
            if own.len() < 2 {
                continue;
            }
            let n: f64 = own.iter().map(|_| 1.0).sum();
            let mean = own.iter().sum::<f64>() / n;
            squares += own.iter().map(|p| (p - mean).powi(2)).sum::<f64>();
            freedom += n - 1.0;
            count += own.len();
        }
    }
    ((squares / freedom).sqrt(), count)
}

#[test]
fn clean_hall_signals_at_half_a_million_samples_a_second() {
    for rpm in [803.7, 1511.0, 3001.3, 4507.9, 6498.1] {
        let sheet = van();
        // A second until the phase counts as steady, eight cam revolutions until it is used, and forty more.
        let seconds = 1.5 + 50.0 * 120.0 / rpm;
        let turns = seconds * rpm / 60.0;
        let list = edges(&sheet, Motion::steady(rpm), [0.0, turns * 360.0], |_, _| {
            0.0
        });
        let mut seed = 7;
        let mut lead = |from: From| {
            let times: Vec<(f64, EdgeKind)> = list
                .iter()
                .filter(|e| e.from == from)
                .map(|e| (e.edge.at.0 / RATE * FAST, e.edge.kind))
                .collect();
            found(&hall(&times, seconds, &mut seed))
        };
        let crank = lead(From::Crank);
        let cams = [lead(From::Cam(0)), lead(From::Cam(1))];
        let mut r = Rotation::new(&sheet, Hertz(FAST)).expect("a rotation");
        (0..2).for_each(|cam| r.set_at_rest(cam, true));
        let mut done = [0_usize; 3];
        let mut samples = Vec::new();
        let mut end = 0.0;
        while end < seconds * FAST {
            end += 2500.0;
            for (k, edges) in [&crank, &cams[0], &cams[1]].into_iter().enumerate() {
                while let Some(e) = edges.get(done[k]).filter(|e| e.at.0 < end) {
                    match k {
                        0 => r.push_crank(*e),
                        _ => r.push_cam(k - 1, *e),
                    }
                    done[k] += 1;
                }
            }
            r.settle(SampleTime(end));
            samples.extend(r.drain_phase_samples());
        }
        samples.retain(|s| s.learnt.is_some());
        let (noise, count) = deviation(&samples, true);
        let (before, _) = deviation(&samples, false);
        // Two edges placed by the sample after them each are off by a uniform part of the sample distance: less cannot
        // be reached with instant edges, and at 6500 rpm a sample is 0.078 degrees.
        let floor = 6.0 * rpm / FAST / 12.0_f64.sqrt() * 2.0_f64.sqrt();
        eprintln!(
            "noise  clean Hall, 500 kS/s, {rpm:6.1} rpm: {noise:.4}° per edge ({before:.4}° before learnt offsets) of {count} edges; sampling alone {floor:.4}°"
        );
        assert!(count > 50, "{rpm}: {count}");
        assert!(noise <= floor.max(0.02), "{rpm}: {noise}");
    }
}

/// A starter at 85 to 225 rpm, four ripples in a revolution, at every phase of the ripple.
#[test]
fn under_starter_ripple() {
    let sheet = van();
    let mut samples = Vec::new();
    for step in 0..24 {
        let motion = Motion {
            rpm: 155.0,
            ripple: 70.0 / 155.0,
            order: 4.0,
            from: f64::from(step) * 15.0,
            ..Motion::steady(0.0)
        };
        let list = edges(&sheet, motion, [0.0, 14.0 * 360.0], |_, _| 0.0);
        let mut r = rotation(&sheet);
        feed(&mut r, &list, |_, _| {});
        samples.extend(r.drain_phase_samples());
    }
    let (noise, count) = deviation(&samples, false);
    let worst = samples.iter().map(|s| s.phase.0.abs()).fold(0.0, f64::max);
    eprintln!(
        "noise  starter 85 to 225 rpm, 60-2: {noise:.4}° per edge, worst {worst:.4}° from the truth, of {count} edges"
    );
    assert!(count > 1000, "{count}");
    assert!(noise <= 0.3 && worst <= 0.3, "{noise} {worst}");
}
