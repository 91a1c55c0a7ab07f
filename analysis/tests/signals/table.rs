//! The tables of disturbed sensors: each row is a sensor, what disturbs it, and how far off an edge may be.

use crate::hall::{Hall, toothed};
use crate::motion::{Motion, steady};
use crate::reluctance::{Coil, QUIET};
use crate::scope::Scope;
use crate::score::Score;
use keyway_analysis::quality::{Doubt, Quality};

fn heading() {
    println!(
        "{:44} {:>6} {:>6} {:>6} {:>9} {:>9} {:>9}  passed over",
        "", "edges", "missed", "extra", "worst °", "mean °", "rms °"
    );
}

/// Prints a row and says what is wrong with it.
fn row(name: &str, worst: f64, (s, q): (Score, Quality)) -> Option<String> {
    println!(
        "{name:44} {:6} {:6} {:6} {:9.4} {:9.4} {:9.4}  {} spikes, {} chatter, {} withheld, {} clipped, swing {:.2}, reserve {:.2} {}",
        s.edges,
        s.missed,
        s.extra,
        s.worst,
        s.mean,
        s.rms,
        q.spikes,
        q.chatter,
        q.withheld,
        q.clipped,
        q.swing.unwrap_or(f64::NAN),
        q.reserve.unwrap_or(f64::NAN),
        q.doubt.map_or("", Doubt::words),
    );
    (s.edges < 20 || s.missed > 0 || s.extra > 0 || s.worst > worst)
        .then(|| format!("{name}: {s:?}"))
}

fn ramp(rpm: f64, rpm_per_second: f64) -> Motion {
    Motion {
        rpm_per_second,
        ..steady(rpm)
    }
}

fn cranking() -> Motion {
    // 85 to 225 rpm, four times a turn.
    Motion {
        ripple: 0.45,
        order: 4.0,
        ..steady(155.0)
    }
}

