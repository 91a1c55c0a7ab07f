//! Readings of single leads: from counts and meters to numbers with their quality.

use crate::channel::Channel;
use crate::observation::CommandView;
use crate::proof::{GROUND, is_silent};
use crate::reading::{Reading, Why};
use crate::snapshot::CommandSnapshot;
use crate::units::{Amperes, Band, Hertz, Percent, SampleTime, Seconds, Volts};

/// Figures on the screen are means over this window.
pub const WINDOW: Seconds = Seconds(0.2);
/// The same in slices of 1/200 s.
pub const WINDOW_SLICES: usize = 40;
/// The judgement looks at the duty over a shorter window, so that it does not lag the position.
const QUICK: Seconds = Seconds(0.1);
/// A clamp that shows more than this proves that the valve is on.
const FLOWS: f64 = 0.2;
/// Least drop of a driver that carries a valve's full current: 0.18 Ω at 1 A (TLE8102SG data sheet, 25 °C).
const LOADED: f64 = 0.18;

/// Mean supply.
pub fn supply(channel: Option<&Channel>) -> Reading<Volts> {
    let Some(channel) = channel else {
        return Reading::Missing(Why::NoLead);
    };
    let Some(mean) = channel.mean(WINDOW_SLICES) else {
        return Reading::Missing(Why::NotEnoughYet);
    };
    if is_silent(channel, WINDOW_SLICES) {
        Reading::Missing(Why::Silent)
    } else if channel.is_clipped(WINDOW_SLICES) {
        Reading::Suspect(Volts(mean), Why::Clipped)
    } else {
        Reading::Valid(Volts(mean))
    }
}

/// Peak to peak of the supply, samples as they come.
pub fn ripple(channel: Option<&Channel>) -> Reading<Volts> {
    supply(channel).map(|_| {
        let [low, high] = channel
            .and_then(|c| c.range(WINDOW_SLICES))
            .unwrap_or([0.0, 0.0]);
        Volts(high - low)
    })
}

/// Supply steady enough to move the hold zone by.
pub fn steady_supply(channel: Option<&Channel>) -> Option<Volts> {
    supply(channel)
        .valid()
        .filter(|v| (6.0..=18.0).contains(&v.0))
}

/// The command to one actuator.
pub fn command(
    at: SampleTime,
    lead: Option<&Channel>,
    clamp: Option<&Channel>,
    hold: Option<Band<Percent>>,
) -> CommandSnapshot {
    let current = match clamp {
        None => Reading::Missing(Why::NoLead),
        Some(c) => match c.mean(WINDOW_SLICES) {
            None => Reading::Missing(Why::NotEnoughYet),
            Some(mean) if c.is_clipped(WINDOW_SLICES) => {
                Reading::Suspect(Amperes(mean), Why::Clipped)
            }
            Some(mean) => Reading::Valid(Amperes(mean)),
        },
    };
    let missing = |why| CommandSnapshot {
        duty: Reading::Missing(why),
        frequency: Reading::Missing(why),
        low: Reading::Missing(why),
        high: Reading::Missing(why),
        hold,
        current,
    };
    let Some((lead, meter)) = lead.and_then(|c| Some((c, c.meter()?))) else {
        return missing(Why::NoLead);
    };
    if let Some(duty) = meter.duty(at, WINDOW) {
        let level = |raw: Option<f64>| {
            raw.map_or(Reading::Missing(Why::NotEnoughYet), |raw| {
                Reading::Valid(Volts(lead.calibration.value(raw)))
            })
        };
        return CommandSnapshot {
            duty: Reading::Valid(duty.duty),
            frequency: Reading::Valid(duty.frequency),
            low: level(meter.low(at, WINDOW)),
            high: level(meter.high(at, WINDOW)),
            hold,
            current,
        };
    }
    let Some(mean) = lead.mean(WINDOW_SLICES / 2) else {
        return missing(Why::NotEnoughYet);
    };
    if !meter.is_still(at) {
        return missing(Why::NotEnoughYet);
    }
    if mean.abs() < GROUND && is_silent(lead, WINDOW_SLICES / 2) {
        return missing(Why::Silent);
    }
    let still = missing(Why::Static(mean));
    if mean < GROUND {
        CommandSnapshot {
            low: Reading::Valid(Volts(mean)),
            ..still
        }
    } else {
        CommandSnapshot {
            high: Reading::Valid(Volts(mean)),
            ..still
        }
    }
}

/// The command as the judgement sees it; `doubtful` while its lead is not proven. A pin that stands is explained only on
/// a lead that was seen to swing or was touched.
pub fn command_view(
    at: SampleTime,
    rate: Hertz,
    lead: Option<&Channel>,
    clamp: Option<&Channel>,
    doubtful: bool,
) -> CommandView {
    let Some((lead, meter)) = lead.and_then(|c| Some((c, c.meter()?))) else {
        return CommandView::NoLead;
    };
    if let Some(duty) = meter.duty(at, QUICK) {
        // No part is blamed through a lead that does not show what it should.
        return if doubtful {
            CommandView::Doubtful
        } else {
            CommandView::Duty(duty.duty)
        };
    }
    let (Some(mean), Some(first)) = (lead.mean(WINDOW_SLICES / 2), lead.first) else {
        return CommandView::Measuring;
    };
    let since = meter.last_edge().unwrap_or(first);
    if !meter.is_still(at) || at.since(since, rate).0 < QUICK.0 {
        return CommandView::Measuring;
    }
    if mean >= GROUND {
        return if doubtful {
            CommandView::Doubtful
        } else {
            CommandView::Stands(Volts(mean), since)
        };
    }
    if doubtful {
        return if is_silent(lead, WINDOW_SLICES / 2) {
            CommandView::Silent
        } else {
            CommandView::Doubtful
        };
    }
    let flows = clamp.and_then(|c| c.mean(WINDOW_SLICES / 2)).unwrap_or(0.0) > FLOWS;
    // Current in the coil, or the drop of a loaded driver on a lead seen to work: full drive.
    // At exactly zero volts a short to ground and a slipped lead would look the same.
    if flows || (lead.proven && mean > LOADED) {
        return CommandView::Duty(Percent(100.0));
    }
    if is_silent(lead, WINDOW_SLICES / 2) {
        CommandView::Silent
    } else {
        CommandView::Ground
    }
}
