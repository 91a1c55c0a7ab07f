//! The table of scenarios: what the technician is told, against what is wrong with the simulated engine.

use crate::engines;
use crate::rig::{BLOCK, Rig};
use keyway_acquisition::simulator::blueprint::Cam;
use keyway_acquisition::simulator::fault::Fault;
use keyway_acquisition::simulator::scenario::Scenario;
use keyway_analysis::engine::EngineSheet;
use keyway_analysis::lead::LeadPlan;
use keyway_analysis::pipeline::Pipeline;
use keyway_analysis::snapshot::AgreementState::{
    self, AgainstCommand, Following, Hunting, Lagging, NoCommand, NoPosition, NotFollowing,
    NotJudged, OffRest,
};
use keyway_analysis::snapshot::{ProofState, Snapshot};
use keyway_analysis::wheel::Wheel;

const RATE: f64 = 200_000.0;
/// Seconds each scenario runs: two rounds of the driver's script.
const LASTS: f64 = 40.0;
/// A gross disagreement must be told within this time of its onset.
const PROMISED: f64 = 1.5;

/// What is expected of one cam.
struct Told {
    /// Every one of these must be told at some time.
    must: &'static [AgreementState],
    /// These may be told besides.
    may: &'static [AgreementState],
}

/// Nothing is wrong with this cam: never anything else.
const HEALTHY: Told = Told {
    must: &[Following],
    may: &[NotJudged],
};

struct Row {
    scenario: &'static str,
    intake: Told,
    exhaust: Told,
    /// Leads (inputs from 1) that must not be proven in the end, and what they must be.
    leads: &'static [(usize, ProofState)],
}

const fn row(scenario: &'static str, intake: Told, exhaust: Told) -> Row {
    Row {
        scenario,
        intake,
        exhaust,
        leads: &[],
    }
}

const fn told(must: &'static [AgreementState], may: &'static [AgreementState]) -> Told {
    Told { must, may }
}

/// A command is lost as long as the pin stands; when it comes back the cam follows.
const COMMAND_LOST: Told = told(&[NoCommand], &[Following, NotJudged]);
/// The timing has moved. While driven, the phaser itself follows.
const TIMING_MOVED: Told = told(&[OffRest], &[Following, NotJudged]);
/// Commanded to rest it is still off it; creeping rather than standing it lags.
const STARVED: Told = told(&[OffRest], &[Lagging, NotFollowing, Following, NotJudged]);
/// Through a lead that shows the wrong thing nothing may be blamed.
const UNPROVEN: Told = told(&[NotJudged], &[]);

