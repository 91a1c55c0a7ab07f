//! What the command pin, the supply and the current say.

use super::{ELECTRICAL, HYDRAULIC, PLACE};
use crate::circuit::{Condition, Flyback};
use crate::findings::Cause;
use crate::findings::circuit_log::{Found, causes, is_without_power};
use crate::findings::fact::Fact;
use crate::findings::picture::Picture;
use crate::lead::Role;
use crate::snapshot::AgreementState;

/// A drop of the supply under load up to this is in order (common practice, from memory: guidance, no verdict).
const DROP: f64 = 0.5;
/// The pin must have been seen to switch for this long.
const SWITCHES: f64 = 2.0;
const STANDS: [Condition; 3] = [
    Condition::StandsHigh,
    Condition::StandsLow,
    Condition::StandsBetween,
];
const NO_PHASER: &str = "no phaser on this cam";

fn no_command_lead(p: Picture<'_>, what: &'static str) -> Option<Fact> {
    if !p.has_phaser() {
        return Some(Fact::new(what, NO_PHASER));
    }
    let role = Role::Command(p.cam());
    (!p.leads.fitted(role)).then(|| Fact::new(what, format!("no lead on the {role}")).on([role]))
}

/// A circuit found to be at fault: for what the leads cannot tell apart, against the rest.
fn fault(p: Picture<'_>, what: &'static str, found: &Found) -> Fact {
    let possible = causes(&found.possible);
    let fact = Fact::new(
        what,
        format!(
            "{} First seen at {:.1} s, {:.1} s altogether",
            found.sentence, found.from, found.seconds
        ),
    )
    .at(found.from)
    .on(found.rests_on.iter().copied());
    if possible.is_empty() {
        return fact;
    }
    let named = |c: &&Cause| possible.contains(c);
    let all = || ELECTRICAL.iter().chain(&[Cause::Valve]);
    let others: Vec<Cause> = all().filter(|c| !named(c)).copied().collect();
    let several = p.dossier.circuit.faults().count() > 1;
    let mut fact = fact.supports(&possible, "that is what it looks like");
    if !several && is_without_power(found.condition) && !p.moves_wrongly() {
        fact = fact.contradicts(&others, "it would look different at the pin");
    }
    if is_without_power(found.condition) && !p.moves_wrongly() {
        fact = fact
            .contradicts(
                &[Cause::OilOrSluggish, Cause::PhaserStuck],
                "no command reaches the valve, so no motion is owed",
            )
            .contradicts(&PLACE, "neither of them stops a command");
    }
    if found.is_grave() {
        fact.contradicts(&[Cause::AsCommanded], "a circuit in order does not do that")
    } else {
        fact
    }
}

/// Whether the pin switches, and at which level it stands if it does not.
pub(super) fn command_pin(p: Picture<'_>) -> Fact {
    const WHAT: &str = "command pin";
    if let Some(none) = no_command_lead(p, WHAT) {
        return none;
    }
    let role = Role::Command(p.cam());
    let always = (p.dossier.sheet.phaser.as_ref()).is_some_and(|s| s.always_driven);
    let standing = p.dossier.circuit.any_of(&STANDS);
    if let Some(found) = standing.filter(|f| always || f.condition != Condition::StandsHigh) {
        return fault(p, WHAT, found);
    }
    let lost = p.sound(AgreementState::NoCommand).next();
    if let Some(e) = lost {
        let fact = Fact::new(WHAT, format!("{} From {}", e.sentence, e.span()))
            .at(e.from)
            .on([Role::Crank, role])
            .supports(
                &[Cause::NoCommand, Cause::WiringOrDriver],
                "the pin alone cannot tell the controller from the wire",
            )
            .contradicts(&[Cause::AsCommanded], "this controller always drives it");
        return if p.moves_wrongly() {
            fact
        } else {
            fact.contradicts(
                &[Cause::OilOrSluggish, Cause::PhaserStuck],
                "without a command no motion is owed",
            )
            .contradicts(&PLACE, "neither of them stops a command")
        };
    }
    let Some(motion) = p.dossier.motion.as_ref().filter(|m| m.seconds >= SWITCHES) else {
        let story = p.leads.story(role);
        let note = story.map_or("", |s| s.now.note.as_str());
        return Fact::new(WHAT, format!("not seen to switch yet: {note}")).on([role]);
    };
    let [low, high] = motion.duty;
    let fact = Fact::new(
        WHAT,
        format!(
            "given for {:.0} s, {low:.0} to {high:.0} % low",
            motion.seconds
        ),
    )
    .on([role]);
    if !p.command_was_missing() && high > 0.0 {
        fact.contradicts(&[Cause::NoCommand], "there is a command")
    } else {
        fact
    }
}

/// Supply and its sag.
pub(super) fn supply(p: Picture<'_>) -> Fact {
    const WHAT: &str = "supply and ground";
    if let Some(none) = no_command_lead(p, WHAT) {
        return none;
    }
    let conditions = [Condition::SupplyLow, Condition::LowLevelHigh];
    if let Some(found) = p.dossier.circuit.any_of(&conditions) {
        return fault(p, WHAT, found);
    }
    let Some((sag, at)) = p.dossier.circuit.sag else {
        let why = if p.leads.fitted(Role::Supply) {
            "its drop under load has not been measured yet"
        } else {
            "no lead on the supply"
        };
        return Fact::new(WHAT, why).on([Role::Supply]);
    };
    let fact = Fact::new(
        WHAT,
        format!("drops by {:.2} V while the driver conducts", sag.0.max(0.0)),
    )
    .at(at)
    .on([Role::Supply, Role::Command(p.cam())]);
    if sag.0 > DROP {
        fact
    } else if p.dossier.circuit.found(Condition::Sound).is_some()
        && p.dossier.circuit.faults().next().is_none()
        && !p.command_was_missing()
        && !p.moves_wrongly()
    {
        fact.contradicts(
            &[Cause::SupplyOrGround],
            "half a volt is usual, and the levels of the pin are in order",
        )
    } else {
        fact
    }
}

