//! What the sensor before a tone wheel gives at an angle and a speed.

use super::crankwheel::{CrankSensor, CrankWheel};
use super::fault::Fault;
use super::turn::{sine, wrapped};
use std::f64::consts::PI;

/// Rise and fall times of an open-collector output with its pull-up, seconds (assumed).
const RISE: f64 = 1.0e-6;
const FALL: f64 = 0.1e-6;
/// How far, in tooth pitches, the flux of a tooth without a neighbour reaches (assumed).
const REACH: f64 = 0.9;
/// A tooth lower than this part of a whole one does not switch a Hall sensor (assumed; the data sheet of
/// the ATS673 names 40 and 50 % of the field's swing as the points at which it switches).
const SWITCHES: f64 = 0.5;

/// A tooth as it stands.
#[derive(Debug, Clone, Copy)]
struct Tooth {
    /// Counted from 1; 0 of what is no tooth.
    number: usize,
    /// Crank degrees after tooth 1 of the sound wheel.
    at: f64,
    /// Part of a whole tooth's height.
    height: f64,
    /// Crank degrees for which it holds a Hall output low.
    width: f64,
}

/// The wheel with its sensor.
#[derive(Debug, Clone)]
pub(super) struct ToneWheel {
    plan: CrankWheel,
    period: f64,
    felt: f64,
    /// The sound teeth, and those that stand now, both in rising order.
    sound: Vec<Tooth>,
    teeth: Vec<Tooth>,
    /// What becomes of the teeth, with the time of each, in the order of time.
    harms: Vec<(f64, Fault)>,
    harmed: usize,
    /// The tooth that passed last; a guess to begin looking from.
    last: usize,
}

impl ToneWheel {
    pub fn new(plan: &CrankWheel, faults: &[Fault]) -> Self {
        let width = match plan.sensor {
            CrankSensor::Vr { .. } => 0.0,
            CrankSensor::Hall { tooth_width, .. } => tooth_width,
        };
        let widths = plan.widths(width);
        let tooth = |(n, (at, width))| Tooth {
            number: n + 1,
            at,
            height: 1.0,
            width,
        };
        let sound: Vec<Tooth> = plan
            .all_marks()
            .into_iter()
            .zip(widths)
            .enumerate()
            .map(tooth)
            .collect();
        let mut harms: Vec<(f64, Fault)> = (faults.iter())
            .filter_map(|f| Some((f.harms_tooth_after()?, f.clone())))
            .collect();
        harms.sort_by(|a, b| a.0.total_cmp(&b.0));
        let mut wheel = Self {
            plan: plan.clone(),
            period: plan.period(),
            felt: plan.felt(),
            teeth: sound.clone(),
            sound,
            harms,
            harmed: 0,
            last: 0,
        };
        wheel.settle(0.0);
        wheel
    }

    /// Harms the teeth whose time has come.
    pub fn settle(&mut self, time: f64) {
        while let Some((_, fault)) = self.harms.get(self.harmed).filter(|h| h.0 <= time) {
            let of = |number: usize| self.teeth.iter().position(|t| t.number == number);
            match *fault {
                Fault::ToothDamaged {
                    tooth,
                    height,
                    shift,
                    ..
                } => {
                    if let Some(n) = of(tooth) {
                        let t = &mut self.teeth[n];
                        // A lower tooth holds the output for a shorter time on either side.
                        let shorter = t.width * (1.0 - height) / 2.0;
                        t.height = height;
                        t.width = (t.width - 2.0 * shorter).max(0.0);
                        t.at = (t.at + shift + shorter).rem_euclid(self.period);
                    }
                }
                Fault::ToothMissing { tooth, .. } => {
                    if let Some(n) = of(tooth) {
                        let _ = self.teeth.remove(n);
                    }
                }
                Fault::ToothExtra { at, height, .. } => {
                    let width = self.sound[0].width * height;
                    self.teeth.push(Tooth {
                        number: 0,
                        at,
                        height,
                        width,
                    });
                }
                _ => {}
            }
            if let CrankSensor::Hall { .. } = self.plan.sensor {
                self.teeth.retain(|t| t.height >= SWITCHES);
            }
            self.teeth.sort_by(|a, b| a.at.total_cmp(&b.at));
            self.last = 0;
            self.harmed += 1;
        }
    }

