//! Variable-reluctance samples, generated from the flux of a toothed wheel.

#![allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "generated samples lie within i16, counts of samples are small"
)]

use crate::motion::RATE;
use keyway_analysis::edge::Edge;
use keyway_analysis::engine::EdgeKind;
use keyway_analysis::units::Hertz;
use keyway_analysis::zero_crossing::ZeroCrossing;

/// A crank from rest or speed at constant acceleration, seen by a coil over a 60-2 wheel.
struct Coil {
    rpm: f64,
    rpm_per_second: f64,
    /// Counts of peak at 1000 rpm.
    strength: f64,
    offset: f64,
    noise: f64,
    seconds: f64,
}

impl Coil {
    fn angle(&self, t: f64) -> f64 {
        6.0 * (self.rpm * t + 0.5 * self.rpm_per_second * t * t)
    }

    fn time(&self, angle: f64) -> f64 {
        let (a, b, c) = (3.0 * self.rpm_per_second, 6.0 * self.rpm, -angle);
        if a == 0.0 {
            -c / b
        } else {
            ((b * b - 4.0 * a * c).sqrt() - b) / (2.0 * a)
        }
    }

    /// Samples, and the true instants of the tooth centres.
    fn samples(&self) -> (Vec<i16>, Vec<f64>) {
        let width = 2.2_f64;
        // Steepest slope of exp(-(x/w)^2).
        let unit = 2.0_f64.sqrt() / width * (-0.5_f64).exp();
        let mut seed = 12345_u32;
        let mut noise = || {
            // Sum of four uniform numbers: near enough to a bell curve.
            (0..4)
                .map(|_| {
                    seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                    f64::from(seed >> 8) / f64::from(1 << 24) - 0.5
                })
                .sum::<f64>()
                * 3.0_f64.sqrt()
        };
        let n = (self.seconds * RATE) as u64;
        let samples = (0..n)
            .map(|i| {
                let t = i as f64 / RATE;
                let place = self.angle(t).rem_euclid(360.0) / 6.0;
                let slope: f64 = (-2..=2)
                    .map(|k| {
                        let tooth = place.floor() + f64::from(k);
                        if tooth.rem_euclid(60.0) >= 58.0 {
                            return 0.0;
                        }
                        let x = (place - tooth - 0.5) * 6.0 / width;
                        -2.0 * x / width * (-x * x).exp()
                    })
                    .sum();
                let rpm = self.rpm + self.rpm_per_second * t;
                let v = self.strength * rpm / 1000.0 * slope / unit;
                (v + self.offset + self.noise * noise()).round() as i16
            })
            .collect();
        let mut teeth = Vec::new();
        let end = self.angle(self.seconds);
        let mut tooth = 0_u32;
        while f64::from(tooth) * 6.0 < end {
            if tooth % 60 < 58 {
                teeth.push(self.time(f64::from(tooth) * 6.0 + 3.0) * RATE);
            }
            tooth += 1;
        }
        (samples, teeth)
    }
}

fn crossings(samples: &[i16], active: EdgeKind, block: usize) -> Vec<Edge> {
    let mut z = ZeroCrossing::new(active, 12.0, Hertz(RATE));
    let mut out = Vec::new();
    for (i, part) in samples.chunks(block).enumerate() {
        z.push((i * block) as u64, part, &mut out);
    }
    out
}

/// Every tooth after the first turn must be found once, and its angle be right.
fn check(coil: &Coil, worst_limit: f64, mean_limit: f64) {
    let (samples, teeth) = coil.samples();
    let found = crossings(&samples, EdgeKind::Falling, 512);
    let (mut worst, mut sum, mut n) = (0.0_f64, 0.0, 0.0);
    let last = samples.len() as f64 - 1000.0;
    for &t in teeth.iter().skip(116).filter(|&&t| t < last) {
        let degrees = 6.0 * (coil.rpm + coil.rpm_per_second * t / RATE) / RATE;
        let off: Vec<f64> = found
            .iter()
            .map(|e| (e.at.0 - t) * degrees)
            .filter(|d| d.abs() < 2.5)
            .collect();
        assert_eq!(off.len(), 1, "tooth at {t}: {off:?}");
        worst = worst.max(off[0].abs());
        sum += off[0];
        n += 1.0;
    }
    let expected = teeth.iter().skip(116).filter(|&&t| t < last).count();
    let from = teeth[116] - 50.0;
    let got = found
        .iter()
        .filter(|e| e.at.0 > from && e.at.0 < last)
        .count();
    assert!(
        got.abs_diff(expected) <= 1,
        "{got} edges for {expected} teeth"
    );
    let mean: f64 = sum / n;
    assert!(
        worst < worst_limit && mean.abs() < mean_limit,
        "worst {worst}, mean {mean}"
    );
}

