//! The lead proof: does each lead show what its role should show, and if not, what to try.

use crate::channel::Channel;
use crate::lead::{CamId, Role};
use crate::reading::Reading;
use crate::rotation::Rotation;
use crate::snapshot::Sync;
use crate::units::{Hertz, SampleTime, Seconds};

mod lead_proof;

pub use lead_proof::{LeadProof, Mistake, ProofState, Touch, bears};

/// A lead within this of zero volts on average, and ...
const SILENT_MEAN: f64 = 0.15;
/// ... moving by no more than this shows nothing but hum and noise (common practice, from memory).
const SILENT_SWING: f64 = 0.6;
/// A switched pin's low level lies below this: driver and wire drop under a volt at 2 A (TLE8104E data sheet), plus margin.
pub const GROUND: f64 = 1.5;
/// Supply of a 12 V system, cranking to overcharged.
const SUPPLY: [f64; 2] = [9.0, 16.0];
/// An edge within this time means that it switches.
const RECENT: f64 = 0.5;
/// Slices of the last second.
const SECOND: usize = 200;

/// What is known beside the lead itself.
#[derive(Debug, Clone, Copy)]
pub struct Surroundings<'a> {
    /// Now.
    pub at: SampleTime,
    /// Samples per second.
    pub rate: Hertz,
    /// Crank and cams.
    pub rotation: &'a Rotation,
    /// Cams of the sheet, in its order.
    pub cams: &'a [CamId],
    /// Whether the crank has been followed long enough for a fitting cam to have told the cycle.
    pub settled: bool,
    /// Supply, if a lead shows it.
    pub supply: Option<f64>,
}

/// A lead that shows nothing but hum.
pub fn is_silent(channel: &Channel, slices: usize) -> bool {
    match (channel.mean(slices), channel.range(slices)) {
        (Some(mean), Some([low, high])) => mean.abs() < SILENT_MEAN && high - low < SILENT_SWING,
        _ => false,
    }
}

/// The proof of a lead. `duty` is that of the command the lead belongs to, percent.
pub fn prove(channel: &Channel, s: Surroundings<'_>, duty: Option<f64>) -> LeadProof {
    if channel.slices.is_empty() {
        return LeadProof::plain(ProofState::Silent, "no samples yet".to_owned());
    }
    let (state, note) = match channel.role {
        Role::Crank => crank(channel, s),
        Role::Cam(_) => cam(channel, s),
        Role::Command(_) => command(channel, s),
        Role::Current(_) => current(channel, duty),
        Role::StarterCurrent => starter(channel),
        Role::Supply => supply(channel),
        Role::Pressure => pressure(channel),
        Role::Spare => (ProofState::Spare, String::new()),
    };
    LeadProof::plain(state, note)
}

fn recently(channel: &Channel, s: Surroundings<'_>) -> bool {
    channel
        .last_edge
        .is_some_and(|at| s.at.since(at, s.rate).0 < RECENT)
}

fn gone(channel: &Channel, s: Surroundings<'_>, place: &str) -> String {
    match channel.last_edge.filter(|_| channel.proven) {
        Some(at) => format!(
            "worked until {:.0} s ago; check that it has not slipped off the {place}",
            s.at.since(at, s.rate).0
        ),
        None => format!("no signal; check that it is on the {place}, and its ground"),
    }
}

fn crank(channel: &Channel, s: Surroundings<'_>) -> (ProofState, String) {
    match s.rotation.sync() {
        Sync::Cycle | Sync::Revolution => proven_unless_doubtful(channel, s),
        _ if recently(channel, s) && !is_silent(channel, SECOND) => (
            ProofState::Doubtful,
            "teeth, but not the pattern of the sheet; check wheel, polarity and place".to_owned(),
        ),
        Sync::Searching | Sync::Stopped => match channel.range(SECOND) {
            Some([low, high]) if high - low > SILENT_SWING => (
                ProofState::Doubtful,
                format!("moves between {low:.1} and {high:.1} V, no teeth; engine turning?"),
            ),
            _ if channel.proven => (
                ProofState::Silent,
                format!("{}, or the engine stands", gone(channel, s, "sensor pin")),
            ),
            _ => (
                ProofState::Silent,
                "no signal; engine turning, lead on the sensor pin?".to_owned(),
            ),
        },
    }
}

