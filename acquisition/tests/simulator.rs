//! The simulated engine against closed forms and published ranges.

use keyway_acquisition::simulator::blueprint::Cam;
use keyway_acquisition::simulator::engine::Engine;
use keyway_acquisition::simulator::fault::{Fault, Wheel};
use keyway_acquisition::simulator::scenario::Scenario;
use keyway_acquisition::simulator::script::Segment;
use keyway_acquisition::simulator::source::SampleSource;
use keyway_acquisition::simulator::truth::Truth;

fn scenario(name: &str) -> Scenario {
    Scenario::named(name).expect("an embedded scenario")
}

fn driven(name: &str, driver: Vec<Segment>) -> Scenario {
    Scenario {
        driver,
        repeat_from: None,
        ..scenario(name)
    }
}

fn fixed(name: &str, rpm: f64) -> Scenario {
    driven(name, vec![Segment::Fixed { rpm, seconds: 1e6 }])
}

fn speed(name: &str, rpm: f64, seconds: f64) -> Scenario {
    let there = Segment::Speed {
        rpm,
        seconds,
        ramp: 4000.0,
        load: 0.0,
    };
    driven(name, vec![Segment::Idle { seconds: 2.0 }, there])
}

/// Samples in volts of one input (counted from 1).
fn volts(engine: &mut Engine, input: usize, rate: f64, count: usize) -> Vec<f64> {
    engine.set_rate(rate);
    let info = engine.channels().swap_remove(input - 1);
    let mut out = vec![Vec::new(); 8];
    engine.fill(count, &mut out);
    out[input - 1]
        .iter()
        .map(|&raw| f64::from(raw) * info.scale + info.offset)
        .collect()
}

/// Instants, in samples, at which the signal falls through a level.
fn falls(signal: &[f64], level: f64) -> Vec<f64> {
    (1..signal.len())
        .filter(|&n| signal[n - 1] >= level && signal[n] < level)
        .map(|n| n as f64 - 1.0 + (signal[n - 1] - level) / (signal[n - 1] - signal[n]))
        .collect()
}

/// The truth each 10 ms, made at a low sample rate because only the physics is of interest.
fn watch(scenario: &Scenario, seconds: u32) -> (Vec<Truth>, Engine) {
    let mut engine = Engine::from_scenario(scenario, 3);
    engine.set_rate(1000.0);
    let mut out = vec![Vec::new(); 8];
    let truths = (0..seconds * 100)
        .map(|_| {
            out.iter_mut().for_each(Vec::clear);
            engine.fill(10, &mut out);
            engine.truth()
        })
        .collect();
    (truths, engine)
}

#[test]
fn the_same_seed_gives_the_same_samples_in_any_portions() {
    let run = |seed: u64, portions: &[usize]| {
        let mut engine = Engine::from_scenario(&scenario("default"), seed);
        engine.set_rate(200_000.0);
        let mut out = vec![Vec::new(); 8];
        let mut portions = portions.iter().cycle();
        while out[0].len() < 20_000 {
            let count = (*portions.next().unwrap()).min(20_000 - out[0].len());
            engine.fill(count, &mut out);
        }
        out
    };
    let whole = run(5, &[20_000]);
    assert_eq!(whole, run(5, &[1, 9, 10, 11, 512, 3000]));
    assert_ne!(whole, run(6, &[20_000]));
}

/// 6 degrees at 3000 rpm take 1/3 ms, the gap of a 60-2 wheel three times as long.
#[test]
fn tooth_periods_at_a_steady_speed_are_exact() {
    let quiet = Scenario {
        noise: 0.0,
        ..fixed("healthy", 3000.0)
    };
    let mut engine = Engine::from_scenario(&quiet, 1);
    let at = falls(&volts(&mut engine, 1, 1e6, 61_000), 0.0);
    let mut gaps = 0;
    for pair in at.windows(2) {
        let pitches = (pair[1] - pair[0]) / (1000.0 / 3.0);
        let whole = pitches.round();
        assert!((pitches - whole).abs() < 0.003, "{pitches}");
        assert!((whole - 2.0).abs() > 0.5 && whole < 3.5, "{pitches}");
        gaps += u32::from(whole > 2.0);
    }
    assert_eq!(gaps, 3);
}

