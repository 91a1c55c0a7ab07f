//! Quantities as types, so that a duty is never added to a phase.

use serde::{Deserialize, Serialize};
use std::fmt;
use std::ops::{Add, Mul, Neg, Sub};

macro_rules! quantity {
    ($(#[$doc:meta])* $name:ident, $unit:literal) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Default, Serialize, Deserialize)]
        #[serde(transparent)]
        pub struct $name(pub f64);

        impl $name {
            /// Unit as written beside the figure.
            pub const UNIT: &'static str = $unit;
        }
        impl Add for $name { type Output = Self; fn add(self, o: Self) -> Self { Self(self.0 + o.0) } }
        impl Sub for $name { type Output = Self; fn sub(self, o: Self) -> Self { Self(self.0 - o.0) } }
        impl Neg for $name { type Output = Self; fn neg(self) -> Self { Self(-self.0) } }
        impl Mul<f64> for $name { type Output = Self; fn mul(self, k: f64) -> Self { Self(self.0 * k) } }
        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.pad(&format!("{:.*} {}", f.precision().unwrap_or(1), self.0, $unit))
            }
        }
    };
}

quantity!(/// Crankshaft revolutions per minute.
    Rpm, "rpm");
quantity!(/// A difference of crank angle; as a cam phase, advance is positive.
    CrankDegrees, "°");
quantity!(/// Electrical potential.
    Volts, "V");
quantity!(/// Electrical current.
    Amperes, "A");
quantity!(/// Frequency.
    Hertz, "Hz");
quantity!(/// A share in percent, 0 to 100.
    Percent, "%");
quantity!(/// A duration.
    Seconds, "s");
quantity!(/// Electrical resistance.
    Ohms, "Ω");
quantity!(/// Inductance.
    Henries, "H");
quantity!(/// Rate of change of a cam phase, crank degrees per second.
    DegreesPerSecond, "°/s");

/// A position in the engine cycle, crank degrees in [0, 720) after firing TDC of cylinder 1.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Default, Serialize, Deserialize)]
#[serde(transparent)]
pub struct CrankAngle(f64);

impl CrankAngle {
    /// Wraps any finite number of degrees into [0, 720).
    pub fn wrapped(degrees: f64) -> Self {
        let w = degrees.rem_euclid(720.0);
        // rem_euclid of a tiny negative number rounds to 720 itself.
        Self(if w >= 720.0 { 0.0 } else { w })
    }

    /// Degrees in [0, 720).
    pub fn degrees(self) -> f64 {
        self.0
    }

    /// The shortest way from `earlier` to `self`, in (-360, 360].
    pub fn since(self, earlier: Self) -> CrankDegrees {
        let d = (self.0 - earlier.0).rem_euclid(720.0);
        CrankDegrees(if d > 360.0 { d - 720.0 } else { d })
    }
}

impl Add<CrankDegrees> for CrankAngle {
    type Output = Self;
    fn add(self, d: CrankDegrees) -> Self {
        Self::wrapped(self.0 + d.0)
    }
}

/// An instant in the stream, in samples since its first sample; fractions lie between samples.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Default, Serialize, Deserialize)]
#[serde(transparent)]
pub struct SampleTime(pub f64);

impl SampleTime {
    /// Time since `earlier` at `rate` samples per second.
    pub fn since(self, earlier: Self, rate: Hertz) -> Seconds {
        Seconds((self.0 - earlier.0) / rate.0)
    }

    /// Time since the stream's first sample.
    pub fn seconds(self, rate: Hertz) -> Seconds {
        Seconds(self.0 / rate.0)
    }
}

/// A closed interval, used for zones in which a figure is expected.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Band<T> {
    /// Lower end.
    pub low: T,
    /// Upper end, not below the lower.
    pub high: T,
}

impl<T: PartialOrd + Copy> Band<T> {
    /// Whether `value` lies in the band, ends included.
    pub fn contains(&self, value: T) -> bool {
        value >= self.low && value <= self.high
    }
}
