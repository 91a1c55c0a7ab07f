//! The rate of a recording that is made of edges.

use std::f64::consts::TAU;

/// No recording of edges is faster: a microsecond is 0.04° at 7,000 rpm, and the instant within it is
/// kept to a ten-thousandth. More makes the recording larger and the analysis slower, less joins edges
/// that are closer than three samples.
pub(crate) const FASTEST: f64 = 1e6;
/// Nor slower, so that slow engines still give the samples that levels are found by.
const SLOWEST: f64 = 20_000.0;
/// Samples in the shortest interval: plenty at the level between two ramps. More costs room, less
/// leaves fewer of them than on the ramps.
const WITHIN_SHORTEST: f64 = 16.0;
/// Rates that are tried, and by how much each is slower than the one before: no simple fraction.
const TRIED: u32 = 24;
const SLOWER: f64 = 0.003_17;
/// Concentration below this is chance: that of 50 edges at random is 0.14.
const SCATTERED: f64 = 0.3;
/// Fewer edges concentrate by chance.
const FEW: usize = 24;

/// The rate for edges of which the closest of one column are `shortest` seconds apart. `instants` are
/// some of them, in seconds, by column.
pub(crate) fn rate(shortest: Option<f64>, instants: &[Vec<f64>]) -> f64 {
    let wanted = shortest.map_or(SLOWEST, |s| WITHIN_SHORTEST / s);
    let nominal = round_up(wanted.clamp(SLOWEST, FASTEST));
    // At a steady speed all edges may fall on the same place between two samples. The samples on the
    // ramps would then be a level of their own for whoever looks for levels, so another rate is used.
    let mut best = (f64::INFINITY, nominal);
    for k in 0..TRIED {
        let rate = nominal * (1.0 - SLOWER * f64::from(k));
        let worst = instants
            .iter()
            .map(|edges| concentration(edges, rate))
            .fold(0.0, f64::max);
        if worst < SCATTERED {
            return rate;
        }
        if worst < best.0 {
            best = (worst, rate);
        }
    }
    best.1
}

/// How much the places between two samples, or fractions of them down to an eighth, agree: the
/// greatest length of the mean direction (R̄ of circular statistics; Mardia and Jupp, 2000).
fn concentration(edges: &[f64], rate: f64) -> f64 {
    if edges.len() < FEW {
        return 0.0;
    }
    (1..=8)
        .map(|order| {
            let (mut x, mut y) = (0.0, 0.0);
            for at in edges {
                let turn = TAU * (f64::from(order) * at * rate).fract();
                x += turn.cos();
                y += turn.sin();
            }
            x.hypot(y) / edges.len() as f64
        })
        .fold(0.0, f64::max)
}

/// The next of 1, 2 and 5 times a power of ten.
fn round_up(rate: f64) -> f64 {
    let decade = 10f64.powf(rate.log10().floor());
    [1.0, 2.0, 5.0, 10.0]
        .iter()
        .map(|m| m * decade)
        .find(|r| *r >= rate * (1.0 - 1e-9))
        .unwrap_or(rate)
        .min(FASTEST)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rates_fit_the_shortest_interval() {
        assert!((rate(Some(1e-3), &[]) - 20_000.0).abs() < 1e-6);
        assert!((rate(Some(83e-6), &[]) - 200_000.0).abs() < 1e-6);
        assert!((rate(Some(1e-7), &[]) - 1e6).abs() < 1e-6);
        assert!((rate(None, &[]) - 20_000.0).abs() < 1e-6);
    }

    #[test]
    fn a_steady_speed_does_not_lock_to_the_samples() {
        let edges: Vec<f64> = (0..500).map(|i| f64::from(i) * 0.5e-3).collect();
        let chosen = rate(Some(0.5e-3), std::slice::from_ref(&edges));
        assert!(concentration(&edges, 50_000.0) > 0.9);
        assert!(concentration(&edges, chosen) < SCATTERED, "{chosen}");
        assert!(chosen > 46_000.0);
    }
}
