//! How the simulated crank moves: prescribed speed, stopping, turning back; and what its sensors show of it.

use keyway_acquisition::simulator::blueprint::{CrankSensor, CrankWheel};
use keyway_acquisition::simulator::engine::Engine;
use keyway_acquisition::simulator::scenario::Scenario;
use keyway_acquisition::simulator::script::Segment;
use keyway_acquisition::simulator::source::SampleSource;
use keyway_acquisition::simulator::truth::Truth;

/// Samples per millisecond.
const RATE: u32 = 100;

fn driven(name: &str, driver: Vec<Segment>) -> Scenario {
    Scenario {
        driver,
        repeat_from: None,
        noise: 0.0,
        ..Scenario::named(name).expect("an embedded scenario")
    }
}

fn profile(from: f64, to: f64, seconds: f64, ripple: &[[f64; 2]]) -> Segment {
    Segment::Profile {
        from,
        to,
        seconds,
        ripple: ripple.to_vec(),
    }
}

/// Crank and cams in volts, and the truth at each sample.
fn run(scenario: &Scenario, seed: u64, milliseconds: u32) -> (Vec<[f64; 3]>, Vec<Truth>) {
    let mut engine = Engine::from_scenario(scenario, seed)
        .with_inputs(3)
        .with_truth(f64::from(milliseconds) / 1e3 + 1.0);
    engine.set_rate(f64::from(RATE) * 1e3);
    let infos = engine.channels();
    assert_eq!(infos.len(), 3);
    let mut out = vec![Vec::new(); 3];
    let count = at(milliseconds);
    engine.fill(count, &mut out);
    let volts =
        |n: usize| std::array::from_fn(|i| f64::from(out[i][n]) * infos[i].scale + infos[i].offset);
    let truths = (0..count as u64)
        .filter_map(|n| engine.truth_at(n))
        .collect();
    ((0..count).map(volts).collect(), truths)
}

/// Index of the sample at a time.
fn at(milliseconds: u32) -> usize {
    (milliseconds * RATE) as usize
}

fn extremes(values: impl Iterator<Item = f64>) -> [f64; 2] {
    values.fold([f64::INFINITY, f64::NEG_INFINITY], |[a, b], v| {
        [a.min(v), b.max(v)]
    })
}

/// 85 to 225 rpm about 155, four swings a turn: an eight-cylinder engine on its starter.
#[test]
fn prescribed_ripple_has_its_depth_and_order() {
    let depth = 2.0 * (225.0 - 85.0) / (225.0 + 85.0);
    let (_, truths) = run(
        &driven("healthy", vec![profile(155.0, 155.0, 9.0, &[[4.0, depth]])]),
        1,
        4000,
    );
    let [least, most] = extremes(truths.iter().map(|t| t.rpm));
    assert!(
        (least - 85.0).abs() < 0.5 && (most - 225.0).abs() < 0.5,
        "{least} {most}"
    );
    let swings = truths
        .windows(2)
        .filter(|w| w[0].rpm < 155.0 && w[1].rpm >= 155.0)
        .count() as f64;
    let turns = (truths[truths.len() - 1].angle - truths[0].angle) / 360.0;
    assert!(
        (swings - 4.0 * turns).abs() < 1.5,
        "{swings} in {turns} turns"
    );
}

/// A straight line from 1000 to 6000 rpm in a second: half a second in, 3500 rpm and
/// (1000 + 3500) / 2 / 60 · 360 · 0.5 = 6750 degrees on.
#[test]
fn a_prescribed_ramp_is_straight() {
    let (_, truths) = run(
        &driven("healthy", vec![profile(1000.0, 6000.0, 1.0, &[])]),
        1,
        1500,
    );
    let half = at(500);
    assert!((truths[half].rpm - 3500.0).abs() < 0.5);
    assert!((truths[half].angle - truths[0].angle - 6750.0).abs() < 0.5);
    // It stays where the line ended.
    assert!((truths[truths.len() - 1].rpm - 6000.0).abs() < 0.5);
}

