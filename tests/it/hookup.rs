//! Mistakes of the hook-up on simulated engines without any fault: each is recognised, and no part is blamed.

use crate::rig::{BLOCK, Rig};
use keyway_acquisition::simulator::fault::{Fault, HookupFault, Point, When};
use keyway_acquisition::simulator::scenario::Scenario;
use keyway_acquisition::simulator::script::Segment;
use keyway_analysis::lead::Role;
use keyway_analysis::proof::Mistake;
use keyway_analysis::snapshot::{LeadSnapshot, ProofState};
use std::collections::BTreeMap;

const RATE: f64 = 100_000.0;
const ENGINES: [&str; 3] = ["healthy", "small-hatch-healthy", "pick-up-healthy"];
/// Seconds of each run: idle, then a speed at which both valves are driven.
const LASTS: f64 = 7.0;

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
    for row in rows() {
        let mut notes = Vec::new();
        let mut runs = 0;
        for (seed, name) in (1..).zip(ENGINES) {
            let mut scenario = driven(name);
            scenario.faults = row.faults.clone();
            let outcome = run(&scenario, seed, LASTS);
            let wrong = wrong(&row, &outcome);
            runs += 1;
            if !wrong.is_empty() {
                let _ = failed.insert(format!("{}, {name}, seed {seed}", row.what), wrong);
            }
            let leads = outcome
                .leads
                .iter()
                .filter(|l| row.inputs.contains(&l.input));
            notes.extend(leads.map(|l| format!("{} {}", l.proof.words(), l.note)));
        }
        eprintln!("{:32} {runs} runs: {}", row.what, notes.join(" | "));
    }
    let told: String = (failed.iter())
        .map(|(row, wrong)| format!("\n{row}:\n  {}", wrong.join("\n  ")))
        .collect();
    assert!(failed.is_empty(), "{} rows{told}", failed.len());
}