#[test]
fn every_tooth_from_cranking_to_full_speed() {
    let quiet = Coil {
        rpm: 150.0,
        rpm_per_second: 0.0,
        strength: 400.0,
        offset: 37.0,
        noise: 2.0,
        seconds: 3.0,
    };
    check(&quiet, 0.08, 0.015);
    check(
        &Coil {
            rpm: 700.0,
            ..quiet
        },
        0.2,
        0.01,
    );
    check(
        &Coil {
            rpm: 6500.0,
            seconds: 1.0,
            ..quiet
        },
        0.12,
        0.01,
    );
    // Forty-fold amplitude within 1.3 seconds, and down again.
    check(
        &Coil {
            rpm_per_second: 5000.0,
            seconds: 1.27,
            ..quiet
        },
        0.03,
        0.02,
    );
    check(
        &Coil {
            rpm: 6500.0,
            rpm_per_second: -4000.0,
            seconds: 1.5,
            ..quiet
        },
        0.03,
        0.02,
    );
}

#[test]
fn blocks_make_no_difference_and_direction_is_symmetric() {
    let coil = Coil {
        rpm: 900.0,
        rpm_per_second: 300.0,
        strength: 500.0,
        offset: -20.0,
        noise: 3.0,
        seconds: 0.7,
    };
    let (samples, _) = coil.samples();
    let whole = crossings(&samples, EdgeKind::Falling, samples.len());
    for block in [1, 63, 64, 500, 512] {
        assert_eq!(
            crossings(&samples, EdgeKind::Falling, block),
            whole,
            "{block}"
        );
    }
    let upside_down: Vec<i16> = samples.iter().map(|&x| -x).collect();
    let other = crossings(&upside_down, EdgeKind::Rising, 512);
    assert_eq!(other.len(), whole.len());
    assert!(
        other
            .iter()
            .zip(&whole)
            .all(|(a, b)| (a.at.0 - b.at.0).abs() < 1e-3 && a.kind == EdgeKind::Rising)
    );
}

#[test]
fn a_quiet_lead_gives_no_edges() {
    let coil = Coil {
        rpm: 0.0,
        rpm_per_second: 0.0,
        strength: 0.0,
        offset: 900.0,
        noise: 2.0,
        seconds: 1.0,
    };
    assert!(crossings(&coil.samples().0, EdgeKind::Falling, 512).is_empty());
}

#[test]
fn a_spike_hides_no_more_than_a_turn() {
    let coil = Coil {
        rpm: 1000.0,
        rpm_per_second: 0.0,
        strength: 300.0,
        offset: 0.0,
        noise: 2.0,
        seconds: 1.0,
    };
    let (mut samples, teeth) = coil.samples();
    let clean = crossings(&samples, EdgeKind::Falling, 512);
    for x in &mut samples[100_000..100_003] {
        *x = 30_000;
    }
    let spoiled = crossings(&samples, EdgeKind::Falling, 512);
    let turn = 58.0;
    assert!(
        (clean.len() as f64 - spoiled.len() as f64).abs() <= 2.0,
        "{} {}",
        clean.len(),
        spoiled.len()
    );
    let late = 100_000.0 + turn * 200.0;
    let tail = |list: &[Edge]| list.iter().filter(|e| e.at.0 > late).count();
    assert_eq!(tail(&clean), tail(&spoiled));
    assert!(teeth.len() > clean.len() - 3);
}
