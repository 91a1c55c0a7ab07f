//! The scope's ground. Without it every lead carries the same disturbance: mains hum, or one offset on all levels.

use super::Scene;
use super::mains::Hum;
use crate::channel::Channel;
use crate::lead::Role;

/// Least hum, volts, on a lead that is fed with a level: with the ground in place it is millivolts (from memory).
const HUM: f64 = 0.4;
/// Hum makes up at least this share of what moves on a lead that should stand still.
const SHARE: f64 = 0.5;
/// Two leads carry the same hum when they differ by less than this part of it; their own signals leave something there.
const SAME: f64 = 0.5;
/// Lows of two switched leads this far from ground, volts, the same way, are not their own: a driver and a sensor pull
/// their line below a volt (TLE8104E, ATS673 data sheets), and a joint loses tenths.
const OFF: f64 = 1.2;
/// No switched line and no supply goes below this, volts: diodes in every driver stop it.
const BELOW: f64 = -0.9;
/// Hum, volts, that rides on a signal which moves by itself.
const RIDES: f64 = 0.5;
/// Share of the last second's slices in which it must; a spike in each would need 200 a second.
const LOWER: f64 = 0.1;
/// Noise of an input, volts peak to peak: some counts of a range of 80 V.
const NOISE: f64 = 0.3;
/// Share of the slices that must be so: a command that has only just begun to switch counts at once; where spikes come in
/// more slices than that, hum on this lead goes unseen.
const SWITCHED: f64 = 0.05;
/// Slices looked at.
const SECOND: usize = 200;

/// What shows that the ground is missing, in words; `None` when nothing does.
pub(super) fn floats(scene: &Scene<'_>) -> Option<String> {
    let leads: Vec<&Channel> = (scene.channels.iter())
        .filter(|c| {
            let voltage = matches!(c.role, Role::Cam(_) | Role::Command(_) | Role::Supply);
            voltage && !super::is_silent(c, SECOND / 4)
        })
        .collect();
    hum(&leads)
        .or_else(|| offset(&leads))
        .or_else(|| below(&leads))
}

fn hum(leads: &[&Channel]) -> Option<String> {
    let hums: Vec<(&Channel, Hum)> = (leads.iter())
        .filter_map(|c| Some((*c, Hum::of(&c.means(SECOND / 2))?)))
        .filter(|(_, h)| h.volts > HUM)
        .collect();
    let steady = |c: &Channel, h: &Hum| {
        !matches!(c.role, Role::Cam(_)) && h.share > SHARE && !is_switched(c, h)
    };
    let (first, h) = hums.iter().find(|(c, h)| steady(c, h))?;
    let same = |a: &Hum, b: &Hum| {
        let [x, y] = [a.phasor[0] - b.phasor[0], a.phasor[1] - b.phasor[1]];
        (a.hertz - b.hertz).abs() < 1.0 && x.hypot(y) < SAME * a.volts
    };
    let others = hums
        .iter()
        .any(|(c, other)| c.role != first.role && same(h, other));
    others.then(|| format!("{:.1} V of {:.0} Hz hum on several leads", h.volts, h.hertz))
}

/// Low levels that are off the same way.
fn offset(leads: &[&Channel]) -> Option<String> {
    let mut lows: Vec<f64> = (leads.iter())
        .filter(|c| c.role != Role::Supply)
        .filter_map(|c| c.states())
        // A wrong probe factor stretches a level; a missing ground moves both.
        .filter(|[low, high]| low.abs() > OFF && (2.5..40.0).contains(&(high - low)))
        .map(|[low, _]| low)
        .collect();
    lows.sort_by(f64::total_cmp);
    let pair = lows.windows(2).find(|w| {
        w[0] * w[1] > 0.0 && (w[0] - w[1]).abs() < 0.3 * w[0].abs().max(w[1].abs()).max(1.0)
    })?;
    let mean = 0.5 * (pair[0] + pair[1]);
    // Upwards, a tenfold factor looks the same; only downwards there is no other reason.
    (mean < 0.0).then(|| format!("all levels are off by {mean:.1} V"))
}

/// Levels below ground on two leads.
fn below(leads: &[&Channel]) -> Option<String> {
    let low = |c: &&&Channel| is_below(&c.means(SECOND));
    (leads.iter().filter(low).count() >= 2)
        .then(|| "levels below ground on several leads".to_owned())
}

fn is_below(values: &[f64]) -> bool {
    let under = values.iter().filter(|m| **m < BELOW).count();
    under as f64 > LOWER * SECOND as f64
}

/// What shows that the ground of this one lead is missing.
pub(super) fn hums(channel: &Channel) -> Option<String> {
    let means = channel.means(SECOND);
    let hum = Hum::of(&means)?;
    // A lead that shows the hum alone is off.
    let [low, high] = channel.range(SECOND / 2)?;
    if super::is_silent(channel, SECOND / 4) && high - low < 3.0 * hum.volts + 0.5 {
        return None;
    }
    let (is_found, hum) = match channel.role {
        // Teeth pass by many a slice, so that their mean is steady; a slow starter's are small.
        Role::Crank => (hum.volts > RIDES && hum.share > SHARE, hum),
        Role::Supply => (
            hum.volts > HUM && hum.share > SHARE && !is_switched(channel, &hum),
            hum,
        ),
        Role::Cam(_) => (hum.volts > RIDES && is_below(&means), hum),
        // What a pin does within a period must not count: its lowest level in each slice is the driver's.
        Role::Command(_) => {
            let lows: Vec<f64> = channel.spans(SECOND).map(|[low, _]| low).collect();
            let rides = Hum::of(&lows)?;
            if is_switched(channel, &hum) {
                (
                    rides.volts > RIDES && rides.share > 0.3 && is_below(&lows),
                    rides,
                )
            } else {
                (hum.volts > HUM && hum.share > SHARE, hum)
            }
        }
        Role::Current(_) | Role::StarterCurrent | Role::Pressure | Role::Spare => return None,
    };
    is_found.then(|| format!("{:.1} V of {:.0} Hz hum rides on it", hum.volts, hum.hertz))
}

/// Whether it moves within its slices by more than the hum does in a quarter of its period, 1.41 times the amplitude;
/// what is switched at some multiple of the slices leaves a beat in their means.
fn is_switched(channel: &Channel, hum: &Hum) -> bool {
    let most = 1.5 * hum.volts + NOISE;
    let within = (channel.spans(SECOND)).filter(|[low, high]| high - low > most);
    within.count() as f64 > SWITCHED * channel.spans(SECOND).count() as f64
}
