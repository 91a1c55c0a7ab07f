//! The verdict on one direction: the wheel, how sure it is, and why it is not surer.

use super::code::Code;
use super::contender::Contender;
use super::evidence::Fit;
use super::heard::Heard;
use super::ruling::nothing;
use super::{Candidate, Certainty, Look, Origin, Recognition, Signal};
use crate::engine::Sensor;
use crate::units::{Hertz, Rpm, Seconds};

/// Logarithms of likelihood ahead of the next from which it is sure, likely: odds of one in 400,000 and of one in 50
/// if intervals were independent. They are not quite, hence no less.
const SURE: f64 = 13.0;
const LIKELY: f64 = 4.0;
/// Scatter above which nothing fits: the difference between a pitch and its neighbour under heavy noise.
const MISFIT: f64 = 0.15;
/// Scatter up to which it may be sure.
const CLEAN: f64 = 0.08;
/// Revolutions from which it may be sure: two that agree and one more.
const TURNS: f64 = 3.0;
/// Swing of the speed (root mean square) beyond which few teeth are never sure: a starter's. From this many teeth a
/// turn on the highest firing order has four pitches.
const SWINGING: f64 = 0.12;
const MANY: usize = 16;
/// Share of places that must fit to be sure.
const SHARE: f64 = 0.5;
/// Share of places that must fit for anything but a guess.
const SOME: f64 = 0.3;
/// Slower than this it may be a starter that turns the engine, rpm (common practice); then the speed may swing so much
/// that very few teeth tell nothing, and few are never sure.
const STARTER: f64 = 500.0;
const VERY_FEW: usize = 9;
/// Candidates that are told.
const TOLD: usize = 6;
/// At least so many edges a turn look like a crank, at most so many like a cam.
const CRANK_LIKE: usize = 10;
const CAM_LIKE: usize = 8;

/// The wheel of one direction.
pub(super) fn verdict(signal: Signal, heard: &Heard, rate: Hertz) -> Recognition {
    let mut found = nothing(signal, Look::Unknown, "");
    found.remarks.clear();
    found.edge = Some(heard.kind);
    let Some((best, fit, top)) = heard.ranked.first() else {
        found.remarks.push("Too little was heard.".to_owned());
        return found;
    };
    let part = best.pattern.part();
    let is_even = part == 1;
    let intervals = heard.rhythm.y.len() as f64;
    found.candidates = (heard.ranked.iter())
        .take(TOLD)
        .map(|(c, fit, total)| Candidate {
            wheel: c.wheel.clone(),
            origin: c.origin,
            damaged: c.damaged,
            scatter: fit.scatter,
            behind: (top - total).max(0.0),
        })
        .collect();
    // A learnt wheel that was put behind a known one is no rival of it.
    let rivals: Vec<&(Contender, Fit, f64)> = (heard.ranked[1..].iter())
        .filter(|r| r.0.origin != Origin::Learnt || r.2 < *top)
        .collect();
    let twins: Vec<String> = (rivals.iter())
        .filter(|r| r.0.pattern.is_like(&best.pattern))
        .map(|r| r.0.wheel.to_string())
        .collect();
    let ahead = (rivals.iter())
        .find(|r| !r.0.pattern.is_like(&best.pattern))
        .map_or(f64::INFINITY, |r| top - r.2);
    let teeth = best.pattern.log.len() as f64;
    found.revolutions = intervals / teeth;
    let is_swinging = fit.ripple > SWINGING && part < MANY;
    let is_told = best.origin != Origin::Learnt;
    found.certainty =
        if fit.scatter > MISFIT || fit.share < SOME || ahead < LIKELY || found.revolutions < 2.0 {
            Certainty::Unclear
        } else if ahead > SURE
            && fit.scatter < CLEAN
            && twins.is_empty()
            && is_told
            && !is_swinging
            && fit.share >= SHARE
            && found.revolutions >= TURNS
        {
            Certainty::Sure
        } else {
            Certainty::Likely
        };
    let newest = &heard.rhythm.at[heard.rhythm.at.len().saturating_sub(part + 1)..];
    if let (Some(from), Some(to), true) = (newest.first(), newest.last(), newest.len() > part) {
        let repeat = (to - from) / rate.0;
        found.repeat = Some(Seconds(repeat));
        if twins.is_empty() && !is_even {
            found.speed = Some(Rpm(60.0 / repeat * part as f64 / teeth));
        }
    }
    let heard_for = match heard.rhythm.at.as_slice() {
        [from, .., to] => (to - from) / rate.0,
        _ => f64::INFINITY,
    };
    if 60.0 * found.revolutions / heard_for < STARTER && !is_even {
        if part < VERY_FEW {
            found.certainty = Certainty::Unclear;
        } else if part < MANY {
            found.certainty = found.certainty.min(Certainty::Likely);
        }
    }
    found.look = if part >= CRANK_LIKE || is_even {
        Look::Crank
    } else if part <= CAM_LIKE {
        Look::Cam
    } else {
        Look::Unknown
    };
    remark(&mut found, best, is_even, &twins);
    found
}

fn remark(found: &mut Recognition, best: &Contender, is_even: bool, twins: &[String]) {
    if is_even {
        found.look = Look::Unknown;
        found.certainty = found.certainty.min(Certainty::Likely);
        found.remarks.push(
            "Equal teeth: how many there are is not told without a speed or a cam.".to_owned(),
        );
    } else if !twins.is_empty() {
        found.remarks.push(format!(
            "Without a speed it cannot be told from {}.",
            twins.join(" or ")
        ));
    }
    if found.candidates.first().is_some_and(|c| c.scatter > MISFIT) {
        found.remarks.push("No wheel fits well.".to_owned());
    }
    if let Some(tooth) = best.damaged {
        found.remarks.push(format!(
            "Tooth {tooth} after the gap is missing or damaged."
        ));
    }
    if best.origin == Origin::Learnt {
        let text = "Not a wheel of the table: the angles were measured here, at one engine speed.";
        found.remarks.push(text.to_owned());
    }
}

/// The verdict on narrow and wide teeth.
pub(super) fn coded(signal: Signal, heard: &Heard, code: &Code, rate: Hertz) -> Recognition {
    let n = code.wheel.teeth();
    let turns = code.teeth as f64 / n as f64;
    let repeat = heard.interval() * n as f64 / rate.0;
    let is_clean = heard.scatter() < CLEAN && turns >= TURNS;
    Recognition {
        sensor: Some(Sensor::Hall),
        look: Look::Crank,
        edge: Some(heard.kind),
        edge_certainty: if is_clean {
            Certainty::Sure
        } else {
            Certainty::Likely
        },
        candidates: vec![Candidate {
            wheel: code.wheel.clone(),
            origin: if code.is_known {
                Origin::Table
            } else {
                Origin::Learnt
            },
            damaged: None,
            scatter: heard.scatter(),
            behind: 0.0,
        }],
        certainty: match (code.is_known, is_clean) {
            (true, true) => Certainty::Sure,
            (true, false) | (false, true) => Certainty::Likely,
            (false, false) => Certainty::Unclear,
        },
        revolutions: turns,
        speed: Some(Rpm(60.0 / repeat)),
        repeat: Some(Seconds(repeat)),
        ..nothing(
            signal,
            Look::Crank,
            "One edge comes evenly, the other says which tooth it is.",
        )
    }
}
