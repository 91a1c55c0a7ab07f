//! Under what a measure was taken: like is compared with like only.

use crate::units::{Band, Percent, Rpm};

/// Speeds that differ by more than this share are not the same: oil pressure, the twist of chain and crank and what the
/// controller asks for all follow speed (common practice, from memory). With less, two idles of one engine with another
/// load would not be compared; with more a fast idle would pass for a slow one.
const SPEED_ALIKE: f64 = 0.1;
/// Oil temperatures that differ by more, °C, are not the same: a phaser's rate halves from hot to lukewarm oil (from
/// memory). With less, two readings of a technician would seldom agree.
const OIL_ALIKE: f64 = 15.0;
/// Duties that differ by more, points, drive a phaser differently: from where it holds to its full rate it is some 15
/// points at the steepest (the observer's figure). With less, two drives of one controller would not be compared.
const DUTY_ALIKE: f64 = 5.0;

/// Conditions of a measure.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Conditions {
    /// In words: "at idle, command at rest". Empty where there are none.
    pub words: String,
    /// Mean speed and its range meanwhile.
    pub speed: Option<Speed>,
    /// Whether it must be the same for the measure to be compared.
    pub follows_speed: bool,
    /// Mean duty meanwhile, where the measure follows it.
    pub duty: Option<Percent>,
    /// Oil temperature as the technician read it, °C.
    pub oil: Option<f64>,
    /// What it is measured against, such as the reference angles of the sheet; only the same is compared.
    pub against: String,
}

/// Speed while a measure was taken.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Speed {
    /// Mean.
    pub mean: Rpm,
    /// Least and greatest.
    pub range: Band<Rpm>,
}

impl Speed {
    /// Of the speeds seen meanwhile; none of none.
    pub fn of(values: impl Iterator<Item = f64>) -> Option<Self> {
        let (mut n, mut sum, mut low, mut high) = (0.0, 0.0, f64::INFINITY, f64::NEG_INFINITY);
        for v in values {
            (n, sum) = (n + 1.0, sum + v);
            (low, high) = (f64::min(low, v), f64::max(high, v));
        }
        (n > 0.0).then(|| Self {
            mean: Rpm(sum / n),
            range: Band {
                low: Rpm(low),
                high: Rpm(high),
            },
        })
    }
}

impl Conditions {
    /// Why a measure under these is not to be compared with one under `other`; none if it is.
    pub fn differ(&self, other: &Self, names: [&str; 2]) -> Option<String> {
        if self.against != other.against {
            return Some("the engine sheets of the two give other reference angles".to_owned());
        }
        if let (true, Some(a), Some(b)) = (self.follows_speed, self.speed, other.speed)
            && (a.mean.0 - b.mean.0).abs() > SPEED_ALIKE * a.mean.0.max(b.mean.0)
        {
            return Some(format!(
                "{} at {:.0} rpm, {} at {:.0} rpm",
                names[0], a.mean.0, names[1], b.mean.0
            ));
        }
        if let (Some(a), Some(b)) = (self.duty, other.duty)
            && (a - b).0.abs() > DUTY_ALIKE
        {
            return Some(format!(
                "driven with {:.0} % in {}, with {:.0} % in {}",
                a.0, names[0], b.0, names[1]
            ));
        }
        if let (Some(a), Some(b)) = (self.oil, other.oil)
            && (a - b).abs() > OIL_ALIKE
        {
            return Some(format!(
                "oil at {a:.0} °C in {}, at {b:.0} °C in {}",
                names[0], names[1]
            ));
        }
        None
    }
}