const TABLE: [Row; 39] = [
    row("healthy", HEALTHY, HEALTHY),
    row("small-hatch-healthy", HEALTHY, HEALTHY),
    row("cold-start", HEALTHY, HEALTHY),
    row("cold-thick-oil", HEALTHY, HEALTHY),
    row("supply-drop", HEALTHY, HEALTHY),
    // It sticks a few degrees off its rest: seen at rest first, then when it is driven.
    row(
        "default",
        HEALTHY,
        told(&[OffRest, NotFollowing], &[Following, NotJudged]),
    ),
    row(
        "stuck-at-rest",
        told(&[NotFollowing], &[Following, NotJudged]),
        HEALTHY,
    ),
    row(
        "stuck-off-rest",
        HEALTHY,
        told(&[OffRest], &[NotFollowing, Following, NotJudged]),
    ),
    row(
        "hunting",
        told(&[Hunting], &[Following, NotJudged]),
        HEALTHY,
    ),
    Row {
        scenario: "no-command",
        intake: HEALTHY,
        // A pin that has never switched proves nothing: it may be on the feed.
        exhaust: UNPROVEN,
        leads: &[(5, ProofState::Doubtful), (7, ProofState::Doubtful)],
    },
    row("command-lost-above-speed", COMMAND_LOST, HEALTHY),
    row("intake-chain-one-tooth", TIMING_MOVED, HEALTHY),
    row("intake-chain-two-teeth", TIMING_MOVED, HEALTHY),
    row("both-cams-one-tooth", TIMING_MOVED, TIMING_MOVED),
    Row {
        scenario: "cam-sensor-dropout",
        intake: told(&[NoPosition], &[Following, NotJudged]),
        exhaust: HEALTHY,
        // The run ends within a silence, from 39.3 to 40.2 s; the lead was seen to switch, so that this is the sensor's.
        leads: &[],
    },
    Row {
        scenario: "lead-off",
        intake: HEALTHY,
        exhaust: told(&[NotJudged], &[Following]),
        leads: &[(3, ProofState::Silent)],
    },
    Row {
        scenario: "leads-swapped",
        intake: UNPROVEN,
        exhaust: UNPROVEN,
        leads: &[(2, ProofState::Doubtful), (3, ProofState::Doubtful)],
    },
    Row {
        scenario: "probe-factor",
        intake: UNPROVEN,
        exhaust: HEALTHY,
        leads: &[(4, ProofState::Doubtful)],
    },
    // The driver conducts, only worse: the cam follows, at a higher duty.
    row("weak-driver", HEALTHY, HEALTHY),
    // Losses of 20 to 500 ms are too short to count as no command. The cam swings with them, as it truly does.
    row(
        "command-lost-in-vibration",
        told(&[Following], &[NoCommand, Hunting, NotJudged]),
        HEALTHY,
    ),
    row(
        "spool-stuck",
        told(
            &[OffRest],
            &[AgainstCommand, NotFollowing, Following, NotJudged],
        ),
        HEALTHY,
    ),
    row("crank-sprocket-one-tooth", TIMING_MOVED, TIMING_MOVED),
    row("cam-wheel-moved", HEALTHY, TIMING_MOVED),
    row("crank-wheel-moved", TIMING_MOVED, TIMING_MOVED),
    Row {
        scenario: "inverted-crank-lead",
        intake: UNPROVEN,
        exhaust: UNPROVEN,
        leads: &[
            (1, ProofState::Doubtful),
            (2, ProofState::Doubtful),
            (3, ProofState::Doubtful),
        ],
    },
    Row {
        scenario: "clamp-reversed",
        intake: HEALTHY,
        exhaust: HEALTHY,
        leads: &[(7, ProofState::Doubtful)],
    },
    row("chipped-tooth", HEALTHY, HEALTHY),
    row("noisy-crank-lead", HEALTHY, HEALTHY),
    row("hard-start", HEALTHY, HEALTHY),
    row("estate-six-healthy", HEALTHY, HEALTHY),
    Row {
        scenario: "pick-up-healthy",
        // Without a phaser there is nothing to follow.
        intake: told(&[], &[Following, NotJudged]),
        exhaust: HEALTHY,
        leads: &[(4, ProofState::Spare)],
    },
    // Both cams rest 7 degrees late. The exhaust cam rests early and is driven to late, so that it could be off its rest as well.
    row("chain-stretched", TIMING_MOVED, TIMING_MOVED),
    Row {
        scenario: "open-coil",
        intake: HEALTHY,
        // Without a coil nothing pulls the pin up to the supply: it floats where the driver's diagnosis holds it, which is
        // what a lead beside its place shows too. What is open is told by the circuit checks, once the place is known.
        exhaust: UNPROVEN,
        leads: &[(5, ProofState::Doubtful), (7, ProofState::Silent)],
    },
    Row {
        scenario: "short-to-ground",
        // A pin on dead ground and a lead that has slipped off look alike.
        intake: told(&[Following, NotJudged], &[]),
        exhaust: HEALTHY,
        leads: &[(4, ProofState::Silent)],
    },
    // The pin was seen to switch before it stood at the supply: the valve is off, whatever the driver does.
    row("short-to-supply", HEALTHY, COMMAND_LOST),
    Row {
        scenario: "command-stuck-on",
        // The pin was seen to switch and stands at a saturated driver's level: full drive, which holds the cam at its far stop.
        intake: HEALTHY,
        exhaust: HEALTHY,
        leads: &[],
    },
    // A fiftieth of the rate below 1600 rpm: what stands off when it goes to idle creeps back and is driven out again in time.
    row("oil-starved-idle", STARVED, STARVED),
    Row {
        scenario: "ground-missing",
        // Every lead rides on the hum; only the clamp has no ground to miss.
        intake: UNPROVEN,
        exhaust: UNPROVEN,
        leads: &[
            (1, ProofState::Doubtful),
            (2, ProofState::Doubtful),
            (3, ProofState::Doubtful),
            (4, ProofState::Doubtful),
            (5, ProofState::Doubtful),
            (6, ProofState::Doubtful),
        ],
    },
    Row {
        scenario: "touch-test",
        intake: HEALTHY,
        // Touched without having been asked for: levels that come and go do not say where the lead stands now.
        exhaust: UNPROVEN,
        leads: &[(5, ProofState::Doubtful), (7, ProofState::Doubtful)],
    },
];

