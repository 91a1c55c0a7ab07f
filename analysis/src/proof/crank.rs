//! The crank lead: proven when the wheel of the sheet has been followed for two whole revolutions.
//!
//! One revolution with the gap where it is due may be chance while the pattern is still being found; the second shows
//! that it comes again after as many teeth. A coil also has to be the right way round: the crossing at the tooth's centre
//! is the steep one, which the recogniser hears within a second or two.

use super::lead_proof::{LeadProof, Mistake};
use super::standing::{Seen, Standing};
use super::{Scene, Site, levels};
use crate::engine::{EdgeKind, Sensor};
use crate::lead::Role;
use crate::quality::Doubt;
use crate::recognise::{Certainty, Recognition};
use crate::snapshot::Sync;

/// Whole revolutions.
pub(super) const TURNS: u64 = 2;
/// For so long, in seconds, a known lead may search for its pattern, as at each start: two revolutions of a slow starter
/// (60 rpm), and some. Nothing is judged meanwhile, for without the pattern no angle is known.
const SEARCHING: f64 = 4.0;
/// For so long it is waited until the recogniser has heard which way round the coil is; it listens for one second first.
const UNHEARD: f64 = 2.5;
/// Fewest samples from tooth to tooth. With eight, the straight line between two samples misses a sine's crossing by a
/// thousandth of its period and a switch's edge by a sixteenth; with fewer, spike filter and hysteresis (some samples
/// each) begin to swallow teeth.
pub(super) const FEWEST: f64 = 8.0;

pub(super) fn look(site: &Site<'_>, scene: &Scene<'_>, standing: &Standing) -> Seen {
    match scene.rotation.sync() {
        Sync::Revolution | Sync::Cycle => followed(site, scene),
        Sync::Searching => searching(site, scene),
        Sync::Stopped => still(site, scene, standing),
    }
}

fn followed(site: &Site<'_>, scene: &Scene<'_>) -> Seen {
    if let Some(seen) = too_few(site, scene).or_else(|| inverted(site, scene)) {
        return seen;
    }
    let note = scene.rotation.note(Role::Crank);
    let quality = site.channel.quality();
    if let Some(doubt) = quality.doubt {
        return Seen::soft(doubted(note, doubt), 0.5);
    }
    if let Some(seen) = site
        .channel
        .states()
        .and_then(|s| levels::factor(site.channel, s))
    {
        return seen;
    }
    if scene.turns < TURNS {
        let note = format!(
            "{} fits, {} of {TURNS} revolutions",
            scene.sheet.crank.wheel, scene.turns
        );
        return Seen::idle(LeadProof::doubtful(note, "Let the engine turn on."));
    }
    let waits = scene.sheet.crank.sensor == Sensor::Vr && site.heard.is_none();
    if waits && scene.followed < UNHEARD {
        let note = format!(
            "{}, which way round is not heard yet",
            scene.sheet.crank.wheel
        );
        return Seen::idle(LeadProof::doubtful(note, "Let the engine turn on."));
    }
    Seen::firm(LeadProof::proven(note))
}

/// What keeps a signal that fits from being relied upon.
pub(super) fn doubted(note: String, doubt: Doubt) -> LeadProof {
    let note = format!("{note}, but {}", doubt.words());
    match doubt {
        Doubt::TooSmall => LeadProof::doubtful(note, "Use a more sensitive range, or a 1:1 probe."),
        Doubt::Hum => LeadProof::doubtful(note, "Reseat the lead on its pin, and its ground.")
            .by(Mistake::Off),
        Doubt::Clipped => {
            LeadProof::doubtful(note, "Use a larger range, or a 10:1 probe.").by(Mistake::Clipped)
        }
    }
}