/// The truth's angle at each zero crossing is that of a tooth's middle, also while speed ripples.
#[test]
fn zero_crossings_lie_at_the_tooth_middles_of_the_truth() {
    for name in ["healthy", "cold-start"] {
        let starting = vec![Segment::Crank { seconds: 10.0 }];
        let base = if name == "healthy" {
            scenario(name)
        } else {
            driven(name, starting)
        };
        let mut engine = Engine::from_scenario(&Scenario { noise: 0.0, ..base }, 1);
        let signal = volts(&mut engine, 1, 100_000.0, 80_000);
        let late = &falls(&signal, 0.0);
        assert!(late.len() > 100);
        for &crossing in &late[20..late.len() - 4] {
            let angle = engine.truth_at_instant(crossing).unwrap().angle;
            let pitches = (angle + 108.0) / 6.0;
            assert!(
                (pitches - pitches.round()).abs() * 6.0 < 0.03,
                "{name} {angle}"
            );
        }
    }
}

/// One tooth of a 42-tooth cam sprocket is 720/42 = 17.142857 crank degrees.
#[test]
fn a_chain_one_tooth_late_moves_the_edges_by_17_14_degrees() {
    let mut engine = Engine::from_scenario(&scenario("intake-chain-one-tooth"), 2);
    let signal = volts(&mut engine, 2, 100_000.0, 60_000);
    let at: Vec<f64> = falls(&signal, 2.6);
    let windows = [130.0, 270.0, 520.0, 620.0].map(|fall: f64| (fall + 720.0 / 42.0) % 720.0);
    assert!(at.len() >= 12);
    for &edge in &at[..at.len() - 1] {
        let truth = engine.truth_at_instant(edge).unwrap();
        assert!((truth.cam(Cam::Intake).phase + 17.142_857).abs() < 1e-4);
        let angle = truth.crank_angle();
        let error = windows
            .iter()
            .map(|w| (w - angle).abs())
            .fold(f64::INFINITY, f64::min);
        assert!(error < 0.25, "{angle}");
    }
}

#[test]
fn a_slipped_crank_wheel_shows_on_both_cams_but_moves_neither() {
    let fault = Fault::WheelMoved {
        wheel: Wheel::Crank,
        degrees: 6.0,
        after: 0.0,
    };
    let (truths, _) = watch(
        &Scenario {
            faults: vec![fault],
            ..scenario("healthy")
        },
        1,
    );
    for cam in truths[50].cams {
        assert!(cam.phase.abs() < 1e-9 && (cam.shown + 6.0).abs() < 1e-9);
    }
}

#[test]
fn duty_at_the_pin_is_the_commanded_one() {
    let mut engine = Engine::from_scenario(&fixed("healthy", 2600.0), 1);
    let rate = 200_000.0;
    let signal = volts(&mut engine, 5, rate, 40_000);
    // 250 Hz: 800 samples a period.
    // Rises into the clamp: the falls of the mirrored signal.
    let mirrored: Vec<f64> = signal.iter().map(|v| -v).collect();
    let rises = falls(&mirrored, -7.0);
    let starts = falls(&signal, 7.0);
    assert!(starts.len() > 40);
    for &start in &starts[1..starts.len() - 2] {
        let end = rises.iter().find(|r| **r > start).unwrap();
        let duty = (end - start) / 800.0 * 100.0;
        let truth = engine.truth_at_instant(start + 250.0).unwrap().cams[1].delivered_duty;
        assert!((duty - truth).abs() < 0.15, "{duty} {truth}");
    }
}

