//! Mistakes of the hook-up on simulated engines without any fault: each is recognised, and no part is blamed.

use crate::rig::{BLOCK, Rig};
use keyway_acquisition::simulator::blueprint::Cam;
use keyway_acquisition::simulator::fault::{Fault, HookupFault, Point, When};
use keyway_acquisition::simulator::scenario::Scenario;
use keyway_acquisition::simulator::script::Segment;
use keyway_analysis::lead::{CamId, Role};
use keyway_analysis::proof::{Mistake, Touch};
use keyway_analysis::snapshot::{AgreementState, LeadSnapshot, ProofState};
use std::collections::BTreeMap;

const RATE: f64 = 100_000.0;
const ENGINES: [&str; 3] = ["healthy", "small-hatch-healthy", "pick-up-healthy"];
/// Seconds of each run: idle, then a speed at which both valves are driven.
const LASTS: f64 = 6.0;

/// What is expected of a lead in the end.
enum Shown {
    /// One of these mistakes.
    By(fn(Mistake) -> bool),
    /// Not proven, whatever is seen.
    Unproven,
    /// No harm is done: it may be proven all the same.
    Harmless,
}

struct Row {
    what: &'static str,
    faults: Vec<Fault>,
    /// Inputs concerned.
    inputs: Vec<usize>,
    shown: Shown,
}

fn row(what: &'static str, faults: Vec<Fault>, inputs: &[usize], shown: Shown) -> Row {
    let inputs = inputs.to_vec();
    Row {
        what,
        faults,
        inputs,
        shown,
    }
}

fn at(input: usize, what: HookupFault) -> Fault {
    let when = When::default();
    Fault::Hookup { input, what, when }
}

fn on(input: usize, point: Point) -> Fault {
    at(input, HookupFault::On { point })
}