#[test]
fn every_scenario_has_a_row() {
    for name in Scenario::names() {
        let rows = TABLE.iter().filter(|row| row.scenario == name);
        assert_eq!(rows.count(), 1, "{name}");
    }
}

fn told_now(pipeline: &Pipeline) -> [AgreementState; 2] {
    let cams = pipeline.snapshot().cams;
    [0, 1].map(|cam| cams[cam].agreement.state)
}

/// What both cams were told to be, block by block.
struct Course {
    states: Vec<[AgreementState; 2]>,
    last: Snapshot,
    rig: Rig,
}

impl Course {
    fn of(name: &str, seed: u64, seconds: f64) -> Self {
        let scenario = Scenario::named(name).expect("an embedded scenario");
        let mut rig = Rig::new(&scenario, seed, RATE, 2.0);
        let mut states = Vec::new();
        rig.run(seconds, |pipeline, _| {
            states.push(told_now(pipeline));
        });
        Self {
            states,
            last: rig.pipeline.snapshot(),
            rig,
        }
    }

    fn seen(&self, cam: usize) -> Vec<AgreementState> {
        let mut seen: Vec<_> = self.states.iter().map(|s| s[cam]).collect();
        seen.sort_unstable();
        seen.dedup();
        seen
    }

    /// Seconds from `from` until a disagreement stands, or none until `to`.
    fn delay(&self, cam: usize, from: f64, to: f64) -> Option<f64> {
        let time = |block: usize| (block + 1) as f64 * BLOCK as f64 / RATE;
        (0..self.states.len())
            .find(|&b| time(b) >= from && time(b) <= to && self.states[b][cam].is_disagreement())
            .map(|b| (time(b) - from).max(0.0))
    }
}

fn check(row: &Row, seed: u64) {
    let name = row.scenario;
    let course = Course::of(name, seed, LASTS);
    for (cam, told) in [&row.intake, &row.exhaust].into_iter().enumerate() {
        let seen = course.seen(cam);
        let missing: Vec<_> = told.must.iter().filter(|s| !seen.contains(s)).collect();
        let wrong: Vec<_> = seen
            .iter()
            .filter(|s| !told.must.contains(s) && !told.may.contains(s))
            .collect();
        let events = course.last.events.iter().map(|e| format!("\n  {}", e.text));
        assert!(
            missing.is_empty() && wrong.is_empty(),
            "{name}, cam {cam}: not told {missing:?}, wrongly told {wrong:?}{}",
            events.collect::<String>()
        );
    }
    for lead in &course.last.leads {
        let expected = row.leads.iter().find(|(input, _)| *input == lead.input);
        let expected = match expected {
            Some((_, life)) => *life,
            None if lead.input == 8 => ProofState::Spare,
            None => ProofState::Proven,
        };
        assert_eq!(
            lead.proof, expected,
            "{name}, lead {}: {}",
            lead.input, lead.note
        );
    }
    let silent = course
        .last
        .events
        .iter()
        .any(|e| e.text.contains("went silent"));
    assert_eq!(
        silent,
        // A pin on dead ground shows as little as a lead that has slipped off.
        ["lead-off", "short-to-ground"].contains(&name),
        "{name}: {:?}",
        course.last.events
    );
    let words = |cam: usize| {
        let seen = course.seen(cam);
        let words: Vec<_> = seen.iter().map(|s| s.words()).collect();
        words.join(", ")
    };
    eprintln!("{name:26} intake: {:45} exhaust: {}", words(0), words(1));
}

