//! Moments of the findings: one cause, several, a fault of the hook-up, a tooth out.

use super::inquiry::{at, changed, proofs, results};
use super::{Moment, healthy, not_following};
use keyway_analysis::base_timing::{BaseTiming, CamBase, Conclusion};
use keyway_analysis::findings::{
    Bearing, Cause, CauseRow, CodeView, Evidence, Findings, NextCheck, Standing,
};
use keyway_analysis::lead::{CamId, Role};
use keyway_analysis::reading::Reading;
use keyway_analysis::units::CrankDegrees;
use std::sync::Arc;

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
        against: "against: light van 2.0, 5 engines, ±1.2°".to_owned(),
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
    let sheet = made.sheet.clone();
    changed("hook-up-fault", made, |s| {
        s.base_timing = Arc::new(BaseTiming::unseen(&sheet.cams));
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
