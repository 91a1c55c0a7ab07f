//! The supply lead: proven by its level; ripple and the sag on cranking say that it is an engine's.

use super::crank::swapped;
use super::lead_proof::{LeadProof, Mistake};
use super::standing::{Seen, Standing};
use super::{Scene, Site, is_silent};
use crate::snapshot::Sync;

/// Supply of a 12 V system at rest and charged, volts: below it is flat, above overcharged (common practice).
const TWELVE: [f64; 2] = [9.0, 18.0];
/// The same of a 24 V system.
const TWENTY_FOUR: [f64; 2] = [18.0, 32.0];
/// On cranking a cold battery may sag so far, volts (common practice: 9.6 at 20 °C is good).
const SAGGED: [f64; 2] = [6.0, 9.0];
/// Below this speed, rpm, a starter may be turning the engine (common practice).
const STARTER: f64 = 500.0;
/// Lines that feed sensors, volts.
const SENSOR: [f64; 2] = [4.5, 5.5];
/// A level that is low must be so for this long, seconds: a contact may bounce.
const LOW: f64 = 1.0;

/// What the lead has shown on cranking.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Sag {
    lowest: Option<f64>,
}

pub(super) fn look(site: &Site<'_>, scene: &Scene<'_>, standing: &Standing, sag: &mut Sag) -> Seen {
    let channel = site.channel;
    let mean = channel.mean(40).unwrap_or(0.0);
    let [low, high] = channel.range(40).unwrap_or([mean; 2]);
    if site.is_hum()
        || is_silent(channel, 40)
        || mean.abs() < 0.5 && high - low < super::SILENT_SWING
    {
        let what = if site.is_hum() {
            "hum only"
        } else {
            "no supply"
        };
        let note = format!("{mean:.1} V: {what}, or the lead is off");
        let proof = LeadProof::silent(
            note,
            "Is the ignition on? Try the battery first, then fuse and ground clip.",
        );
        return Seen::firm(proof.by(Mistake::Off));
    }
    if let Some(role) = site.shows {
        return Seen::firm(swapped(role));
    }
    let both = channel
        .spans(200)
        .filter(|[a, b]| *a < 1.5 && *b > 3.0)
        .count();
    if 2 * both > channel.spans(200).count() {
        let note = format!("switches between {low:.1} and {high:.1} V");
        let proof = LeadProof::doubtful(
            note,
            "Put it on the battery, or on the valve's supply-side pin.",
        );
        return Seen::firm(proof.by(Mistake::WrongPlace));
    }
    if let Some(seen) = cut(site, mean) {
        return seen;
    }
    let speed = scene.rpm();
    let cranks = scene.rotation.sync() != Sync::Stopped && speed.is_none_or(|rpm| rpm < STARTER);
    let within = |[a, b]: [f64; 2], v: f64| (a..b).contains(&v);
    if cranks && mean >= SAGGED[0] {
        let lowest = sag.lowest.filter(|v| *v < mean).unwrap_or(mean);
        sag.lowest = Some(lowest);
    }
    if within(TWELVE, mean) || (within(SAGGED, mean) && cranks) {
        return Seen::firm(LeadProof::proven(told(
            mean,
            high - low,
            cranks,
            sag.lowest,
        )));
    }
    if within(TWENTY_FOUR, mean) {
        let note = format!("{mean:.1} V: a 24 V system");
        return Seen::firm(LeadProof::proven(note));
    }
    if within(SAGGED, mean) && standing.is_known() {
        return Seen::firm(LeadProof::proven(format!("{mean:.1} V, low")));
    }
    Seen::soft(implausible(mean), LOW)
}

fn told(mean: f64, ripple: f64, cranks: bool, sag: Option<f64>) -> String {
    match sag {
        Some(lowest) if !cranks && lowest < mean - 0.5 => {
            format!("{mean:.1} V, sagged to {lowest:.1} V on cranking")
        }
        _ if cranks => format!("{mean:.1} V, cranking"),
        _ => format!("{mean:.1} V, ripple {ripple:.1} V"),
    }
}

fn cut(site: &Site<'_>, mean: f64) -> Option<Seen> {
    let [_, end] = site.channel.ends();
    if mean < 0.985 * end {
        return None;
    }
    if end > TWENTY_FOUR[1] || end > 10.0 && end < TWENTY_FOUR[1] {
        let note = format!("at the end of the range, {end:.0} V: ten supplies?");
        let proof = LeadProof::doubtful(
            note,
            "Is the probe at 1:1 and the factor 10? Else use a larger range.",
        );
        return Some(Seen::firm(proof.by(Mistake::FactorTooLarge)));
    }
    let note = format!("beyond the input's range of {end:.0} V");
    let proof = LeadProof::doubtful(note, "Use a larger range, or a 10:1 probe.");
    Some(Seen::firm(proof.by(Mistake::Clipped)))
}

fn implausible(mean: f64) -> LeadProof {
    let within = |[a, b]: [f64; 2], v: f64| (a..b).contains(&v);
    if within([0.9, 1.8], mean) {
        let note = format!("{mean:.2} V: a tenth of a supply");
        let try_next = "Is the probe at 10:1 and the factor 1? Set the factor to 10.";
        return LeadProof::doubtful(note, try_next).by(Mistake::FactorTooSmall);
    }
    if mean > 80.0 {
        let note = format!("{mean:.0} V: ten supplies");
        let try_next = "Is the probe at 1:1 and the factor 10? Set the factor to 1.";
        return LeadProof::doubtful(note, try_next).by(Mistake::FactorTooLarge);
    }
    let try_next = "Put it on the battery, or on the valve's supply-side pin; check the probe.";
    if within(SENSOR, mean) {
        let note = format!("{mean:.1} V: the supply of a sensor?");
        return LeadProof::doubtful(note, try_next).by(Mistake::WrongPlace);
    }
    LeadProof::doubtful(format!("{mean:.1} V is no supply"), try_next)
}
