//! Moments of the inquiry: findings, trials, proofs and circuits in each of their states.

use super::case;
use super::{ELAPSED, Moment, RATE, following, healthy, moment, sheet};
use keyway_analysis::circuit::{CircuitCause, CircuitView, Condition, Flyback};
use keyway_analysis::lead::{CamId, Role};
use keyway_analysis::observer::{ObserverView, Sense};
use keyway_analysis::reading::Reading;
use keyway_analysis::snapshot::{Agreement, AgreementState, Mistake, ProofState, Snapshot, Touch};
use keyway_analysis::trial::{
    Measure, Outcome, TrialKind, TrialOrder, TrialResult, TrialStatus, TrialsView,
};
use keyway_analysis::units::{Band, CrankDegrees, DegreesPerSecond, Percent, SampleTime, Volts};
use std::sync::Arc;

pub(super) fn at(ago: f64) -> SampleTime {
    SampleTime((ELAPSED - ago) * RATE)
}

pub(super) fn changed(
    name: &'static str,
    mut moment: Moment,
    change: impl FnOnce(&mut Snapshot),
) -> Moment {
    let mut snapshot = Snapshot::clone(&moment.snapshot);
    change(&mut snapshot);
    moment.snapshot = Arc::new(snapshot);
    moment.name = name;
    moment
}

/// Every state of agreement on the exhaust cam, with what belongs to it.
pub fn states() -> Vec<Moment> {
    use AgreementState as S;
    [
        (
            "state-following",
            S::Following,
            "Position is where the command puts it.",
        ),
        (
            "state-lagging",
            S::Lagging,
            "Moves 4°/s for 1.9 s, at least 8°/s was due.",
        ),
        (
            "state-against",
            S::AgainstCommand,
            "78 % commanded for 1.9 s, moved 6.2° towards advance, retard was due.",
        ),
        (
            "state-off-rest",
            S::OffRest,
            "Commanded to rest for 3.1 s and stands 17.3° late.",
        ),
        (
            "state-hunting",
            S::Hunting,
            "Swings ±6° twice a second for 3.1 s; the command stands still within 4 %.",
        ),
        (
            "state-no-command",
            S::NoCommand,
            "The command has stood at 13.7 V for 3.1 s while the engine runs.",
        ),
        (
            "state-no-position",
            S::NoPosition,
            "No edges from the cam sensor for 3.1 s while the crank turns.",
        ),
        (
            "state-not-judged",
            S::NotJudged,
            "The command lead is doubtful: it stands at 5.2 V. Prove it first.",
        ),
    ]
    .map(|(name, state, sentence)| {
        let sheet = sheet();
        let mut exhaust = following(&sheet, CamId::EXHAUST);
        exhaust.agreement = Agreement {
            state,
            since: at(3.1),
            sentence: sentence.to_owned(),
            rests_on: vec![
                Role::Crank,
                Role::Cam(CamId::EXHAUST),
                Role::Command(CamId::EXHAUST),
            ],
        };
        let intake = following(&sheet, CamId::INTAKE);
        let made = moment(name, sheet, vec![intake, exhaust]);
        changed(name, made, |s| {
            s.cams[0].observer = Some(Arc::new(observer(47.0, 53.0)));
            s.cams[1].observer = Some(Arc::new(observer(44.0, 51.0)));
            if state == S::NoCommand {
                s.cams[1].circuit = Some(Arc::new(stands_high()));
            }
        })
    })
    .into()
}

fn observer(low: f64, high: f64) -> ObserverView {
    ObserverView {
        hold: Reading::Valid(Band {
            low: Percent(low),
            high: Percent(high),
        }),
        rate_out: Reading::Valid(DegreesPerSecond(62.0)),
        rate_back: Reading::Valid(DegreesPerSecond(48.0)),
        travel: Reading::Valid(CrankDegrees(24.0)),
        predicted: Reading::Valid(Band {
            low: CrankDegrees(-4.0),
            high: CrankDegrees(-1.0),
        }),
        sense: Sense::AsSheet,
    }
}

fn stands_high() -> CircuitView {
    CircuitView {
        condition: Condition::StandsHigh,
        since: at(3.1),
        sentence:
            "The pin has stood at 13.7 V for 3.1 s, supply level: driver, or a short to supply."
                .to_owned(),
        possible: vec![
            CircuitCause::DriverNeverOn,
            CircuitCause::WireTowardsDriver,
            CircuitCause::ShortToSupply,
        ],
        separated_by: Some(
            "Measure at the controller's pin: if it switches there, the wire is open.".to_owned(),
        ),
        rests_on: vec![Role::Command(CamId::EXHAUST), Role::Supply],
        flyback: Flyback::Absent,
        ..CircuitView::unseen()
    }
}

