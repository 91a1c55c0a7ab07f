//! Leads that carry no teeth, and teeth that should not be relied upon.

use crate::hall::Hall;
use crate::motion::steady;
use crate::reluctance::{Coil, QUIET};
use crate::scope::Scope;
use keyway_analysis::engine::Sensor;
use keyway_analysis::quality::Doubt;

/// An open lead: hum of `peak` volts at `hertz`, and noise.
fn open_lead(peak: f64, hertz: f64) -> Coil {
    Coil {
        strength: 0.0,
        hum: (peak, hertz),
        seconds: 3.0,
        ..QUIET
    }
}

#[test]
fn an_open_lead_makes_no_teeth() {
    // Below the smallest tooth there is nothing to tell; above it, the mains is told after most of a second.
    for (peak, hertz) in [
        (0.15, 50.0),
        (0.5, 50.0),
        (0.5, 60.0),
        (2.0, 49.95),
        (2.5, 60.03),
    ] {
        let coil = open_lead(peak, hertz);
        let (edges, quality) = coil.scope.edges(Sensor::Vr, &coil.samples());
        let late = edges
            .iter()
            .filter(|e| e.at.0 > 1.2 * coil.scope.rate)
            .count();
        println!(
            "coil, {peak} V at {hertz} Hz: {} edges, {late} of them late, {quality:?}",
            edges.len()
        );
        assert_eq!(late, 0, "{peak} V at {hertz} Hz: {quality:?}");
        assert_eq!(quality.doubt == Some(Doubt::Hum), peak > 0.2, "{quality:?}");
    }
    // A switch is told from a sine of any height that the input holds.
    for (peak, hertz) in [(0.15, 50.0), (1.0, 50.0), (5.0, 60.0), (19.0, 50.0)] {
        let coil = open_lead(peak, hertz);
        let (edges, quality) = coil.scope.edges(Sensor::Hall, &coil.samples());
        println!(
            "switch, {peak} V at {hertz} Hz: {} edges, {quality:?}",
            edges.len()
        );
        assert!(edges.is_empty(), "{peak} V at {hertz} Hz: {quality:?}");
    }
}

#[test]
fn noise_makes_no_edges() {
    for noise in [0.005, 0.03] {
        let coil = Coil {
            noise,
            ..open_lead(0.0, 50.0)
        };
        for sensor in [Sensor::Vr, Sensor::Hall] {
            let (edges, quality) = coil.scope.edges(sensor, &coil.samples());
            assert!(edges.is_empty(), "{noise} V {sensor:?}: {quality:?}");
        }
    }
}

#[test]
fn what_cannot_be_relied_upon_says_so() {
    let coarse = Scope {
        rate: 200_000.0,
        range: 100.0,
        bits: 12,
    };
    let small = Coil {
        scope: coarse,
        motion: steady(150.0),
        strength: 2.0,
        seconds: 2.5,
        ..QUIET
    };
    assert_eq!(small.run().1.doubt, Some(Doubt::TooSmall));
    assert_eq!(QUIET.run().1.doubt, None);
    let (_, clipped) = Coil {
        strength: 60.0,
        ..QUIET
    }
    .run();
    assert!(clipped.clipped > 10_000, "{clipped:?}");
    let mut large = Hall::quiet();
    (large.low, large.high) = (-30.0, 30.0);
    assert_eq!(large.run().1.doubt, Some(Doubt::Clipped));
    assert_eq!(Hall::quiet().run().1.doubt, None);
}