#[test]
fn every_scenario_is_told_as_it_is() {
    // The second seed once showed a command that came back as a movement against it.
    for seed in [1, 3] {
        TABLE.iter().for_each(|row| check(row, seed));
    }
}

#[test]
fn a_gross_disagreement_is_told_in_time() {
    let mut checked = 0;
    for name in [
        "default",
        "stuck-at-rest",
        "stuck-off-rest",
        "command-lost-above-speed",
        "cam-sensor-dropout",
    ] {
        let course = Course::of(name, 1, LASTS);
        let mut onsets: Vec<(usize, f64, f64)> = course
            .rig
            .engine
            .disagreements()
            .iter()
            .map(|d| (d.cam.index(), d.from, d.to.unwrap_or(LASTS)))
            .collect();
        // What the phasers cannot tell, for they do as they are told: faults with an onset of their own.
        for (fault, onset) in course.rig.engine.onsets() {
            let cam = match fault {
                Fault::NoCommand { cam, .. } | Fault::CommandLostAbove { cam, .. } => cam,
                Fault::CamSensorDropout { cam, .. } => cam,
                _ => continue,
            };
            let onset = onset.expect("it took effect").max(0.0);
            onsets.push((cam.index(), onset, onset + PROMISED));
        }
        assert!(!onsets.is_empty(), "{name}: nothing went wrong");
        for (cam, from, to) in onsets {
            if to - from < PROMISED {
                continue;
            }
            let delay = course.delay(cam, from, to);
            eprintln!(
                "{name:26} {} from {from:6.2} s: told after {delay:.2?} s",
                ["intake", "exhaust"][cam]
            );
            assert!(delay.is_some(), "{name}: {:?}", course.last.events);
            let delay = delay.expect("told at all");
            assert!(delay <= PROMISED, "{name}: {delay} s");
            checked += 1;
        }
    }
    assert!(checked >= 10, "{checked} onsets");
}

/// One tooth of 42 is 720/42 = 17.14 crank degrees; the chain of this scenario stands a tooth late.
#[test]
fn a_chain_one_tooth_out_shows_one_tooth() {
    let course = Course::of("intake-chain-one-tooth", 1, 3.9);
    let intake = &course.last.cams[Cam::Intake.index()];
    let phase = intake.phase.valid().expect("a valid phase").0;
    eprintln!("one tooth of 42: {phase:.3}° against {:.3}°", -720.0 / 42.0);
    assert!((phase + 720.0 / 42.0).abs() < 0.1, "{phase}");
    assert_eq!(intake.agreement.state, OffRest);
    assert!(
        intake.agreement.sentence.contains("17.1° late"),
        "{}",
        intake.agreement.sentence
    );
}

#[test]
fn the_default_scenario_says_why_in_one_sentence() {
    let course = Course::of("default", 1, 20.0);
    let told: Vec<_> = course
        .last
        .events
        .iter()
        .filter(|e| e.state == Some(NotFollowing))
        .collect();
    assert!(!told.is_empty());
    for event in told {
        assert!(
            event.text.starts_with("Exhaust cam, not following: "),
            "{}",
            event.text
        );
        assert!(
            event.text.contains(" % commanded for ") && event.text.ends_with("° was due."),
            "{}",
            event.text
        );
        assert!(event.at.0 < event.decided.0);
    }
    // The history is marked from the onset on.
    let marked = course
        .last
        .history
        .iter()
        .any(|p| p.cams[1].state == NotFollowing);
    assert!(marked);
}

