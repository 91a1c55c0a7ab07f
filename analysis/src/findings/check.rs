//! The checks: what to do, which causes its outcomes leave, what it costs, what to beware of; and the choice of one.
//! None advises replacing a part.

use super::Cause::{
    self, AsCommanded, BaseTiming, LeadFault, NoCommand, OilOrSluggish, PhaserStuck,
    SupplyOrGround, Valve, WheelOrSensor, WiringOrDriver,
};
use super::caution::Caution::{
    self, ExhaustGas, Flyback, HighVoltage, Hot, Ignition, Oil, Rotating,
};
use super::picture::Picture;
use super::{CauseRow, NextCheck, Standing};
use crate::circuit::Condition;
use crate::lead::Role;
use crate::proof::{ProofState, Touch};
use crate::snapshot::AgreementState;
use crate::trial::TrialKind;

/// A check.
struct Check {
    /// What to do; empty when it depends on what was seen and [`action`] says it.
    action: &'static str,
    /// What each outcome leaves of the causes. One that stands in no group is not told by it.
    leaves: &'static [&'static [Cause]],
    /// 0 is watching, 1 a trial, 2 a connector, 3 two connectors or a gauge, 4 a part changed over, 5 a cover off.
    effort: u8,
    cautions: &'static [Caution],
    applies: fn(Picture<'_>) -> bool,
}

const RUNNING: &[Caution] = &[Rotating, Hot, ExhaustGas, HighVoltage];
const AT_THE_PIN: &[Caution] = &[Flyback, Rotating, Hot, ExhaustGas, HighVoltage];
/// What a look at a tone wheel leaves: the wheel or its sensor, or anything else that shows as an angle.
const WHEEL_SEEN: &[&[Cause]] = &[
    &[WheelOrSensor],
    &[
        AsCommanded,
        BaseTiming,
        LeadFault,
        OilOrSluggish,
        Valve,
        PhaserStuck,
    ],
];

/// Place of [`prove_lead`] in the table.
const PROVE: usize = 0;
/// Place of the check that the circuit names itself.
const CIRCUIT: usize = 1;

