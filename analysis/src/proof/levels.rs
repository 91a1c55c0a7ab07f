//! Levels that a switched sensor's line can have, and what levels beyond them tell of the probe.

use super::lead_proof::{LeadProof, Mistake};
use super::standing::Seen;
use crate::channel::Channel;

/// A switched sensor pulls its line below this, volts: output saturation at most 0.4 to 0.5 V (Allegro ATS673 and
/// ATS645 data sheets), a volt of ground drop on top.
const LOW: f64 = 1.5;
/// No line of a sensor goes so far below ground, volts: its own diodes stop it.
const BELOW: f64 = -2.0;
/// Lines are pulled up to 3.3 V at least and to the supply at most, which is 32 V in a 24 V system; a tenth of either
/// lies outside, and so does ten times the lowest.
const TENTH: [f64; 2] = [0.25, 1.7];
const HIGHEST: f64 = 33.0;

/// What is wrong with the two levels of a sensor's line, if something is.
pub(super) fn factor(channel: &Channel, [low, high]: [f64; 2]) -> Option<Seen> {
    let swing = high - low;
    if low < BELOW && high < 0.5 {
        let note = format!("swings {low:.1} to {high:.1} V, below ground: reversed");
        let proof = LeadProof::doubtful(note, "Exchange the probe's tip and its ground clip.");
        return Some(Seen::firm(proof.by(Mistake::Inverted)));
    }
    let [_, end] = channel.ends();
    if high > HIGHEST || (low > LOW && high > 0.98 * end) {
        let note = format!("swings {low:.1} to {high:.0} V: ten times a sensor's");
        let proof = LeadProof::doubtful(
            note,
            "Is the probe at 1:1 and the factor 10? Set the factor to 1.",
        );
        return Some(Seen::firm(proof.by(Mistake::FactorTooLarge)));
    }
    if (TENTH[0]..TENTH[1]).contains(&swing) && low.abs() < 0.3 {
        let note = format!("swings by {swing:.2} V: a tenth of a sensor's");
        let proof = LeadProof::doubtful(
            note,
            "Is the probe at 10:1 and the factor 1? Set the factor to 10.",
        );
        return Some(Seen::firm(proof.by(Mistake::FactorTooSmall)));
    }
    None
}

/// Whether the upper level lies at the end of the input's range. Its edges are steep, so that a flat top does not move
/// them by more than their own rise.
pub(super) fn is_cut(channel: &Channel, [_, high]: [f64; 2]) -> bool {
    let [_, end] = channel.ends();
    high > 0.985 * end
}
