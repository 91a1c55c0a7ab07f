//! Drift against series made from their definitions: a level, a line, a step, and noise.

use super::*;

const RATE: f64 = 1000.0;
/// Crank degrees of a tooth of a sprocket of 42.
const TOOTH: f64 = 720.0 / 42.0;

/// Noise of standard deviation 1 that remembers the part `memory` of itself.
struct Noise {
    seed: u32,
    last: f64,
    memory: f64,
}

impl Noise {
    fn next(&mut self) -> f64 {
        let sum: f64 = (0..12)
            .map(|_| {
                self.seed = self
                    .seed
                    .wrapping_mul(1_664_525)
                    .wrapping_add(1_013_904_223);
                f64::from(self.seed >> 8) / f64::from(1_u32 << 24)
            })
            .sum();
        self.last = self.memory * self.last + (1.0 - self.memory.powi(2)).sqrt() * (sum - 6.0);
        self.last
    }
}

/// A session of `revolutions` at idle: 0.15 s each.
fn watch(
    seed: u32,
    revolutions: u32,
    sigma: f64,
    memory: f64,
    level: impl Fn(f64) -> f64,
) -> DriftWatch {
    let mut noise = Noise {
        seed,
        last: 0.0,
        memory,
    };
    let mut w = DriftWatch::new(RATE, Some(TOOTH));
    for i in 0..revolutions {
        let t = f64::from(i) * 0.15;
        w.push(t * RATE, level(t) + sigma * noise.next());
    }
    w
}

#[test]
fn a_cam_that_stays_is_still() {
    let mut wrong = Vec::new();
    for seed in 0..300 {
        for (sigma, memory) in [(0.05, 0.0), (0.3, 0.0), (0.3, 0.7), (0.8, 0.3)] {
            for revolutions in [60, 400, 3000] {
                let w = watch(seed, revolutions, sigma, memory, |_| -3.0);
                if !matches!(w.state(), Drift::Still { .. }) {
                    wrong.push((seed, sigma, memory, revolutions, w.state()));
                }
            }
        }
    }
    // Noise of 0.8 degrees with a memory over 60 revolutions wanders now and then.
    assert!(wrong.len() <= 4, "of 3600: {wrong:?}");
}

#[test]
fn a_slow_retard_is_drift_with_its_rate() {
    for seed in 0..50 {
        for (sigma, revolutions, rate) in
            [(0.2, 3000, -0.01), (0.1, 400, -0.05), (0.3, 20_000, -0.001)]
        {
            let w = watch(seed, revolutions, sigma, 0.3, |t| 1.0 + rate * t);
            let Drift::Drifting {
                rate: got,
                uncertainty,
                ..
            } = w.state()
            else {
                panic!("{seed} {rate}: {:?}", w.state());
            };
            assert!(
                (got.0 - rate).abs() < 6.0 * uncertainty.0,
                "{rate}: {:?}",
                w.state()
            );
            assert!((got.0 / rate - 1.0).abs() < 0.1);
        }
    }
}

#[test]
fn a_jumped_tooth_is_a_step_with_its_size_in_teeth() {
    for seed in 0..50 {
        for (teeth, at, revolutions) in [(-1.0, 30.0, 400), (1.0, 200.0, 3000), (-2.0, 8.0, 120)] {
            let w = watch(seed, revolutions, 0.3, 0.3, |t| {
                if t < at { 0.4 } else { 0.4 + teeth * TOOTH }
            });
            let Drift::Stepped {
                at: when,
                after,
                teeth: Some(size),
                ..
            } = w.state()
            else {
                panic!("{seed} {teeth}: {:?}", w.state());
            };
            let [after, when] = [after.0 / RATE, when.0 / RATE];
            // A bin of several revolutions may hold the step.
            assert!(
                after <= at + 2.5 && at <= when + 2.5 && when - after < 5.0,
                "{after} {at} {when}"
            );
            assert!((size.count - teeth).abs() < 0.06, "{:?}", w.state());
            assert!(size.uncertainty < 0.1);
        }
    }
}

/// The published test statistic on numbers worked by hand: 12 equal bins at 0 and then 12 at 1 leave no residuals for
/// two levels, 6 for the constant, and 1.5 and some for the line.
#[test]
fn the_residuals_of_the_models() {
    let points = (0..24_u32).map(|i| (f64::from(i), if i < 12 { 0.0 } else { 1.0 }));
    let line = Line::through(points);
    // Sxx = n (n² - 1) / 12 = 1150; Sxy = 72; Syy = 6.
    assert!((line.sxx - 1150.0).abs() < 1e-9 && (line.slope - 72.0 / 1150.0).abs() < 1e-12);
    assert!((line.rss - (6.0 - 72.0 * 72.0 / 1150.0)).abs() < 1e-9);
}
