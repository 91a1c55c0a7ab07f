//! Trials, cylinder pressure and stored codes.

use super::{ELECTRICAL, HYDRAULIC, PLACE};
use crate::findings::fact::Fact;
use crate::findings::picture::Picture;
use crate::findings::{Bearing, Cause, CodeView};
use crate::snapshot::AgreementState;
use crate::trial::{Outcome, TrialKind};

/// What the trials on this cam gave.
pub(super) fn trials(p: Picture<'_>) -> Fact {
    const WHAT: &str = "trials";
    let results: Vec<_> = (TrialKind::ALL.iter())
        .filter_map(|&kind| p.trial(kind))
        .collect();
    let Some(newest) = results
        .iter()
        .max_by(|a, b| a.span[1].0.total_cmp(&b.span[1].0))
    else {
        return Fact::new(WHAT, "none run yet");
    };
    let words: Vec<&str> = results
        .iter()
        .map(|r| r.sentence.trim_end_matches('.'))
        .collect();
    let mut leads = Vec::new();
    for role in results.iter().flat_map(|r| &r.rests_on) {
        if !leads.contains(role) {
            leads.push(*role);
        }
    }
    let mut fact = Fact::new(WHAT, words.join("; "))
        .at(newest.span[1].0 / p.rate)
        .on(leads);
    let stuck = p.has(AgreementState::NotFollowing);
    for result in results {
        let sound = result.outcome == Outcome::Sound;
        fact = match result.order.kind {
            TrialKind::RestUnplugged if !sound => fact
                .contradicts(
                    &ELECTRICAL,
                    "unplugged, nothing drives it, and it still does not rest",
                )
                .supports(
                    &[Cause::Valve, Cause::PhaserStuck],
                    "unplugged it does not rest",
                )
                .supports(&PLACE, "unplugged it does not rest"),
            TrialKind::RestUnplugged if p.has(AgreementState::OffRest) => {
                fact.contradicts(&PLACE, "unplugged it rests on its reference")
            }
            TrialKind::StepAndReturn if !sound => {
                fact.supports(&HYDRAULIC, "the step was not answered as it should be")
            }
            TrialKind::RestRepeated if sound && p.has(AgreementState::OffRest) && !stuck => {
                fact.supports(&PLACE, "always back to the same place")
            }
            TrialKind::RestRepeated if !sound => fact.supports(
                &[Cause::Valve, Cause::OilOrSluggish, Cause::PhaserStuck],
                "not always back to the same place",
            ),
            _ => fact,
        };
    }
    fact
}

/// Cylinder pressure, which alone tells the valves from the wheel they are told by.
pub(super) fn pressure() -> Fact {
    Fact::new("cylinder pressure", "not measured yet")
}

/// The stored codes of this cam.
pub(super) fn codes(p: Picture<'_>, codes: &[CodeView]) -> Fact {
    const WHAT: &str = "stored code";
    let own: Vec<&CodeView> = codes
        .iter()
        .filter(|c| crate::codes::concerns(&c.code, p.cam()))
        .collect();
    if own.is_empty() {
        return Fact::new(WHAT, "none entered for this cam");
    }
    let words: Vec<String> = own
        .iter()
        .map(|c| format!("{}: {}", c.code, c.measured.trim_end_matches('.')))
        .collect();
    let fact = Fact::new(WHAT, words.join("; "));
    // A code is what the controller suspects. It supports a cause only as far as the measurement agrees with it.
    let agreed: Vec<Cause> = own
        .iter()
        .filter(|c| c.bearing == Bearing::Supports)
        .flat_map(|c| crate::codes::causes(&c.code))
        .copied()
        .collect();
    fact.supports(&agreed, "the controller saw the same")
}
