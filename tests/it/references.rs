//! References against the simulated engines and against SciPy.

use crate::engines;
use crate::rig::BLOCK;
use keyway_acquisition::simulator::engine::Engine;
use keyway_acquisition::simulator::fault::{Drive, Fault};
use keyway_acquisition::simulator::scenario::Scenario;
use keyway_acquisition::simulator::script::Segment;
use keyway_acquisition::simulator::source::SampleSource;
use keyway_analysis::base_timing::Conclusion;
use keyway_analysis::engine::{CamSheet, EngineSheet};
use keyway_analysis::lead::CamId;
use keyway_analysis::pipeline::Pipeline;
use keyway_analysis::reference::combine::{Candidate, combine};
use keyway_analysis::reference::factor::FACTORS;
use keyway_analysis::reference::handbook::Told;
use keyway_analysis::reference::{Reference, measured};
use keyway_analysis::units::{CrankDegrees, Hertz};
use serde::Deserialize;

const RATE: f64 = 100_000.0;

fn idling(name: &str) -> Scenario {
    let mut scenario = Scenario::named(name).expect("an embedded scenario");
    scenario.driver = vec![Segment::Idle { seconds: 1e3 }];
    scenario.repeat_from = None;
    scenario
}

/// Twelve seconds of it through the pipeline with this sheet.
fn measured_with(scenario: &Scenario, sheet: &EngineSheet) -> Pipeline {
    let mut engine = Engine::from_scenario(scenario, 11);
    engine.set_rate(RATE);
    let channels = engine.channels();
    let plan = engines::plan_for(&scenario.engine);
    let inputs = engines::inputs(&channels);
    let mut pipeline = Pipeline::new(sheet, &plan, &inputs, Hertz(RATE)).expect("they fit");
    let mut buffers = vec![Vec::with_capacity(BLOCK); channels.len()];
    while (engine.made() as f64) < 12.0 * RATE {
        let first = engine.made();
        buffers.iter_mut().for_each(Vec::clear);
        engine.fill(BLOCK, &mut buffers);
        let planes: Vec<&[i16]> = buffers.iter().map(Vec::as_slice).collect();
        pipeline.push(first, &planes);
    }
    pipeline
}

/// The sheet with windows read off a picture: nobody has called them good, and they are some degrees off.
fn sketched(scenario: &Scenario) -> EngineSheet {
    let mut sheet = engines::sheet(&scenario.engine);
    for (k, cam) in sheet.cams.iter_mut().enumerate() {
        cam.known_good = false;
        for (i, angle) in cam.windows.iter_mut().flatten().enumerate() {
            *angle += if (i + k) % 2 == 0 { 2.5 } else { -1.0 };
        }
    }
    sheet
}

fn told() -> Told {
    Told {
        name: "good one".to_owned(),
        made: "2026-11-30".to_owned(),
        vehicle: "KW 1".to_owned(),
        ..Told::default()
    }
}

fn with(sheet: &EngineSheet, reference: &Reference) -> EngineSheet {
    let mut sheet = sheet.clone();
    for applied in reference.onto(&sheet).expect("its own engine") {
        let own = |c: &&mut CamSheet| c.cam == applied.cam;
        let cam = sheet.cams.iter_mut().find(own).expect("there");
        cam.windows = applied.windows;
        cam.known_good = applied.known_good;
        cam.tolerance = applied.tolerance;
        cam.reference = Some(applied.reference);
    }
    sheet
}