fn rows() -> Vec<Row> {
    use Mistake::{
        ClampReversed, Clipped, FactorTooLarge, FactorTooSmall, Inverted, NoGround, Off, Swapped,
    };
    let swapped = |input, with| vec![Fault::LeadsSwapped { input, with }];
    let factor = |input, factor| vec![Fault::ProbeFactor { input, factor }];
    let too_small = || Shown::By(|m| m == FactorTooSmall);
    let too_large = || Shown::By(|m| matches!(m, FactorTooLarge | Clipped));
    let exchanged = || Shown::By(|m| matches!(m, Swapped(_)));
    let off = |input| vec![at(input, HookupFault::Off)];
    let hum = |input| vec![at(input, HookupFault::GroundMissing { hum: 4.0 })];
    let ungrounded = || Shown::By(|m| m == NoGround);
    let fallen = || Shown::By(|m| m == Off);
    vec![
        row("cam leads swapped", swapped(2, 3), &[2, 3], exchanged()),
        row("crank and cam swapped", swapped(1, 2), &[1, 2], exchanged()),
        row(
            "cam and command swapped",
            swapped(3, 5),
            &[3, 5],
            exchanged(),
        ),
        row(
            "supply and command swapped",
            swapped(5, 6),
            &[5, 6],
            exchanged(),
        ),
        row(
            "command and clamp swapped",
            swapped(5, 7),
            &[5, 7],
            Shown::Unproven,
        ),
        row(
            "cam and supply swapped",
            swapped(2, 6),
            &[2, 6],
            Shown::Unproven,
        ),
        row(
            "crank and command swapped",
            swapped(1, 5),
            &[1, 5],
            Shown::Unproven,
        ),
        row("supply probe a tenth", factor(6, 0.1), &[6], too_small()),
        row("supply probe tenfold", factor(6, 10.0), &[6], too_large()),
        row("command probe a tenth", factor(5, 0.1), &[5], too_small()),
        row("command probe tenfold", factor(5, 10.0), &[5], too_large()),
        row("cam probe a tenth", factor(2, 0.1), &[2], too_small()),
        row("cam probe tenfold", factor(2, 10.0), &[2], too_large()),
        row("clamp a tenth", factor(7, 0.1), &[7], too_small()),
        row("crank probe a tenth", factor(1, 0.1), &[1], Shown::Harmless),
        row(
            "crank probe tenfold",
            factor(1, 10.0),
            &[1],
            Shown::Harmless,
        ),
        row("crank off", off(1), &[1], fallen()),
        row("cam off", off(3), &[3], fallen()),
        row("command off", off(5), &[5], fallen()),
        row("supply off", off(6), &[6], fallen()),
        row(
            "clamp around no wire",
            vec![on(7, Point::NoWire)],
            &[7],
            fallen(),
        ),
        row(
            "crank wires exchanged",
            vec![at(1, HookupFault::Reversed)],
            &[1],
            Shown::By(|m| m == Inverted),
        ),
        row(
            "clamp turned round",
            vec![at(7, HookupFault::Reversed)],
            &[7],
            Shown::By(|m| m == ClampReversed),
        ),
        row("hum on the crank", hum(1), &[1], ungrounded()),
        row("hum on a cam", hum(2), &[2], ungrounded()),
        row("hum on a command", hum(5), &[5], ungrounded()),
        row("hum on the supply", hum(6), &[6], ungrounded()),
        row(
            "no scope ground",
            vec![Fault::ScopeGroundMissing {
                hum: 3.0,
                when: When::default(),
            }],
            &[2, 3, 5, 6],
            ungrounded(),
        ),
        row(
            "no scope ground, no mains",
            vec![Fault::ScopeGroundMissing {
                hum: 0.0,
                when: When::default(),
            }],
            &[2, 3, 5, 6],
            ungrounded(),
        ),
        row(
            "command on the feed",
            vec![on(5, Point::ExhaustSupply)],
            &[5],
            Shown::Unproven,
        ),
        row(
            "command on the other valve",
            vec![on(5, Point::IntakeControl)],
            &[5],
            Shown::Unproven,
        ),
        row(
            "cam on the other cam",
            vec![on(3, Point::IntakeSensor)],
            &[3],
            exchanged(),
        ),
        row("commands swapped", swapped(4, 5), &[], Shown::Harmless),
        row(
            "command on ground",
            vec![on(5, Point::Ground)],
            &[5],
            Shown::Unproven,
        ),
        row(
            "command on a sensor's feed",
            vec![on(5, Point::SensorSupply)],
            &[5],
            Shown::Unproven,
        ),
        row(
            "command on an injector",
            vec![on(5, Point::Injector)],
            &[5],
            Shown::Unproven,
        ),
        row(
            "cam on the sensor's feed",
            vec![on(2, Point::SensorSupply)],
            &[2],
            Shown::Unproven,
        ),
        row(
            "cam on the sensor's ground",
            vec![on(2, Point::SensorGround)],
            &[2],
            Shown::Unproven,
        ),
        row(
            "supply on ground",
            vec![on(6, Point::Ground)],
            &[6],
            Shown::Unproven,
        ),
        row(
            "supply on a sensor's feed",
            vec![on(6, Point::SensorSupply)],
            &[6],
            Shown::Unproven,
        ),
        row(
            "supply on a control pin",
            vec![on(6, Point::ExhaustControl)],
            &[6],
            Shown::Unproven,
        ),
        row(
            "range of the cam too small",
            vec![Fault::InputRange {
                input: 2,
                volts: 4.0,
            }],
            &[2],
            Shown::By(|m| m == Clipped),
        ),
        row(
            "range of the command too small",
            vec![Fault::InputRange {
                input: 5,
                volts: 10.0,
            }],
            &[5],
            Shown::By(|m| m == Clipped),
        ),
        row(
            "range of the supply too small",
            vec![Fault::InputRange {
                input: 6,
                volts: 10.0,
            }],
            &[6],
            Shown::By(|m| m == Clipped),
        ),
    ]
}

fn driven(name: &str) -> Scenario {
    let mut scenario = Scenario::named(name).expect("an embedded scenario");
    scenario.driver = vec![
        Segment::Idle { seconds: 3.0 },
        Segment::Speed {
            rpm: 2600.0,
            seconds: 100.0,
            ramp: 2500.0,
            load: 0.0,
        },
    ];
    scenario.repeat_from = None;
    scenario
}

/// What became of one run: the leads in the end, and every disagreement that was told.
struct Outcome {
    leads: Vec<LeadSnapshot>,
    blamed: Vec<String>,
}

