//! What is the case in sentences with their numbers.

use super::facts::{Facts, Standing, Switching};
use super::{Flyback, Loss};
use crate::proof::ProofState;
use crate::reading::Why;
use crate::units::{Hertz, Percent};

/// A frequency this far from the sheet's is said to be another: crystals do not drift; this is another controller or sheet.
const OTHER: f64 = 0.1;

pub(super) const AT_THE_CONTROLLER: &str = "Measure the same wire at the controller's end while the engine runs: does it \
    switch there? Then the wire is open. If it stands at the supply there too: ignition off, unplug the valve, ignition \
    on, and look at the pin. Still at the supply: shorted to it. If not, the driver or its command is missing.";
pub(super) const AT_THE_CONTROLLER_MOVING: &str = "Measure the same wire at the controller's end while it is lost, and \
    move the harness: if it switches there meanwhile, the wire between is open at times.";
pub(super) const FEED_MOVING: &str = "Put the supply lead on this valve's feed pin and move the harness: if the feed \
    goes with it, the feed is open at times; if not, the coil or its connector.";
pub(super) const CLAMP: &str = "Put a clamp around one wire of this valve: with current the pin is held at ground, \
    without it is cut off from the supply.";
pub(super) const UNPLUG_CONTROLLER: &str = "Ignition off, unplug the controller, ignition on, and look at the pin: still \
    at ground, the wire is shorted; at the supply, the driver held it. Follow the maker's procedure for unplugging.";
pub(super) const FEED_AND_COIL: &str = "Measure the supply at this valve's feed pin, engine off and ignition on: without \
    it the feed is open. With it, ignition off, unplug the valve and measure the coil's resistance at its pins: open, or \
    else the wire towards it.";
pub(super) const FEED_PIN: &str = "Put the supply lead on this valve's feed pin: if it drops while the valve is on, the \
    feed; if not, the coil or its connector.";

/// A lead that is not proven.
pub(super) fn unproven(state: ProofState) -> String {
    let what = match state {
        ProofState::Silent => "shows nothing",
        ProofState::Doubtful | ProofState::Proven | ProofState::Spare => "is not proven",
    };
    format!(
        "The command lead {what}; prove it first. A pin that stands still needs the touch test, to ground and to the supply."
    )
}

pub(super) fn engine_off(figures: &str) -> String {
    format!("{figures}; the engine does not run by itself, so that nothing need switch.")
}

pub(super) fn standing(standing: &Standing, current: Option<f64>) -> String {
    let [low, high] = standing.range;
    let where_to = if high - low > 1.0 {
        format!("Moves between {low:.1} and {high:.1} V without a pulse")
    } else {
        format!("Stands at {:.2} V", standing.level)
    };
    match current {
        Some(amperes) => format!("{where_to}, {amperes:.2} A"),
        None => where_to,
    }
}

pub(super) fn dips(figures: &str, dips: f64) -> String {
    format!(
        "{figures}: the driver tries {dips:.0} times a second and cannot pull it down; it is shorted to the supply."
    )
}

pub(super) fn switching(switching: &Switching, sheet: Option<Hertz>) -> String {
    let hertz = switching.hertz;
    let other = sheet
        .filter(|f| (hertz / f.0 - 1.0).abs() > OTHER)
        .map_or(String::new(), |f| {
            format!(" (the sheet says {:.0} Hz)", f.0)
        });
    format!(
        "Switches at {hertz:.0} Hz{other}, {:.0} %",
        switching.duty.0
    )
}

pub(super) fn sound(switching: &Switching, figures: &str, facts: &Facts) -> String {
    let mut parts = vec![figures.to_owned()];
    if let Some(low) = switching.low {
        parts.push(format!("low level {low:.2} V"));
    }
    parts.push(flyback(&facts.flyback, facts.loaded));
    match facts.current {
        Some(amperes) => parts.push(format!("current {amperes:.2} A")),
        None => parts.push("current not seen".to_owned()),
    }
    if let Some(coil) = facts.coil {
        let (r, l) = (coil.resistance, coil.inductance);
        if r.error < 0.05 * r.value && l.error < 0.1 * l.value {
            let total = r.value + facts.driver.unwrap_or(0.0);
            parts.push(format!(
                "coil and driver {total:.1} Ω and {:.0} mH",
                1000.0 * l.value
            ));
        }
    }
    if let Some(sag) = facts.sag.valid().filter(|v| v.0 > 0.05) {
        parts.push(format!("supply drops by {:.2} V", sag.0));
    }
    format!("{}: in order.", parts.join(", "))
}

fn flyback(flyback: &Flyback, loaded: Option<bool>) -> String {
    match flyback {
        Flyback::Clamped(v) => format!("flyback clamped at {:.0} V", v.0),
        Flyback::Diode(v) => format!("flyback through a diode at {:.1} V", v.0),
        Flyback::Absent => "no flyback".to_owned(),
        Flyback::Unknown(Why::Clipped) => "flyback beyond the input's range".to_owned(),
        Flyback::Unknown(Why::TooFewSamples) => "flyback too brief for the sample rate".to_owned(),
        Flyback::Unknown(Why::NoLead) => {
            if loaded == Some(true) {
                "flyback not seen without a supply lead, current in its low level".to_owned()
            } else {
                "flyback not seen without a supply lead".to_owned()
            }
        }
        Flyback::Unknown(_) => "flyback not told yet".to_owned(),
    }
}

pub(super) fn lost(recent: &[&Loss], last: &Loss, rate: f64) -> String {
    let seconds = |l: &Loss| l.to.map_or(0.0, |to| (to.0 - l.from.0) / rate);
    let times = match recent.len() {
        1 => "Lost once".to_owned(),
        n => format!("Lost {n} times"),
    };
    let length = seconds(last);
    let length = if length < 1.0 {
        format!("{:.0} ms", 1000.0 * length)
    } else {
        format!("{length:.1} s")
    };
    let turns = last
        .turns
        .map_or(String::new(), |t| format!(" ({t:.0} turns)"));
    let speed = last
        .speed
        .map_or(String::new(), |s| format!(" at {:.0} rpm", s.0));
    let duty = last
        .duty
        .map_or(String::new(), |d: Percent| format!(", from {:.0} %", d.0));
    let slowest = recent
        .iter()
        .filter_map(|l| l.speed)
        .map(|s| s.0)
        .reduce(f64::min)
        .filter(|_| recent.len() > 1)
        .map_or(String::new(), |s| format!("; never below {s:.0} rpm"));
    format!(
        "{times} within a minute, last for {length}{turns}{speed}{duty}, with the pin at {:.1} V; it switches now{slowest}.",
        last.level.0
    )
}
