//! Moments of the inquiry: findings, trials, proofs and circuits in each of their states.

use super::{ELAPSED, Moment, RATE, following, healthy, moment, not_following, sheet};
use keyway_analysis::base_timing::{BaseTiming, CamBase, Conclusion};
use keyway_analysis::circuit::{CircuitCause, CircuitView, Condition, Flyback};
use keyway_analysis::findings::{
    Bearing, Cause, CauseRow, CodeView, Evidence, Findings, NextCheck, Standing,
};
use keyway_analysis::lead::{CamId, Role};
use keyway_analysis::observer::{ObserverView, Sense};
use keyway_analysis::reading::Reading;
use keyway_analysis::snapshot::{Agreement, AgreementState, Mistake, ProofState, Snapshot, Touch};
use keyway_analysis::trial::{
    Measure, Outcome, TrialKind, TrialOrder, TrialResult, TrialStatus, TrialsView,
};
use keyway_analysis::units::{Band, CrankDegrees, DegreesPerSecond, Percent, SampleTime, Volts};
use std::sync::Arc;

fn at(ago: f64) -> SampleTime {
    SampleTime((ELAPSED - ago) * RATE)
}

fn changed(name: &'static str, mut moment: Moment, change: impl FnOnce(&mut Snapshot)) -> Moment {
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

const COLUMNS: [&str; 8] = [
    "leads proven",
    "command pin",
    "circuit",
    "motion when driven",
    "rest position",
    "rate and delay",
    "both cams together",
    "trials",
];

fn row(cause: Cause, standing: Standing, bearings: [char; 8]) -> CauseRow {
    CauseRow {
        cause,
        cam: Some(CamId::EXHAUST),
        standing,
        evidence: COLUMNS
            .into_iter()
            .zip(bearings)
            .map(|(what, letter)| Evidence {
                what,
                bearing: match letter {
                    '+' => Bearing::Supports,
                    '-' => Bearing::Contradicts,
                    _ => Bearing::NotShown,
                },
                text: match letter {
                    '+' => "78 % commanded for 3.9 s at 1 842 rpm moved the cam 0.6°; a sound phaser of this engine moves at least 8° in that time.".to_owned(),
                    '-' => "The pin switches between 0.3 and 13.7 V at 250 Hz, 78.0 % low: command, driver and wire deliver what they should.".to_owned(),
                    _ => "Not measured: no clamp is fitted on this valve's wire.".to_owned(),
                },
                at: (letter != ' ').then(|| at(3.9)),
                leads: if letter == ' ' { Vec::new() } else { vec![Role::Crank, Role::Cam(CamId::EXHAUST), Role::Command(CamId::EXHAUST)] },
            })
            .collect(),
    }
}

fn intake_rows() -> Vec<CauseRow> {
    [
        row(
            Cause::AsCommanded,
            Standing::Supported,
            ['+', '+', '+', '+', '+', '+', ' ', ' '],
        ),
        row(
            Cause::PhaserStuck,
            Standing::Contradicted,
            [' ', ' ', ' ', '-', ' ', ' ', ' ', ' '],
        ),
    ]
    .into_iter()
    .map(|r| CauseRow {
        cam: Some(CamId::INTAKE),
        ..r
    })
    .collect()
}

fn code() -> CodeView {
    CodeView {
        code: "P0014".to_owned(),
        meaning: "Exhaust camshaft position, bank 1: more advanced than commanded, or the timing is over-advanced. The maker's book decides.".to_owned(),
        measured: "Stands 14.4° later than where it was due at 2:37: the cam does not follow.".to_owned(),
        bearing: Bearing::Supports,
    }
}

fn base(conclusion: Conclusion, sentence: &str, exhaust: f64) -> BaseTiming {
    BaseTiming {
        cams: [(CamId::INTAKE, 0.2), (CamId::EXHAUST, exhaust)]
            .map(|(cam, offset)| CamBase {
                cam,
                offset: Reading::Valid(CrankDegrees(offset)),
                uncertainty: Some(CrankDegrees(0.9)),
                teeth: Some(offset / 17.14),
                looks: 3,
            })
            .into(),
        conclusion,
        sentence: sentence.to_owned(),
        next: (conclusion != Conclusion::Good).then(|| "Cylinder pressure would tell whether the valves have moved, or only the tone wheel.".to_owned()),
        rests_on: vec![Role::Crank, Role::Cam(CamId::EXHAUST)],
    }
}

fn with(
    name: &'static str,
    moment: Moment,
    mut causes: Vec<CauseRow>,
    check: &str,
    separates: Vec<Cause>,
) -> Moment {
    causes.extend(intake_rows());
    changed(name, moment, |s| {
        s.findings = Arc::new(Findings {
            causes,
            next_check: Some(NextCheck {
                action: check.to_owned(),
                separates,
                cam: Some(CamId::EXHAUST),
            }),
            codes: vec![code()],
            cautions: vec![
                "Oil is hot and under pressure. The maker's procedure comes first.".to_owned(),
            ],
        });
        s.base_timing = Arc::new(base(
            Conclusion::Good,
            "Both cams rest at their references.",
            0.4,
        ));
        s.trials = Arc::new(results());
    })
}

/// One cause is supported, the others are contradicted.
pub fn supported() -> Moment {
    with(
        "supported",
        not_following(),
        vec![
            row(
                Cause::PhaserStuck,
                Standing::Supported,
                ['+', '+', '+', '+', ' ', '+', ' ', '+'],
            ),
            row(
                Cause::OilOrSluggish,
                Standing::Open,
                ['+', ' ', ' ', ' ', ' ', ' ', ' ', ' '],
            ),
            row(
                Cause::LeadFault,
                Standing::Contradicted,
                ['-', '-', ' ', ' ', ' ', ' ', ' ', ' '],
            ),
            row(
                Cause::NoCommand,
                Standing::Contradicted,
                [' ', '-', ' ', ' ', ' ', ' ', ' ', ' '],
            ),
            row(
                Cause::WiringOrDriver,
                Standing::Contradicted,
                [' ', '-', '-', ' ', ' ', ' ', ' ', ' '],
            ),
            row(
                Cause::SupplyOrGround,
                Standing::Contradicted,
                [' ', '-', '-', ' ', ' ', ' ', ' ', ' '],
            ),
            row(
                Cause::Valve,
                Standing::Contradicted,
                [' ', ' ', '-', ' ', ' ', ' ', ' ', '-'],
            ),
            row(
                Cause::BaseTiming,
                Standing::Contradicted,
                [' ', ' ', ' ', ' ', '-', ' ', '-', ' '],
            ),
            row(
                Cause::WheelOrSensor,
                Standing::Contradicted,
                [' ', ' ', ' ', ' ', '-', ' ', '-', ' '],
            ),
            row(
                Cause::AsCommanded,
                Standing::Contradicted,
                [' ', ' ', ' ', '-', ' ', '-', ' ', '-'],
            ),
        ],
        "Let it cool to below 40 °C and repeat the snap rev: a phaser that sticks with heat moves again, one with a broken lock does not.",
        vec![Cause::PhaserStuck, Cause::OilOrSluggish],
    )
}

/// Several causes are supported, and one check tells them apart.
pub fn ambiguous() -> Moment {
    with(
        "ambiguous",
        not_following(),
        vec![
            row(
                Cause::Valve,
                Standing::Supported,
                ['+', ' ', ' ', '+', ' ', '+', ' ', ' '],
            ),
            row(
                Cause::OilOrSluggish,
                Standing::Supported,
                ['+', ' ', ' ', '+', ' ', '+', ' ', ' '],
            ),
            row(
                Cause::PhaserStuck,
                Standing::Supported,
                ['+', ' ', ' ', '+', ' ', ' ', ' ', ' '],
            ),
            row(
                Cause::WheelOrSensor,
                Standing::Open,
                [' ', ' ', ' ', ' ', ' ', ' ', ' ', ' '],
            ),
            row(
                Cause::LeadFault,
                Standing::Contradicted,
                ['-', '-', ' ', ' ', ' ', ' ', ' ', ' '],
            ),
            row(
                Cause::NoCommand,
                Standing::Contradicted,
                [' ', '-', ' ', ' ', ' ', ' ', ' ', ' '],
            ),
            row(
                Cause::AsCommanded,
                Standing::Contradicted,
                [' ', ' ', ' ', '-', ' ', '-', ' ', '-'],
            ),
        ],
        "Put a clamp on the valve's wire and read its current: a spool that sticks shows no kink in the rise, a sound valve does.",
        vec![Cause::Valve, Cause::OilOrSluggish, Cause::PhaserStuck],
    )
}

/// A lead is not on its signal: nothing else is shown.
pub fn hook_up_fault() -> Moment {
    let mut causes = vec![row(
        Cause::LeadFault,
        Standing::Supported,
        ['+', ' ', ' ', ' ', ' ', ' ', ' ', ' '],
    )];
    for cause in Cause::ALL.into_iter().skip(1) {
        causes.push(row(cause, Standing::Open, [' '; 8]));
    }
    let made = with(
        "hook-up-fault",
        proofs(),
        causes,
        "Swap the leads of inputs 2 and 3 at the scope, then look at Hook-up again.",
        Vec::new(),
    );
    changed("hook-up-fault", made, |s| {
        s.base_timing = Arc::new(BaseTiming::unseen([CamId::INTAKE, CamId::EXHAUST]));
        s.trials = Arc::default();
    })
}

/// A cam is out by a tooth.
pub fn tooth_out() -> Moment {
    let made = with(
        "tooth-out",
        healthy(),
        vec![row(
            Cause::BaseTiming,
            Standing::Supported,
            ['+', ' ', ' ', ' ', '+', ' ', '+', '+'],
        )],
        "Set the engine to its timing marks and look at the exhaust sprocket.",
        vec![Cause::BaseTiming, Cause::WheelOrSensor],
    );
    changed("tooth-out", made, |s| {
        s.base_timing = Arc::new(base(
            Conclusion::OneOutByTeeth(CamId::EXHAUST, -1),
            "The exhaust cam rests 17.0° late, one tooth of its sprocket; the intake cam is at its reference.",
            -17.0,
        ));
    })
}

fn order(kind: TrialKind) -> TrialOrder {
    TrialOrder {
        kind,
        cam: CamId::EXHAUST,
        oil: Some(88.0),
    }
}

fn results() -> TrialsView {
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
        supported(),
        ambiguous(),
        hook_up_fault(),
        tooth_out(),
    ]);
    all.extend(trials());
    all
}
