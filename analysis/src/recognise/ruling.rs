//! The ruling: kind of signal, edge, polarity and wheel from what was heard.

use super::code;
use super::heard::{Heard, alike, comes_evenly, is_even};
use super::listener::{KINDS, Listener, Mark, Nature, place};
use super::rhythm::median;
use super::side::{Steep, WEAKER, steepness};
use super::verdict::{coded, verdict};
use super::{Certainty, Look, Polarity, Recognition, Signal};
use crate::edge::Edge;
use crate::engine::{EdgeKind, Sensor};
use crate::units::{Hertz, Volts};
use crate::wheel::Wheel;
use std::collections::VecDeque;

/// One edge is the accurate one when the other scatters by this factor more.
const FINER: f64 = 1.25;
/// Logarithm of likelihood that a clear difference in steepness adds.
const STEEPNESS: f64 = 60.0;
/// Frequencies of the mains, and how far hum may be from them, as a part.
const MAINS: [f64; 2] = [50.0, 60.0];
const MAINS_WITHIN: f64 = 0.01;
/// Hum is no stronger than this, volts (from memory).
const HUM: f64 = 1.5;
/// A command's period is held by a crystal: scatter as a part.
const CRYSTAL: f64 = 0.003;
/// Supply of a 12 V system.
const SUPPLY: [f64; 2] = [9.0, 16.0];
/// A flyback rises this factor above the high state.
const FLYBACK: f64 = 1.5;

/// What a lead is.
pub(super) fn rule(listener: &Listener, sheet: Option<&Wheel>) -> Recognition {
    match listener.nature() {
        Nature::Early => nothing(Signal::Early, Look::Unknown, "Nothing has been heard yet."),
        Nature::Still { level, swing } => still(level, swing),
        Nature::TwoStates { low, high, spike } => two_states(listener, sheet, [low, high, spike]),
        Nature::Swinging {
            peak,
            clipped,
            level,
        } => swinging(listener, sheet, [peak, level], clipped),
    }
}

/// A lead that is no wheel's, or not yet.
pub(super) fn nothing(signal: Signal, look: Look, remark: &str) -> Recognition {
    Recognition {
        signal,
        sensor: None,
        look,
        edge: None,
        edge_certainty: Certainty::Unclear,
        polarity: None,
        candidates: Vec::new(),
        certainty: Certainty::Unclear,
        revolutions: 0.0,
        speed: None,
        repeat: None,
        remarks: vec![remark.to_owned()],
    }
}

fn still(level: f64, swing: f64) -> Recognition {
    let (look, text) = if (SUPPLY[0]..=SUPPLY[1]).contains(&level) {
        (
            Look::Supply,
            format!("Steady at {level:.1} V: a supply, or a switch that is open."),
        )
    } else {
        (
            Look::Nothing,
            format!("Moves by no more than {swing:.2} V about {level:.2} V."),
        )
    };
    let level = Volts(level);
    nothing(Signal::Still { level }, look, &text)
}

fn two_states(
    listener: &Listener,
    sheet: Option<&Wheel>,
    [low, high, spike]: [f64; 3],
) -> Recognition {
    let signal = Signal::TwoLevel {
        low: Volts(low),
        high: Volts(high),
    };
    let mut edges: Vec<Edge> = KINDS
        .iter()
        .flat_map(|&k| listener.switched(k).iter().map(|m| m.edge))
        .collect();
    edges.sort_by(|a, b| a.at.0.total_cmp(&b.at.0));
    let heard: Vec<Heard> = KINDS
        .iter()
        .filter_map(|&k| Heard::new(k, listener.switched(k), sheet))
        .collect();
    if heard.is_empty() {
        return nothing(
            signal,
            Look::Unknown,
            "Two levels, but too few changes yet.",
        );
    }
    if let Some(frequency) = command(&heard, listener.rate(), [high, spike]) {
        return nothing(
            Signal::Switched { frequency },
            Look::Command,
            "Two levels at a constant frequency, as of a switched valve.",
        );
    }
    // The more regular edge first.
    let mut order: Vec<&Heard> = heard.iter().collect();
    order.sort_by(|a, b| b.best().total_cmp(&a.best()));
    let (first, second) = (order[0], order.get(1).copied());
    for h in heard.iter().filter(|h| comes_evenly(h)) {
        if let Some(code) = code::read(&edges, h.kind) {
            return coded(signal, h, &code, listener.rate());
        }
    }
    let mut found = verdict(signal, first, listener.rate());
    let is_same = second.is_none_or(|s| alike(first, s));
    found.edge_certainty = match second {
        None => Certainty::Unclear,
        Some(s) if !is_same && s.scatter() > FINER * first.scatter() => Certainty::Likely,
        Some(s) => {
            let (mut a, mut b) = (first, s);
            if b.scatter() < a.scatter() {
                (a, b) = (b, a);
            }
            found.edge = Some(a.kind);
            if b.scatter() > 2.0 * FINER * a.scatter() {
                Certainty::Sure
            } else if b.scatter() > FINER * a.scatter() {
                Certainty::Likely
            } else {
                Certainty::Unclear
            }
        }
    };
    if found.edge_certainty == Certainty::Unclear && !found.candidates.is_empty() {
        let text = "Both edges are equally regular; either will do.";
        found.remarks.push(text.to_owned());
    }
    found.sensor = (!low.is_nan()).then_some(Sensor::Hall);
    found.polarity = level_in_gap(&edges, first).map(|high| {
        if high {
            Polarity::Usual
        } else {
            Polarity::Inverted
        }
    });
    found
}

