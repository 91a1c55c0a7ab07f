//! What must be given before a trial counts, and what may hurt.

use super::TrialKind;
use super::setup::Setup;
use crate::circuit::Condition;
use crate::lead::Role;
use crate::observation::{CommandView, EngineView, Observation, PositionView};
use crate::proof::ProofState;

const REVS: &str = "Parking brake on, neutral; hands, clothes and leads clear of belts and fans. Rev no higher cold than the maker allows.";
const UNPLUG: &str = "Parking brake on, neutral; hands clear of belts, fans and hot parts. Unplugging stores a code: note it and clear it afterwards.";
const IDLES: &str = "Parking brake on, neutral.";

/// What may hurt; said until the trial is under way.
pub(super) fn caution(kind: TrialKind) -> Option<&'static str> {
    Some(match kind {
        TrialKind::RestAtIdle => IDLES,
        TrialKind::RestUnplugged => UNPLUG,
        TrialKind::SnapRev
        | TrialKind::SlowSweep
        | TrialKind::StepAndReturn
        | TrialKind::Hold
        | TrialKind::RestRepeated => REVS,
    })
}

impl Setup {
    /// What to do while nothing counts yet.
    pub fn first_words(&self, kind: TrialKind) -> String {
        match kind {
            TrialKind::RestUnplugged => format!(
                "Unplug the valve of {} at its connector, then let it idle, foot off.",
                self.name()
            ),
            _ => "Let it idle, foot off.".to_owned(),
        }
    }
}

/// Speed and phase if the look counts; else why it does not.
pub(super) fn hindrance(
    leads: &[Role],
    kind: TrialKind,
    seen: &Observation,
    proofs: &[(Role, ProofState)],
    load: Option<bool>,
) -> Result<(f64, f64), String> {
    if seen.engine == EngineView::Stopped {
        return Err("The engine does not turn.".to_owned());
    }
    let state = |role: Role| {
        proofs
            .iter()
            .find(|(r, _)| *r == role)
            .map(|(_, state)| *state)
    };
    for &role in leads {
        match state(role) {
            Some(ProofState::Proven) => {}
            Some(ProofState::Spare) | None => {
                return Err(format!("There is no lead on '{role}'."));
            }
            Some(ProofState::Doubtful | ProofState::Silent) => {
                return Err(format!(
                    "The lead on '{role}' is not proven; nothing counts through it."
                ));
            }
        }
    }
    if kind == TrialKind::RestUnplugged {
        still_plugged(seen.command, load)?;
    }
    let EngineView::Cycle(rpm) = seen.engine else {
        return Err("The angle of the engine is not known yet.".to_owned());
    };
    let PositionView::Phase(phase) = seen.position else {
        return Err("The phase of the cam is not known now.".to_owned());
    };
    Ok((rpm.0, phase.0))
}

/// What a circuit's condition says of whether its valve is plugged in; `None` when it does not tell.
pub(crate) fn load(condition: Condition) -> Option<bool> {
    match condition {
        Condition::Sound
        | Condition::LowLevelHigh
        | Condition::SupplyLow
        | Condition::CurrentWrong => Some(true),
        Condition::NoLoad | Condition::StandsBetween => Some(false),
        // A controller that rests, or has given up, looks the same with and without a valve.
        Condition::NotShown
        | Condition::StandsHigh
        | Condition::StandsLow
        | Condition::LostAtTimes => None,
    }
}

/// An error as long as the pin shows its valve, or switches and does not show yet that it has none.
fn still_plugged(command: CommandView, load: Option<bool>) -> Result<(), String> {
    match (command, load) {
        (CommandView::Duty(duty), Some(true)) => Err(format!(
            "The pin still switches as with its valve, at {:.0} %.",
            duty.0
        )),
        (CommandView::Duty(_), None) => {
            Err("The pin switches; whether the valve is off it does not show yet.".to_owned())
        }
        _ => Ok(()),
    }
}