/// Whether current flows, by a clamp or by the flyback.
pub(super) fn current(p: Picture<'_>) -> Fact {
    const WHAT: &str = "current and flyback";
    if let Some(none) = no_command_lead(p, WHAT) {
        return none;
    }
    let circuit = &p.dossier.circuit;
    let clamp = Role::Current(p.cam());
    let conditions = [Condition::NoLoad, Condition::CurrentWrong];
    if let Some(found) = circuit.any_of(&conditions) {
        return fault(p, WHAT, found);
    }
    let mut said = Vec::new();
    let mut leads = vec![Role::Command(p.cam())];
    let mut at = None;
    let mut answers = false;
    match circuit.flyback {
        Some((Flyback::Clamped(v), t)) => {
            said.push(format!("flyback to {:.0} V", v.0));
            (at, answers) = (Some(t), true);
        }
        Some((Flyback::Diode(v), t)) => {
            said.push(format!("flyback to {:.1} V, held by a diode", v.0));
            (at, answers) = (Some(t), true);
        }
        Some((Flyback::Absent, _)) => said.push("no flyback".to_owned()),
        Some((Flyback::Unknown(_), _)) | None => {}
    }
    if let Some((ohms, t)) = circuit.resistance {
        said.push(format!("{:.1} Ω in coil and driver", ohms.0));
        leads.push(clamp);
        (at, answers) = (Some(t), true);
    }
    if let Some((henries, _)) = circuit.inductance {
        said.push(format!("{:.0} mH", 1000.0 * henries.0));
    }
    let sound = circuit.found(Condition::Sound);
    if said.is_empty() {
        let why = if p.leads.fitted(clamp) {
            "not measured yet"
        } else {
            "no clamp on the valve's wire, and no flyback seen"
        };
        return Fact::new(WHAT, why).on([clamp]);
    }
    let mut fact = Fact::new(WHAT, said.join(", ")).on(leads);
    if let Some(at) = at {
        fact = fact.at(at);
    }
    if sound.is_some() && answers && !p.command_was_missing() && circuit.faults().next().is_none() {
        fact.contradicts(
            &[Cause::NoCommand, Cause::WiringOrDriver],
            "the command reaches the coil",
        )
    } else {
        fact
    }
}

/// Times at which the command was lost and came back.
pub(super) fn losses(p: Picture<'_>) -> Fact {
    const WHAT: &str = "command lost at times";
    if let Some(none) = no_command_lead(p, WHAT) {
        return none;
    }
    let role = Role::Command(p.cam());
    let losses = &p.dossier.circuit.losses;
    let found = p.dossier.circuit.found(Condition::LostAtTimes);
    let (Some(first), true) = (losses.first(), found.is_some() || losses.len() > 1) else {
        let seen = p.dossier.motion.as_ref().map_or(0.0, |m| m.seconds);
        return if seen > 0.0 {
            Fact::new(WHAT, format!("not in {seen:.0} s")).on([role])
        } else {
            Fact::new(WHAT, "no command seen yet").on([role])
        };
    };
    let longest = losses
        .iter()
        .filter_map(|l| Some((l.to?.0 - l.from.0) / p.rate))
        .fold(0.0, f64::max);
    let speeds: Vec<f64> = losses.iter().filter_map(|l| Some(l.speed?.0)).collect();
    let lowest = speeds.iter().copied().fold(f64::INFINITY, f64::min);
    let highest = speeds.iter().copied().fold(0.0, f64::max);
    let times = if losses.len() == 1 { "once" } else { "times" };
    let count = if losses.len() == 1 {
        String::new()
    } else {
        format!("{} ", losses.len())
    };
    let speed = if speeds.is_empty() {
        String::new()
    } else {
        format!(", at {lowest:.0} to {highest:.0} rpm")
    };
    let fact = Fact::new(
        WHAT,
        format!(
            "{count}{times}{speed}, longest {longest:.1} s, pin then at {:.1} V",
            first.level.0
        ),
    )
    .at(first.from.0 / p.rate)
    .on([role]);
    if !(p.dossier.sheet.phaser.as_ref()).is_some_and(|s| s.always_driven) {
        return fact;
    }
    let mut possible = found.map_or_else(Vec::new, |f| causes(&f.possible));
    for cause in [Cause::NoCommand, Cause::WiringOrDriver] {
        if !possible.contains(&cause) {
            possible.push(cause);
        }
    }
    let fact = fact
        .supports(&possible, "it is there, then not, then there again")
        .contradicts(&[Cause::AsCommanded], "this controller always drives it");
    if p.moves_wrongly() {
        fact
    } else {
        let hydraulic = HYDRAULIC.iter().filter(|c| !possible.contains(c));
        let hydraulic: Vec<Cause> = hydraulic.copied().collect();
        fact.contradicts(&hydraulic, "with a command it moves as it must")
            .contradicts(&PLACE, "neither of them stops a command")
    }
}
