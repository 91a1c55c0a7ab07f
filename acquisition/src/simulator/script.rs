//! What the driver does: a list of segments, and what it asks at a time.

use super::bounds;
use serde::Deserialize;

const fn usual_ramp() -> f64 {
    2500.0
}

/// One stretch of the driver's script.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(tag = "kind", rename_all = "lowercase", deny_unknown_fields)]
pub enum Segment {
    /// Ignition on, engine standing (or running out).
    Stopped {
        /// Duration.
        #[serde(deserialize_with = "bounds::positive")]
        seconds: f64,
    },
    /// Starter engaged, no fuel.
    Crank {
        /// Duration.
        #[serde(deserialize_with = "bounds::positive")]
        seconds: f64,
    },
    /// Starter engaged with fuel until the engine runs, then idle.
    Start {
        /// Duration.
        #[serde(deserialize_with = "bounds::positive")]
        seconds: f64,
    },
    /// Governed idle.
    Idle {
        /// Duration.
        #[serde(deserialize_with = "bounds::positive")]
        seconds: f64,
    },
    /// The driver holds a speed with the throttle.
    Speed {
        /// The speed.
        #[serde(deserialize_with = "bounds::engine_speed")]
        rpm: f64,
        /// Duration, the way there included.
        #[serde(deserialize_with = "bounds::positive")]
        seconds: f64,
        /// How fast the driver changes speed, rpm per second.
        #[serde(default = "usual_ramp", deserialize_with = "bounds::positive")]
        ramp: f64,
        /// Load at the flywheel, Nm.
        #[serde(default, deserialize_with = "bounds::not_negative")]
        load: f64,
    },
    /// The driver holds the throttle open by a fraction.
    Throttle {
        /// Fraction of the full opening.
        #[serde(deserialize_with = "bounds::fraction")]
        opening: f64,
        /// Duration.
        #[serde(deserialize_with = "bounds::positive")]
        seconds: f64,
        /// Load at the flywheel, Nm.
        #[serde(default, deserialize_with = "bounds::not_negative")]
        load: f64,
    },
    /// A dynamometer drives the crank at a speed that goes in a straight line, with ripple on it; backwards
    /// where the speed is negative. Speed = line · (1 + Σ depth/2 · sin(order · crank angle)).
    Profile {
        /// Speed at the start, rpm.
        #[serde(deserialize_with = "bounds::signed_speed")]
        from: f64,
        /// Speed at the end, rpm.
        #[serde(deserialize_with = "bounds::signed_speed")]
        to: f64,
        /// Duration.
        #[serde(deserialize_with = "bounds::positive")]
        seconds: f64,
        /// [order, depth]: swings per crank turn, and their size from peak to peak over the mean. Half
        /// the number of cylinders is the order of their compressions.
        #[serde(default, deserialize_with = "bounds::ripple")]
        ripple: Vec<[f64; 2]>,
    },
    /// A dynamometer holds exactly this speed, without any ripple.
    Fixed {
        /// The speed.
        #[serde(deserialize_with = "bounds::engine_speed")]
        rpm: f64,
        /// Duration.
        #[serde(deserialize_with = "bounds::positive")]
        seconds: f64,
    },
}

impl Segment {
    /// Duration in seconds.
    pub fn seconds(&self) -> f64 {
        match *self {
            Self::Stopped { seconds }
            | Self::Crank { seconds }
            | Self::Start { seconds }
            | Self::Idle { seconds }
            | Self::Speed { seconds, .. }
            | Self::Throttle { seconds, .. }
            | Self::Profile { seconds, .. }
            | Self::Fixed { seconds, .. } => seconds,
        }
    }
}

/// Walks through the segments as time passes.
#[derive(Debug, Clone)]
pub(super) struct Script {
    segments: Vec<Segment>,
    repeat_from: Option<usize>,
    at: usize,
    begins: f64,
    ends: f64,
    entered: u64,
}

/// What is asked at an instant.
#[derive(Debug, Clone, Copy)]
pub(super) struct Asked<'a> {
    /// The segment in force.
    pub segment: &'a Segment,
    /// Changes whenever a new one begins.
    pub number: u64,
    /// Seconds since it began; not below 0, also while the engine warms up.
    pub elapsed: f64,
}

impl Script {
    pub fn new(segments: &[Segment], repeat_from: Option<usize>) -> Self {
        let ends = segments.first().map_or(f64::INFINITY, Segment::seconds);
        Self {
            segments: segments.to_vec(),
            repeat_from,
            at: 0,
            begins: 0.0,
            ends,
            entered: 0,
        }
    }

    /// What is asked at a time, which must not go back.
    pub fn at(&mut self, time: f64) -> Asked<'_> {
        while time >= self.ends {
            if self.at + 1 < self.segments.len() {
                self.at += 1;
            } else if let Some(from) = self.repeat_from {
                self.at = from - 1;
            } else {
                self.ends = f64::INFINITY;
                break;
            }
            self.begins = self.ends;
            self.ends += self.segments[self.at].seconds();
            self.entered += 1;
        }
        Asked {
            segment: &self.segments[self.at],
            number: self.entered,
            elapsed: (time - self.begins).max(0.0),
        }
    }
}