    /// Volts at crank `angle` (degrees after TDC 1) and `speed` (degrees per second, negative backwards).
    /// `early` is how far the wheel has slipped ahead.
    pub fn volts(&mut self, angle: f64, speed: f64, early: f64) -> f64 {
        let mut on_wheel = wrapped(angle + self.plan.gap_to_tdc + early, self.period);
        if self.plan.wobble > 0.0 {
            let error = self.plan.wobble * sine(on_wheel / self.period);
            on_wheel = wrapped(on_wheel + error, self.period);
        }
        let Some((before, after, since, pitch)) = self.between(on_wheel) else {
            return match self.plan.sensor {
                CrankSensor::Vr { .. } => 0.0,
                CrankSensor::Hall { high, .. } => high,
            };
        };
        match self.plan.sensor {
            CrankSensor::Vr {
                volts_per_rpm,
                runout,
                inverted,
            } => {
                let sign = if inverted { -1.0 } else { 1.0 };
                let eccentric = 1.0 + runout * sine(on_wheel / self.period);
                let slope = flux_slope(since, pitch, self.felt, [before.height, after.height]);
                sign * volts_per_rpm * speed / 6.0 * eccentric * slope
            }
            CrankSensor::Hall { low, high, .. } => {
                // Backwards the same edges are passed from their other side.
                let covered = since < before.width;
                let passed = match (covered, speed >= 0.0) {
                    (true, true) => since,
                    (true, false) => before.width - since,
                    (false, true) => since - before.width,
                    (false, false) => pitch - since,
                };
                hall(!covered, low, high, passed / speed.abs().max(1e-9))
            }
        }
    }

    /// The teeth on either side, crank degrees since the one before, and their distance.
    fn between(&mut self, on_wheel: f64) -> Option<(Tooth, Tooth, f64, f64)> {
        let count = self.teeth.len();
        let holds = |n: usize| {
            self.teeth[n].at <= on_wheel && self.teeth.get(n + 1).is_none_or(|t| on_wheel < t.at)
        };
        if count == 0 {
            return None;
        }
        if !holds(self.last) {
            let next = (self.last + 1) % count;
            self.last = if holds(next) {
                next
            } else {
                let after = self.teeth.partition_point(|t| t.at <= on_wheel);
                after.checked_sub(1).unwrap_or(count - 1)
            };
        }
        let before = self.teeth[self.last];
        let around = |degrees: f64| {
            if degrees < 0.0 {
                degrees + self.period
            } else {
                degrees
            }
        };
        let after = self.teeth[(self.last + 1) % count];
        let pitch = around(after.at - before.at);
        let pitch = if pitch > 0.0 { pitch } else { self.period };
        Some((before, after, around(on_wheel - before.at), pitch))
    }
}

/// Slope of the flux over the angle between two teeth, peak 1 in a row of whole teeth: it falls through
/// zero in the middle of each tooth. `felt` is the pitch of that row.
fn flux_slope(since: f64, pitch: f64, felt: f64, heights: [f64; 2]) -> f64 {
    if pitch < 2.0 * REACH * felt {
        // Teeth that lie closer swing the flux less, in shorter time: no more than in the row.
        let height = heights[usize::from(since >= pitch / 2.0)];
        return -height * (felt / pitch).min(1.0) * sine(since / pitch);
    }
    let (left, right) = (since / felt, (pitch - since) / felt);
    if left < REACH {
        -heights[0] * flank(left)
    } else if right < REACH {
        heights[1] * flank(right)
    } else {
        0.0
    }
}

/// Slope of the flux on the side of a tooth that has no neighbour: as in the row up to its peak,
/// then dying away over the width of the gap.
fn flank(x: f64) -> f64 {
    if x < 0.25 {
        sine(x)
    } else {
        0.5 * (1.0 + ((x - 0.25) / (REACH - 0.25) * PI).cos())
    }
}

/// An output that has been on its way `from` one level `to` another for some time.
fn settle(from: f64, to: f64, since: f64, constant: f64) -> f64 {
    let x = since / constant;
    if x > 20.0 {
        to
    } else {
        to + (from - to) * (-x.max(0.0)).exp()
    }
}

/// A Hall switch's output `since` seconds after it changed.
pub(super) fn hall(open: bool, low: f64, high: f64, since: f64) -> f64 {
    if open {
        settle(low, high, since, RISE)
    } else {
        settle(high, low, since, FALL)
    }
}

#[cfg(test)]
mod tests;