#[test]
fn a_good_engine_gives_its_own_angles_and_judges_the_next() {
    for name in ["healthy", "small-hatch-healthy", "estate-six-healthy"] {
        let good = idling(name);
        let sheet = sketched(&good);
        let rests = measured_with(&good, &sheet).at_rest();
        let (reference, refusals) = measured::reference(&sheet, &rests, &told())
            .unwrap_or_else(|r| panic!("{name}: {r:?}"));
        assert_eq!(refusals, [], "{name}");
        let truth = [&good.engine.intake, &good.engine.exhaust];
        let mut worst = 0.0_f64;
        for (cam, plan) in reference.cams.iter().zip(truth) {
            let due = plan
                .windows
                .iter()
                .flatten()
                .enumerate()
                .map(|(i, angle)| angle + plan.edge_errors.get(i).copied().unwrap_or(0.0));
            for (edge, due) in cam.edges.iter().zip(due) {
                let off = (edge.angle.0 - due + 360.0).rem_euclid(720.0) - 360.0;
                let spread = edge.spread.expect("measured").0;
                assert!(off.abs() <= spread + 0.01, "{name}: {edge:?}, due {due}");
                worst = worst.max(off.abs());
            }
        }
        eprintln!("{name}: angles within {worst:.3} degrees of the truth");
        // The same engine type, one tooth out, measured against the reference of the good one.
        let mut bad = idling(name);
        bad.faults = vec![Fault::ChainJump {
            cam: Drive::Intake,
            teeth: -1,
            after: 0.0,
        }];
        let judged = measured_with(&bad, &with(&sheet, &reference))
            .snapshot()
            .base_timing;
        let tooth = 720.0 / f64::from(good.engine.intake.sprocket_teeth);
        let offset = judged.cams[0].offset.valid().expect("judged").0;
        assert!((offset + tooth).abs() < 0.5, "{name}: {}", judged.sentence);
        assert!(
            matches!(
                judged.conclusion,
                Conclusion::OneOutByTeeth(CamId::INTAKE, -1)
            ),
            "{name}: {}",
            judged.sentence
        );
        assert!(
            judged.against.contains("good one, one engine"),
            "{}",
            judged.against
        );
    }
}

#[test]
fn what_is_not_known_of_the_reference_is_in_the_judgement() {
    let mut late = idling("healthy");
    late.engine
        .exhaust
        .windows
        .iter_mut()
        .flatten()
        .for_each(|a| *a += 4.0);
    let sheet = engines::sheet(&idling("healthy").engine);
    let told = |doubt: f64| {
        let rests = measured_with(&idling("healthy"), &sheet).at_rest();
        let (mut reference, _) = measured::reference(&sheet, &rests, &told()).expect("good");
        for cam in &mut reference.cams {
            cam.tolerance = CrankDegrees(3.0);
            cam.uncertainty = CrankDegrees(doubt);
        }
        measured_with(&late, &with(&sheet, &reference))
            .snapshot()
            .base_timing
    };
    let sure = told(0.1);
    assert_eq!(
        sure.conclusion,
        Conclusion::OneOut(CamId::EXHAUST),
        "{}",
        sure.sentence
    );
    let doubtful = told(2.0);
    assert_eq!(
        doubtful.conclusion,
        Conclusion::Good,
        "{}",
        doubtful.sentence
    );
}

#[derive(Deserialize)]
struct Made {
    factors: Vec<f64>,
    combinations: Vec<Combination>,
}

#[derive(Deserialize)]
struct Combination {
    engines: Vec<Vec<f64>>,
    mean: Vec<f64>,
    edge_deviation: Vec<f64>,
    tolerance: f64,
}

/// `tests/reference/tolerance.py` makes them with SciPy and checks them against ISO 16269-6 and the NIST handbook.
#[test]
fn tolerances_are_those_of_scipy() {
    let made: Made = serde_json::from_str(include_str!("../reference/tolerance.json"))
        .expect("made by the script");
    assert_eq!(made.factors, FACTORS);
    let text = include_str!("../../analysis/src/reference/examples/measured.toml");
    let pattern = Reference::read(text).expect("an example");
    for case in &made.combinations {
        let engines: Vec<Reference> = (case.engines.iter().enumerate())
            .map(|(i, angles)| {
                let mut reference = pattern.clone();
                reference.vehicle = format!("KW {i}");
                reference.cams.truncate(1);
                for (edge, angle) in reference.cams[0].edges.iter_mut().zip(angles) {
                    edge.angle = CrankDegrees(*angle);
                }
                reference
            })
            .collect();
        let candidates: Vec<Candidate<'_>> = (engines.iter())
            .map(|reference| Candidate {
                reference,
                left_out: false,
            })
            .collect();
        let combined = combine(&candidates, &told()).expect("several");
        let cam = &combined.cams[0];
        // The file keeps hundredths.
        let near = |a: f64, b: f64| ((a - b + 360.0).rem_euclid(720.0) - 360.0).abs() <= 0.0051;
        assert!(
            near(cam.tolerance.0, case.tolerance),
            "{:?}, due {}",
            cam.tolerance,
            case.tolerance
        );
        for (edge, (mean, deviation)) in cam
            .edges
            .iter()
            .zip(case.mean.iter().zip(&case.edge_deviation))
        {
            assert!(near(edge.angle.0, *mean), "{edge:?}, due {mean}");
            assert!(
                near(edge.spread.expect("several").0, *deviation),
                "{edge:?}, due {deviation}"
            );
        }
    }
}