const CHECKS: &[Check] = &[
    Check {
        action: "",
        leaves: &[
            &[LeadFault],
            &[
                NoCommand,
                WiringOrDriver,
                SupplyOrGround,
                Valve,
                OilOrSluggish,
                PhaserStuck,
                BaseTiming,
                WheelOrSensor,
                AsCommanded,
            ],
        ],
        effort: 0,
        cautions: AT_THE_PIN,
        applies: |p| lead_to_prove(p).is_some() && !p.is_of_the_part(),
    },
    Check {
        action: "",
        leaves: &[
            &[NoCommand],
            &[WiringOrDriver],
            &[SupplyOrGround],
            &[Valve],
            &[LeadFault],
            &[OilOrSluggish, PhaserStuck],
        ],
        effort: 2,
        cautions: AT_THE_PIN,
        applies: |p| separated_by(p).is_some(),
    },
    Check {
        action: "Exchange the two wires at the crank sensor's lead and see whether the offset goes: if it does, it was the lead; if it stays, it is in the engine.",
        leaves: &[&[LeadFault], &[BaseTiming, WheelOrSensor]],
        effort: 1,
        cautions: RUNNING,
        applies: |p| p.could_be_polarity(),
    },
    Check {
        action: "Compare rest side and sense of the command in the engine sheet with the maker's book, and see at each valve's connector that the command lead is on the valve of its own cam.",
        leaves: &[&[LeadFault], &[Valve, OilOrSluggish, AsCommanded]],
        effort: 1,
        cautions: AT_THE_PIN,
        applies: |p| p.dossier.learnt.opposite,
    },
    Check {
        action: "Run the trial \"quick rev\" with the engine warm: does the cam move away from rest and come back?",
        leaves: &[
            &[AsCommanded, BaseTiming, WheelOrSensor],
            &[NoCommand, WiringOrDriver, SupplyOrGround],
            &[Valve, OilOrSluggish, PhaserStuck],
        ],
        effort: 1,
        cautions: RUNNING,
        applies: |p| {
            p.has_phaser()
                && !p.followed_both_ways()
                && !p.ever_disagreed()
                && p.dossier.circuit.faults().next().is_none()
        },
    },
    Check {
        action: "Let the engine idle warm with the commands at rest (trial \"rest at idle\"): does the cam stand on its reference?",
        leaves: &[
            &[
                AsCommanded,
                NoCommand,
                WiringOrDriver,
                SupplyOrGround,
                OilOrSluggish,
            ],
            &[BaseTiming, WheelOrSensor],
        ],
        effort: 1,
        cautions: RUNNING,
        applies: |p| p.is_out().is_none() && p.dossier.sheet.is_judged(),
    },
    Check {
        action: "Get a reference for the cam at rest, from a known-good engine of the same kind or the maker's figures, and compare.",
        leaves: &[&[AsCommanded], &[BaseTiming, WheelOrSensor]],
        effort: 2,
        cautions: RUNNING,
        applies: |p| !p.dossier.sheet.is_judged(),
    },
    Check {
        action: "Run the trial \"step and return\" and note the oil temperature: how quickly does it answer both ways?",
        leaves: &[&[AsCommanded, BaseTiming, WheelOrSensor], &[OilOrSluggish]],
        effort: 1,
        cautions: RUNNING,
        applies: |p| {
            p.has_phaser()
                && !p.moves_wrongly()
                && p.dossier.circuit.faults().next().is_none()
                && p.trial(TrialKind::StepAndReturn).is_none()
        },
    },
    Check {
        action: "Read oil level, grade and temperature, and measure oil pressure warm at idle against the maker's figure: too low leaves the oil, in order leaves valve and phaser.",
        leaves: &[
            &[OilOrSluggish],
            &[
                Valve,
                PhaserStuck,
                SupplyOrGround,
                WiringOrDriver,
                NoCommand,
                BaseTiming,
                WheelOrSensor,
                AsCommanded,
            ],
        ],
        effort: 3,
        cautions: &[Oil, Rotating, Hot, ExhaustGas, HighVoltage],
        applies: |p| p.has_phaser(),
    },
    Check {
        action: "With the engine stopped, drive the valve for a second at a time from a fused supply as the maker allows, listen for its spool and watch its current: one that does not answer leaves the valve, one that does leaves oil and phaser.",
        leaves: &[
            &[Valve],
            &[
                OilOrSluggish,
                PhaserStuck,
                WiringOrDriver,
                SupplyOrGround,
                NoCommand,
                BaseTiming,
                WheelOrSensor,
            ],
        ],
        effort: 3,
        cautions: &[Flyback, Hot, HighVoltage],
        applies: |p| p.has_phaser(),
    },
    Check {
        action: "Put a clamp around the valve's wire and compare its current with the command: current in step leaves valve, oil and phaser; none leaves wiring, supply and coil.",
        leaves: &[
            &[
                OilOrSluggish,
                PhaserStuck,
                AsCommanded,
                BaseTiming,
                WheelOrSensor,
            ],
            &[WiringOrDriver, SupplyOrGround, NoCommand],
            &[Valve],
        ],
        effort: 2,
        cautions: AT_THE_PIN,
        applies: |p| p.has_phaser() && !p.leads.proven(Role::Current(p.cam())) && !current_known(p),
    },
    Check {
        action: "Measure the drop from the controller's ground pin to battery negative with the valve driven: a drop leaves the ground, none leaves the driver.",
        leaves: &[&[SupplyOrGround], &[WiringOrDriver]],
        effort: 2,
        cautions: AT_THE_PIN,
        applies: |p| p.dossier.circuit.found(Condition::LowLevelHigh).is_some(),
    },
    Check {
        action: "Measure the valve's feed at its connector, against battery and with the valve driven: a drop leaves feed and ground.",
        leaves: &[
            &[SupplyOrGround],
            &[
                NoCommand,
                WiringOrDriver,
                Valve,
                OilOrSluggish,
                PhaserStuck,
                AsCommanded,
            ],
        ],
        effort: 2,
        cautions: AT_THE_PIN,
        applies: |p| p.has_phaser(),
    },
    Check {
        action: "Put a second lead on the command at the controller's connector beside the one at the valve, and move the harness between them: a command at both leaves the lead and the valve's side, at the controller only leaves the wire, at neither leaves the controller.",
        leaves: &[
            &[NoCommand],
            &[WiringOrDriver],
            &[LeadFault],
            &[SupplyOrGround, Valve],
        ],
        effort: 3,
        cautions: AT_THE_PIN,
        applies: |p| {
            p.has_phaser()
                && (p.has(AgreementState::NoCommand)
                    || !p.dossier.circuit.losses.is_empty()
                    || p.dossier.circuit.faults().next().is_some())
        },
    },
    Check {
        action: "Run the trial \"rest with the actuator unplugged\": to rest leaves command and wiring, not to rest leaves valve, phaser and what it is timed by.",
        leaves: &[
            &[NoCommand, WiringOrDriver, SupplyOrGround],
            &[Valve, PhaserStuck, BaseTiming, WheelOrSensor],
        ],
        effort: 1,
        cautions: AT_THE_PIN,
        applies: |p| p.has(AgreementState::OffRest) && p.trial(TrialKind::RestUnplugged).is_none(),
    },
    Check {
        action: "Measure cylinder pressure against crank angle on this cam's side: valve events in their place leave tone wheel and sensor, out of place leave chain, belt, sprocket or key, and the phaser.",
        leaves: &[
            &[WheelOrSensor],
            &[BaseTiming],
            &[PhaserStuck, Valve, OilOrSluggish],
        ],
        effort: 4,
        cautions: &[Ignition, Rotating, Hot, ExhaustGas, HighVoltage],
        applies: |p| p.is_out() == Some(true) || p.has(AgreementState::OffRest),
    },
    Check {
        action: "Put a second lead on the cam sensor's signal at the sensor, watch its supply and ground as well, and move connector and harness: gone at both leaves sensor and its wiring, gone at one leaves the lead.",
        leaves: &[&[LeadFault], &[WheelOrSensor]],
        effort: 2,
        cautions: RUNNING,
        applies: |p| p.has(AgreementState::NoPosition) || p.dossier.edges.misfit > 1.0,
    },
    Check {
        action: "Look at the crank's tone wheel and the gap of its sensor through the sensor's opening, the engine stopped and turned by hand.",
        leaves: WHEEL_SEEN,
        effort: 3,
        cautions: &[Hot, HighVoltage],
        applies: |p| p.wheel.is_damaged() || p.wheel.losses > 0,
    },
    Check {
        action: "Look at the cam's tone wheel, its sensor and the gap between them, the engine stopped and turned by hand.",
        leaves: WHEEL_SEEN,
        effort: 4,
        cautions: &[Hot, HighVoltage],
        applies: |p| p.cam_edges_are_wrong() || p.is_out() == Some(true),
    },
    Check {
        action: "Change the two cams' valves over if the maker says they are alike: what goes with the valve is the valve, what stays is oil or phaser.",
        leaves: &[
            &[Valve],
            &[
                OilOrSluggish,
                PhaserStuck,
                WiringOrDriver,
                SupplyOrGround,
                NoCommand,
            ],
        ],
        effort: 4,
        cautions: &[Oil, Hot, HighVoltage],
        applies: |p| p.has_phaser() && p.cams.iter().filter(|c| c.motion.is_some()).count() > 1,
    },
];

