//! Current clamps. The valve's is proven when its current rises while the command is on and falls while it is off, as a
//! coil's must; the starter's by a current that only a starter draws.

use super::lead_proof::{LeadProof, Mistake};
use super::standing::{Seen, Standing};
use super::{Scene, Site};
use crate::channel::Channel;
use crate::lead::{CamId, Role};
use crate::units::Seconds;

/// Periods looked at.
const PERIODS: usize = 12;
/// Samples averaged at either end of a stretch.
const SAMPLES: u64 = 8;
/// A swing within the period that counts, amperes: well above a clamp's noise once averaged over periods, below the
/// swing of any valve (14 V on 100 mH for a millisecond is 0.14 A).
const SWING: f64 = 0.03;
/// Share of the periods that must agree in their direction.
const AGREE: f64 = 0.75;
/// Offset of a clamp that was not zeroed lies above its drift of tens of milliamperes (common practice, from memory).
const OFFSET: f64 = 0.1;
/// Valves have 6 to 13 ohms (from memory) and at most some 40 mH (assumed; most have 10 to 25): the slowest rise.
const OHMS: f64 = 13.0;
const HENRIES: f64 = 0.040;
/// Supply where none is known, volts, the least that runs an engine (from memory).
const VOLTS: f64 = 12.0;
/// More than this at full duty, amperes, flows through no valve: 16 V on 6 ohms are 2.7.
const MOST: f64 = 7.0;
/// Duty, percent, from which a healthy valve's current cannot be missed.
const DRIVEN: f64 = 30.0;
/// Less than this, amperes, at that duty is no current.
const NOTHING: f64 = 0.1;
/// Doubt that may pass with the next change of duty lasts this long, seconds.
const PATIENCE: f64 = 1.0;

/// How the current moves within the command's periods: rises while on (positive) or falls, by so many amperes.
struct Step {
    swing: f64,
    agree: f64,
}

fn step(clamp: &Channel, command: &Channel) -> Option<Step> {
    let meter = command.meter()?;
    let periods: Vec<_> = meter.periods().rev().take(PERIODS).copied().collect();
    let mut swings: Vec<f64> = periods
        .iter()
        .filter_map(|p| {
            let (fall, rise, end) = (p.end.0 - p.length, p.end.0 - p.length + p.low, p.end.0);
            let width = (0.15 * p.low.min(p.length - p.low)).max(2.0);
            let mean = |from: f64, to: f64| {
                let (a, _) =
                    clamp
                        .ring
                        .sampled(index(from), index(to).max(index(from) + 1), SAMPLES)?;
                Some(clamp.calibration.value(a))
            };
            let on = mean(fall, fall + width)?;
            let off = mean(rise - width, rise)?;
            let after = mean(end - width, end)?;
            Some(0.5 * ((off - on) + (off - after)))
        })
        .collect();
    if swings.len() < 4 {
        return None;
    }
    let n = swings.len() as f64;
    let middle = swings.len() / 2;
    let swing = *swings.select_nth_unstable_by(middle, f64::total_cmp).1;
    let same = swings
        .iter()
        .filter(|s| s.signum() * swing.signum() > 0.0)
        .count();
    Some(Step {
        swing,
        agree: same as f64 / n,
    })
}

/// The clamp on a valve.
pub(super) fn look(site: &Site<'_>, scene: &Scene<'_>, standing: &Standing, id: CamId) -> Seen {
    let channel = site.channel;
    let mean = channel.mean(100).unwrap_or(0.0);
    let command = scene.channel(Role::Command(id));
    let command_duty = command.and_then(|c| c.meter()?.duty(scene.at, Seconds(0.1)));
    let duty = command_duty.map(|d| d.duty.0);
    let on = command_duty.map_or(0.0, |d| d.duty.0 / 100.0 / d.frequency.0.max(1.0));
    if channel.is_clipped(100) {
        let note = format!("{mean:.1} A, beyond the input's range");
        let proof = LeadProof::doubtful(note, "Use a larger range; check the clamp's factor.");
        return Seen::soft(proof.by(Mistake::Clipped), 0.3);
    }
    let Some(duty) = duty else {
        return undriven(mean, standing, command.is_some());
    };
    let step = command.and_then(|c| step(channel, c));
    let in_step = step.filter(|s| s.swing.abs() > SWING && s.agree >= AGREE);
    match in_step {
        Some(step) if step.swing < 0.0 => {
            let note = format!("{mean:.2} A, falls while the valve is on");
            Seen::firm(
                LeadProof::doubtful(note, "Turn the clamp round.").by(Mistake::ClampReversed),
            )
        }
        Some(step) => sized(mean, duty, least(on, scene.supply), &step),
        None if duty > DRIVEN && mean.abs() < NOTHING => {
            let note = format!("{mean:.2} A at {duty:.0} %: nothing flows here");
            let proof = LeadProof::silent(
                note,
                "Switch it on; close its jaws around one wire of this valve.",
            );
            Seen::soft(proof.by(Mistake::Off), PATIENCE)
        }
        None if duty > DRIVEN && mean < -OFFSET => {
            let note = format!("{mean:.2} A at {duty:.0} %");
            Seen::soft(
                LeadProof::doubtful(note, "Turn the clamp round, or zero it.")
                    .by(Mistake::ClampReversed),
                PATIENCE,
            )
        }
        None if duty > DRIVEN && standing.is_known() => {
            Seen::soft(out_of_step(mean, duty), PATIENCE)
        }
        None if duty > DRIVEN => Seen::firm(out_of_step(mean, duty)),
        None if standing.is_known() => Seen::firm(LeadProof::proven(format!("{mean:.2} A"))),
        None => Seen::idle(LeadProof::doubtful(
            format!("{mean:.2} A; not driven enough to tell"),
            "Rev the engine until the valve is driven.",
        )),
    }
}

