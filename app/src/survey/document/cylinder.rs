//! The cylinders in the document.

use super::Known;
use keyway_analysis::ripple::{
    CrankingEnd, CylinderView, LIMITS, RelativeCompression, RunningBalance, Share,
};
use keyway_analysis::units::SampleTime;
use schemars::JsonSchema;
use serde::Serialize;

/// The cylinders compared with each other, by the ripple of the crank's speed; the latest comparison
/// of the stream. Even firing is assumed.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct Cylinders {
    /// Contribution of each while the engine idles.
    pub contribution: Known<Contribution>,
    /// Relative compression while the starter turns the engine.
    pub compression: Known<Compression>,
    /// What such figures cannot show, in a sentence.
    pub limits: &'static str,
}

/// How evenly the cylinders work.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct Contribution {
    /// End of the last cycle it rests on, seconds.
    pub seconds: f64,
    /// Cycles it rests on.
    pub cycles: usize,
    /// Mean speed over them, rpm.
    pub speed_rpm: f64,
    /// The cylinders in firing order; 100 % is the mean, and one that takes more work than it gives
    /// lies below 0.
    pub cylinders: Vec<Cylinder>,
    /// Those that contribute clearly less, as places in the list of cylinders, from 0.
    pub weak: Vec<usize>,
    /// Which of the weak ones could also be unevenly spaced teeth of the crank wheel.
    pub perhaps_the_wheel: Vec<usize>,
    /// Harmonics of the speed, by their order per crank revolution.
    pub harmonics: Vec<Order>,
    /// The cylinder to which order 0.5 points, as a place in the list; null if it does not stand out
    /// of its scatter.
    pub half_order_points_to: Option<usize>,
}

/// One harmonic of the speed.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct Order {
    /// Periods per crank revolution: 0.5, 1, 1.5 ...
    pub order: f64,
    /// Amplitude of the mean over the cycles, rpm.
    pub amplitude_rpm: f64,
    /// Standard error of that amplitude, rpm.
    pub error_rpm: f64,
    /// First angle in the cycle at which it is greatest, crank degrees.
    pub peak_deg: f64,
}

/// Relative compression.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct Compression {
    /// End of the last cycle it rests on, seconds.
    pub seconds: f64,
    /// Cycles it rests on.
    pub cycles: usize,
    /// Mean speed over them, rpm.
    pub speed_rpm: f64,
    /// The cylinders in firing order; the best is 100 %.
    pub cylinders: Vec<Cylinder>,
    /// Those that are low, as places in the list of cylinders, from 0.
    pub low: Vec<usize>,
    /// The same from the starter's current.
    pub by_current: Known<CompressionByCurrent>,
    /// Whether the engine fired; cycles from then on are left out.
    pub fired: bool,
}

/// Relative compression from the starter's current.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct CompressionByCurrent {
    /// Cycles it rests on.
    pub cycles: usize,
    /// The cylinders in firing order; the best is 100 %.
    pub cylinders: Vec<Cylinder>,
    /// Those that are low, as places in the list of cylinders, from 0.
    pub low: Vec<usize>,
    /// Greatest difference to the figures from speed, points of percent.
    pub difference_pct: f64,
    /// Whether both methods say the same.
    pub agrees: bool,
}

/// The figure of one cylinder.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct Cylinder {
    /// Its number in the engine sheet.
    pub cylinder: Known<u8>,
    /// The figure, mean over the cycles, percent.
    pub value_pct: f64,
    /// Standard deviation from cycle to cycle, points of percent.
    pub spread_pct: f64,
    /// Standard error of the mean, points of percent.
    pub error_pct: f64,
}

impl Cylinders {
    pub(super) fn of(view: &CylinderView, seconds: impl Fn(SampleTime) -> f64) -> Self {
        Self {
            contribution: match &view.running {
                Ok(balance) => Known::Yes {
                    value: Contribution::of(balance, seconds(balance.at)),
                },
                Err(why) => Known::of(None, why.to_string()),
            },
            compression: match &view.cranking {
                Ok(compression) => Known::Yes {
                    value: Compression::of(compression, seconds(compression.at)),
                },
                Err(why) => Known::of(None, why.to_string()),
            },
            limits: LIMITS,
        }
    }
}

impl Contribution {
    fn of(balance: &RunningBalance, seconds: f64) -> Self {
        Self {
            seconds,
            cycles: balance.cycles,
            speed_rpm: balance.speed.0,
            cylinders: balance.cylinders.iter().map(Cylinder::of).collect(),
            weak: balance.weak.iter().map(|w| w.place).collect(),
            perhaps_the_wheel: balance
                .weak
                .iter()
                .filter(|w| !w.is_beyond_the_wheel)
                .map(|w| w.place)
                .collect(),
            harmonics: balance
                .harmonics
                .iter()
                .map(|h| Order {
                    order: h.order,
                    amplitude_rpm: h.amplitude.0,
                    error_rpm: h.error.0,
                    peak_deg: h.peak.0,
                })
                .collect(),
            half_order_points_to: balance.half_order_points_to,
        }
    }
}

impl Compression {
    fn of(compression: &RelativeCompression, seconds: f64) -> Self {
        Self {
            seconds,
            cycles: compression.cycles,
            speed_rpm: compression.speed.0,
            cylinders: compression.cylinders.iter().map(Cylinder::of).collect(),
            low: compression.low.clone(),
            by_current: Known::of(
                compression
                    .by_current
                    .as_ref()
                    .map(|c| CompressionByCurrent {
                        cycles: c.cycles,
                        cylinders: c.cylinders.iter().map(Cylinder::of).collect(),
                        low: c.low.clone(),
                        difference_pct: c.difference.0,
                        agrees: c.agrees,
                    }),
                "no lead with the starter's current, or nothing seen on it",
            ),
            fired: compression.end == CrankingEnd::Fired,
        }
    }
}

impl Cylinder {
    fn of(share: &Share) -> Self {
        Self {
            cylinder: Known::of(
                share.cylinder,
                "the cam has not told which revolution of the cycle is which",
            ),
            value_pct: share.value.0,
            spread_pct: share.spread.0,
            error_pct: share.error.0,
        }
    }
}