/// A lead that fits is proven, unless its signal is of a kind that may fit by chance or be timed badly.
fn proven_unless_doubtful(channel: &Channel, s: Surroundings<'_>) -> (ProofState, String) {
    let note = s.rotation.note(channel.role);
    match channel.quality().doubt {
        Some(doubt) => (
            ProofState::Doubtful,
            format!("{note}, but {}", doubt.words()),
        ),
        None => (ProofState::Proven, note),
    }
}

fn cam(channel: &Channel, s: Surroundings<'_>) -> (ProofState, String) {
    let turning = s.rotation.sync() != Sync::Stopped;
    if recently(channel, s) {
        return if fits(channel, s) {
            proven_unless_doubtful(channel, s)
        } else if s.settled {
            (
                ProofState::Doubtful,
                "edges do not fit the sheet; leads swapped, or another engine?".to_owned(),
            )
        } else {
            (
                ProofState::Doubtful,
                "switches; the crank does not tell yet whether it fits".to_owned(),
            )
        };
    }
    if is_silent(channel, SECOND / 4) {
        return (ProofState::Silent, gone(channel, s, "signal pin"));
    }
    let level = channel.mean(SECOND / 4).unwrap_or(0.0);
    let hint = if turning {
        "no edges while the crank turns"
    } else {
        "engine not turning"
    };
    (
        ProofState::Doubtful,
        format!("stands at {level:.1} V, {hint}"),
    )
}

/// Whether the measured windows are there: the cam decoder only reports those that fit the sheet.
fn fits(channel: &Channel, s: Surroundings<'_>) -> bool {
    let Role::Cam(id) = channel.role else {
        return false;
    };
    s.cams
        .iter()
        .position(|&c| c == id)
        .is_some_and(|k| matches!(s.rotation.phase(k), Reading::Valid(_) | Reading::Stale(..)))
}

fn command(channel: &Channel, s: Surroundings<'_>) -> (ProofState, String) {
    let Some(meter) = channel.meter() else {
        return (ProofState::Doubtful, String::new());
    };
    if let Some(duty) = meter.duty(s.at, Seconds(0.2)) {
        let [low, high] = channel.states().unwrap_or([0.0, 0.0]);
        let settled = meter
            .high(s.at, Seconds(0.2))
            .map_or(high, |raw| channel.calibration.value(raw));
        let figures = format!("{:.0} Hz, {:.0} %", duty.frequency.0, duty.duty.0);
        if low.abs() > GROUND {
            return (
                ProofState::Doubtful,
                format!("{figures}, but its low level is {low:.1} V"),
            );
        }
        let fits = s
            .supply
            .map_or((SUPPLY[0]..SUPPLY[1] + 50.0).contains(&settled), |v| {
                settled > v - 1.5
            });
        return if fits {
            (ProofState::Proven, figures)
        } else {
            (
                ProofState::Doubtful,
                format!(
                    "{figures}, but off it is only {settled:.1} V{}",
                    hint(settled, s.supply)
                ),
            )
        };
    }
    if !meter.is_still(s.at) {
        return (ProofState::Doubtful, "measuring".to_owned());
    }
    let level = channel.mean(SECOND / 10).unwrap_or(0.0);
    if is_silent(channel, SECOND / 10) {
        return (
            ProofState::Silent,
            format!("{level:.1} V: {}", gone(channel, s, "control-side pin")),
        );
    }
    let seen = match meter.last_edge().filter(|_| channel.proven) {
        Some(at) => format!("last switched {:.0} s ago", s.at.since(at, s.rate).0),
        None => "not yet seen to switch".to_owned(),
    };
    (
        ProofState::Doubtful,
        format!("stands at {level:.1} V; {seen}"),
    )
}