/// Whether it is known already that current flows in the coil.
fn current_known(p: Picture<'_>) -> bool {
    let circuit = &p.dossier.circuit;
    circuit.resistance.is_some()
}

/// The one measurement that the circuit itself names.
fn separated_by(p: Picture<'_>) -> Option<&str> {
    let mut faults = p.dossier.circuit.faults();
    faults.find_map(|f| f.separated_by.as_deref())
}

/// What to do about the first lead that is not proven, or is needed and not there.
fn lead_to_prove(p: Picture<'_>) -> Option<String> {
    let needed = [Role::Crank, Role::Cam(p.cam()), Role::Command(p.cam())];
    let needed = &needed[..if p.has_phaser() { 3 } else { 2 }];
    if let Some(role) = needed.iter().find(|&&role| !p.leads.fitted(role)) {
        return Some(format!(
            "Put a lead on the {role}; nothing is told without it."
        ));
    }
    let all = p.leads.of_cam(p.cam(), p.has_phaser());
    let worst = all
        .iter()
        .find(|s| s.trouble.is_some())
        .or_else(|| all.iter().find(|s| !s.is_proven()))
        .or_else(|| all.iter().find(|s| s.losses > 0 || s.now.mistake.is_some()))?;
    let role = worst.role;
    let now = &worst.now;
    Some(match now.touch {
        Some(Touch::ToGround) => format!("Touch the {role} lead to ground."),
        Some(Touch::ToSupply) => format!("Touch the {role} lead to supply."),
        Some(Touch::Done) if now.state != ProofState::Proven => {
            format!("Put the {role} lead back on its pin.")
        }
        _ if !now.try_next.is_empty() => format!("Prove the {role} lead: {}", now.try_next),
        _ if matches!(role, Role::Command(_)) => format!(
            "Prove the {role} lead: touch it to ground and to supply when asked, and put it back on its pin."
        ),
        _ => format!("Prove the {role} lead: {}.", now.note.trim_end_matches('.')),
    })
}

