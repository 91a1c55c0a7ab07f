//! Faults of a valve's circuit in the simulated engine: what the checks say of them, with and without a clamp and a
//! supply lead. The simulator's circuit is solved in closed form on its own; nothing of it is known to the analysis.

use crate::engines;
use crate::rig::{BLOCK, fixed};
use keyway_acquisition::simulator::blueprint::Cam;
use keyway_acquisition::simulator::engine::Engine;
use keyway_acquisition::simulator::fault::{CircuitFault, Fault, When};
use keyway_acquisition::simulator::scenario::Scenario;
use keyway_acquisition::simulator::source::SampleSource;
use keyway_analysis::circuit::CircuitCause::{
    self, CoilOpen, CoilShorted, DriverAlwaysOn, DriverNeverOn, FeedOpen, FeedResistance,
    GroundResistance, ShortToGround, ShortToSupply, WireTowardsDriver, WireTowardsValve,
};
use keyway_analysis::circuit::CircuitView;
use keyway_analysis::circuit::Condition::{
    self, CurrentWrong, LostAtTimes, LowLevelHigh, NotShown, Sound, StandsBetween, StandsHigh,
    StandsLow, SupplyLow,
};
use keyway_analysis::lead::{CamId, Role};
use keyway_analysis::pipeline::Pipeline;
use keyway_analysis::units::Hertz;
use std::fmt::Write as _;
use std::sync::Arc;

const RATE: f64 = 200_000.0;
/// The fault begins.
const ONSET: f64 = 4.0;
/// And is there until the end.
const END: f64 = 10.0;

/// Leads that are fitted besides crank, cams and commands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Leads {
    All,
    NoClamp,
    CommandOnly,
}

/// A clamp in the driver, and a diode.
const ENGINES: [(&str, f64); 2] = [("healthy", 1800.0), ("small-hatch-healthy", 2400.0)];

const LEADS: [Leads; 3] = [Leads::All, Leads::NoClamp, Leads::CommandOnly];

/// A fault, and what must be told of it with each choice of leads.
struct Row {
    name: &'static str,
    fault: fn(Cam) -> Option<Fault>,
    cause: Option<CircuitCause>,
    told: [Condition; 3],
}

const fn row(
    name: &'static str,
    fault: fn(Cam) -> Option<Fault>,
    cause: CircuitCause,
    told: [Condition; 3],
) -> Row {
    Row {
        name,
        fault,
        cause: Some(cause),
        told,
    }
}

/// From the onset on.
fn from_onset(cam: Cam, what: CircuitFault) -> Option<Fault> {
    let when = When::after(ONSET);
    Some(Fault::Circuit { cam, what, when })
}

