//! A command lead: proven when it swings between near ground and near the supply at a frequency that valves are driven
//! with. A level that stands is explained only on a lead that was seen to swing, or was touched to ground and supply.

use super::crank::swapped;
use super::lead_proof::{LeadProof, Mistake};
use super::standing::{Seen, Standing};
use super::{GROUND, SUPPLY, Scene, Site, is_silent};
use crate::channel::Channel;
use crate::lead::{CamId, Role};
use crate::units::Seconds;

/// Frequencies, in Hz, with which valves are driven: 100 to 300 is usual (from memory); a controller may use less for
/// dither and more with chopped current. Beyond these bounds it is some other signal.
const FREQUENCY: [f64; 2] = [20.0, 1000.0];
/// Fewest samples of a period: one of forty is 2.5 points of duty.
const FEWEST: f64 = 40.0;
/// Below the supply by this, volts, and the pin is not pulled up by the valve alone: fuse, feed and coil lose less while
/// no current flows.
const BELOW: f64 = 1.5;
/// A pin goes no further below ground than a freewheeling diode allows.
const BELOW_GROUND: f64 = -1.0;
/// No driver clamps above this, volts: 60 V is the highest (TLE8104E, TLE8102SG data sheets), with a margin for the probe.
const HIGHEST: f64 = 70.0;
/// Where the sheet gives the frequency, it is kept within this factor; what lies beyond is another signal.
const SHEET: f64 = 1.5;
/// A command's frequency keeps still while the engine's speed changes; something that turns with the engine does not.
/// Parts by which the frequency must have changed, and within which its ratio to the speed must have kept.
const CHANGED: f64 = 0.08;
const KEPT: f64 = 0.02;
const TOUCH: &str =
    "Try the touch test: the lead to ground, then to the supply, then back on its pin.";
/// Share of the time for which a pin must stand at a tenth of the supply to be taken for it; a sensor's line does not.
const TENTH: f64 = 0.12;
/// Samples looked at for it, and every how many-eth: a prime, so as not to keep step with the command.
const TAKEN: u64 = 400;
const STRIDE: u64 = 37;
/// A beat must be lost for this long, seconds, to count: a change of duty spoils some periods.
const UNSTEADY: f64 = 0.6;
/// Where a driver's diagnosis holds a pin that is open, volts (TLE8102SG data sheet: 2.5, 3.0 or 3.5 V, less what a probe
/// draws).
const FLOATING: std::ops::RangeInclusive<f64> = 1.5..=3.5;
/// Current that proves that the valve is on, amperes.
const FLOWS: f64 = 0.2;

/// Frequency and engine speed when the lead was first seen to swing.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Pace {
    first: Option<[f64; 2]>,
}

impl Pace {
    /// Whether the frequency has gone with the engine's speed.
    fn turns(&mut self, hertz: f64, rpm: Option<f64>) -> bool {
        let Some(rpm) = rpm.filter(|r| *r > 0.0) else {
            return false;
        };
        let [first, speed] = *self.first.get_or_insert([hertz, rpm]);
        let changed = (hertz / first - 1.0).abs() > CHANGED;
        changed && ((hertz / rpm) / (first / speed) - 1.0).abs() < KEPT
    }
}

pub(super) fn look(
    site: &Site<'_>,
    scene: &Scene<'_>,
    standing: &Standing,
    id: CamId,
    pace: &mut Pace,
) -> Seen {
    let Some(meter) = site.channel.meter() else {
        return Seen::idle(LeadProof::doubtful("", ""));
    };
    if meter.duty(scene.at, Seconds(0.2)).is_some() {
        return swings(site, scene, standing, id, pace);
    }
    if !meter.is_still(scene.at) {
        let proof = LeadProof::doubtful("changes, but not as a command does", TOUCH);
        return Seen::soft(proof, UNSTEADY);
    }
    stands(site, scene, standing, id)
}