/// Every state of the lead proof, with recognised mistakes and the touch test.
pub fn proofs() -> Moment {
    changed("proofs", healthy(), |s| {
        let intake = CamId::INTAKE;
        let exhaust = CamId::EXHAUST;
        for lead in &mut s.leads {
            let (proof, note, next, mistake, touch) = match lead.role {
                Role::Crank => (
                    ProofState::Doubtful,
                    "the teeth fit the sheet only with the two wires exchanged; the gap is seen at the wrong place",
                    "Exchange the two wires of the crank sensor at the probe, or set the edge of the sheet to rising.",
                    Some(Mistake::Inverted),
                    None,
                ),
                Role::Cam(id) if id == intake => (
                    ProofState::Doubtful,
                    "shows the pattern of the exhaust cam, and the exhaust cam's lead shows this one's",
                    "Swap the two leads at the scope, or their roles in the lead plan.",
                    Some(Mistake::Swapped(Role::Cam(exhaust))),
                    None,
                ),
                Role::Cam(_) => (
                    ProofState::Doubtful,
                    "shows the pattern of the intake cam",
                    "Swap the two leads at the scope, or their roles in the lead plan.",
                    Some(Mistake::Swapped(Role::Cam(intake))),
                    None,
                ),
                Role::Command(id) if id == intake => (
                    ProofState::Doubtful,
                    "stands at 13.7 V, the supply's level; that explains nothing before the lead has been seen to show both levels",
                    "Do the touch test: this lead to ground, then to supply.",
                    None,
                    Some(Touch::ToGround),
                ),
                Role::Command(_) => (
                    ProofState::Doubtful,
                    "stands at 0.1 V",
                    "Now touch the supply side of the valve with it.",
                    None,
                    Some(Touch::ToSupply),
                ),
                Role::Supply => (
                    ProofState::Doubtful,
                    "1.37 V, a tenth of a supply: a 10:1 probe with factor 1",
                    "Set the factor of input 6 to 10 in the lead plan, or the switch on the probe to 1:1.",
                    Some(Mistake::FactorTooSmall),
                    None,
                ),
                Role::Current(_) => (
                    ProofState::Silent,
                    "0.0 A, nothing moves",
                    "Switch the clamp on, zero it, close its jaws around one wire only.",
                    Some(Mistake::Off),
                    None,
                ),
                _ => continue,
            };
            lead.proof = proof;
            note.clone_into(&mut lead.note);
            next.clone_into(&mut lead.try_next);
            lead.mistake = mistake;
            lead.touch = touch;
            "sensor connector, pin 2, signal wire, at the front of the head"
                .clone_into(&mut lead.place);
        }
    })
}

/// The touch test of the exhaust command, done.
pub fn touched() -> Moment {
    changed("touched", healthy(), |s| {
        for lead in &mut s.leads {
            if lead.role == Role::Command(CamId::EXHAUST) {
                lead.note = "stands at 13.7 V; ground and supply were both seen".to_owned();
                lead.touch = Some(Touch::Done);
            }
        }
    })
}

fn order(kind: TrialKind) -> TrialOrder {
    TrialOrder {
        kind,
        cam: CamId::EXHAUST,
        oil: Some(88.0),
    }
}

pub(super) fn results() -> TrialsView {
    let measure = |name: &str, value: Option<f64>, unit: &str| Measure {
        name: name.to_owned(),
        value,
        uncertainty: value.map(|v| v / 20.0),
        unit: unit.to_owned(),
        why: if value.is_some() {
            String::new()
        } else {
            "it did not settle".to_owned()
        },
    };
    TrialsView {
        running: None,
        results: vec![
            TrialResult {
                order: order(TrialKind::RestAtIdle),
                span: [at(140.0), at(128.0)],
                measures: vec![measure("rest", Some(0.4), "°")],
                outcome: Outcome::Sound,
                sentence: "Rests at +0.4°, within the 3° of its reference.".to_owned(),
                rests_on: vec![Role::Crank],
            },
            TrialResult {
                order: order(TrialKind::StepAndReturn),
                span: [at(30.0), at(12.0)],
                measures: vec![
                    measure("dead time", Some(0.12), "s"),
                    measure("rate 10 to 90 %", Some(4.1), "°/s"),
                    measure("settling", None, "s"),
                ],
                outcome: Outcome::Unsound,
                sentence: "Moves 4.1°/s where a sound phaser moves at least 20°/s.".to_owned(),
                rests_on: vec![Role::Crank],
            },
        ],
    }
}

fn running(instruct: &str, watching: &str, progress: f64, hindrance: &str) -> TrialsView {
    TrialsView {
        running: Some(TrialStatus {
            order: order(TrialKind::StepAndReturn),
            began: at(8.0),
            instruct: instruct.to_owned(),
            watching: watching.to_owned(),
            progress,
            hindrance: hindrance.to_owned(),
        }),
        ..TrialsView::default()
    }
}

/// The trial list, a trial under way, one that is held up, one that is done.
pub fn trials() -> Vec<Moment> {
    let step = "Rev from idle to 3 000 rpm within a second, hold it there for 3 s, and let it fall back to idle.";
    let views = [
        ("trial-list", TrialsView::default()),
        (
            "trial-running",
            running(
                step,
                "Exhaust cam moved 11.2° of the 18° that are due; duty 78 %.",
                0.62,
                "",
            ),
        ),
        (
            "trial-hindered",
            running(
                step,
                "Exhaust cam at −2.9°, duty 49.6 %.",
                0.0,
                "The exhaust cam lead is doubtful: prove it on Hook-up first.",
            ),
        ),
        ("trial-done", results()),
    ];
    views
        .map(|(name, view)| {
            changed(name, healthy(), |s| {
                s.trials = Arc::new(view);
                s.cams[1].circuit = Some(Arc::new(CircuitView {
                    condition: Condition::Sound,
                    sentence: "Switches between 0.3 and 13.7 V at 250 Hz; flyback clamped at 46 V."
                        .to_owned(),
                    flyback: Flyback::Clamped(Volts(46.0)),
                    ..CircuitView::unseen()
                }));
            })
        })
        .into()
}

/// All of them.
pub fn all() -> Vec<Moment> {
    let mut all = states();
    all.extend([
        proofs(),
        touched(),
        case::supported(),
        case::ambiguous(),
        case::hook_up_fault(),
        case::tooth_out(),
    ]);
    all.extend(trials());
    all
}