#[test]
fn reluctance_sensors() {
    let fast = Scope {
        rate: 1_000_000.0,
        range: 20.0,
        bits: 14,
    };
    let wide = |bits| Scope {
        rate: 200_000.0,
        range: 100.0,
        bits,
    };
    let at = |rpm: f64| Coil {
        motion: steady(rpm),
        ..QUIET
    };
    #[rustfmt::skip]
    let rows: Vec<(&str, f64, Coil)> = vec![
        ("quiet, 800 rpm", 0.05, QUIET),
        ("quiet, 150 rpm", 0.1, at(150.0)),
        ("quiet, 6500 rpm", 0.05, at(6500.0)),
        ("starter, 85 to 225 rpm", 0.3, Coil { motion: cranking(), seconds: 2.5, ..QUIET }),
        ("spikes, 800 rpm, 1 MS/s", 0.2, Coil { spikes: 500.0, scope: fast, ..QUIET }),
        ("spikes, 6500 rpm, 1 MS/s", 0.2, Coil { spikes: 500.0, scope: fast, seconds: 0.8, ..at(6500.0) }),
        ("spikes, 800 rpm, 200 kS/s", 0.2, Coil { spikes: 100.0, ..QUIET }),
        ("spikes, 36-1, 200 rpm, 200 kS/s", 0.3, Coil { spikes: 100.0, wheel: (36, 1), seconds: 2.5, ..at(200.0) }),
        ("open for up to 100 µs, 800 rpm", 1.0, Coil { chatter: 30.0, ..QUIET }),
        ("open for up to 100 µs, 150 rpm", 0.3, Coil { chatter: 30.0, seconds: 2.5, ..at(150.0) }),
        ("ringing 30 % at 8 kHz, 800 rpm", 0.3, Coil { ringing: (0.3, 8000.0, 2e-4), ..QUIET }),
        ("ringing 60 % at 20 kHz, 150 rpm", 0.3, Coil { ringing: (0.6, 20_000.0, 2e-4), ..at(150.0) }),
        ("ringing 30 % at 30 kHz, 3000 rpm", 0.3, Coil { ringing: (0.3, 30_000.0, 5e-5), ..at(3000.0) }),
        ("noise of 8 % of the peak, 800 rpm", 0.6, Coil { noise: 0.32, ..QUIET }),
        ("noise of 8 % of the peak, 36-1, 150 rpm", 1.0, Coil { noise: 0.06, wheel: (36, 1), seconds: 2.5, ..at(150.0) }),
        ("0.3 to 10 V, 150 to 6500 rpm in 1.27 s", 0.1, Coil { strength: 2.0, motion: ramp(150.0, 5000.0), seconds: 1.27, noise: 0.005, ..QUIET }),
        ("3 to 100 V, 150 to 6500 rpm in 1.27 s", 0.1, Coil { strength: 16.0, scope: wide(16), motion: ramp(150.0, 5000.0), seconds: 1.27, ..QUIET }),
        ("100 to 3 V, 6500 to 150 rpm in 1.27 s", 0.15, Coil { strength: 16.0, scope: wide(16), motion: ramp(6500.0, -5000.0), seconds: 1.27, ..QUIET }),
        ("gone for 0.4 s and back, 800 rpm", 0.1, Coil { silent: (0.6, 1.0), ..QUIET }),
        ("wander of 3 times the peak at 0.5 Hz", 0.3, Coil { wander: (12.0, 0.5), seconds: 2.5, ..QUIET }),
        ("wander of 4 times the peak, 150 rpm", 0.8, Coil { wander: (3.0, 0.5), seconds: 3.0, ..at(150.0) }),
        ("bias 2.5 V, 150 rpm", 0.1, Coil { bias: 2.5, ..at(150.0) }),
        ("bias 2.5 V, 36-1, 800 rpm", 0.1, Coil { bias: 2.5, wheel: (36, 1), ..QUIET }),
        ("clipped on both sides", 0.1, Coil { strength: 60.0, ..QUIET }),
        ("clipped on one side", 0.3, Coil { bias: 15.0, strength: 12.0, ..QUIET }),
        ("no negative half", 0.4, Coil { bias: -20.0, strength: 12.0, ..QUIET }),
        ("runout 40 %", 0.1, Coil { runout: 0.4, ..QUIET }),
        ("runout 40 %, 4 teeth", 0.2, Coil { runout: 0.4, wheel: (4, 0), seconds: 2.5, from: 0.5, ..QUIET }),
        ("runout 40 %, starter, 36-1", 0.6, Coil { runout: 0.4, motion: cranking(), wheel: (36, 1), seconds: 2.5, ..QUIET }),
        ("10 samples a tooth", 0.15, Coil { scope: Scope { rate: 63_000.0, ..QUIET.scope }, ..at(6500.0) }),
        ("12 bits on 20 V", 0.1, Coil { scope: Scope { bits: 12, ..QUIET.scope }, ..QUIET }),
        ("8 bits on 20 V", 0.3, Coil { scope: Scope { bits: 8, ..QUIET.scope }, ..QUIET }),
        ("0.3 V on 12 bits of 100 V", 1.0, Coil { scope: wide(12), strength: 2.0, seconds: 2.5, ..at(150.0) }),
        ("4 teeth, 150 rpm", 0.5, Coil { wheel: (4, 0), seconds: 3.0, from: 1.0, ..at(150.0) }),
        ("12-1, 150 rpm", 0.3, Coil { wheel: (12, 1), seconds: 3.0, from: 1.0, ..at(150.0) }),
        ("hum of 15 % of the peak", 0.3, Coil { hum: (0.6, 50.0), ..QUIET }),
    ];
    heading();
    let wrong: Vec<String> = rows
        .iter()
        .filter_map(|(name, worst, coil)| row(name, *worst, coil.run()))
        .collect();
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
fn hall_sensors() {
    let quiet = Hall::quiet();
    let fast = Scope {
        rate: 1_000_000.0,
        range: 20.0,
        bits: 14,
    };
    let at = |rpm: f64| Hall {
        motion: steady(rpm),
        ..Hall::quiet()
    };
    let q = Hall::quiet;
    let cam = || Hall {
        highs: vec![[10.0, 90.0], [150.0, 320.0], [400.0, 410.0], [500.0, 660.0]],
        turn: 720.0,
        seconds: 2.5,
        from: 0.5,
        ..Hall::quiet()
    };
    // Narrow and wide teeth, rising edges 15 degrees apart.
    let coded: Vec<[f64; 2]> = "nnnnnwnnwnwwnwnnwwwwnwww"
        .chars()
        .enumerate()
        .map(|(i, c)| {
            let a = 15.0 * i as f64;
            [a, a + if c == 'n' { 3.5 } else { 11.0 }]
        })
        .collect();
    #[rustfmt::skip]
    let rows: Vec<(&str, f64, Hall)> = vec![
        ("quiet, 800 rpm", 0.05, quiet),
        ("quiet, 6500 rpm", 0.15, at(6500.0)),
        ("starter, 85 to 225 rpm", 0.02, Hall { motion: cranking(), seconds: 2.5, ..q() }),
        ("spikes, 800 rpm, 1 MS/s", 0.05, Hall { spikes: 500.0, scope: fast, ..q() }),
        ("spikes, 6500 rpm, 1 MS/s", 0.3, Hall { spikes: 500.0, scope: fast, seconds: 0.8, ..at(6500.0) }),
        ("spikes, 800 rpm, 200 kS/s", 0.1, Hall { spikes: 100.0, ..q() }),
        ("chatter of up to 100 µs, 150 rpm", 0.05, Hall { chatter: (0.3, 100e-6), seconds: 2.5, ..at(150.0) }),
        ("chatter of up to 100 µs, 800 rpm", 0.3, Hall { chatter: (0.3, 100e-6), ..q() }),
        ("chatter of up to 100 µs, 800 rpm, 1 MS/s", 0.2, Hall { chatter: (0.3, 100e-6), scope: fast, ..q() }),
        ("chatter of up to 20 µs, 6500 rpm, 1 MS/s", 0.8, Hall { chatter: (0.3, 20e-6), scope: fast, seconds: 0.8, ..at(6500.0) }),
        ("chatter of up to 100 µs, cam, 6500 rpm", 2.5, Hall { chatter: (0.5, 100e-6), motion: steady(6500.0), ..cam() }),
        ("cable rings at 150 kHz, 40 %, 1 MS/s", 0.1, Hall { ringing: (0.4, 150_000.0, 5e-6), scope: fast, ..q() }),
        ("cable rings at 40 kHz, 60 %, 800 rpm", 0.1, Hall { ringing: (0.6, 40_000.0, 2e-5), ..q() }),
        ("open collector, 20 µs, 6500 rpm", 0.3, Hall { tau: [20e-6, 0.5e-6], ..at(6500.0) }),
        ("open collector, 50 µs, 800 rpm", 0.1, Hall { tau: [50e-6, 1e-6], ..q() }),
        ("low level 0.7 V", 0.05, Hall { low: 0.7, ..q() }),
        ("12 V", 0.05, Hall { high: 12.0, ..q() }),
        ("12 V with a supply ripple of 10 %", 0.06, Hall { high: 12.0, ripple: (0.1, 700.0), ..q() }),
        ("cam, 12 V with a supply ripple of 10 %", 0.06, Hall { high: 12.0, ripple: (0.1, 90.0), ..cam() }),
        ("levels move by 3 V up and down at 0.5 Hz", 0.06, Hall { wander: (3.0, 0.5), seconds: 2.5, ..q() }),
        ("the same, cam", 0.06, Hall { wander: (3.0, 0.5), ..cam() }),
        ("the same, cam at 150 rpm", 0.06, Hall { wander: (3.0, 0.3), motion: steady(150.0), seconds: 4.0, from: 1.2, ..cam() }),
        ("swing 0.3 V on 2.5 V", 0.06, Hall { low: 2.5, high: 2.8, ..q() }),
        ("swing 0.5 V on 12 bits of 100 V", 0.1, Hall { low: 0.02, high: 0.52, scope: Scope { rate: 200_000.0, range: 100.0, bits: 12 }, ..q() }),
        ("8 bits on 20 V", 0.05, Hall { scope: Scope { rate: 200_000.0, range: 20.0, bits: 8 }, ..q() }),
        ("noise of 5 % of the swing", 0.06, Hall { noise: 0.25, ..q() }),
        ("cam, noise of 5 % of the swing", 0.06, Hall { noise: 0.25, ..cam() }),
        ("10 samples a tooth", 0.35, Hall { scope: Scope { rate: 63_000.0, range: 20.0, bits: 14 }, ..at(6500.0) }),
        ("duty 43 %, 36-1, 800 to 6500 rpm in 1.1 s", 0.15, Hall { highs: toothed(36, 1, 0.43), motion: ramp(800.0, 5000.0), seconds: 1.1, ..q() }),
        ("24 coded teeth, 800 rpm", 0.05, Hall { highs: coded.clone(), ..q() }),
        ("24 coded teeth, 6500 rpm", 0.15, Hall { highs: coded.clone(), motion: steady(6500.0), ..q() }),
        ("24 coded teeth, starter", 0.05, Hall { highs: coded, motion: cranking(), seconds: 2.5, ..q() }),
    ];
    heading();
    let wrong: Vec<String> = rows
        .iter()
        .filter_map(|(name, worst, hall)| row(name, *worst, hall.run()))
        .collect();
    assert!(wrong.is_empty(), "{wrong:#?}");
}