fn swings(
    site: &Site<'_>,
    scene: &Scene<'_>,
    standing: &Standing,
    id: CamId,
    pace: &mut Pace,
) -> Seen {
    let channel = site.channel;
    let Some(meter) = channel.meter() else {
        return Seen::idle(LeadProof::doubtful("", ""));
    };
    let Some(duty) = meter.duty(scene.at, Seconds(0.2)) else {
        return Seen::idle(LeadProof::doubtful("measuring", ""));
    };
    let hertz = duty.frequency.0;
    let figures = format!("{hertz:.0} Hz, {:.0} %", duty.duty.0);
    let [low, high] = channel.states().unwrap_or([0.0, 0.0]);
    let settled =
        (meter.high(scene.at, Seconds(0.2))).map_or(high, |raw| channel.calibration.value(raw));
    if let Some(seen) = factor(site.channel, scene, [low, settled], &figures) {
        return seen;
    }
    if let Some(role) = site.shows {
        return Seen::firm(swapped(role));
    }
    if !(BELOW_GROUND..=GROUND).contains(&low) {
        let note = format!("{figures}, but its low level is {low:.1} V");
        let proof = LeadProof::doubtful(
            note,
            "Check the scope's ground, then the place: control-side pin?",
        );
        return Seen::soft(proof, 0.5);
    }
    // On a pin that is known, an off level that only the driver's own diagnosis holds is no mistake of the lead: the pin is
    // cut off from the supply.
    if (standing.is_known() || site.is_touched) && FLOATING.contains(&settled) {
        let note = format!("{figures}, floats at {settled:.1} V while off");
        return Seen::firm(LeadProof::proven(note));
    }
    if let Some(seen) = level(site, scene, settled, &figures) {
        return seen;
    }
    if !(FREQUENCY[0]..=FREQUENCY[1]).contains(&hertz) {
        let note = format!("{hertz:.0} Hz: no valve's frequency");
        let proof = LeadProof::doubtful(note, "Is it on the valve's control-side pin?");
        return Seen::soft(proof.by(Mistake::WrongPlace), UNSTEADY);
    }
    let due = (scene.sheet.cam(id))
        .and_then(|c| c.phaser.as_ref()?.frequency)
        .map(|f| f.0);
    if let Some(due) = due.filter(|due| hertz > SHEET * due || hertz * SHEET < *due) {
        let note = format!("{hertz:.0} Hz; the sheet says {due:.0} Hz");
        let try_next = "Is it on this valve's pin? Then correct the frequency on the sheet.";
        let proof = LeadProof::doubtful(note, try_next);
        return Seen::soft(proof.by(Mistake::WrongPlace), UNSTEADY);
    }
    if pace.turns(hertz, scene.rpm()) {
        let note = format!("{hertz:.0} Hz, which goes with the engine's speed");
        let proof = LeadProof::doubtful(note, "Put it on the valve's control-side pin.");
        return Seen::firm(proof.by(Mistake::WrongPlace));
    }
    if scene.rate.0 / hertz < FEWEST {
        let note = format!(
            "{:.0} samples a period; {FEWEST:.0} are needed",
            scene.rate.0 / hertz
        );
        let kilo = (FEWEST * hertz / 1000.0).ceil();
        let proof = LeadProof::doubtful(note, format!("Sample at {kilo:.0} kS/s or more."));
        return Seen::firm(proof.by(Mistake::TooFewSamples));
    }
    if site.ear.pace().is_some() && site.ear.beat().is_none() {
        let note = format!("{figures}, but not at one frequency");
        let proof = LeadProof::doubtful(
            note,
            "Is it on the valve's pin? A loose contact looks so, too.",
        );
        return Seen::soft(proof, UNSTEADY);
    }
    Seen::firm(LeadProof::proven(figures))
}

/// A tenth or ten times of the levels between which a valve's pin swings.
fn factor(
    channel: &Channel,
    scene: &Scene<'_>,
    [low, settled]: [f64; 2],
    figures: &str,
) -> Option<Seen> {
    if settled > HIGHEST || (low > GROUND && settled > 2.0 * SUPPLY[1]) {
        let note = format!("{figures}, off at {settled:.0} V: ten times too much");
        let try_next = "Is the probe at 1:1 and the factor 10? Set the factor to 1.";
        let proof = LeadProof::doubtful(note, try_next);
        return Some(Seen::firm(proof.by(Mistake::FactorTooLarge)));
    }
    let is_tenth = |v: f64| {
        let ten = 10.0 * v;
        let near = |supply: f64| (ten - supply).abs() < 0.15 * supply;
        scene
            .supply
            .map_or((SUPPLY[0]..=SUPPLY[1]).contains(&ten), near)
    };
    // Where the flyback, itself a tenth of 40 to 60 V, was taken for the upper level, the pin still stands at a tenth of
    // the supply for much of its time.
    let stands = || settled < 8.0 && share(channel, is_tenth) > TENTH;
    if low.abs() < GROUND && (is_tenth(settled) || stands()) {
        let note = format!("{figures}, off at a tenth of the supply");
        let try_next = "Is the probe at 10:1 and the factor 1? Set the factor to 10.";
        let proof = LeadProof::doubtful(note, try_next);
        return Some(Seen::firm(proof.by(Mistake::FactorTooSmall)));
    }
    None
}