/// An engine that stops is thrown back by the last compression, swings, and stands. Four cylinders are
/// usually thrown some 20 to 60 crank degrees (from memory); three, whose compressions lie 240 degrees
/// apart, less than that.
#[test]
fn an_engine_that_stops_rocks_back_and_then_stands() {
    for (name, expected) in [
        ("healthy", 20.0..60.0),
        ("small-hatch-healthy", 20.0..240.0),
    ] {
        let mut rocked = Vec::new();
        for seed in 1..=4u8 {
            let stop = vec![
                Segment::Idle {
                    seconds: 1.0 + 0.07 * f64::from(seed),
                },
                Segment::Stopped { seconds: 9.0 },
            ];
            let (_, truths) = run(&driven(name, stop), seed.into(), 5000);
            let last = truths[truths.len() - 1];
            assert!(
                last.rpm.abs() < 1e-9,
                "{name} still turns at {} rpm",
                last.rpm
            );
            let furthest = extremes(truths.iter().map(|t| t.angle))[1];
            let after = truths.iter().position(Truth::is_backwards);
            let lowest = after.map_or(furthest, |n| {
                extremes(truths[n..].iter().map(|t| t.angle))[0]
            });
            rocked.push(furthest - lowest);
        }
        let usual = rocked.iter().all(|r| expected.contains(r));
        assert!(usual, "{name}: {rocked:?}");
    }
}

/// Turned back and on again, the wheels show the same teeth and windows at the same angles both ways.
#[test]
fn sensors_show_the_same_angles_both_ways() {
    let there_and_back = vec![
        profile(120.0, 120.0, 0.5, &[]),
        profile(120.0, -120.0, 0.4, &[]),
        profile(-120.0, -120.0, 0.5, &[]),
    ];
    let mut scenario = driven("healthy", there_and_back);
    scenario.engine.crank = CrankWheel::plain(
        36,
        1,
        84.0,
        CrankSensor::Hall {
            low: 0.0,
            high: 5.0,
            tooth_width: 5.0,
        },
    );
    scenario.engine.intake.jitter = 0.0;
    scenario.engine.exhaust.jitter = 0.0;
    let (volts, truths) = run(&scenario, 1, 1400);
    assert!(truths.iter().any(Truth::is_backwards));
    let mut compared = 0;
    // At a sample on the way there and one on the way back at the same angle the levels are the same.
    let turned = truths.iter().position(Truth::is_backwards).expect("turned");
    let mut back = turned;
    for there in (0..turned).rev().step_by(7) {
        while back + 1 < truths.len() && truths[back].angle > truths[there].angle {
            back += 1;
        }
        if back + 1 >= truths.len() {
            break;
        }
        let near = |n: usize| {
            (n.saturating_sub(8)..=n + 8).any(|i| {
                let v = volts.get(i).unwrap_or(&volts[n]);
                (0..3).any(|k| (v[k] > 2.5) != (volts[n][k] > 2.5))
            })
        };
        if !near(there) && !near(back) {
            let pairs = volts[there].iter().zip(&volts[back]);
            let same = pairs.map(|(a, b)| (a - b).abs()).all(|d| d < 0.01);
            assert!(same, "at {} degrees", truths[there].angle);
            compared += 1;
        }
    }
    assert!(compared > 3000, "{compared}");
}

#[test]
fn a_cold_engine_that_stalled_starts_again() {
    let driver = vec![
        Segment::Idle { seconds: 1.0 },
        Segment::Stopped { seconds: 2.0 },
        Segment::Crank { seconds: 1.0 },
        Segment::Start { seconds: 9.0 },
    ];
    let (_, truths) = run(&driven("healthy", driver), 2, 8000);
    let rpm = |milliseconds: u32| truths[at(milliseconds)].rpm;
    assert!(
        rpm(2900).abs() < 1e-9 && (100.0..320.0).contains(&rpm(3900)),
        "{} {}",
        rpm(2900),
        rpm(3900)
    );
    assert!(rpm(7500) > 700.0, "{}", rpm(7500));
}
