//! What the pin does when the driver opens.
//!
//! A coil carries its current on: into the driver's clamp (45 to 60 V: TLE8104E, TLE8102SG data sheets), for
//! (L/R)·ln(1 + I0·R/(Vclamp − Vb)), or through a diode to the supply, some 0.7 V above it, for long. What has no
//! inductance, or no current, leaves the pin at the supply at once.

use super::span::{self, Cut};
use crate::channel::Channel;
use crate::reading::Why;

/// A pin that rises by more than this above the supply, volts, is clamped and not led back by a diode, which takes
/// 0.5 to 1.2 V (from memory); the lowest clamps lie some 20 V above it.
const CLAMPED: f64 = 3.0;
/// A step down, volts, within the off time that shows the end of a diode's conduction: well above the noise of a mean
/// over some dozens of samples, half of the least drop of a diode.
const STEP: f64 = 0.25;
/// A pin at least this far above the supply lead, volts, while the driver is open is held there by a diode: half of its
/// drop; two probes that are each 1 % off differ by 0.28 V at 14 V.
const DIODE: f64 = 0.35;
/// Up to this it is at the supply; between the two it is not said.
const AT_SUPPLY: f64 = 0.2;
/// Fewest samples that a clamp's plateau must be expected to last for its absence to mean something.
const FEWEST: f64 = 3.0;
/// The flyback into 60 V lasts at least a quarter of a short conduction, by the volts and seconds of it (14 V against
/// 46 V); into a transistor that breaks through at 115 V an eighth.
const SHARE: f64 = 0.125;
/// Longer conduction adds no more current in a quick coil: one of 1 ms (valves have 1 to 5 ms, from memory).
const QUICK: f64 = 0.001;
/// The edge itself, seconds, and its ringing (a few microseconds; from memory).
const EDGE: f64 = 10e-6;

/// What one off time shows.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Shown {
    /// Clamped at so many volts.
    Clamped(f64),
    /// It is above the supply by far, but where cannot be said.
    Beyond(Why),
    /// A diode's drop above the supply, at so many volts.
    Diode(f64),
    /// At the supply at once.
    Flat,
    /// Cannot be said.
    Unclear(Why),
}

impl Shown {
    /// Whether something inductive carried current.
    pub fn answers(self) -> bool {
        matches!(self, Self::Clamped(_) | Self::Beyond(_) | Self::Diode(_))
    }
}

/// The off time of one period. `off_level` is where the pin stands without current, if that is known otherwise.
pub(super) fn shown(
    command: &Channel,
    supply: Option<&Channel>,
    cut: &Cut,
    rate: f64,
) -> Option<Shown> {
    let volts = |raw: f64| command.calibration.value(raw);
    let lead = span::index(EDGE * rate).max(1);
    let (from, to) = (cut.rise + lead, cut.end.saturating_sub(1));
    if to < from + 4 {
        return Some(Shown::Unclear(Why::TooFewSamples));
    }
    let raw = span::samples(command, from.saturating_sub(lead), to)?;
    let off_supply = supply.and_then(|s| span::mean(s, from, to));
    let late = {
        let mut tail: Vec<i16> = raw[raw.len() - raw.len().div_ceil(5)..].to_vec();
        let middle = tail.len() / 2;
        volts(f64::from(*tail.select_nth_unstable(middle).1))
    };
    // The supply cannot stand above what the pin falls to in the end, but for a flyback that fills the off time.
    let base = off_supply.unwrap_or(late);
    let skip = raw
        .iter()
        .take(2 * span_len(lead))
        .position(|&x| volts(f64::from(x)) > base + CLAMPED);
    if let Some(start) = skip {
        let run: Vec<i16> = raw[start..]
            .iter()
            .copied()
            .take_while(|&x| volts(f64::from(x)) > base + CLAMPED)
            .collect();
        return Some(plateau(command, run));
    }
    let flyback = SHARE * (cut.on() as f64).min(QUICK * rate);
    let early_to = span::between(from, to, 0.2)
        .max(from + 2)
        .min(from + cut.on());
    let early = span::mean(command, from, early_to.max(from + 1))?;
    let early_supply = supply.and_then(|s| span::mean(s, from, early_to.max(from + 1)));
    let over = early_supply.map(|s| early - s);
    let settles = early - late > STEP && early - late < CLAMPED;
    Some(match over {
        // Far from the supply it is no valve's pin; nothing is said of its flyback.
        Some(over) if over < -2.0 => Shown::Unclear(Why::NotEnoughYet),
        Some(over) if over > DIODE => Shown::Diode(early),
        None if settles => Shown::Diode(early),
        Some(_) if settles => Shown::Diode(early),
        _ if flyback < FEWEST => Shown::Unclear(Why::TooFewSamples),
        Some(over) if over < AT_SUPPLY => Shown::Flat,
        Some(_) => Shown::Unclear(Why::NotEnoughYet),
        None => Shown::Unclear(Why::NoLead),
    })
}

/// The level of a clamp from the samples above the supply, which end as its current does.
fn plateau(command: &Channel, mut run: Vec<i16>) -> Shown {
    let (lowest, highest) = command.calibration.ends();
    if run.iter().any(|&x| x >= highest || x <= lowest) {
        return Shown::Beyond(Why::Clipped);
    }
    if run.len() < 4 {
        return Shown::Beyond(Why::TooFewSamples);
    }
    let middle = run.len() / 2;
    let median = *run.select_nth_unstable(middle).1;
    Shown::Clamped(command.calibration.value(f64::from(median)))
}

fn span_len(n: u64) -> usize {
    usize::try_from(n).unwrap_or(usize::MAX)
}
