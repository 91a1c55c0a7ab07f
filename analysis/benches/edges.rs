//! Time per sample of the loops that see every sample. Prints figures, asserts nothing.

#![allow(clippy::print_stdout, reason = "a benchmark prints its figures")]
#![allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "generated samples lie within i16"
)]

use keyway_analysis::edge::{Edge, Thresholds, TwoState};
use keyway_analysis::engine::EdgeKind;
use keyway_analysis::units::Hertz;
use keyway_analysis::zero_crossing::ZeroCrossing;
use std::hint::black_box;
use std::time::Instant;

const RATE: f64 = 200_000.0;
const BLOCK: usize = 512;
const SECONDS: usize = 20;

fn noise(seed: &mut u32) -> f64 {
    *seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
    f64::from(*seed >> 8) / f64::from(1 << 24) - 0.5
}

fn signal(of: impl Fn(f64) -> f64) -> Vec<i16> {
    let mut seed = 1;
    (0..SECONDS * 200_000)
        .map(|i| (of(i as f64 / RATE) + 6.0 * noise(&mut seed)).round() as i16)
        .collect()
}

fn time(name: &str, samples: &[i16], mut push: impl FnMut(u64, &[i16], &mut Vec<Edge>)) {
    let (mut out, mut edges) = (Vec::new(), 0);
    let start = Instant::now();
    for (i, block) in samples.chunks(BLOCK).enumerate() {
        out.clear();
        push((i * BLOCK) as u64, black_box(block), &mut out);
        edges += black_box(&out).len();
    }
    let ns = start.elapsed().as_secs_f64() * 1e9 / samples.len() as f64;
    println!("{name:34} {ns:6.2} ns/sample  {edges:8} edges");
}

fn main() {
    for rpm in [150.0, 800.0, 3000.0, 6500.0] {
        let teeth = rpm / 60.0 * 60.0;
        let x = signal(|t| {
            let place = (t * teeth).rem_euclid(60.0);
            if place < 58.0 {
                rpm / 3.0 * (place * std::f64::consts::TAU).sin()
            } else {
                0.0
            }
        });
        let mut z = ZeroCrossing::new(EdgeKind::Falling, 20.0, Hertz(RATE));
        time(
            &format!("zero crossing, 60-2 at {rpm} rpm"),
            &x,
            |i, s, out| z.push(i, s, out),
        );
    }
    let square = |hz: f64| {
        signal(move |t| {
            if (t * hz).fract() < 0.4 {
                100.0
            } else {
                2000.0
            }
        })
    };
    let t = Thresholds {
        low: 700,
        mid: 1050.0,
        high: 1400,
    };
    for (name, hz) in [
        ("command, 200 Hz", 200.0),
        ("cam, 6500 rpm", 217.0),
        ("Hall crank, 36 at 6500 rpm", 3900.0),
    ] {
        let x = square(hz);
        let mut s = TwoState::default();
        time(&format!("two states, {name}"), &x, |i, x, out| {
            s.push(i, x, t, out)
        });
    }
}