const TABLE: [Row; 16] = [
    Row {
        name: "healthy",
        fault: |_| None,
        cause: None,
        told: [Sound; 3],
    },
    row(
        "driver never on",
        |cam| from_onset(cam, CircuitFault::DriverDead),
        DriverNeverOn,
        [StandsHigh; 3],
    ),
    row(
        "driver always on",
        |cam| from_onset(cam, CircuitFault::DriverStuckOn),
        DriverAlwaysOn,
        [StandsLow; 3],
    ),
    row(
        "wire open towards the driver",
        |cam| from_onset(cam, CircuitFault::OpenToDriver),
        WireTowardsDriver,
        [StandsHigh; 3],
    ),
    row(
        "wire open towards the valve",
        |cam| from_onset(cam, CircuitFault::OpenToValve),
        WireTowardsValve,
        [StandsBetween; 3],
    ),
    row(
        "coil open",
        |cam| from_onset(cam, CircuitFault::OpenCoil),
        CoilOpen,
        [StandsBetween; 3],
    ),
    row(
        "feed open",
        |cam| from_onset(cam, CircuitFault::OpenFeed),
        FeedOpen,
        [StandsBetween; 3],
    ),
    row(
        "short to ground",
        |cam| from_onset(cam, CircuitFault::ShortToGround { ohms: 0.3 }),
        ShortToGround,
        [StandsLow; 3],
    ),
    row(
        "short to supply",
        |cam| from_onset(cam, CircuitFault::ShortToSupply { ohms: 0.1 }),
        ShortToSupply,
        [StandsHigh; 3],
    ),
    row(
        "weak driver",
        |cam| from_onset(cam, CircuitFault::WeakDriver { ohms: 1.2 }),
        GroundResistance,
        [LowLevelHigh; 3],
    ),
    row(
        "resistance in the ground",
        |_| {
            Some(Fault::GroundResistance {
                ohms: 0.4,
                when: When::after(ONSET),
            })
        },
        GroundResistance,
        // Without a clamp, a current at which 0.87 V would be borne is not excluded.
        [LowLevelHigh, Sound, Sound],
    ),
    row(
        "resistance in the feed",
        |cam| from_onset(cam, CircuitFault::FeedResistance { ohms: 1.6 }),
        FeedResistance,
        // Without a supply lead at the feed pin nothing shows it.
        [SupplyLow, SupplyLow, Sound],
    ),
    row(
        "shorted turns",
        |cam| from_onset(cam, CircuitFault::ShortedTurns { lost: 0.35 }),
        CoilShorted,
        // It takes a clamp to see them.
        [CurrentWrong, Sound, Sound],
    ),
    row(
        "wire open in vibration",
        |cam| {
            let when = When {
                vibration: 2.0,
                ..When::after(ONSET)
            };
            let what = CircuitFault::OpenToDriver;
            Some(Fault::Circuit { cam, what, when })
        },
        WireTowardsDriver,
        [LostAtTimes; 3],
    ),
    row(
        "coil open in vibration",
        |cam| {
            let when = When {
                vibration: 2.0,
                ..When::after(ONSET)
            };
            let what = CircuitFault::OpenCoil;
            Some(Fault::Circuit { cam, what, when })
        },
        CoilOpen,
        [LostAtTimes; 3],
    ),
    row(
        "command lost for a time",
        |cam| {
            let (what, when) = (CircuitFault::DriverDead, When::between(ONSET, ONSET + 2.0));
            Some(Fault::Circuit { cam, what, when })
        },
        DriverNeverOn,
        [LostAtTimes; 3],
    ),
];

/// What was told of the circuit under test, each change with its time and view.
struct Story {
    told: Vec<(f64, Arc<CircuitView>)>,
    last: Arc<CircuitView>,
}

/// Runs one engine into a pipeline for each choice of leads.
fn run(name: &str, row: &Row, rpm: f64, seed: u64) -> [Story; 3] {
    let mut scenario: Scenario = fixed(name, rpm);
    let cam = scenario.engine.current_on;
    scenario.faults = (row.fault)(cam).into_iter().collect();
    let id = match cam {
        Cam::Intake => CamId::INTAKE,
        Cam::Exhaust => CamId::EXHAUST,
    };
    let mut engine = Engine::from_scenario(&scenario, seed).with_inputs(7);
    engine.set_rate(RATE);
    let sheet = engines::sheet(&scenario.engine);
    let inputs = engines::inputs(&engine.channels());
    let place = sheet
        .cams
        .iter()
        .position(|c| c.cam == id)
        .expect("the cam");
    let mut pipelines = LEADS.map(|leads| {
        let mut plan = engines::plan_for(&scenario.engine);
        for lead in &mut plan.leads {
            let gone = match lead.role {
                Role::Current(_) => leads != Leads::All,
                Role::Supply => leads == Leads::CommandOnly,
                _ => false,
            };
            if gone {
                lead.role = Role::Spare;
            }
        }
        Pipeline::new(&sheet, &plan, &inputs, Hertz(RATE)).expect("sheet and plan fit")
    });
    let mut told: [Vec<(f64, Arc<CircuitView>)>; 3] = Default::default();
    let mut buffers = vec![Vec::new(); engine.channels().len()];
    let mut last = Vec::new();
    while (engine.made() as f64) < END * RATE {
        let first = engine.made();
        buffers.iter_mut().for_each(Vec::clear);
        // As many as there are between two looks.
        engine.fill(20 * BLOCK, &mut buffers);
        let planes: Vec<&[i16]> = buffers.iter().map(Vec::as_slice).collect();
        last.clear();
        for (pipeline, told) in pipelines.iter_mut().zip(&mut told) {
            pipeline.push(first, &planes);
            let view = pipeline.snapshot().cams[place]
                .circuit
                .clone()
                .expect("a phaser");
            if told
                .last()
                .is_none_or(|(_, v)| v.condition != view.condition)
            {
                told.push((engine.made() as f64 / RATE, Arc::clone(&view)));
            }
            last.push(view);
        }
    }
    let mut last = last.into_iter();
    told.map(|told| Story {
        told,
        last: last.next().expect("as many as pipelines"),
    })
}