fn out_of_step(mean: f64, duty: f64) -> LeadProof {
    let note = format!("{mean:.2} A at {duty:.0} %, not in step with the command");
    LeadProof::doubtful(note, "Close the clamp around one wire of this valve.")
        .by(Mistake::WrongPlace)
}

/// Least mean current over duty of a sound valve that is on for so many seconds each period: of the current reached by
/// then, V/R·(1 − e^(−tR/L)), half is the mean of its rise; a tenth more is left for the supply's sag.
fn least(on: f64, supply: Option<f64>) -> f64 {
    let reached = 1.0 - (-on * OHMS / HENRIES).exp();
    0.45 * supply.unwrap_or(VOLTS) / OHMS * reached
}

/// In step with the command; whether it is as large as a valve's.
fn sized(mean: f64, duty: f64, least: f64, step: &Step) -> Seen {
    // At no more than some per cent the mean says little; the swing is what the coil took.
    let full = if duty > 20.0 {
        mean / (duty / 100.0)
    } else {
        step.swing.max(mean)
    };
    if full > MOST {
        let note = format!("{mean:.1} A at {duty:.0} %: ten times a valve's");
        let proof = LeadProof::doubtful(
            note,
            "Check the clamp's range switch against its factor in the plan.",
        );
        return Seen::soft(proof.by(Mistake::FactorTooLarge), 0.3);
    }
    if full < least && duty > DRIVEN && mean > 0.0 {
        let note = format!("{mean:.2} A at {duty:.0} %: a tenth of a valve's");
        let proof = LeadProof::doubtful(
            note,
            "Check the clamp's range switch against its factor in the plan.",
        );
        return Seen::soft(proof.by(Mistake::FactorTooSmall), 0.3);
    }
    if mean < -OFFSET {
        let note = format!("{mean:.2} A in step: the zero is off");
        return Seen::soft(
            LeadProof::doubtful(note, "Open the clamp and zero it."),
            0.3,
        );
    }
    Seen::firm(LeadProof::proven(format!("{mean:.2} A, in step")))
}

/// The command does not switch.
fn undriven(mean: f64, standing: &Standing, has_command: bool) -> Seen {
    if standing.is_known() {
        return Seen::idle(LeadProof::doubtful(
            format!("{mean:.2} A; the valve is not switched"),
            "",
        ));
    }
    let why = if has_command {
        "the valve is not driven yet"
    } else {
        "no lead shows its command"
    };
    if mean.abs() > OFFSET {
        let note = format!("{mean:.2} A; {why}");
        return Seen::idle(LeadProof::doubtful(
            note,
            "Zero the clamp with the engine off.",
        ));
    }
    Seen::idle(LeadProof::doubtful(
        format!("{mean:.2} A; {why}"),
        "Rev the engine until the valve is driven.",
    ))
}

/// Current that only a turning starter draws, amperes: it draws 80 to 200 A, all else on that cable some tens (both from
/// memory).
const STARTER_LEAST: f64 = 50.0;

/// The clamp around the starter's cable.
pub(super) fn starter(site: &Site<'_>, standing: &Standing) -> Seen {
    let mean = site.channel.mean(40).unwrap_or(0.0);
    if mean < -STARTER_LEAST {
        let note = format!("{mean:.0} A: runs backwards");
        return Seen::firm(
            LeadProof::doubtful(note, "Turn the clamp round, or zero it.")
                .by(Mistake::ClampReversed),
        );
    }
    if mean > STARTER_LEAST || standing.is_known() {
        return Seen::firm(LeadProof::proven(format!("{mean:.0} A")));
    }
    let note = format!("{mean:.0} A; the starter has not turned yet");
    Seen::idle(LeadProof::doubtful(
        note,
        "Crank the engine once, clamp around the starter's cable.",
    ))
}

/// Kilopascals by which the pressure must move: a cranking cylinder swings by several bar, the intake stroke alone by
/// tens of kilopascals.
const PRESSURE: f64 = 50.0;

/// The transducer.
pub(super) fn pressure(site: &Site<'_>, standing: &Standing) -> Seen {
    let [low, high] = site.channel.range(200).unwrap_or([0.0, 0.0]);
    if high - low > PRESSURE {
        return Seen::firm(LeadProof::proven(format!("{low:.0} to {high:.0} kPa")));
    }
    let note = format!("steady at {low:.0} kPa; engine turning?");
    let proof = LeadProof::doubtful(
        note,
        "Turn the engine; check the transducer's supply and plug.",
    );
    if standing.is_known() {
        Seen::idle(proof)
    } else {
        Seen::firm(proof)
    }
}

#[allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "sample times are not negative and far below 2^53"
)]
fn index(x: f64) -> u64 {
    x.max(0.0) as u64
}
