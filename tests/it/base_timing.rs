//! What is told of the base timing, against what is wrong with the simulated engine.

use crate::engines;
use crate::rig::BLOCK;
use keyway_acquisition::simulator::blueprint::Cam;
use keyway_acquisition::simulator::engine::Engine;
use keyway_acquisition::simulator::fault::{Drive, Fault, Wheel};
use keyway_acquisition::simulator::scenario::Scenario;
use keyway_acquisition::simulator::script::Segment;
use keyway_acquisition::simulator::source::SampleSource;
use keyway_analysis::base_timing::{
    BaseTiming,
    Conclusion::{self, AllOutAlike, Good, NotJudged, OneOut, OneOutByTeeth, SeveralOut},
};
use keyway_analysis::lead::CamId;
use keyway_analysis::pipeline::Pipeline;
use keyway_analysis::units::Hertz;

const RATE: f64 = 100_000.0;
const IN: CamId = CamId::INTAKE;
const EX: CamId = CamId::EXHAUST;
const ENGINES: [&str; 3] = ["healthy", "small-hatch-healthy", "estate-six-healthy"];

fn chain(cam: Drive, teeth: i32) -> Vec<Fault> {
    let after = 0.0;
    vec![Fault::ChainJump { cam, teeth, after }]
}

fn moved(wheel: Wheel, degrees: f64) -> Vec<Fault> {
    let after = 0.0;
    vec![Fault::WheelMoved {
        wheel,
        degrees,
        after,
    }]
}

/// Idle, driven, idle again: two looks at rest.
fn told(mut scenario: Scenario, seed: u64, known_good: bool) -> BaseTiming {
    scenario.driver = vec![
        Segment::Idle { seconds: 5.0 },
        Segment::Speed {
            rpm: 2600.0,
            seconds: 3.0,
            ramp: 2500.0,
            load: 0.0,
        },
        Segment::Idle { seconds: 1e3 },
    ];
    scenario.repeat_from = None;
    let mut engine = Engine::from_scenario(&scenario, seed);
    engine.set_rate(RATE);
    let channels = engine.channels();
    let mut sheet = engines::sheet(&scenario.engine);
    sheet
        .cams
        .iter_mut()
        .for_each(|c| c.known_good = known_good);
    let plan = engines::plan_for(&scenario.engine);
    let inputs = engines::inputs(&channels);
    let mut pipeline = Pipeline::new(&sheet, &plan, &inputs, Hertz(RATE)).expect("they fit");
    let mut buffers = vec![Vec::with_capacity(BLOCK); channels.len()];
    while (engine.made() as f64) < 15.0 * RATE {
        let first = engine.made();
        buffers.iter_mut().for_each(Vec::clear);
        engine.fill(BLOCK, &mut buffers);
        let planes: Vec<&[i16]> = buffers.iter().map(Vec::as_slice).collect();
        pipeline.push(first, &planes);
    }
    (*pipeline.snapshot().base_timing).clone()
}

struct Row {
    what: &'static str,
    faults: Vec<Fault>,
    due: Conclusion,
    /// Teeth of intake and exhaust, advance positive.
    teeth: [i32; 2],
    /// Degrees besides.
    degrees: [f64; 2],
}

fn row(
    what: &'static str,
    faults: Vec<Fault>,
    due: Conclusion,
    teeth: [i32; 2],
    degrees: [f64; 2],
) -> Row {
    Row {
        what,
        faults,
        due,
        teeth,
        degrees,
    }
}