#[test]
fn cranking_ripples_with_two_compressions_a_turn_and_the_battery_sags() {
    let (truths, _) = watch(
        &driven("cold-start", vec![Segment::Crank { seconds: 9.0 }]),
        4,
    );
    let steady = &truths[100..];
    let rpm: Vec<f64> = steady.iter().map(|t| t.rpm).collect();
    let mean = rpm.iter().sum::<f64>() / rpm.len() as f64;
    let most = rpm.iter().copied().fold(0.0, f64::max);
    let least = rpm.iter().copied().fold(f64::INFINITY, f64::min);
    assert!((150.0..280.0).contains(&mean), "{mean}");
    assert!(most / least > 1.2, "{least} to {most}");
    let swings = rpm
        .windows(2)
        .filter(|w| w[0] < mean && w[1] >= mean)
        .count() as f64;
    let turns = (steady[steady.len() - 1].angle - steady[0].angle) / 360.0;
    assert!(
        (swings - 2.0 * turns).abs() < 2.0,
        "{swings} swings in {turns} turns"
    );
    // 9.6 V is the usual limit of a good battery while cranking (common practice).
    assert!(steady.iter().all(|t| (9.6..12.4).contains(&t.supply)));
}

#[test]
fn an_engine_starts_and_idles_near_its_governed_speed() {
    for (name, idle) in [("cold-start", 800.0), ("small-hatch-healthy", 850.0)] {
        let start = vec![
            Segment::Stopped { seconds: 0.3 },
            Segment::Start { seconds: 60.0 },
        ];
        let (truths, _) = watch(&driven(name, start), 10);
        assert!(truths[0].rpm < 1.0);
        let late: Vec<f64> = truths[500..].iter().map(|t| t.rpm).collect();
        let mean = late.iter().sum::<f64>() / late.len() as f64;
        assert!((mean / idle - 1.0).abs() < 0.03, "{name} {mean}");
        assert!(late.iter().all(|r| (r / mean - 1.0).abs() < 0.08), "{name}");
    }
}

#[test]
fn every_speed_of_an_engine_can_be_reached() {
    for rpm in [700.0, 1200.0, 2500.0, 4000.0, 6500.0] {
        let (held, _) = watch(&speed("healthy", rpm, 30.0), 9);
        let last = held[held.len() - 1].rpm;
        assert!((last / rpm - 1.0).abs() < 0.03, "{last} for {rpm}");
        let (exact, _) = watch(&fixed("small-hatch-healthy", rpm), 1);
        assert!(exact.iter().all(|t| (t.rpm - rpm).abs() < 1e-9));
    }
}

/// Oil-driven phasers: some 50 to 150 crank degrees per second hot and 10 to 40 cold (from memory).
#[test]
fn phasers_move_at_rates_within_the_usual_range() {
    for (name, seconds, range) in [
        ("healthy", 6, 50.0..150.0),
        ("cold-thick-oil", 9, 10.0..40.0),
    ] {
        let (truths, _) = watch(&scenario(name), seconds);
        for cam in Cam::ALL {
            // Across 100 ms, so that flutter does not count.
            let fastest = truths
                .windows(11)
                .map(|w| (w[10].cam(cam).phase - w[0].cam(cam).phase).abs() / 0.1)
                .fold(0.0, f64::max);
            assert!(range.contains(&fastest), "{name} {cam:?} {fastest}");
        }
    }
}

#[test]
fn a_healthy_engine_follows_and_never_disagrees() {
    for name in [
        "healthy",
        "small-hatch-healthy",
        "cold-thick-oil",
        "cold-start",
    ] {
        let (truths, engine) = watch(&scenario(name), 45);
        assert_eq!(engine.disagreements(), [], "{name}");
        let error = truths
            .iter()
            .map(|t| (t.cams[0].phase - t.cams[0].target).abs())
            .filter(|e| *e < 1.5)
            .count();
        assert!(error > truths.len() * 6 / 10, "{name} {error}");
    }
}