fn action(index: usize, p: Picture<'_>) -> String {
    match index {
        PROVE => lead_to_prove(p).unwrap_or_default(),
        CIRCUIT => separated_by(p).unwrap_or_default().to_owned(),
        _ => CHECKS[index].action.to_owned(),
    }
}

/// How well a check separates what remains: causes that are supported, all causes, groups told apart; less effort.
type Worth = (usize, usize, usize, std::cmp::Reverse<u8>);

/// What an outcome-by-outcome reading leaves: the causes told apart, and into how many groups. `None` for fewer than two.
fn told_apart(check: &Check, remain: &[Cause]) -> Option<(Vec<Cause>, usize)> {
    let groups: Vec<Vec<Cause>> = check
        .leaves
        .iter()
        .map(|g| g.iter().filter(|c| remain.contains(c)).copied().collect())
        .filter(|g: &Vec<Cause>| !g.is_empty())
        .collect();
    let count = groups.len();
    let mut all: Vec<Cause> = groups.into_iter().flatten().collect();
    all.sort_unstable();
    all.dedup();
    (count > 1).then_some((all, count))
}

/// A check with its cautions.
#[derive(Debug, Clone)]
pub(super) struct Choice {
    pub check: NextCheck,
    pub cautions: &'static [Caution],
}

impl Choice {
    /// The same check is the best for another cam too: one action for both.
    pub fn join(&mut self, other: &Self) {
        if self.check.action != other.check.action {
            return;
        }
        self.check.cam = None;
        let own = &mut self.check.separates;
        own.extend(&other.check.separates);
        own.sort_unstable();
        own.dedup();
    }
}

/// The check that best separates what remains of one cam's causes.
pub(super) fn choose(p: Picture<'_>, rows: &[CauseRow]) -> Option<Choice> {
    let of = |standing| -> Vec<Cause> {
        (rows.iter())
            .filter(|r| r.standing == standing)
            .map(|r| r.cause)
            .collect()
    };
    let supported = of(Standing::Supported);
    let mut remain = supported.clone();
    remain.extend(of(Standing::Open));
    let (index, separates) = CHECKS
        .iter()
        .enumerate()
        .filter(|(_, c)| (c.applies)(p))
        .filter_map(|(i, c)| {
            let (all, groups) = told_apart(c, &remain)?;
            let certain = told_apart(c, &supported).map_or(0, |(s, _)| s.len());
            let worth: Worth = (certain, all.len(), groups, std::cmp::Reverse(c.effort));
            Some((worth, i, all))
        })
        .max_by(|a, b| a.0.cmp(&b.0).then(b.1.cmp(&a.1)))
        .map(|(_, i, all)| (i, all))?;
    Some(Choice {
        check: NextCheck {
            action: action(index, p),
            separates,
            cam: Some(p.cam()),
        },
        cautions: CHECKS[index].cautions,
    })
}

/// All actions that are worded here.
#[cfg(test)]
pub(super) fn every_action() -> impl Iterator<Item = &'static str> {
    CHECKS.iter().map(|c| c.action)
}
