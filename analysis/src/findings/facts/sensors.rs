//! What the leads and the sensors themselves say.

use crate::damage::Flaw;
use crate::findings::Cause;
use crate::findings::dossier::FRONTS_APART;
use crate::findings::fact::Fact;
use crate::findings::picture::Picture;
use crate::lead::Role;
use crate::snapshot::AgreementState;

/// Seconds of valid phase after which the edges are known to come.
const COMES: f64 = 5.0;

/// The leads of this cam.
pub(super) fn leads(p: Picture<'_>) -> Fact {
    const WHAT: &str = "leads";
    let all = p.leads.of_cam(p.cam(), p.has_phaser());
    let roles: Vec<Role> = all.iter().map(|s| s.role).collect();
    let bad: Vec<_> = all.iter().filter(|s| s.trouble.is_some()).collect();
    if !bad.is_empty() {
        let words: Vec<String> = bad
            .iter()
            .map(|s| format!("{} {}: {}", s.role, s.now.state.words(), s.now.note))
            .collect();
        let since = bad
            .iter()
            .filter_map(|s| s.trouble)
            .fold(f64::INFINITY, f64::min);
        return Fact::new(WHAT, words.join("; "))
            .at(since)
            .on(roles)
            .supports(&[Cause::LeadFault], "nothing else is told through it");
    }
    let lost: Vec<_> = all.iter().filter(|s| s.losses > 0).collect();
    if !lost.is_empty() {
        let words: Vec<String> = lost
            .iter()
            .map(|s| format!("{} was lost {} times and came back", s.role, s.losses))
            .collect();
        let fact = Fact::new(WHAT, words.join("; ")).on(roles);
        // Once may be a hand at the lead; more often is a contact.
        if lost.iter().all(|s| s.losses < 2) {
            return fact;
        }
        return fact.supports(
            &[Cause::LeadFault],
            "a lead that slips does that, and so does a sensor that drops out",
        );
    }
    let unproven: Vec<String> = all
        .iter()
        .filter(|s| !s.is_proven() && !matches!(s.role, Role::Current(_)))
        .map(|s| format!("{} {}: {}", s.role, s.now.state.words(), s.now.note))
        .collect();
    if !unproven.is_empty() {
        return Fact::new(WHAT, unproven.join("; ")).on(roles);
    }
    let remarks: Vec<String> = all
        .iter()
        .filter(|s| s.now.mistake.is_some())
        .map(|s| format!("{}: {}", s.role, s.now.note))
        .collect();
    if !remarks.is_empty() {
        return Fact::new(WHAT, remarks.join("; ")).on(roles);
    }
    let names: Vec<String> = roles.iter().map(ToString::to_string).collect();
    let fact = Fact::new(WHAT, format!("{} proven", names.join(", ")));
    let needed = p.leads.fitted(Role::Crank) && p.leads.fitted(Role::Cam(p.cam()));
    let unsure = p.could_be_polarity() || p.dossier.learnt.opposite;
    if needed && !unsure {
        fact.on(roles).contradicts(
            &[Cause::LeadFault],
            "each shows what it should, whenever something was judged",
        )
    } else {
        fact.on(roles)
    }
}

/// Whether the cam sensor's edges come.
pub(super) fn cam_sensor(p: Picture<'_>) -> Fact {
    const WHAT: &str = "cam sensor";
    let role = Role::Cam(p.cam());
    let silent: Vec<_> = p.sound(AgreementState::NoPosition).collect();
    if let Some(first) = silent.first() {
        let seconds: f64 = silent.iter().map(|e| e.last - e.from).sum();
        return Fact::new(
            WHAT,
            format!(
                "silent {} since {:.1} s, {seconds:.1} s altogether: {}",
                if silent.len() == 1 {
                    "once".to_owned()
                } else {
                    format!("{} times", silent.len())
                },
                first.from,
                first.sentence.trim_end_matches('.')
            ),
        )
        .at(first.from)
        .on([Role::Crank, role])
        .supports(
            &[Cause::WheelOrSensor],
            "the crank turns and the lead is on",
        )
        .contradicts(
            &[Cause::AsCommanded],
            "a sensor in order does not fall silent",
        );
    }
    let edges = &p.dossier.edges;
    if edges.misfit > 1.0 {
        return Fact::new(
            WHAT,
            format!(
                "its edges did not fit the engine sheet for {:.1} s",
                edges.misfit
            ),
        )
        .at(edges.misfit_at)
        .on([Role::Crank, role]);
    }
    if edges.valid < COMES {
        return Fact::new(WHAT, "not seen for long enough yet through proven leads").on([role]);
    }
    Fact::new(
        WHAT,
        format!(
            "its edges came for {:.0} s, all in their pattern",
            edges.valid
        ),
    )
    .on([Role::Crank, role])
}

/// The crank wheel.
pub(super) fn crank_wheel(p: Picture<'_>) -> Fact {
    const WHAT: &str = "crank wheel";
    let w = p.wheel;
    let mut said = Vec::new();
    let mut at = f64::INFINITY;
    for &(tooth, flaw, then) in w.damaged.iter().take(4) {
        let how = match flaw {
            Flaw::Missing => "gives no edge",
            Flaw::Misplaced => "is out of place",
        };
        said.push(format!("tooth {} after the gap {how}", tooth + 1));
        at = at.min(then);
    }
    if w.damaged.len() > 4 {
        said.push(format!("{} more", w.damaged.len() - 4));
    }
    if w.losses > 0 {
        said.push(format!(
            "its pattern was lost {} times while it turned, last at {:.1} s",
            w.losses, w.last_loss
        ));
        at = at.min(w.last_loss);
    }
    if said.is_empty() {
        let text = if w.found > 0.0 {
            format!("its pattern held for {:.0} s", w.found)
        } else {
            "its pattern has not been found yet".to_owned()
        };
        return Fact::new(WHAT, text).on([Role::Crank]);
    }
    let fact = Fact::new(WHAT, said.join("; ")).at(at).on([Role::Crank]);
    // A mistake that is recognised late was there when the teeth were looked at.
    let mistaken =
        (p.leads.story(Role::Crank)).is_some_and(|s| !s.is_proven() && s.now.mistake.is_some());
    if w.is_damaged() && !mistaken {
        fact.supports(&[Cause::WheelOrSensor], "turn after turn")
    } else {
        fact
    }
}

/// The cam's own pattern: how its rising and falling edges lie to each other.
pub(super) fn windows(p: Picture<'_>) -> Fact {
    const WHAT: &str = "cam windows";
    let role = Role::Cam(p.cam());
    let Some((apart, at)) = p.dossier.edges.apart else {
        return Fact::new(WHAT, "not compared yet").on([role]);
    };
    let fact = Fact::new(
        WHAT,
        format!("rising and falling edges {:.1}° apart", apart.0.abs()),
    )
    .at(at)
    .on([Role::Crank, role]);
    if p.dossier.edges.are_apart() {
        fact.supports(
            &[Cause::WheelOrSensor],
            "more than a sensor may place them apart; timing moves both alike",
        )
    } else if apart.0.abs() <= FRONTS_APART {
        fact
    } else {
        fact.contradicts(&[], "")
    }
}