#[test]
fn ten_minutes_of_healthy_revving_raise_no_flag() {
    let mut flags = Vec::new();
    // Two engines, five minutes each, with different chance.
    for (name, seed) in [("healthy", 21), ("small-hatch-healthy", 22)] {
        let scenario = Scenario::named(name).expect("an embedded scenario");
        let mut rig = Rig::new(&scenario, seed, RATE, 1.0);
        let mut judged = 0u64;
        let mut blocks = 0u64;
        rig.run(300.0, |pipeline, _| {
            blocks += 1;
            for state in told_now(pipeline) {
                judged += u64::from(matches!(state, Following));
                if state.is_disagreement() {
                    flags.push((name, state));
                }
            }
        });
        let share = judged as f64 / (2 * blocks) as f64;
        eprintln!(
            "{name}: 300 s, judged {:.1} % of the time, {} flags",
            100.0 * share,
            flags.len()
        );
        assert!(share > 0.95, "judged only {share} of the time");
        let counts = rig.pipeline.snapshot().counts;
        assert_eq!((counts.sync_losses, counts.gaps), (0, 0));
    }
    assert!(flags.is_empty(), "{flags:?}");
}

/// What may never be told when only the timing or a lead is wrong; kept so that the table cannot forget it.
#[test]
fn no_row_without_a_phaser_fault_blames_the_phaser() {
    let blames = [Lagging, NotFollowing, AgainstCommand];
    for row in &TABLE {
        let scenario = Scenario::named(row.scenario).expect("an embedded scenario");
        let phaser = scenario.faults.iter().any(|f| {
            matches!(
                f,
                Fault::PhaserStuck { .. }
                    | Fault::PhaserSlow { .. }
                    | Fault::PhaserHunting { .. }
                    | Fault::Hydraulic { .. }
                    | Fault::OilPressureLow { .. }
            )
        });
        let blamed = [&row.intake, &row.exhaust]
            .iter()
            .any(|t| t.must.iter().chain(t.may).any(|s| blames.contains(s)));
        assert!(phaser || !blamed, "{}", row.scenario);
    }
}

/// The sheets that come with the program, against the engines they are for: wheel, place of the gap, cams.
#[test]
fn every_scenario_has_a_sheet_that_describes_its_engine() {
    for scenario in Scenario::all().expect("the embedded scenarios") {
        let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/../app/assets/sheets");
        let text = std::fs::read_to_string(format!("{folder}/{}.toml", scenario.sheet));
        let sheet = EngineSheet::from_toml(&text.expect("the sheet")).expect("a sheet");
        let truth = engines::sheet(&scenario.engine);
        let edges = |sheet: &EngineSheet| {
            let wheel = Wheel::parse(&sheet.crank.wheel).expect("a wheel");
            let angles: Vec<_> = (0..wheel.teeth()).map(|t| wheel.angle(t)).collect();
            (angles, wheel.period())
        };
        assert_eq!(edges(&sheet), edges(&truth), "{}", scenario.sheet);
        let figures = |s: &EngineSheet| {
            let windows: Vec<_> = s.cams.iter().map(|c| c.windows.clone()).collect();
            let phasers: Vec<_> = (s.cams.iter())
                .map(|c| {
                    c.phaser
                        .as_ref()
                        .map(|p| (p.rest, p.authority, p.frequency))
                })
                .collect();
            (s.crank.gap_to_tdc, s.crank.sensor, windows, phasers)
        };
        assert_eq!(figures(&sheet), figures(&truth), "{}", scenario.sheet);
        let plan = std::fs::read_to_string(format!("{folder}/{}-leads.toml", scenario.sheet));
        let plan = LeadPlan::from_toml(&plan.expect("the plan")).expect("a plan");
        let roles = |p: &LeadPlan| {
            p.leads
                .iter()
                .map(|l| (l.input, l.role))
                .collect::<Vec<_>>()
        };
        assert_eq!(
            roles(&plan),
            roles(&engines::plan_for(&scenario.engine)),
            "{}",
            scenario.sheet
        );
    }
}
