//! Where the cam stands at rest.

use super::{HYDRAULIC, PLACE};
use crate::base_timing::Conclusion;
use crate::drift::Drift;
use crate::findings::Cause;
use crate::findings::episode::Range;
use crate::findings::fact::Fact;
use crate::findings::picture::{Picture, REPEATED};
use crate::lead::Role;
use crate::snapshot::AgreementState;

/// Whether an offset of `teeth` sprocket teeth is a whole number of them, within `slack` of a tooth.
const WHOLE: f64 = 0.2;

/// Whether it comes back to rest, and always to the same place.
pub(super) fn return_to_rest(p: Picture<'_>) -> Fact {
    const WHAT: &str = "return to rest";
    let leads = p.movement_leads();
    let Some(phaser) = &p.dossier.sheet.phaser else {
        return Fact::new(WHAT, "no phaser on this cam");
    };
    let sign = phaser.rest.drive_sign();
    let rests = p.rests();
    let mut place = Range::EMPTY;
    rests.iter().for_each(|r| place.add(Some(r.x * sign)));
    let off: Vec<_> = p.sound(AgreementState::OffRest).collect();
    let Some(first) = off.first() else {
        let unsure = (p.dossier.episodes.all.iter()).any(|e| e.state == AgreementState::OffRest);
        let text = if unsure {
            "found off its rest, but not all leads that rests on were proven then".to_owned()
        } else if rests.is_empty() {
            "not yet seen at rest through proven leads".to_owned()
        } else {
            format!("{}, at {}", times(rests.len()), place.words("°", 1))
        };
        return Fact::new(WHAT, text).on(leads);
    };
    // While it is driven away it leaves that place, so that the rests count where there are any.
    let since: Vec<f64> = (rests.iter())
        .filter(|r| r.at >= first.from)
        .map(|r| r.x)
        .collect();
    let beyond = if since.is_empty() {
        off.iter()
            .all(|e| e.phase.low * sign < 0.0 && e.phase.high * sign < 0.0)
    } else {
        since.iter().all(|x| *x < -p.tolerance())
    };
    let text = format!(
        "off rest {} since {:.1} s; seen at rest {} at {}: {}",
        times(off.len()),
        first.from,
        times(rests.len()),
        place.words("°", 1),
        first.sentence.trim_end_matches('.')
    );
    let mut fact = Fact::new(WHAT, text).at(first.from).on(leads).contradicts(
        &[Cause::AsCommanded],
        "commanded to rest it has to be there",
    );
    let stuck = p.has(AgreementState::NotFollowing);
    let back = p.rested_at_reference_after(first.decided);
    if back.is_some_and(|r| r.anew) {
        fact = fact.contradicts(
            &PLACE,
            "it came back to its reference later; what has slipped does not",
        );
    }
    if beyond {
        fact = fact.supports(
            &PLACE,
            "it stands beyond its own stop, where no phaser can go",
        );
        if !stuck {
            fact = fact.contradicts(
                &HYDRAULIC,
                "it stands beyond its own stop, where no phaser can go",
            );
        }
        return fact;
    }
    let repeated = p.repeated_since(first.from);
    if repeated >= REPEATED && !stuck {
        return fact
            .supports(&PLACE, "each time the same place")
            .contradicts(
                &HYDRAULIC,
                "it moves, and comes back to the same place each time",
            );
    }
    fact.supports(
        &HYDRAULIC,
        "a phaser or a spool that does not let go does that, or oil that does not push it back",
    )
}

/// "once", "3 times".
fn times(n: usize) -> String {
    if n == 1 {
        "once".to_owned()
    } else {
        format!("{n} times")
    }
}

/// Degrees as shown; what rounds to nothing has no sign.
fn signed(degrees: f64) -> String {
    let shown = if degrees.abs() < 0.05 { 0.0 } else { degrees };
    format!("{shown:.1}°")
}

/// Base timing.
pub(super) fn against_reference(p: Picture<'_>) -> Fact {
    const WHAT: &str = "rest against reference";
    let base = p.base;
    let leads = base.rests_on.iter().copied();
    let moved = match p.dossier.edges.drift {
        Drift::Stepped { at, by, .. } if by.0.abs() > p.tolerance() => {
            Some((at.0 / p.rate, format!("stepped by {:.1}° at rest", by.0)))
        }
        Drift::Unknown | Drift::Still { .. } | Drift::Drifting { .. } | Drift::Stepped { .. } => {
            None
        }
    };
    if let Some((at, text)) = moved
        && !p.stands_still()
    {
        return Fact::new(WHAT, text)
            .at(at)
            .on([Role::Crank, Role::Cam(p.cam())])
            .supports(
                &PLACE,
                "a drive that has jumped, or a wheel that has turned",
            )
            .contradicts(&[Cause::AsCommanded], "a cam in order does not do that");
    }
    let (Some((cam, offset)), Some(out)) = (p.offset(), p.is_out()) else {
        let text = if base.rests_on.iter().all(|&r| p.leads.proven(r)) {
            base.sentence.clone()
        } else {
            "not all leads that it rests on are proven".to_owned()
        };
        return Fact::new(WHAT, text).on(leads);
    };
    let teeth = cam.teeth.filter(|t| t.abs() >= 0.1);
    let text = format!(
        "{}{}{} at rest, seen {}",
        signed(offset),
        cam.uncertainty
            .map_or_else(String::new, |u| format!(" ± {:.1}°", u.0)),
        teeth.map_or_else(String::new, |t| format!(", {t:.2} teeth")),
        times(cam.looks)
    );
    let fact = Fact::new(WHAT, text).at(p.now).on(leads);
    if !out {
        let mut fact = fact;
        if p.has(AgreementState::OffRest) {
            return fact;
        }
        fact = fact.contradicts(&[Cause::BaseTiming], "it rests on its reference");
        if !p.edges_are_wrong() {
            fact = fact.contradicts(&[Cause::WheelOrSensor], "it rests on its reference");
        }
        return if p.is_complete() {
            fact.supports(&[Cause::AsCommanded], "it rests on its reference")
        } else {
            fact
        };
    }
    if p.could_be_polarity() {
        return fact;
    }
    let fact = fact.contradicts(&[Cause::AsCommanded], "it does not rest on its reference");
    if p.stands_still() {
        // What stands still rests nowhere.
        return fact;
    }
    let whole = teeth.is_some_and(|t| t.abs() > 0.5 && (t - t.round()).abs() < WHOLE);
    if whole {
        fact.supports(&PLACE, "that is a whole number of teeth")
    } else {
        fact.supports(
            &PLACE,
            "not a whole number of teeth: a key, a bolted hub or a wheel",
        )
    }
}

/// What the cams say together.
pub(super) fn cams_together(p: Picture<'_>) -> Fact {
    const WHAT: &str = "cams together";
    if p.cams.len() < 2 {
        return Fact::new(WHAT, "only one cam has a sensor");
    }
    let leads = p.base.rests_on.iter().copied();
    let proven = p.base.rests_on.iter().all(|&r| p.leads.proven(r));
    let fact = Fact::new(WHAT, p.base.sentence.clone()).on(leads);
    if p.base.conclusion != Conclusion::AllOutAlike || !proven || p.could_be_polarity() {
        return fact;
    }
    let fact = fact.supports(
        &PLACE,
        "crank sprocket, or the crank's wheel or sensor: that moves all cams alike",
    );
    if p.has(AgreementState::NotFollowing) {
        fact
    } else {
        fact.contradicts(&HYDRAULIC, "phasers do not all stand off by the same")
    }
}
