//! Whether what was measured agrees with a code.

use super::family::Family;
use crate::circuit::Condition;
use crate::findings::Bearing;
use crate::findings::episode::Episode;
use crate::findings::picture::Picture;
use crate::lead::Role;
use crate::snapshot::AgreementState;

/// Seconds of sound signal that say that a sensor works now.
const WORKS: f64 = 5.0;
/// Said with everything that does not agree now.
const NOW: &str = "a fault that comes and goes is not excluded";

type Told = (Bearing, String);

fn not_shown(text: impl Into<String>) -> Told {
    (Bearing::NotShown, text.into())
}

/// A code of a cam.
pub(super) fn cam(family: Family, p: Picture<'_>) -> Told {
    match family {
        Family::Circuit => circuit(p),
        Family::OverAdvanced => over(p, 1.0),
        Family::OverRetarded => over(p, -1.0),
        Family::SlowResponse => slow(p),
        Family::Correlation => correlation(p),
        Family::Crank(_) => crank(p),
        Family::Cam(_) => sensor(p),
    }
}

fn agrees(e: &Episode) -> Told {
    let sentence = e.sentence.trim_end_matches('.');
    (
        Bearing::Supports,
        format!("agrees: {}, {}: {sentence}", e.state.words(), e.span()),
    )
}

fn works(p: Picture<'_>, what: &str) -> Told {
    if !p.is_complete() {
        return not_shown("not yet seen to move both ways and to rest on its reference");
    }
    let motion = p.dossier.motion.as_ref();
    let degrees = motion.map_or(0.0, |m| m.out.largest.max(m.back.largest));
    (
        Bearing::Contradicts,
        format!(
            "does not agree now: {what}, moved up to {degrees:.0}° with its command and rested on its reference for {:.0} s; {NOW}",
            p.dossier.episodes.judged
        ),
    )
}

fn circuit(p: Picture<'_>) -> Told {
    if let Some(found) = p.dossier.circuit.faults().next() {
        return (
            Bearing::Supports,
            format!("agrees, first at {:.1} s: {}", found.from, found.sentence),
        );
    }
    if let Some(e) = p.sound(AgreementState::NoCommand).next() {
        return agrees(e);
    }
    match p.dossier.circuit.found(Condition::Sound) {
        Some(found) => (
            Bearing::Contradicts,
            format!("does not agree now: {} {NOW}", found.sentence),
        ),
        None => not_shown("the circuit has not been judged through proven leads yet"),
    }
}

/// Too early (`side` 1) or too late (-1).
fn over(p: Picture<'_>, side: f64) -> Told {
    let Some(phaser) = &p.dossier.sheet.phaser else {
        return not_shown("the engine sheet gives this cam no phaser");
    };
    let word = if side > 0.0 { "early" } else { "late" };
    if let (Some(true), Some((_, offset))) = (p.is_out(), p.offset())
        && offset * side > 0.0
    {
        return (
            Bearing::Supports,
            format!("agrees: at rest it stands {:.1}° {word}", offset.abs()),
        );
    }
    let sign = phaser.rest.drive_sign();
    let wrong = [
        AgreementState::NotFollowing,
        AgreementState::OffRest,
        AgreementState::AgainstCommand,
        AgreementState::Lagging,
        AgreementState::Hunting,
    ];
    let mut other = None;
    for e in wrong.into_iter().flat_map(|state| p.sound(state)) {
        // Driven away from rest and not there, it is on the side of rest; not back at rest, on the other.
        let lies = match e.state {
            AgreementState::OffRest => e.phase.low + e.phase.high,
            _ if e.duty.low + e.duty.high > phaser.hold.low.0 + phaser.hold.high.0 => -sign,
            _ => sign,
        };
        if lies * side > 0.0 {
            let (bearing, text) = agrees(e);
            return (bearing, format!("{text}; that is too {word}"));
        }
        other = other.or(Some(e));
    }
    match other {
        // "Or system performance" is said of the first only.
        Some(e) if side > 0.0 => agrees(e),
        Some(e) => not_shown(format!(
            "{}, {}, but that is not too {word}",
            e.state.words(),
            e.span()
        )),
        None => works(p, "nothing stood where it should not"),
    }
}

fn slow(p: Picture<'_>) -> Told {
    let states = [AgreementState::Lagging, AgreementState::NotFollowing];
    if let Some(e) = states.into_iter().find_map(|state| p.sound(state).next()) {
        return agrees(e);
    }
    match (p.dossier.learnt.out, p.dossier.learnt.back) {
        (Some((out, _)), Some((back, _))) => works(
            p,
            &format!(
                "{:.0}°/s away from rest and {:.0}°/s back",
                out.0.abs(),
                back.0.abs()
            ),
        ),
        _ => not_shown("its rate has not been measured yet; the trial \"step and return\" does"),
    }
}

fn correlation(p: Picture<'_>) -> Told {
    match (p.is_out(), p.offset()) {
        (Some(true), Some((cam, offset))) => {
            let teeth = cam
                .teeth
                .map_or_else(String::new, |t| format!(", {t:.2} teeth"));
            (
                Bearing::Supports,
                format!("agrees: {offset:.1}° from its reference at rest{teeth}"),
            )
        }
        (Some(false), Some((_, offset))) => (
            Bearing::Contradicts,
            format!("does not agree now: {offset:.1}° from its reference at rest; {NOW}"),
        ),
        _ => not_shown(p.base.sentence.clone()),
    }
}

fn sensor(p: Picture<'_>) -> Told {
    if let Some(e) = p.sound(AgreementState::NoPosition).next() {
        return agrees(e);
    }
    let edges = &p.dossier.edges;
    if edges.are_apart() {
        let apart = edges.apart.map_or(0.0, |(a, _)| a.0.abs());
        return (
            Bearing::Supports,
            format!(
                "agrees: its rising and falling edges are {apart:.1}° further apart than they should be"
            ),
        );
    }
    if edges.valid < WORKS || edges.misfit > 1.0 || !p.leads.proven(Role::Cam(p.cam())) {
        return not_shown("its signal has not been seen for long enough through a proven lead");
    }
    (
        Bearing::Contradicts,
        format!(
            "does not agree now: its edges came for {:.0} s, all in their pattern; {NOW}",
            edges.valid
        ),
    )
}

/// A code of the crank sensor.
pub(super) fn crank(p: Picture<'_>) -> Told {
    let w = p.wheel;
    if w.is_damaged() || w.losses > 0 {
        return (
            Bearing::Supports,
            format!(
                "agrees: {} teeth wrong turn after turn, pattern lost {} times",
                w.damaged.len(),
                w.losses
            ),
        );
    }
    if w.found < WORKS || !p.leads.proven(Role::Crank) {
        return not_shown("its pattern has not been seen for long enough through a proven lead");
    }
    (
        Bearing::Contradicts,
        format!(
            "does not agree now: its pattern held for {:.0} s; {NOW}",
            w.found
        ),
    )
}