fn run(scenario: &Scenario, seed: u64, seconds: f64) -> Outcome {
    let mut rig = Rig::new(scenario, seed, RATE, 1.0);
    let mut blamed = Vec::new();
    let mut blocks = 0usize;
    rig.run(seconds, |pipeline, _| {
        blocks += 1;
        if !blocks.is_multiple_of(20) {
            return;
        }
        for cam in pipeline.snapshot().cams {
            if cam.agreement.state.is_disagreement() && blamed.len() < 3 {
                let at = (blocks * BLOCK) as f64 / RATE;
                blamed.push(format!("{at:.2} s {}: {}", cam.id, cam.agreement.sentence));
            }
        }
    });
    Outcome {
        leads: rig.pipeline.snapshot().leads,
        blamed,
    }
}

fn wrong(row: &Row, outcome: &Outcome) -> Vec<String> {
    let mut wrong = outcome.blamed.clone();
    for lead in &outcome.leads {
        // A row of the Hook-up screen has room for no more.
        let (note, next) = (lead.note.chars().count(), lead.try_next.chars().count());
        if note > 66 || next > 92 {
            wrong.push(format!("too long: {} / {}", lead.note, lead.try_next));
        }
    }
    for lead in (outcome.leads.iter()).filter(|l| row.inputs.contains(&l.input)) {
        let is_right = match row.shown {
            Shown::By(right) => lead.mistake.is_some_and(right),
            Shown::Unproven => lead.proof != ProofState::Proven,
            Shown::Harmless => true,
        };
        if !is_right && lead.role != Role::Spare {
            wrong.push(format!(
                "lead {} is {} by {:?}: {}",
                lead.input,
                lead.proof.words(),
                lead.mistake,
                lead.note
            ));
        }
    }
    wrong
}

#[test]
fn every_mistake_is_recognised_and_nothing_is_blamed() {
    let mut failed: BTreeMap<String, Vec<String>> = BTreeMap::new();
    for (number, row) in rows().into_iter().enumerate() {
        let (name, seed) = (ENGINES[number % ENGINES.len()], 1 + number as u64);
        let mut scenario = driven(name);
        scenario.faults = row.faults.clone();
        let outcome = run(&scenario, seed, LASTS);
        let wrong = wrong(&row, &outcome);
        if !wrong.is_empty() {
            let _ = failed.insert(format!("{}, {name}, seed {seed}", row.what), wrong);
        }
        let leads = (outcome.leads.iter()).filter(|l| row.inputs.contains(&l.input));
        let notes: Vec<_> = leads
            .map(|l| format!("{} {}", l.proof.words(), l.note))
            .collect();
        eprintln!("{:32} {}", row.what, notes.join(" | "));
    }
    let told: String = (failed.iter())
        .map(|(row, wrong)| format!("\n{row}:\n  {}", wrong.join("\n  ")))
        .collect();
    assert!(failed.is_empty(), "{} rows{told}", failed.len());
}

