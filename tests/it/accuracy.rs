//! How near the measured figures come to the truth of the simulator. Each bound is a promise of the product.

use crate::rig::{Rig, driven, fixed, spread};
use keyway_acquisition::simulator::blueprint::Cam;
use keyway_acquisition::simulator::scenario::Scenario;
use keyway_acquisition::simulator::script::Segment;
use keyway_analysis::lead::CamId;

const RATE: f64 = 200_000.0;
/// 60-2 with a VR sensor, and 36-1 with a Hall sensor.
const ENGINES: [&str; 2] = ["healthy", "small-hatch-healthy"];
const SPEEDS: [f64; 4] = [700.0, 1500.0, 3000.0, 6500.0];
/// Seconds before anything is compared: the crank pattern has to be found first.
const SETTLED: f64 = 3.0;

#[test]
fn speed_is_within_a_thousandth_when_steady() {
    for name in ENGINES {
        for rpm in SPEEDS {
            let mut rig = Rig::new(&fixed(name, rpm), 11, RATE, 2.0);
            let (mut worst, mut seen) = (0.0f64, 0);
            rig.run(SETTLED, |_, _| {});
            rig.pipeline.collect_series();
            rig.run(3.0, |pipeline, engine| {
                let truth = engine.truth().rpm;
                let shown = pipeline.snapshot().speed.valid().expect("steady and valid");
                worst = worst.max((shown.0 / truth - 1.0).abs());
                for revolution in pipeline.drain_series().revolutions {
                    worst = worst.max((revolution.speed.0 / truth - 1.0).abs());
                    seen += 1;
                }
            });
            eprintln!(
                "speed  {name:20} {rpm:6.0} rpm  worst {:.4} %  of {seen} turns",
                100.0 * worst
            );
            assert!(f64::from(seen) > rpm / 60.0 * 2.5, "{seen} turns");
            assert!(worst <= 0.001, "{name} at {rpm}: {worst}");
        }
    }
}

/// Errors of every single cam edge against the phase that a perfect measurement would show.
fn phase_errors(scenario: &Scenario, seconds: f64) -> [Vec<f64>; 2] {
    let mut rig = Rig::new(scenario, 5, RATE, 4.0);
    rig.run(SETTLED, |_, _| {});
    rig.pipeline.collect_series();
    let mut errors = [Vec::new(), Vec::new()];
    rig.run(seconds, |pipeline, engine| {
        for sample in pipeline.drain_series().phases {
            let truth = engine
                .truth_at_instant(sample.at.0)
                .expect("within the log");
            errors[sample.cam].push(sample.phase.0 - truth.cams[sample.cam].shown);
        }
    });
    errors
}

fn check_phase(what: &str, scenario: &Scenario) {
    for (cam, errors) in ["intake", "exhaust"]
        .iter()
        .zip(phase_errors(scenario, 6.0))
    {
        let (mean, most) = spread(&errors);
        eprintln!(
            "phase  {what:32} {cam:8} {:5} edges  mean {mean:+.4}°  95 % within {most:.4}°",
            errors.len()
        );
        assert!(errors.len() > 60, "{what} {cam}: {} edges", errors.len());
        assert!(most <= 0.3, "{what} {cam}: 95 % within {most}°");
        assert!(mean.abs() <= 0.05, "{what} {cam}: mean {mean}°");
    }
}

#[test]
fn cam_phase_is_right_from_idle_to_the_limit() {
    for name in ENGINES {
        for rpm in SPEEDS {
            check_phase(&format!("{name} {rpm:.0} rpm"), &fixed(name, rpm));
        }
    }
}

/// As on the road: combustion makes the speed uneven, and the phasers are on their way.
#[test]
fn cam_phase_is_right_while_idling_and_revving() {
    for name in ENGINES {
        let idle = driven(name, vec![Segment::Idle { seconds: 1e6 }]);
        check_phase(&format!("{name} idle"), &idle);
        let mut revving = driven(
            name,
            [900.0, 3500.0, 1600.0, 5500.0]
                .map(|rpm| Segment::Speed {
                    rpm,
                    seconds: 1.5,
                    ramp: 4000.0,
                    load: 0.0,
                })
                .to_vec(),
        );
        revving.repeat_from = Some(1);
        check_phase(&format!("{name} revving"), &revving);
    }
}

#[test]
fn duty_is_within_a_fifth_of_a_point() {
    let mut worst_of_all = 0.0f64;
    for frequency in [100.0, 150.0, 200.0, 250.0, 300.0, 400.0] {
        for duty in [5.0, 10.0, 25.0, 50.0, 75.0, 90.0, 95.0] {
            // The controller sends exactly its keep-alive duty while its target is rest.
            let mut scenario = fixed("healthy", 2000.0);
            for plan in [&mut scenario.engine.intake, &mut scenario.engine.exhaust] {
                let phaser = plan.phaser.as_mut().expect("a phaser");
                phaser.valve.frequency = frequency;
                phaser.control.targets = vec![[0.0, 0.0]];
                phaser.control.keep_alive = duty;
            }
            let mut rig = Rig::new(&scenario, 3, RATE, 2.0);
            rig.run(2.0, |_, _| {});
            let mut worst = [0.0f64; 2];
            let mut off = 0.0f64;
            rig.run(0.6, |pipeline, engine| {
                let truth = engine.truth();
                let snapshot = pipeline.snapshot();
                for (cam, id) in [(Cam::Intake, CamId::INTAKE), (Cam::Exhaust, CamId::EXHAUST)] {
                    let command = &snapshot
                        .cams
                        .iter()
                        .find(|c| c.id == id)
                        .expect("the cam")
                        .command;
                    let shown = command.duty.valid().expect("a valid duty").0;
                    let wrong = (shown - truth.cam(cam).delivered_duty).abs();
                    worst[cam.index()] = worst[cam.index()].max(wrong);
                    let shown = command.frequency.valid().expect("a valid frequency").0;
                    off = off.max((shown / frequency - 1.0).abs());
                }
            });
            let worst = worst[0].max(worst[1]);
            worst_of_all = worst_of_all.max(worst);
            eprintln!(
                "duty   {duty:3.0} % at {frequency:3.0} Hz  off by at most {worst:.3} points, frequency by {:.4} %",
                100.0 * off
            );
            assert!(
                worst <= 0.2,
                "{duty} % at {frequency} Hz: off by {worst} points"
            );
            assert!(
                off <= 0.001,
                "{duty} % at {frequency} Hz: frequency off by {off}"
            );
        }
    }
    eprintln!("duty   worst of all {worst_of_all:.3} points");
}
