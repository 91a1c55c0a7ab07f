//! What a trial knows of its cam, and what it sees at one look.

use super::Measure;
use crate::engine::{CamSheet, EngineSheet, PhaserSheet};
use crate::repeats::Repeats;

/// Speeds about the idle zone of the sheet that count as idle: a cold engine idles half as fast again, a loaded one
/// lower (from memory).
const IDLE: [f64; 2] = [0.7, 1.5];
/// Supply for which the hold zone of the sheet is meant, volts: less supply needs more duty for the same current.
const NOMINAL: f64 = 13.5;

/// The cam under trial.
#[derive(Debug, Clone)]
pub(super) struct Setup {
    pub cam: CamSheet,
    pub phaser: Option<PhaserSheet>,
    /// Zone of idle speed, rpm.
    pub idle: [f64; 2],
    /// Speed to which the technician is asked to rev, rpm: where controllers usually drive their cams (from memory).
    pub rev: f64,
    pub oil: Option<f64>,
}

/// What is seen at one look.
#[derive(Debug, Clone, Copy)]
pub(super) struct Moment<'a> {
    /// Seconds.
    pub t: f64,
    pub rpm: f64,
    /// Percent; `None` while it is not known.
    pub duty: Option<f64>,
    pub supply: Option<f64>,
    /// Mean of the last cam revolution, advance positive.
    pub phase: f64,
    /// Cam edges since the last look.
    pub edges: &'a [(f64, f64)],
    /// Command periods since the last look.
    pub pulses: &'a [Pulse],
}

/// A stretch of time with one duty: a PWM period, or a pin that stands.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Pulse {
    pub start: f64,
    pub end: f64,
    pub duty: f64,
}

/// What the technician is told.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Guide {
    pub instruct: String,
    pub watching: String,
    pub progress: f64,
}

/// What came out.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Verdict {
    pub measures: Vec<Measure>,
    pub outcome: super::Outcome,
    pub sentence: String,
}

impl Setup {
    pub fn new(engine: &EngineSheet, cam: &CamSheet, oil: Option<f64>) -> Self {
        let idle = [engine.idle.low.0 * IDLE[0], engine.idle.high.0 * IDLE[1]];
        Self {
            cam: cam.clone(),
            phaser: cam.phaser.clone(),
            idle,
            rev: 100.0 * (25.0_f64).max((0.017 * idle[1]).ceil()),
            oil,
        }
    }

    pub fn is_idle(&self, rpm: f64) -> bool {
        (self.idle[0]..=self.idle[1]).contains(&rpm)
    }

    pub fn tolerance(&self) -> f64 {
        self.cam.tolerance.0.abs()
    }

    /// Edges in a cam revolution.
    pub fn edges(&self) -> usize {
        2 * self.cam.windows.len()
    }

    /// Slowest rate that counts as following, degrees a second; 0 without a phaser.
    pub fn slowest(&self) -> f64 {
        self.phaser.as_ref().map_or(0.0, |p| p.slowest.0.abs())
    }

    /// Longest time a drive over the whole travel may take, seconds.
    pub fn longest(&self) -> f64 {
        let travel = self.phaser.as_ref().map_or(0.0, |p| p.authority.0.abs());
        travel / self.slowest().max(1.0)
    }

    /// Whether the command lets the cam rest.
    pub fn rests(&self, duty: Option<f64>) -> bool {
        match (&self.phaser, duty) {
            (None, _) => true,
            (Some(p), Some(duty)) => duty < p.rest_below.0,
            (Some(_), None) => false,
        }
    }

    /// Degrees along the drive, away from rest positive.
    pub fn travel(&self, phase: f64) -> f64 {
        phase * self.phaser.as_ref().map_or(1.0, |p| p.rest.drive_sign())
    }

    /// Which way a duty must move the cam: 1 away from rest, -1 towards it, 0 in the hold zone.
    pub fn push(&self, duty: Option<f64>, supply: Option<f64>) -> f64 {
        let (Some(p), Some(duty)) = (&self.phaser, duty) else {
            return 0.0;
        };
        let share = supply.map_or(1.0, |v| NOMINAL / v.max(1.0));
        if duty > p.hold.high.0 * share.max(1.0) {
            1.0
        } else if duty < p.hold.low.0 * share.min(1.0) {
            -1.0
        } else {
            0.0
        }
    }

    /// Whether a position is at the stop that a push drives it to, as far as the sheet tells.
    pub fn at_stop(&self, travel: f64, push: f64) -> bool {
        let far = (self.phaser.as_ref()).map_or(0.0, |p| p.authority.0.abs() - self.tolerance());
        if push > 0.0 {
            travel >= far
        } else {
            travel <= self.tolerance()
        }
    }

    /// "the intake cam".
    pub fn name(&self) -> String {
        format!("the {} cam", self.cam.cam)
    }

    /// "with the oil at 85 °C", or that it was not given.
    pub fn oil_words(&self) -> String {
        match self.oil {
            Some(oil) => format!("with the oil at {oil:.0} °C"),
            None => "at an oil temperature that was not given".to_owned(),
        }
    }

    pub fn oil_measure(&self) -> Measure {
        match self.oil {
            Some(oil) => measure("oil temperature as given", oil, None, "°C"),
            None => missing("oil temperature", "°C", "not given"),
        }
    }
}

/// A figure.
pub(super) fn measure(name: &str, value: f64, uncertainty: Option<f64>, unit: &str) -> Measure {
    Measure {
        name: name.to_owned(),
        value: Some(value),
        uncertainty,
        unit: unit.to_owned(),
        why: String::new(),
    }
}

/// A figure that could not be measured.
pub(super) fn missing(name: &str, unit: &str, why: &str) -> Measure {
    Measure {
        name: name.to_owned(),
        value: None,
        uncertainty: None,
        unit: unit.to_owned(),
        why: why.to_owned(),
    }
}

/// The mean of repeats as a figure.
pub(super) fn mean(name: &str, values: &[f64], unit: &str, why: &str) -> Measure {
    match Repeats::of(values) {
        Some(r) => measure(name, r.mean, r.half_width(), unit),
        None => missing(name, unit, why),
    }
}

/// The first letter as a capital.
pub(super) fn sentence(text: &str) -> String {
    let mut letters = text.chars();
    let first = letters.next().map(|c| c.to_ascii_uppercase());
    first.into_iter().chain(letters).collect()
}

/// "12.3 ± 0.4".
pub(super) fn with_range(value: f64, half: Option<f64>) -> String {
    let value = (value * 10.0).round() / 10.0 + 0.0;
    match half {
        Some(half) => format!("{value:.1} ± {:.1}", half.max(0.05)),
        None => format!("{value:.1}"),
    }
}

/// Collects the mean phase of each cam revolution.
#[derive(Debug, Clone, Default)]
pub(super) struct Turns {
    open: Vec<f64>,
    pub means: Vec<f64>,
}

impl Turns {
    pub fn push(&mut self, edges: &[(f64, f64)], in_a_turn: usize) {
        for &(_, phase) in edges {
            self.open.push(phase);
            if self.open.len() >= in_a_turn.max(1) {
                self.means.extend(Repeats::of(&self.open).map(|r| r.mean));
                self.open.clear();
            }
        }
    }

    pub fn clear(&mut self) {
        self.open.clear();
        self.means.clear();
    }
}