#[test]
fn a_stuck_phaser_drives_the_duty_beyond_75_percent_within_half_a_second() {
    let (truths, engine) = watch(&scenario("stuck-at-rest"), 8);
    let asked = truths.iter().position(|t| t.cams[0].target > 10.0).unwrap();
    assert!(truths[asked + 40].cams[0].delivered_duty > 75.0);
    let first = engine.disagreements()[0];
    assert!(first.cam == Cam::Intake && (first.from - truths[asked].time).abs() < 0.3);
}

#[test]
fn the_default_story_is_healthy_first_and_sticks_before_20_seconds() {
    let (truths, engine) = watch(&scenario("default"), 30);
    let onset = engine.onsets()[0].1.unwrap();
    assert!((10.0..20.0).contains(&onset), "{onset}");
    let list = engine.disagreements();
    assert!(list.iter().all(|d| d.cam == Cam::Exhaust && d.from > onset));
    assert!(list[0].from < onset + 4.0);
    let at = |t: f64| truths.iter().find(|x| x.time >= t).unwrap().cams[1].phase;
    assert!((at(onset + 0.1) - at(29.0)).abs() < 1e-9);
    assert!(
        truths
            .iter()
            .any(|t| t.time < onset && t.cams[1].phase < -15.0)
    );
}

#[test]
fn a_fallen_lead_shows_hum_while_the_engine_runs_on() {
    let mut engine = Engine::from_scenario(&scenario("lead-off"), 1);
    let signal = volts(&mut engine, 3, 2000.0, 26_000);
    assert!(signal[..23_990].iter().copied().fold(0.0, f64::max) > 4.5);
    assert!(signal[24_010..].iter().all(|v| v.abs() < 0.4));
    assert!(engine.truth().rpm > 600.0);
}

/// A series motor far from saturation: torque and current fall linearly with speed.
#[test]
fn the_starter_draws_less_the_faster_it_turns() {
    let mut cranking = driven("healthy", vec![Segment::Crank { seconds: 1e6 }]);
    cranking.engine.supply.starter_current = Some(600.0);
    let mut engine = Engine::from_scenario(&cranking, 3).with_truth(2.0);
    let signal = volts(&mut engine, 8, 20_000.0, 40_000);
    let mut worst = 0.0_f64;
    for n in (20_000..39_000_usize).step_by(97) {
        let truth = engine.truth_at_instant(n as f64).unwrap();
        let due = 600.0 * (1.0 - truth.rpm / 300.0).clamp(0.0, 1.0);
        worst = worst.max((signal[n] / 0.005 - due).abs());
    }
    // The commutator's 3 % and the windings' delay of 3 ms.
    assert!((1.0..45.0).contains(&worst), "{worst} A");
}

/// The piston of a cylinder that holds less takes less from the crank on its way up.
#[test]
fn a_leaking_cylinder_slows_the_crank_less() {
    let dips = |faults: Vec<Fault>| {
        let mut cranking = driven("healthy", vec![Segment::Crank { seconds: 1e6 }]);
        cranking.faults = faults;
        let (truths, _) = watch(&cranking, 2);
        // Slowest within 60 degrees of each TDC, by place in the firing order 1 3 4 2.
        let mut slowest = [f64::INFINITY; 4];
        for truth in truths.iter().filter(|t| t.time > 1.0) {
            for (place, slowest) in (0..4).zip(&mut slowest) {
                let after = truth.crank_angle() - 180.0 * f64::from(place);
                if !(60.0..=660.0).contains(&after.rem_euclid(720.0)) {
                    *slowest = slowest.min(truth.rpm);
                }
            }
        }
        slowest
    };
    let healthy = dips(Vec::new());
    let weak = dips(vec![Fault::WeakCylinder {
        cylinder: 4,
        compression: 0.6,
        combustion: 1.0,
        after: 0.0,
    }]);
    assert!(
        healthy.iter().all(|h| (h - healthy[0]).abs() < 5.0),
        "{healthy:?}"
    );
    assert!(weak[2] > healthy[2] + 15.0, "{weak:?} {healthy:?}");
}
