//! What really happened in the simulated engine, for tests. No analysis ever sees it.

use super::blueprint::Cam;
use std::collections::VecDeque;

/// Where a phaser stands.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum Stop {
    /// Within half a degree of where it rests; a cam without a phaser always.
    #[default]
    Rest,
    /// Between its stops.
    Between,
    /// Within half a degree of the other stop.
    Full,
}

/// One cam at an instant. All phases in crank degrees, advance positive.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct CamTruth {
    /// Phase of the cam itself against a good engine's at rest, a chain jump included.
    pub phase: f64,
    /// Phase that a perfect measurement of crank and cam marks would show; differs when a tone wheel
    /// has moved on its shaft.
    pub shown: f64,
    /// Rate of the phase, crank degrees per second.
    pub rate: f64,
    /// Phase the controller wants, against rest.
    pub target: f64,
    /// Duty the controller asked for in the present PWM period, percent.
    pub wanted_duty: f64,
    /// Duty at the pin (t_low / T) in the present PWM period, percent.
    pub delivered_duty: f64,
    /// Duty that the coil feels in the present PWM period, percent: 0 with a broken wire, 100 with a short
    /// to ground.
    pub driving_duty: f64,
    /// Current through the coil, amperes.
    pub coil_current: f64,
    /// Whether what the controller asks for in the present PWM period is what the coil feels. A controller
    /// that asks for nothing always has its way unless something else drives the coil.
    pub reaches_coil: bool,
    /// Duty that would hold the phaser now, percent.
    pub hold_duty: f64,
    /// Half width of the band around it in which the phaser stands still, percentage points.
    pub hold_band: f64,
    /// Largest rate at which the phaser can move now, crank degrees per second.
    pub largest_rate: f64,
    /// The stop at which the phaser stands.
    pub stop: Stop,
    /// Whether the lock pin holds it.
    pub locked: bool,
    /// Whether the command has been driving it away from where it is, more than 12 points beyond the
    /// hold duty and not against an end stop, for longer than 0.25 s while it moved less than 1°.
    pub disagrees: bool,
}

/// The engine at an instant.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Truth {
    /// Seconds since the first sample at the present rate.
    pub time: f64,
    /// Crank degrees after firing TDC of cylinder 1, unwrapped; falls while the crank turns back.
    pub angle: f64,
    /// Instantaneous speed, rpm; negative while the crank turns back.
    pub rpm: f64,
    /// Manifold pressure, kPa.
    pub manifold: f64,
    /// Oil temperature, °C.
    pub oil: f64,
    /// Mean supply voltage.
    pub supply: f64,
    /// Bit n is set while the fault at place n of the scenario acts, see [`Truth::acts`].
    pub acting: u64,
    /// Intake, exhaust.
    pub cams: [CamTruth; 2],
}

impl Truth {
    /// Whether the crank turns against its usual direction.
    pub fn is_backwards(&self) -> bool {
        self.rpm < 0.0
    }

    /// Crank angle in [0, 720) after firing TDC of cylinder 1.
    pub fn crank_angle(&self) -> f64 {
        self.angle.rem_euclid(720.0)
    }

    /// Whether the fault at this place of the scenario (counted from 0, up to 63) acts.
    pub fn acts(&self, place: u32) -> bool {
        self.acting.checked_shr(place).unwrap_or(0) & 1 == 1
    }

    /// One cam.
    pub fn cam(&self, cam: Cam) -> &CamTruth {
        &self.cams[cam.index()]
    }
}

/// A stretch of time in which command and position grossly disagreed, seconds since the first sample.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Disagreement {
    /// Which cam.
    pub cam: Cam,
    /// When it began: the command was out of the hold band and the cam did not move any more.
    pub from: f64,
    /// When it ended, if it has.
    pub to: Option<f64>,
}

/// A stretch of time in which the controller asked for something that did not reach the coil, seconds since
/// the first sample. Its ends are those of PWM periods or of the fault.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CommandLoss {
    /// Which cam.
    pub cam: Cam,
    /// When it began.
    pub from: f64,
    /// When it ended, if it has.
    pub to: Option<f64>,
}

/// The log of one instant each millisecond, as long as it is asked to be.
#[derive(Debug, Clone)]
pub(super) struct Log {
    records: VecDeque<Truth>,
    most: usize,
}

impl Log {
    pub fn new(most: usize) -> Self {
        Self {
            records: VecDeque::new(),
            most: most.max(2),
        }
    }

    pub fn push(&mut self, truth: Truth) {
        if self.records.len() == self.most {
            let _ = self.records.pop_front();
        }
        self.records.push_back(truth);
    }

    /// The instant `time`, interpolated between its neighbours: the angle by a cubic through angles and
    /// speeds (error below 0.001° at any speed of an engine), the rest linearly or as last set.
    pub fn at(&self, time: f64) -> Option<Truth> {
        let after = self.records.partition_point(|r| r.time <= time);
        if after == 0 {
            return None;
        }
        let a = self.records[after - 1];
        let Some(b) = self.records.get(after) else {
            return (time - a.time < 1e-9).then_some(a);
        };
        let h = b.time - a.time;
        let x = (time - a.time) / h;
        let line = |p: f64, q: f64| p + (q - p) * x;
        let (m0, m1) = (a.rpm * 6.0 * h, b.rpm * 6.0 * h);
        let (x2, x3) = (x * x, x * x * x);
        let angle = a.angle
            + (x3 - 2.0 * x2 + x) * m0
            + (3.0 * x2 - 2.0 * x3) * (b.angle - a.angle)
            + (x3 - x2) * m1;
        let mut cams = a.cams;
        for (cam, next) in cams.iter_mut().zip(&b.cams) {
            cam.phase = line(cam.phase, next.phase);
            cam.shown = line(cam.shown, next.shown);
        }
        Some(Truth {
            time,
            angle,
            rpm: line(a.rpm, b.rpm),
            manifold: line(a.manifold, b.manifold),
            oil: line(a.oil, b.oil),
            supply: line(a.supply, b.supply),
            acting: a.acting,
            cams,
        })
    }
}

/// Watches one cam for gross disagreement.
#[derive(Debug, Clone)]
pub(super) struct Watch {
    since: f64,
    at: f64,
    side: f64,
    /// The onset, once it has lasted.
    pub onset: Option<f64>,
}

impl Watch {
    pub const NEW: Self = Self {
        since: f64::INFINITY,
        at: 0.0,
        side: 0.0,
        onset: None,
    };

    /// `beyond`: duty less hold duty; `travel` from rest; `at_stop`: against the stop it is driven to.
    pub fn step(&mut self, time: f64, beyond: f64, travel: f64, at_stop: bool) {
        const BEYOND: f64 = 12.0;
        const LASTING: f64 = 0.25;
        const MOVED: f64 = 1.0;
        let side = if beyond.abs() < BEYOND {
            0.0
        } else {
            beyond.signum()
        };
        let moved = (travel - self.at) * side >= MOVED;
        if side * self.side < 0.5 || at_stop || moved {
            self.since = time;
            self.at = travel;
            self.side = side;
            self.onset = None;
        } else if time - self.since > LASTING {
            self.onset = Some(self.since);
        }
    }
}