/// Frequency of a switched valve, if it is one.
fn command(heard: &[Heard], rate: Hertz, [high, spike]: [f64; 2]) -> Option<Hertz> {
    heard.iter().find_map(|h| {
        let interval = h.interval();
        let off: Vec<f64> = (h.rhythm.at.windows(2))
            .map(|w| ((w[1] - w[0]) / interval - 1.0).abs())
            .collect();
        let is_steady = median(off) < CRYSTAL;
        let is_valve = high > SUPPLY[0] && spike > FLYBACK * high;
        (is_steady && is_valve).then_some(Hertz(rate.0 / interval))
    })
}

/// Whether a two-level signal is high where an interval is long.
fn level_in_gap(edges: &[Edge], heard: &Heard) -> Option<bool> {
    let (best, _, _) = heard.ranked.first()?;
    if best.pattern.part() < 2 {
        return None;
    }
    let mut times: [f64; 2] = [0.0, 0.0];
    let all: Vec<f64> = edges.windows(2).map(|w| w[1].at.0 - w[0].at.0).collect();
    let usual = median(all.clone());
    for (pair, length) in edges.windows(2).zip(&all) {
        if *length > 1.8 * usual {
            times[place(pair[0].kind)] += length - usual;
        }
    }
    let [high, low] = times;
    (high.max(low) > 3.0 * high.min(low)).then_some(high > low)
}

fn swinging(
    listener: &Listener,
    sheet: Option<&Wheel>,
    [peak, level]: [f64; 2],
    clipped: bool,
) -> Recognition {
    let signal = Signal::Reluctance {
        peak: Volts(peak),
        clipped,
    };
    let mut heard: Vec<(Heard, &VecDeque<Mark>)> = KINDS
        .iter()
        .filter_map(|&k| {
            let marks = listener.swung(k);
            Heard::new(k, marks, sheet).map(|h| (h, marks))
        })
        .collect();
    if heard.is_empty() {
        let text = format!("Moves about {level:.1} V without regular crossings.");
        return nothing(Signal::Formless, Look::Unknown, &text);
    }
    if let Some(frequency) = hum(&heard[0].0, listener.rate(), peak) {
        let text = "Mains hum: the lead hangs in the air.";
        return nothing(Signal::Hum { frequency }, Look::Nothing, text);
    }
    let steep = match heard.as_slice() {
        [(_, a), (_, b)] => steepness([a, b]),
        _ => Steep::Untold,
    };
    let score = |k: usize, h: &Heard| {
        let side = match steep {
            Steep::Told { steeper, factor } if steeper == k && factor > WEAKER => f64::INFINITY,
            Steep::Told { steeper, factor } if steeper == k => STEEPNESS * (factor - 1.0),
            Steep::Told { .. } | Steep::Untold => 0.0,
        };
        h.best() * h.rhythm.y.len() as f64 + side
    };
    if heard.len() > 1 && score(1, &heard[1].0) > score(0, &heard[0].0) {
        heard.swap(0, 1);
    }
    let first = &heard[0].0;
    let mut found = verdict(signal, first, listener.rate());
    found.sensor = Some(Sensor::Vr);
    let told =
        matches!(steep, Steep::Told { steeper, .. } if KINDS.get(steeper) == Some(&first.kind));
    found.edge_certainty = match (told, found.certainty) {
        (true, Certainty::Sure | Certainty::Likely) => Certainty::Sure,
        (true, Certainty::Unclear) | (false, Certainty::Sure | Certainty::Likely) => {
            Certainty::Likely
        }
        (false, Certainty::Unclear) => Certainty::Unclear,
    };
    if !told {
        found.certainty = found.certainty.min(Certainty::Likely);
        let text =
            "Both crossings are equally steep: which lies at the tooth's centre is not told.";
        found.remarks.push(text.to_owned());
    }
    found.polarity = (found.edge_certainty > Certainty::Unclear).then_some(match first.kind {
        EdgeKind::Falling => Polarity::Usual,
        EdgeKind::Rising => Polarity::Inverted,
    });
    if clipped {
        let text = "The signal reaches the ends of the input's range.";
        found.remarks.push(text.to_owned());
    }
    found
}

fn hum(heard: &Heard, rate: Hertz, peak: f64) -> Option<Hertz> {
    let frequency = rate.0 / heard.interval();
    let is_mains = MAINS
        .iter()
        .any(|m| (frequency / m - 1.0).abs() < MAINS_WITHIN);
    (is_mains && peak < HUM && is_even(heard)).then_some(Hertz(frequency))
}