/// Share of some of the last tenth of a second's samples for which `is` holds.
fn share(channel: &Channel, is: impl Fn(f64) -> bool) -> f64 {
    let (mut all, mut holds) = (0.0, 0.0);
    let end = channel.ring.end();
    channel
        .ring
        .visit(end.saturating_sub(TAKEN * STRIDE), end, |_, samples| {
            for &raw in samples.iter().step_by(offset(STRIDE)) {
                all += 1.0;
                holds += f64::from(u8::from(is(channel.calibration.value(f64::from(raw)))));
            }
        });
    if all > 0.0 { holds / all } else { 0.0 }
}

/// An off level that is not the supply's.
fn level(site: &Site<'_>, scene: &Scene<'_>, settled: f64, figures: &str) -> Option<Seen> {
    let [_, end] = site.channel.ends();
    if settled > 0.985 * end && settled < scene.supply.unwrap_or(SUPPLY[1]) {
        let note = format!("{figures}, off level beyond the range of {end:.0} V");
        let proof = LeadProof::doubtful(note, "Use a larger range, or a 10:1 probe.");
        return Some(Seen::firm(proof.by(Mistake::Clipped)));
    }
    let least = scene.supply.map_or(SUPPLY[0], |v| v - BELOW);
    if settled >= least {
        return None;
    }
    let note = format!("{figures}, but off it is only {settled:.1} V");
    if FLOATING.contains(&settled) {
        // A pin that is cut off from its supply does that, and so does another pin; the touch test tells.
        return Some(Seen::soft(LeadProof::doubtful(note, TOUCH), 0.3));
    }
    let proof = LeadProof::doubtful(
        note,
        "Is it on the valve's control-side pin, not on a sensor's?",
    );
    // A feed that sags shows on the supply lead a moment sooner or later than here.
    Some(Seen::soft(proof.by(Mistake::WrongPlace), 0.3))
}

fn stands(site: &Site<'_>, scene: &Scene<'_>, standing: &Standing, id: CamId) -> Seen {
    let channel = site.channel;
    let level = channel.mean(20).unwrap_or(0.0);
    let quiet = channel.last_edge.map(|at| scene.at.since(at, scene.rate).0);
    if is_silent(channel, 20) {
        let flows = scene.channel(Role::Current(id)).and_then(|c| c.mean(20));
        if let Some(amperes) = flows.filter(|a| *a > FLOWS && standing.is_known()) {
            return Seen::firm(LeadProof::proven(format!(
                "{level:.1} V with {amperes:.1} A: on"
            )));
        }
        let note = match quiet.filter(|_| standing.was_known()) {
            Some(quiet) => format!("{level:.1} V; worked until {quiet:.0} s ago, slipped off?"),
            None => format!("{level:.1} V; ground, or the lead is off"),
        };
        let try_next =
            "Reseat it on the control-side pin, connector plugged in; then the touch test.";
        return Seen::firm(LeadProof::silent(note, try_next).by(Mistake::Off));
    }
    if let Some(role) = site.shows {
        return Seen::firm(swapped(role));
    }
    let place = place(level, scene.supply);
    if standing.is_known() {
        let note = match (site.is_touched, quiet) {
            (true, _) => format!("stands at {level:.1} V, {place}; touched"),
            (false, Some(quiet)) => {
                format!("stands at {level:.1} V, {place}; switched {quiet:.0} s ago")
            }
            (false, None) => format!("stands at {level:.1} V, {place}"),
        };
        return Seen::firm(LeadProof::proven(note));
    }
    if site.is_touched {
        let note = format!("stands at {level:.1} V, {place}; touched");
        return Seen::firm(LeadProof::proven(note));
    }
    let note = format!("stands at {level:.1} V, {place}; not explained yet");
    Seen::firm(LeadProof::doubtful(note, TOUCH))
}

/// Where a level lies, in words. An open pin is left floating at 2 to 3 V by the driver's own diagnosis
/// (TLE8102SG data sheet, open load while off).
fn place(level: f64, supply: Option<f64>) -> &'static str {
    let near = supply.map_or((SUPPLY[0]..=SUPPLY[1]).contains(&level), |v| {
        (level - v).abs() < BELOW
    });
    if near {
        "at the supply"
    } else if level < GROUND {
        "near ground"
    } else if FLOATING.contains(&level) {
        "floating"
    } else {
        "between ground and supply"
    }
}

fn offset(x: u64) -> usize {
    usize::try_from(x).unwrap_or(usize::MAX)
}