/// What explains an off level that is too low.
fn hint(settled: f64, supply: Option<f64>) -> &'static str {
    let ten = settled * 10.0;
    let tenth = supply.map_or((SUPPLY[0]..=SUPPLY[1]).contains(&ten), |v| {
        (ten - v).abs() < 0.15 * v
    });
    if tenth {
        ", a tenth of the supply; is the probe 10:1 and the factor 1?"
    } else {
        "; is the lead on the control-side pin?"
    }
}

fn supply(channel: &Channel) -> (ProofState, String) {
    let mean = channel.mean(SECOND / 5).unwrap_or(0.0);
    let within = |v: f64| (SUPPLY[0]..=SUPPLY[1]).contains(&v);
    if within(mean) {
        return (ProofState::Proven, format!("{mean:.1} V"));
    }
    if mean.abs() < 0.5 {
        return (
            ProofState::Silent,
            format!("{mean:.1} V: no supply, or the lead is off; try the battery first"),
        );
    }
    if within(mean * 10.0) {
        return (
            ProofState::Doubtful,
            format!("{mean:.2} V: a tenth of a supply; is the probe 10:1 and the factor 1?"),
        );
    }
    if within(mean / 10.0) {
        return (
            ProofState::Doubtful,
            format!("{mean:.0} V: ten supplies; is the probe 1:1 and the factor 10?"),
        );
    }
    (
        ProofState::Doubtful,
        format!("{mean:.1} V is no 12 V supply"),
    )
}

fn current(channel: &Channel, duty: Option<f64>) -> (ProofState, String) {
    let mean = channel.mean(SECOND).unwrap_or(0.0);
    // A clamp's own drift is some tens of milliamperes (common practice, from memory).
    if mean < -0.1 {
        return (
            ProofState::Doubtful,
            format!("{mean:.2} A: turn the clamp round, or zero it"),
        );
    }
    if mean > 0.05 {
        return (ProofState::Proven, format!("{mean:.2} A"));
    }
    let peak = channel.range(SECOND).map_or(0.0, |[_, high]| high);
    match duty {
        // A valve of 10 Ω carries 0.2 A at 30 % and more (common practice, from memory).
        Some(duty) if duty > 30.0 && peak < 0.15 => (
            ProofState::Silent,
            format!(
                "{mean:.2} A at {duty:.0} %: is the clamp closed around one wire of this valve?"
            ),
        ),
        _ if channel.proven => (ProofState::Proven, format!("{mean:.2} A")),
        _ => (
            ProofState::Doubtful,
            format!("{mean:.2} A; the valve is not driven yet"),
        ),
    }
}

/// Current that only a turning starter draws, amperes: it draws 80 to 200 A, all else on that cable
/// some tens (both from memory).
const STARTER_LEAST: f64 = 50.0;

fn starter(channel: &Channel) -> (ProofState, String) {
    let mean = channel.mean(SECOND / 5).unwrap_or(0.0);
    if mean < -STARTER_LEAST {
        let text = format!("{mean:.0} A: turn the clamp round, or zero it");
        return (ProofState::Doubtful, text);
    }
    if mean > STARTER_LEAST || channel.proven {
        return (ProofState::Proven, format!("{mean:.0} A"));
    }
    let text = format!("{mean:.0} A; the starter has not turned yet");
    (ProofState::Doubtful, text)
}

fn pressure(channel: &Channel) -> (ProofState, String) {
    let [low, high] = channel.range(SECOND).unwrap_or([0.0, 0.0]);
    // A cranking cylinder swings by several bar; the intake stroke alone by tens of kilopascals.
    if high - low > 50.0 {
        (ProofState::Proven, format!("{low:.0} to {high:.0} kPa"))
    } else {
        (
            ProofState::Doubtful,
            format!("steady at {low:.0} kPa; engine turning?"),
        )
    }
}
