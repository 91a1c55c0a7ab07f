//! Engine speed from the angle travelled between teeth.

use crate::teeth::Teeth;
use crate::units::{Hertz, Rpm, Seconds};

/// Mean speed up to the last tooth over at least `window`, rounded up to whole revolutions: the
/// same tooth at both ends cancels the wheel's own error, and a whole revolution most of the
/// firing ripple. `None` until one revolution is known. With fewer revolutions than the window
/// asks for, over those there are.
///
/// Speed in rpm is degrees / 6 / seconds.
pub(crate) fn mean(teeth: &Teeth, window: Seconds, rate: Hertz) -> Option<Rpm> {
    let last = teeth.last()?;
    let goal = teeth
        .before(last.at - window.0 * rate.0)
        .or(teeth.first())?;
    let mut turns = ((last.angle - goal.angle - 1e-6) / 360.0).ceil().max(1.0);
    let available = ((last.angle - teeth.first()?.angle) / 360.0 + 1e-9).floor();
    if available < 1.0 {
        return None;
    }
    turns = turns.min(available);
    between(teeth, turns * 360.0, rate)
}

/// Speed over the last tooth interval.
pub(crate) fn tooth(teeth: &Teeth, rate: Hertz) -> Option<Rpm> {
    let last = teeth.last()?;
    let before = teeth.before(last.at - 0.5)?;
    rpm(last.angle - before.angle, last.at - before.at, rate)
}

/// Speed over the last `degrees`, a multiple of 360.
pub(crate) fn between(teeth: &Teeth, degrees: f64, rate: Hertz) -> Option<Rpm> {
    let last = teeth.last()?;
    let from = last.angle - degrees;
    // The tooth itself where it was seen; where it was missed, the instant at which it would have been.
    let start = teeth
        .at_angle(from)
        .map(|t| t.at)
        .or_else(|| teeth.time_at(from))?;
    rpm(degrees, last.at - start, rate)
}

fn rpm(degrees: f64, samples: f64, rate: Hertz) -> Option<Rpm> {
    (samples > 0.0).then(|| Rpm(degrees * rate.0 / (6.0 * samples)))
}