fn searching(site: &Site<'_>, scene: &Scene<'_>) -> Seen {
    if let Some(seen) = too_few(site, scene).or_else(|| inverted(site, scene)) {
        return seen;
    }
    if site.channel.quality().doubt == Some(Doubt::Hum) {
        return Seen::firm(off("mains hum, no teeth".to_owned()));
    }
    if let Some(role) = site.shows {
        return Seen::firm(swapped(role));
    }
    let wheel = &scene.sheet.crank.wheel;
    let note = format!("teeth, but not the pattern of {wheel}");
    let try_next = "Check the wheel on the sheet, the sensor's two pins, and the place.";
    Seen::soft(LeadProof::doubtful(note, try_next), SEARCHING)
}

fn still(site: &Site<'_>, scene: &Scene<'_>, standing: &Standing) -> Seen {
    let [low, high] = site.channel.range(200).unwrap_or([0.0, 0.0]);
    let level = site.channel.mean(200).unwrap_or(0.0);
    if scene.cams_move {
        return if high - low > super::SILENT_SWING && !site.is_hum() {
            let note = format!("moves {low:.1} to {high:.1} V, no teeth; cams turn");
            Seen::firm(
                LeadProof::doubtful(note, "Put it on the crank sensor's pins.")
                    .by(Mistake::WrongPlace),
            )
        } else {
            Seen::firm(off(format!("{level:.1} V, no teeth while the cams turn")))
        };
    }
    if standing.is_known() {
        return Seen::idle(LeadProof::silent("proven before; the engine stands", ""));
    }
    let try_next = "Start the engine; else reseat the lead on both sensor pins.";
    if site.is_hum() {
        return Seen::idle(off("hum only, no teeth".to_owned()));
    }
    if high - low > super::SILENT_SWING {
        let note = format!("moves {low:.1} to {high:.1} V, no teeth; engine turning?");
        return Seen::idle(LeadProof::doubtful(note, try_next));
    }
    Seen::idle(LeadProof::silent(
        "no teeth; engine turning, lead on the sensor pin?",
        try_next,
    ))
}

fn off(note: String) -> LeadProof {
    LeadProof::silent(
        note,
        "Reseat the lead and its ground clip on the sensor's two pins.",
    )
    .by(Mistake::Off)
}

/// It shows another lead's signal.
pub(super) fn swapped(role: Role) -> LeadProof {
    LeadProof::doubtful(
        format!("shows the signal of the {role} lead"),
        format!("Swap it with the {role} lead."),
    )
    .by(Mistake::Swapped(role))
}

fn too_few(site: &Site<'_>, scene: &Scene<'_>) -> Option<Seen> {
    let pace = site.ear.pace().filter(|p| *p < FEWEST)?;
    let note = format!("{pace:.1} samples a tooth; {FEWEST:.0} are needed");
    let kilo = (scene.rate.0 * FEWEST / pace / 1000.0).ceil();
    let try_next = match scene.rpm() {
        Some(rpm) => format!(
            "Sample at {kilo:.0} kS/s, or stay below {:.0} rpm.",
            rpm * pace / FEWEST
        ),
        None => format!("Sample at {kilo:.0} kS/s or more, or let it turn slower."),
    };
    Some(Seen::firm(
        LeadProof::doubtful(note, try_next).by(Mistake::TooFewSamples),
    ))
}

/// A coil whose wires are exchanged: the steep crossing goes the other way than the sheet says.
fn inverted(site: &Site<'_>, scene: &Scene<'_>) -> Option<Seen> {
    let sheet = &scene.sheet.crank;
    let heard: &Recognition = site.heard.filter(|_| sheet.sensor == Sensor::Vr)?;
    let is_coil = heard.sensor == Some(Sensor::Vr) && heard.edge_certainty == Certainty::Sure;
    let edge = heard.edge.filter(|e| is_coil && *e != sheet.active_edge)?;
    let direction = match edge {
        EdgeKind::Rising => "rising",
        EdgeKind::Falling => "falling",
    };
    let note = format!("the steep crossing is the {direction} one: inverted");
    let try_next = "Exchange the two wires at the sensor, or the active edge on the sheet.";
    Some(Seen::firm(
        LeadProof::doubtful(note, try_next).by(Mistake::Inverted),
    ))
}
