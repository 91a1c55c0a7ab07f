//! A cam lead: proven when its edges have fitted the windows of the sheet for two revolutions of the cam.
//!
//! One revolution that fits may be chance, for a fit allows for a phaser anywhere on its way; the second has the same
//! edges at the same places.

use super::crank::{doubted, swapped};
use super::lead_proof::{LeadProof, Mistake};
use super::standing::{Seen, Standing};
use super::{Scene, Site, is_silent, levels};
use crate::lead::CamId;
use crate::pattern::Pattern;
use crate::reading::{Reading, Why};
use crate::snapshot::Sync;

/// Crank revolutions: two of the cam.
const TURNS: u64 = 4;
/// Edges that do not fit count when they do so for this long, seconds: a phaser on its way spreads a revolution's edges.
const MISFIT: f64 = 1.0;
/// No edge for the widest part of the pattern and so many crank degrees more is silence.
const MORE: f64 = 120.0;
/// ... but never sooner than this, seconds.
const LEAST: f64 = 0.25;
/// The same where the speed is not known, and the slowest that a starter turns (rpm, from memory).
const UNKNOWN: f64 = 0.5;
const SLOWEST: f64 = 30.0;
/// A line that stands within this share of its swing of one of its levels stands at that level.
const AT_LEVEL: f64 = 0.25;

pub(super) fn look(site: &Site<'_>, scene: &Scene<'_>, standing: &Standing, id: CamId) -> Seen {
    let Some(k) = scene.sheet.cams.iter().position(|c| c.cam == id) else {
        let note = format!("the sheet has no {id} cam");
        return Seen::firm(LeadProof::doubtful(
            note,
            "Add the cam to the sheet, or set the lead to spare.",
        ));
    };
    let quiet = site
        .channel
        .last_edge
        .map(|at| scene.at.since(at, scene.rate).0);
    let limit = patience(&scene.patterns[k], scene.rpm());
    if quiet.is_some_and(|q| q < limit) {
        return switches(site, scene, k);
    }
    if scene.rotation.sync() == Sync::Stopped {
        return engine_stands(site, standing);
    }
    stands(site, scene, standing, quiet)
}

/// Seconds without an edge after which this cam is silent.
pub(super) fn patience(pattern: &Pattern, rpm: Option<f64>) -> f64 {
    let mut angles: Vec<f64> = pattern.edges.iter().map(|e| e.angle).collect();
    angles.sort_by(f64::total_cmp);
    let turn = angles.first().map_or(720.0, |a| a + 720.0);
    let next = angles.iter().skip(1).copied().chain([turn]);
    let widest = angles
        .iter()
        .zip(next)
        .map(|(a, b)| b - a)
        .fold(0.0, f64::max);
    rpm.map_or(UNKNOWN, |rpm| {
        ((widest + MORE) / (6.0 * rpm.max(SLOWEST))).max(LEAST)
    })
}

fn switches(site: &Site<'_>, scene: &Scene<'_>, k: usize) -> Seen {
    let channel = site.channel;
    let states = channel.states();
    if let Some(seen) = states.and_then(|s| levels::factor(channel, s)) {
        return seen;
    }
    if let Some(role) = site.shows {
        return Seen::firm(swapped(role));
    }
    let is_followed = matches!(scene.rotation.sync(), Sync::Revolution | Sync::Cycle);
    if !is_followed {
        let note = "switches; waits for the crank to tell whether it fits";
        return Seen::idle(LeadProof::doubtful(note, "See to the crank lead first."));
    }
    let note = scene.rotation.note(channel.role);
    if let Some(doubt) = channel.quality().doubt {
        return Seen::soft(doubted(note, doubt), 0.5);
    }
    let fits = match scene.rotation.phase(k) {
        Reading::Valid(_) | Reading::Stale(..) => true,
        // On a wheel of like teeth the windows may fit although the tooth is not told.
        Reading::Missing(Why::SeveralPositions | Why::CycleUnresolved) => site.fits,
        Reading::Suspect(..) | Reading::Missing(_) => false,
    };
    if fits {
        if site.turns < TURNS {
            let turns = site.turns / 2;
            let note = format!("{note} fit, {turns} of 2 cam revolutions");
            return Seen::idle(LeadProof::doubtful(note, "Let the engine turn on."));
        }
        let proof = LeadProof::proven(note);
        if states.is_some_and(|s| levels::is_cut(channel, s)) {
            let cut = LeadProof {
                note: format!("{}, high level beyond the range", proof.note),
                try_next: "Timing is sound; a larger range would show the level.".to_owned(),
                ..proof
            };
            return Seen::firm(cut.by(Mistake::Clipped));
        }
        return Seen::firm(proof);
    }
    if scene.settled {
        let note = format!(
            "{}; edges do not fit",
            note.replace(", not the sheet's pattern", "")
        );
        let try_next = "Right cam, right bank? Swap the cam leads; check the windows on the sheet.";
        return Seen::soft(LeadProof::doubtful(note, try_next), MISFIT);
    }
    let note = "switches; the crank does not tell yet whether it fits";
    Seen::idle(LeadProof::doubtful(note, "Let the engine turn on."))
}

