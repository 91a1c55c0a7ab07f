//! Clean edges against their definition.

use crate::hall::Hall;
use crate::motion::steady;
use crate::scope::Scope;
use keyway_analysis::engine::Sensor;

/// Linear interpolation between the two samples that straddle the mid level, by its definition (IEEE 181-2011):
/// from the first sample at or beyond it, with the levels known.
fn by_definition(samples: &[i16], mid: f64) -> Vec<f64> {
    let mut out = Vec::new();
    for (i, w) in samples.windows(2).enumerate() {
        let (a, b) = (f64::from(w[0]) - mid, f64::from(w[1]) - mid);
        if (a < 0.0) != (b < 0.0) {
            out.push(i as f64 + a / (a - b));
        }
    }
    out
}

#[test]
fn clean_edges_are_those_of_the_definition_and_within_two_hundredths_of_a_degree() {
    let scope = Scope {
        rate: 500_000.0,
        range: 10.0,
        bits: 14,
    };
    println!("Hall, 500 kS/s, rise and fall of 2.2 time constants; rms and worst, degrees");
    for (rpm, tau) in [
        (800.0, 1e-6),
        (3000.0, 1e-6),
        (6500.0, 1e-6),
        (6500.0, 2e-6),
        (6500.0, 1e-8),
    ] {
        let hall = Hall {
            scope,
            motion: steady(rpm),
            seconds: 1.0,
            tau: [tau, tau],
            ..Hall::quiet()
        };
        let samples = hall.samples();
        let (score, _) = hall.run();
        let mid = f64::from(scope.counts(0.5 * (hall.low + hall.high)));
        let defined = by_definition(&samples, mid);
        let (edges, _) = scope.edges(Sensor::Hall, &samples);
        let late: Vec<f64> = edges
            .iter()
            .map(|e| e.at.0)
            .filter(|&t| t > 0.2 * scope.rate)
            .collect();
        let worst = late
            .iter()
            .map(|t| {
                let i = defined.partition_point(|d| d < t);
                let near = defined[i.saturating_sub(1)..(i + 1).min(defined.len())].iter();
                near.map(|d| (d - t).abs()).fold(f64::INFINITY, f64::min)
            })
            .fold(0.0, f64::max);
        println!(
            "{rpm:5.0} rpm, {:4.2} µs: {:.4} {:.4}; from the definition at most {worst:.4} samples",
            1e6 * tau,
            score.rms,
            score.worst
        );
        assert!(score.missed + score.extra == 0 && late.len() > 1000);
        // The levels are measured, not given: a hundredth of a sample.
        assert!(worst < 0.02, "{worst} samples from the definition");
        // An edge that falls between two samples is known to half a sample: 0.0225 degrees rms at 6,500 rpm.
        let limit = if tau < 1e-7 { 0.025 } else { 0.02 };
        assert!(score.rms < limit, "{rpm} rpm {tau}: {score:?}");
    }
}
