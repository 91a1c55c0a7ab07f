//! What the findings make of the scenarios: the true cause is never contradicted, and it stands alone or is named with
//! the check that separates it; a mistake of the hook-up is blamed on no component.

use crate::rig::Rig;
use keyway_acquisition::simulator::scenario::Scenario;
use keyway_analysis::findings::Cause::{
    self, AsCommanded, BaseTiming, LeadFault, NoCommand, OilOrSluggish, PhaserStuck,
    SupplyOrGround, WheelOrSensor, WiringOrDriver,
};
use keyway_analysis::findings::{Bearing, CauseRow, Findings, Standing};
use keyway_analysis::lead::CamId;

/// Two rounds of the driver's script, at a rate at which they cost little.
const RATE: f64 = 50_000.0;
const LASTS: f64 = 40.0;

/// A scenario with what is truly the cause for intake and exhaust; where two answer, either is right.
struct Row {
    scenario: &'static str,
    truth: [&'static [Cause]; 2],
}

const fn row(scenario: &'static str, intake: &'static [Cause], exhaust: &'static [Cause]) -> Row {
    Row {
        scenario,
        truth: [intake, exhaust],
    }
}

const FINE: &[Cause] = &[AsCommanded];
const LEAD: &[Cause] = &[LeadFault];

const TABLE: [Row; 23] = [
    row("healthy", FINE, FINE),
    row("small-hatch-healthy", FINE, FINE),
    row("cold-start", FINE, FINE),
    row(
        "cold-thick-oil",
        &[AsCommanded, OilOrSluggish],
        &[AsCommanded, OilOrSluggish],
    ),
    row(
        "supply-drop",
        &[SupplyOrGround, AsCommanded],
        &[SupplyOrGround, AsCommanded],
    ),
    row("default", FINE, &[PhaserStuck]),
    row("stuck-at-rest", &[PhaserStuck], FINE),
    row("stuck-off-rest", FINE, &[PhaserStuck]),
    row("hunting", &[OilOrSluggish], FINE),
    // A pin that has never switched proves nothing: the lead is to be proven first.
    row("no-command", FINE, &[NoCommand, WiringOrDriver]),
    row(
        "command-lost-above-speed",
        &[NoCommand, WiringOrDriver],
        FINE,
    ),
    row("intake-chain-one-tooth", &[BaseTiming], FINE),
    row("intake-chain-two-teeth", &[BaseTiming], FINE),
    row("both-cams-one-tooth", &[BaseTiming], &[BaseTiming]),
    row("cam-sensor-dropout", &[WheelOrSensor], FINE),
    row("lead-off", FINE, LEAD),
    row("leads-swapped", LEAD, LEAD),
    row("probe-factor", LEAD, FINE),
    row(
        "chipped-tooth",
        &[AsCommanded, WheelOrSensor],
        &[AsCommanded, WheelOrSensor],
    ),
    row("noisy-crank-lead", FINE, FINE),
    row("hard-start", FINE, FINE),
    row("estate-six-healthy", FINE, FINE),
    row("pick-up-healthy", FINE, FINE),
];

fn rows(findings: &Findings, cam: CamId) -> Vec<&CauseRow> {
    (findings.causes.iter())
        .filter(|r| r.cam == Some(cam))
        .collect()
}

/// The table in few letters, for people.
fn print(findings: &Findings, cam: CamId) {
    for row in rows(findings, cam) {
        let letters: String = (row.evidence.iter())
            .map(|e| match e.bearing {
                Bearing::Supports => '+',
                Bearing::Contradicts => '-',
                Bearing::NotShown => '.',
            })
            .collect();
        eprintln!(
            "    {:10} {:16} {letters}",
            format!("{:?}", row.standing),
            format!("{:?}", row.cause)
        );
        for e in row
            .evidence
            .iter()
            .filter(|e| e.bearing != Bearing::NotShown)
        {
            eprintln!("        {:?} {}: {}", e.bearing, e.what, e.text);
        }
    }
}

/// What is wrong with what was found, if anything is.
fn faults(row: &Row, findings: &Findings) -> Vec<String> {
    let mut wrong = Vec::new();
    for (cam, truth) in [CamId::INTAKE, CamId::EXHAUST].into_iter().zip(row.truth) {
        let all = rows(findings, cam);
        let standing = |cause| all.iter().find(|r| r.cause == cause).map(|r| r.standing);
        for &cause in truth.iter().filter(|_| truth.len() == 1) {
            if standing(cause) == Some(Standing::Contradicted) {
                wrong.push(format!("{cam}: {cause:?} is contradicted"));
            }
        }
        if truth
            .iter()
            .all(|&c| standing(c) == Some(Standing::Contradicted))
        {
            wrong.push(format!("{cam}: {truth:?} are contradicted"));
        }
        let remain: Vec<Cause> = all
            .iter()
            .filter(|r| r.standing != Standing::Contradicted)
            .map(|r| r.cause)
            .collect();
        let named = findings
            .next_check
            .as_ref()
            .is_some_and(|check| truth.iter().any(|c| check.separates.contains(c)));
        let alone = remain.len() == 1 && truth.contains(&remain[0]);
        let supported = |c: &&&CauseRow| c.standing == Standing::Supported;
        let first = all
            .iter()
            .filter(supported)
            .all(|r| truth.contains(&r.cause));
        if !(alone || named || (truth.contains(&AsCommanded) && first)) {
            wrong.push(format!(
                "{cam}: {truth:?} neither alone nor named: {remain:?}"
            ));
        }
        if truth == LEAD {
            for r in all.iter().filter(supported) {
                if r.cause != LeadFault && r.cause != AsCommanded {
                    wrong.push(format!("{cam}: {:?} is blamed", r.cause));
                }
            }
        }
    }
    wrong
}

#[test]
fn the_true_cause_stands_and_is_separated() {
    let mut wrong = Vec::new();
    for row in &TABLE {
        for seed in [5, 6] {
            let scenario = Scenario::named(row.scenario).expect("an embedded scenario");
            let mut rig = Rig::new(&scenario, seed, RATE, 1.0);
            rig.run(LASTS, |_, _| {});
            let findings = rig.pipeline.snapshot().findings;
            let found = faults(row, &findings);
            if seed == 5 || !found.is_empty() {
                eprintln!("{} (seed {seed})", row.scenario);
                for cam in [CamId::INTAKE, CamId::EXHAUST] {
                    eprintln!("  {cam}");
                    print(&findings, cam);
                }
                eprintln!("  next: {:?}", findings.next_check);
            }
            wrong.extend(
                found
                    .iter()
                    .map(|w| format!("{} seed {seed}: {w}", row.scenario)),
            );
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}