fn engine_stands(site: &Site<'_>, standing: &Standing) -> Seen {
    let level = site.channel.mean(50).unwrap_or(0.0);
    if standing.is_known() {
        let note = format!("proven before; {level:.1} V, the engine stands");
        return Seen::idle(LeadProof::doubtful(note, ""));
    }
    if site.is_hum() {
        return Seen::idle(off(site, "hum only".to_owned()));
    }
    let try_next = "Start the engine.";
    if is_silent(site.channel, 50) {
        let note = format!("{level:.1} V; engine turning, lead on the pin?");
        return Seen::idle(LeadProof::silent(note, try_next));
    }
    let note = format!("stands at {level:.1} V, engine not turning");
    Seen::idle(LeadProof::doubtful(note, try_next))
}

/// No edges while the crank turns.
fn stands(site: &Site<'_>, scene: &Scene<'_>, standing: &Standing, quiet: Option<f64>) -> Seen {
    let channel = site.channel;
    if channel
        .first
        .is_none_or(|at| scene.at.since(at, scene.rate).0 < 1.0)
        && quiet.is_none()
    {
        return Seen::idle(LeadProof::doubtful("listening", ""));
    }
    if is_silent(channel, 50) {
        return Seen::firm(off(site, gone(standing, quiet)));
    }
    if let Some(role) = site.shows {
        return Seen::firm(swapped(role));
    }
    let level = channel.mean(50).unwrap_or(0.0);
    let [low, high] = channel.range(50).unwrap_or([level; 2]);
    if let Some([a, b]) = channel.states().filter(|_| standing.is_known()) {
        let near = |x: f64| (level - x).abs() < AT_LEVEL * (b - a);
        if near(a) || near(b) {
            let note = format!(
                "stands at {level:.1} V, no edge for {:.1} s",
                quiet.unwrap_or(0.0)
            );
            return Seen::firm(LeadProof::proven(note));
        }
    }
    if high - low > 0.25 * level.abs() + super::SILENT_SWING {
        let note = format!("moves {low:.1} to {high:.1} V, not between two levels");
        let proof = LeadProof::doubtful(note, "Is it on the signal pin of a switched cam sensor?");
        return Seen::firm(proof.by(Mistake::WrongPlace));
    }
    if site.is_touched {
        return Seen::firm(LeadProof::proven(format!(
            "stands at {level:.1} V; touched, so explained"
        )));
    }
    let note = format!("stands at {level:.1} V, no edges while the crank turns");
    let try_next = "Try the touch test on this lead; then the sensor's pins and its supply.";
    Seen::firm(LeadProof::doubtful(note, try_next))
}

fn off(_site: &Site<'_>, note: String) -> LeadProof {
    let try_next = "Reseat the lead on the signal pin, and its ground.";
    LeadProof::silent(note, try_next).by(Mistake::Off)
}

fn gone(standing: &Standing, quiet: Option<f64>) -> String {
    match quiet.filter(|_| standing.was_known()) {
        Some(quiet) => format!("worked until {quiet:.0} s ago; has it slipped off?"),
        None => "nothing while the crank turns".to_owned(),
    }
}