/// Every row on some engines with some seeds: the table, and what is wrong in it.
fn table(engines: &[(&str, f64)], seeds: &[u64]) -> (String, Vec<String>) {
    let lines = |row: &Row| {
        let (mut text, mut wrong) = (String::new(), Vec::new());
        for &(name, rpm) in engines {
            for &seed in seeds {
                let stories = run(name, row, rpm, seed);
                for ((story, leads), told) in stories.iter().zip(LEADS).zip(row.told) {
                    let place = format!("{}, {name}, {leads:?}, seed {seed}", row.name);
                    let _ = writeln!(text, "{place}: {}", story.line());
                    let judged = judge(story, row, told);
                    wrong.extend(judged.into_iter().map(|w| format!("{place}: {w}")));
                }
            }
        }
        (text, wrong)
    };
    let (mut text, mut wrong) = (String::new(), Vec::new());
    // Two at a time: each keeps a second and a half of seven leads, three times.
    for rows in TABLE.chunks(2) {
        std::thread::scope(|scope| {
            let running: Vec<_> = rows.iter().map(|row| scope.spawn(|| lines(row))).collect();
            for done in running {
                let (more, worse) = done.join().expect("a row");
                text.push_str(&more);
                wrong.extend(worse);
            }
        });
    }
    (text, wrong)
}

impl Story {
    fn line(&self) -> String {
        let course: Vec<String> = (self.told.iter())
            .map(|(t, v)| format!("{t:.1} s {:?}", v.condition))
            .collect();
        let last = &self.last;
        format!(
            "{}\n    {:?} {}\n    R {:?} L {:?} sag {:?}, {} lost",
            course.join(", "),
            last.possible,
            last.sentence,
            last.resistance,
            last.inductance,
            last.sag,
            last.losses.len()
        )
    }
}

/// What is wrong with what was told.
fn judge(story: &Story, row: &Row, told: Condition) -> Vec<String> {
    let mut wrong = Vec::new();
    for (at, view) in &story.told {
        let blames = !matches!(view.condition, Sound | NotShown);
        if blames && (*at < ONSET || row.cause.is_none()) {
            wrong.push(format!("at {at:.1}: {}", view.sentence));
        }
        if blames && row.cause.is_some_and(|c| !view.possible.contains(&c)) {
            wrong.push(format!(
                "at {at:.1} not {:?}: {}",
                view.possible, view.sentence
            ));
        }
        if view.possible.len() > 1 && view.separated_by.is_none() {
            wrong.push(format!("at {at:.1} nothing separates: {}", view.sentence));
        }
    }
    let last = &story.last;
    // Where nothing need show it, nothing wrong may be said; what is right may.
    let silent = told == Sound && last.condition != NotShown;
    let after = |(at, view): &(f64, Arc<CircuitView>)| *at > ONSET && view.condition == told;
    if !silent && !story.told.iter().any(after) {
        wrong.push(format!("never told {told:?}: {}", last.sentence));
    }
    if told == StandsBetween && last.condition != told {
        wrong.push(format!("not told to the end: {}", last.sentence));
    }
    wrong
}

/// Resistance and inductance against the simulated valve's, its copper at the temperature of its coil.
#[test]
fn resistance_and_inductance_are_those_of_the_simulated_valve() {
    for (name, rpm) in ENGINES {
        let scenario = fixed(name, rpm);
        let cam = scenario.engine.cam(scenario.engine.current_on);
        let valve = &cam.phaser.as_ref().expect("a phaser").valve;
        let [story, ..] = run(name, &TABLE[0], rpm, 3);
        let copper = 1.0 + 0.003_93 * (scenario.coil.at(END - 1.0) - 20.0);
        let ohms = valve.resistance * copper + valve.driver;
        let (r, l) = (story.last.resistance, story.last.inductance);
        let r = r.valid().expect("driven").0 / ohms - 1.0;
        let l = l.valid().expect("driven").0 * 1000.0 / valve.inductance - 1.0;
        println!(
            "{name}: resistance off by {:.2} %, inductance by {:.2} %",
            100.0 * r,
            100.0 * l
        );
        assert!(r.abs() < 0.02 && l.abs() < 0.02, "{name}: {r} {l}");
    }
}

#[test]
fn every_fault_of_a_circuit_is_among_what_is_possible() {
    let (text, wrong) = table(&ENGINES, &[1, 2]);
    println!("{text}");
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}