/// Start, driving, stop, and start again: every lead is proven in time and nothing else from then on.
#[test]
fn leads_that_are_right_are_proven_in_time_and_stay_so() {
    /// Seconds from the first turn of the crank: four revolutions of a slow starter and what the recogniser needs.
    const PROVEN_WITHIN: f64 = 3.0;
    /// The clamp needs a valve that is driven, which comes with the first sweep.
    const CLAMP_WITHIN: f64 = 12.0;
    // The pick-up is left out: on its wheel of like teeth, crank and exhaust cam are proven late after a start with the starter.
    for (name, seed) in ["healthy", "small-hatch-healthy"].into_iter().zip(31..) {
        let mut scenario = Scenario::named(name).expect("an embedded scenario");
        let speed = |rpm, seconds| Segment::Speed {
            rpm,
            seconds,
            ramp: 2500.0,
            load: 0.0,
        };
        scenario.driver = vec![
            Segment::Stopped { seconds: 1.0 },
            Segment::Crank { seconds: 1.5 },
            Segment::Start { seconds: 4.0 },
            Segment::Idle { seconds: 3.0 },
            speed(2600.0, 6.0),
            speed(4200.0, 5.0),
            Segment::Idle { seconds: 6.0 },
            Segment::Stopped { seconds: 6.0 },
            Segment::Start { seconds: 4.0 },
            Segment::Idle { seconds: 4.0 },
            speed(1800.0, 8.0),
            speed(3000.0, 6.0),
            Segment::Idle { seconds: 100.0 },
        ];
        scenario.repeat_from = None;
        let mut rig = Rig::new(&scenario, seed, RATE, 1.0);
        let mut proven: BTreeMap<usize, f64> = BTreeMap::new();
        let mut lost = Vec::new();
        let mut blocks = 0usize;
        rig.run(60.0, |pipeline, _| {
            blocks += 1;
            if !blocks.is_multiple_of(10) {
                return;
            }
            let at = (blocks * BLOCK) as f64 / RATE;
            for lead in pipeline.snapshot().leads {
                if lead.proof == ProofState::Proven {
                    let _ = proven.entry(lead.input).or_insert(at);
                } else if proven.contains_key(&lead.input) && lost.len() < 10 {
                    lost.push(format!(
                        "{at:.1} s lead {} {}: {}",
                        lead.input,
                        lead.proof.words(),
                        lead.note
                    ));
                }
            }
        });
        let times: Vec<String> = proven
            .iter()
            .map(|(n, at)| format!("{n}: {at:.1} s"))
            .collect();
        eprintln!("{name:22} proven {}", times.join(", "));
        assert!(lost.is_empty(), "{name}: {lost:#?}");
        for lead in &rig.pipeline.snapshot().leads {
            let within = match lead.role {
                Role::Spare => continue,
                Role::Current(_) => CLAMP_WITHIN,
                _ => 1.0 + PROVEN_WITHIN,
            };
            let at = proven.get(&lead.input);
            assert!(
                at.is_some_and(|at| *at <= within),
                "{name}: {} {at:?}: {}",
                lead.role,
                lead.note
            );
        }
    }
}

/// A driver that never conducts leaves its pin at the supply, as the feed's pin is. Only a lead that was touched to
/// ground and to the battery tells, and only until it has fallen off.
#[test]
fn a_pin_that_stands_is_explained_by_the_touch_test() {
    let mut scenario = driven("healthy");
    scenario.driver = vec![Segment::Idle { seconds: 100.0 }];
    let exhaust = CamId::EXHAUST;
    let role = Role::Command(exhaust);
    let during = |what, from, to| Fault::Hookup {
        input: 5,
        what,
        when: When::between(from, to),
    };
    scenario.faults = vec![
        Fault::NoCommand {
            cam: Cam::Exhaust,
            after: 0.0,
        },
        during(HookupFault::Off, 2.0, 5.0),
        during(
            HookupFault::On {
                point: Point::Ground,
            },
            2.5,
            3.2,
        ),
        during(
            HookupFault::On {
                point: Point::Battery,
            },
            3.8,
            4.5,
        ),
        during(HookupFault::Off, 8.0, 10.0),
    ];
    let mut rig = Rig::new(&scenario, 5, RATE, 1.0);
    let seen = |rig: &mut Rig, seconds: f64| {
        rig.run(seconds, |_, _| {});
        let shown = rig.pipeline.snapshot();
        let lead = shown
            .leads
            .into_iter()
            .find(|l| l.role == role)
            .expect("its lead");
        (lead.proof, lead.touch, shown.cams[1].agreement.state)
    };
    let (doubtful, proven, silent) = (ProofState::Doubtful, ProofState::Proven, ProofState::Silent);
    assert_eq!(
        seen(&mut rig, 1.9),
        (doubtful, None, AgreementState::NotJudged)
    );
    rig.pipeline.ask_touch(role);
    assert_eq!(seen(&mut rig, 0.5).1, Some(Touch::ToGround));
    assert_eq!(seen(&mut rig, 0.9).1, Some(Touch::ToSupply));
    assert_eq!(seen(&mut rig, 1.3).1, Some(Touch::Done));
    rig.pipeline.end_touch();
    assert_eq!(
        seen(&mut rig, 3.0),
        (proven, None, AgreementState::NoCommand)
    );
    assert_eq!(
        seen(&mut rig, 2.0),
        (silent, None, AgreementState::NotJudged)
    );
    assert_eq!(
        seen(&mut rig, 1.5),
        (doubtful, None, AgreementState::NotJudged)
    );
}