#[test]
fn what_is_out_is_told_as_it_is() {
    let none = [0.0; 2];
    let both = [chain(Drive::Intake, -1), chain(Drive::Exhaust, 1)].concat();
    let table = [
        row("nothing", vec![], Good, [0, 0], none),
        row(
            "intake one late",
            chain(Drive::Intake, -1),
            OneOutByTeeth(IN, -1),
            [-1, 0],
            none,
        ),
        row(
            "intake one early",
            chain(Drive::Intake, 1),
            OneOutByTeeth(IN, 1),
            [1, 0],
            none,
        ),
        row(
            "exhaust one late",
            chain(Drive::Exhaust, -1),
            OneOutByTeeth(EX, -1),
            [0, -1],
            none,
        ),
        row(
            "exhaust two early",
            chain(Drive::Exhaust, 2),
            OneOutByTeeth(EX, 2),
            [0, 2],
            none,
        ),
        row(
            "intake two late",
            chain(Drive::Intake, -2),
            OneOutByTeeth(IN, -2),
            [-2, 0],
            none,
        ),
        row(
            "both one late",
            chain(Drive::Both, -1),
            AllOutAlike,
            [-1, -1],
            none,
        ),
        row(
            "both one early",
            chain(Drive::Both, 1),
            AllOutAlike,
            [1, 1],
            none,
        ),
        row("one each way", both, SeveralOut, [-1, 1], none),
        // The crank's marks early: the cams look late.
        row(
            "crank wheel moved",
            moved(Wheel::Crank, 9.0),
            AllOutAlike,
            [0, 0],
            [-9.0; 2],
        ),
        row(
            "crank wheel moved back",
            moved(Wheel::Crank, -9.0),
            AllOutAlike,
            [0, 0],
            [9.0; 2],
        ),
        row(
            "intake wheel moved",
            moved(Wheel::Intake, -8.5),
            OneOut(IN),
            [0, 0],
            [-8.5, 0.0],
        ),
        row(
            "exhaust wheel moved",
            moved(Wheel::Exhaust, 9.0),
            OneOut(EX),
            [0, 0],
            [0.0, 9.0],
        ),
    ];
    let (mut worst, mut unmoved) = (0.0f64, 0);
    // Sprockets of usual sizes in turn: one tooth is 720 / N crank degrees.
    let sprockets = [36, 38, 40, 42, 44, 46, 48, 50];
    for (seed, name) in [1, 2, 3, 4].iter().zip(ENGINES.iter().cycle()) {
        for (row, teeth) in table.iter().zip(sprockets.iter().cycle().skip(seed * 3)) {
            let mut scenario = Scenario::named(name).expect("an embedded scenario");
            scenario.engine.intake.sprocket_teeth = *teeth;
            scenario.engine.exhaust.sprocket_teeth = *teeth;
            scenario.faults.clone_from(&row.faults);
            let told = told(scenario, *seed as u64, true);
            eprintln!("{name:20} {teeth} {:24} {}", row.what, told.sentence);
            // A controller that finds its cam where it wants it does not drive it: then a phaser off its rest is not excluded.
            let moved = told.cams.iter().all(|c| c.looks > 1);
            let due = match row.due {
                OneOutByTeeth(cam, _) if !moved && told.sentence.contains("travel") => OneOut(cam),
                due => due,
            };
            unmoved += usize::from(due != row.due);
            let said = &told.sentence;
            assert_eq!(told.conclusion, due, "{name} {teeth} {}: {said}", row.what);
            for (cam, (out, besides)) in told.cams.iter().zip(row.teeth.iter().zip(row.degrees)) {
                let due = f64::from(*out) * 720.0 / f64::from(*teeth) + besides;
                let offset = cam.offset.valid().expect("judged").0;
                let within = cam.uncertainty.expect("judged").0;
                assert!((offset - due).abs() <= within, "{cam:?}, due {due}");
                worst = worst.max((offset - due).abs());
            }
            assert_eq!(told.next.is_none(), row.due == Good);
        }
    }
    eprintln!("worst offset {worst:.3} degrees, {unmoved} cams that were not driven");
    assert!(unmoved < 5, "{unmoved}");
    assert!(worst < 0.5);
}

#[test]
fn a_phaser_off_its_rest_is_not_called_a_sprocket() {
    let named = |name| Scenario::named(name).expect("an embedded scenario");
    let cold = named("cold-thick-oil");
    let told_cold = told(cold, 5, true);
    assert!(
        matches!(told_cold.conclusion, Good | NotJudged),
        "{told_cold:?}"
    );
    for seed in [1, 2] {
        let mut scenario = Scenario::named("healthy").expect("an embedded scenario");
        scenario.faults = vec![Fault::PhaserStuck {
            cam: Cam::Exhaust,
            after: 0.0,
            oil_above: f64::NEG_INFINITY,
            // One tooth of 42, in the middle of the travel.
            moved: Some([16.0, 18.0]),
        }];
        let told = told(scenario, seed, true);
        eprintln!("{}", told.sentence);
        assert_eq!(told.conclusion, OneOut(EX), "{}", told.sentence);
    }
}

#[test]
fn without_a_reference_nothing_is_judged() {
    let mut scenario = Scenario::named("healthy").expect("an embedded scenario");
    scenario.faults = chain(Drive::Intake, -1);
    let told = told(scenario, 1, false);
    assert_eq!(told.conclusion, NotJudged);
    assert!(told.cams.iter().all(|c| c.offset.valid().is_none()));
    assert!(told.next.expect("how to get one").contains("reference"));
}

#[test]
fn a_cam_without_a_phaser_is_judged_too() {
    let mut scenario = Scenario::named("healthy").expect("an embedded scenario");
    scenario.engine.exhaust.phaser = None;
    scenario.faults = chain(Drive::Exhaust, -1);
    let told = told(scenario, 3, true);
    assert_eq!(told.conclusion, OneOutByTeeth(EX, -1), "{}", told.sentence);
}

/// On an even wheel of 24 teeth a cam one tooth of 40 late, 18 degrees, and another 15 degrees early look the same.
#[test]
fn an_even_crank_wheel_does_not_tell_which_cam_is_out() {
    let mut scenario = Scenario::named("pick-up-healthy").expect("an embedded scenario");
    assert_eq!(told(scenario.clone(), 3, true).conclusion, Good);
    scenario.faults = chain(Drive::Exhaust, -1);
    let told = told(scenario, 3, true);
    assert_eq!(told.conclusion, NotJudged, "{}", told.sentence);
    assert!(
        told.sentence.contains("even wheel does not tell which"),
        "{}",
        told.sentence
    );
    assert!(told.next.is_some());
}
