//! The tone wheel of the crank and what its sensor gives at an angle and a speed.

use super::blueprint::{CrankSensor, CrankWheel};

/// Rise and fall times of an open-collector output with its pull-up, seconds (assumed).
const RISE: f64 = 1.0e-6;
const FALL: f64 = 0.1e-6;
/// How far, in tooth pitches, the flux of the last tooth reaches into the gap (assumed).
const REACH: f64 = 0.9;

/// The wheel with its sensor.
#[derive(Debug, Clone)]
pub(super) struct ToneWheel {
    plan: CrankWheel,
    pitch: f64,
}

impl ToneWheel {
    pub fn new(plan: &CrankWheel) -> Self {
        Self {
            plan: plan.clone(),
            pitch: 360.0 / f64::from(plan.teeth),
        }
    }

    /// Volts at crank `angle` (degrees after TDC 1) and `speed` (degrees per second).
    /// `early` is how far the wheel has slipped ahead.
    pub fn volts(&self, angle: f64, speed: f64, early: f64) -> f64 {
        let on_wheel = (angle + self.plan.gap_to_tdc + early).rem_euclid(360.0);
        match self.plan.sensor {
            CrankSensor::Vr {
                volts_per_rpm,
                runout,
                inverted,
            } => {
                let sign = if inverted { -1.0 } else { 1.0 };
                let eccentric = 1.0 + runout * on_wheel.to_radians().sin();
                sign * volts_per_rpm * speed / 6.0 * eccentric * self.flux_slope(on_wheel)
            }
            CrankSensor::Hall {
                low,
                high,
                tooth_width,
            } => {
                let tooth = (on_wheel / self.pitch).floor();
                let since = on_wheel - tooth * self.pitch;
                let there = tooth < f64::from(self.plan.teeth - self.plan.missing);
                let (from, to, passed, constant) = if there && since < tooth_width {
                    (high, low, since, FALL)
                } else if there {
                    (low, high, since - tooth_width, RISE)
                } else {
                    return high;
                };
                settle(from, to, passed / speed.max(1e-9), constant)
            }
        }
    }

    /// Slope of the flux over the angle, peak 1: falls through zero in the middle of each tooth.
    fn flux_slope(&self, on_wheel: f64) -> f64 {
        let pitches = on_wheel / self.pitch;
        let present = f64::from(self.plan.teeth - self.plan.missing);
        let nearest = pitches.round();
        let x = pitches - nearest;
        if nearest < present - 1.0 && nearest > 0.0 {
            return -(x * std::f64::consts::TAU).sin();
        }
        // Round to the last tooth or the first, whichever the angle is next to.
        let after_last = pitches - (present - 1.0);
        let before_first = f64::from(self.plan.teeth) - pitches;
        if pitches < 0.5 {
            -(pitches * std::f64::consts::TAU).sin()
        } else if after_last < 0.0 {
            -(after_last * std::f64::consts::TAU).sin()
        } else if after_last < REACH {
            -flank(after_last)
        } else if before_first < REACH {
            flank(before_first)
        } else {
            0.0
        }
    }
}

/// Slope of the flux on the side of a tooth that has no neighbour: as in the row up to its peak,
/// then dying away over the width of the gap.
fn flank(x: f64) -> f64 {
    if x < 0.25 {
        (x * std::f64::consts::TAU).sin()
    } else {
        0.5 * (1.0 + ((x - 0.25) / (REACH - 0.25) * std::f64::consts::PI).cos())
    }
}

/// An output that has been on its way `from` one level `to` another for some time.
pub(super) fn settle(from: f64, to: f64, since: f64, constant: f64) -> f64 {
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
mod tests {
    use super::*;

    fn wheel(teeth: u16, missing: u16) -> ToneWheel {
        let sensor = CrankSensor::Vr {
            volts_per_rpm: 0.005,
            runout: 0.0,
            inverted: false,
        };
        ToneWheel::new(&CrankWheel {
            teeth,
            missing,
            gap_to_tdc: 108.0,
            sensor,
        })
    }

    #[test]
    fn the_voltage_falls_through_zero_in_the_middle_of_every_tooth() {
        let w = wheel(60, 2);
        for tooth in 0..58 {
            let middle = f64::from(tooth) * 6.0 - 108.0;
            let v = |off: f64| w.volts(middle + off, 6000.0, 0.0);
            assert!(v(0.0).abs() < 1e-9, "tooth {tooth}");
            assert!(v(-0.01) > 0.0 && v(0.01) < 0.0, "tooth {tooth}");
            // The zero crossing is equally steep on both sides, in the row and at the gap.
            assert!((v(-0.01) + v(0.01)).abs() < 1e-6, "tooth {tooth}");
        }
    }

    #[test]
    fn the_gap_is_flat_and_amplitude_follows_speed() {
        let w = wheel(60, 2);
        assert!(w.volts(57.0 * 6.0 + 9.0 - 108.0, 6000.0, 0.0).abs() < 1e-12);
        let peak = |speed: f64| w.volts(10.0 * 6.0 - 1.5 - 108.0, speed, 0.0);
        assert!((peak(6.0 * 6000.0) - 30.0).abs() < 1e-9);
        assert!((peak(6.0 * 200.0) - 1.0).abs() < 1e-9);
    }

    /// 36-1: every mark 10 degrees after the last, one of 20; low for half of each pitch.
    #[test]
    fn a_hall_output_falls_at_each_mark_and_stays_high_in_the_gap() {
        let sensor = CrankSensor::Hall {
            low: 0.2,
            high: 5.0,
            tooth_width: 5.0,
        };
        let plan = CrankWheel {
            teeth: 36,
            missing: 1,
            gap_to_tdc: 84.0,
            sensor,
        };
        let w = ToneWheel::new(&plan);
        for tooth in 0..36 {
            let mark = f64::from(tooth) * 10.0 - 84.0;
            let v = |off: f64| w.volts(mark + off, 6000.0, 0.0);
            let inside = if tooth < 35 { 0.2 } else { 5.0 };
            assert!((v(-0.5) - 5.0).abs() < 1e-6, "before {tooth}");
            assert!(
                (v(2.5) - inside).abs() < 1e-6 && (v(7.5) - 5.0).abs() < 1e-6,
                "at {tooth}"
            );
        }
        // One time constant (1 µs, 0.006 degrees at this speed) after the rise 63 % of it is done.
        let rising = w.volts(5.006 - 84.0, 6000.0, 0.0);
        assert!((rising - (0.2 + 4.8 * (1.0 - (-1.0_f64).exp()))).abs() < 1e-6);
    }
}
