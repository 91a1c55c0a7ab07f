//! The wheel as a run of intervals, and how much a crank may change its pace from one to the next.

use crate::wheel::{Wheel, Width};

/// Greatest relative change of a crank's speed per degree and order of its ripple, while cranking: a speed that swings
/// sinusoidally between 85 and 225 rpm (a V8 on its starter, four times a revolution) changes at the steepest
/// place by 0.506 of itself per radian and order.
const STEEPEST: f64 = 0.506 / 57.3;
/// The ripple of fewer cylinders has as steep places as that of four: one compression is no longer than with four.
const LEAST_ORDER: f64 = 2.0;
/// Below this many rpm the ripple can be that steep. Above, gas torque moves the same inertia by a part of
/// the speed that falls with its square.
const CRANKING: f64 = 250.0;
/// What is left of it at any speed: 4 % peak to peak at idle is 0.02 of the steepest; a single cylinder
/// or a clutch is worse.
const LEAST_STEEP: f64 = 0.12;
/// Unevenness of teeth, sensor and edge times, as a part of an interval: runout and a worn wheel.
const UNEVEN: f64 = 0.08;
/// And of an interval between the mean of its neighbours, which runout moves alike.
const UNEVEN_BETWEEN: f64 = 0.04;
/// Logarithm of the change of pace over any distance: the mean over an interval of that speed, against the next.
const MOST_CHANGE: f64 = 0.7;
/// Hardest acceleration of an engine without load, rpm per second (common practice: a snap of the throttle).
const MOST_ACCELERATION: f64 = 5000.0;
/// Hardest braking by compression and friction with the ignition off, rpm per second (from memory), of an engine of
/// up to four cylinders; more have more inertia for the torque of one compression.
const BRAKING: f64 = 6000.0;
/// Degrees from tooth to tooth above which a crank can turn back within one interval and be taken for slow.
const COARSE: f64 = 12.5;
/// A wheel with fewer teeth is too coarse to tell a missing one from a change of speed.
const FINE: usize = 8;

/// One of the like parts of a wheel: after its last tooth comes its first again.
#[derive(Debug, Clone)]
pub(crate) struct Course {
    angles: Vec<f64>,
    widths: Vec<Width>,
    stands_out: Vec<bool>,
    pitches: Vec<f64>,
    /// Degrees of the part.
    length: f64,
    widest: f64,
    /// Steepest relative change of pace per degree, while cranking.
    steepest: f64,
    /// Least logarithm by which an interval that stands out does so.
    contrast: f64,
    /// Hardest braking, rpm per second.
    braking: f64,
}

impl Course {
    pub fn new(wheel: &Wheel, cylinders: u8) -> Self {
        let parts = wheel.symmetry();
        let teeth = wheel.teeth() / parts;
        let pitches: Vec<f64> = (0..teeth).map(|t| wheel.pitch(t).0).collect();
        let mut sorted = pitches.clone();
        sorted.sort_by(f64::total_cmp);
        let usual = sorted[(teeth - 1) / 2];
        let contrast = (0..teeth)
            .filter(|&t| wheel.stands_out(t))
            .map(|t| (pitches[t] / usual).ln().abs())
            .fold(f64::INFINITY, f64::min);
        Self {
            contrast,
            braking: BRAKING * (4.0 / f64::from(cylinders)).min(1.0),
            angles: (0..teeth).map(|t| wheel.angle(t).0).collect(),
            widths: (0..teeth).filter_map(|t| wheel.width(t)).collect(),
            stands_out: (0..teeth).map(|t| wheel.stands_out(t)).collect(),
            length: wheel.period().0 / parts as f64,
            widest: wheel.widest().0,
            steepest: STEEPEST * (0.5 * f64::from(cylinders)).max(LEAST_ORDER),
            pitches,
        }
    }

    pub fn teeth(&self) -> usize {
        self.pitches.len()
    }

    pub fn length(&self) -> f64 {
        self.length
    }

    pub fn angle(&self, tooth: usize) -> f64 {
        self.angles[tooth]
    }

    pub fn pitch(&self, tooth: usize) -> f64 {
        self.pitches[tooth]
    }

    pub fn widest(&self) -> f64 {
        self.widest
    }

    pub fn after(&self, tooth: usize) -> usize {
        if tooth + 1 == self.pitches.len() {
            0
        } else {
            tooth + 1
        }
    }

    pub fn width(&self, tooth: usize) -> Option<Width> {
        self.widths.get(tooth).copied()
    }

    pub fn is_coded(&self) -> bool {
        !self.widths.is_empty()
    }

    /// Whether the interval after this tooth tells where the wheel is.
    pub fn stands_out(&self, tooth: usize) -> bool {
        self.stands_out[tooth]
    }

    /// Whether a missing tooth leaves an interval like the gap, so that nobody can tell which of the two is the gap.
    pub fn is_mocked_by_a_missing_tooth(&self) -> bool {
        let narrow = self.pitches.iter().copied().fold(f64::INFINITY, f64::min);
        (self.widest / narrow - 2.0).abs() < 0.2
    }

    /// Whether an edge too many looks like the tooth that tells where the wheel is, or makes another wheel of a few teeth.
    pub fn is_mocked_by_an_extra_tooth(&self) -> bool {
        let narrow = self.pitches.iter().copied().fold(f64::INFINITY, f64::min);
        let usual = self.length / self.pitches.len() as f64;
        !self.is_even() && (!self.is_fine() || narrow < 0.7 * usual)
    }

    /// Least logarithm by which an interval that stands out does so.
    pub fn contrast(&self) -> f64 {
        self.contrast
    }

    /// Whether the wheel is nothing but equal teeth.
    pub fn is_even(&self) -> bool {
        self.pitches.len() == 1
    }

    /// Whether the crank may turn back unseen between two teeth.
    pub fn is_coarse(&self) -> bool {
        self.length / self.pitches.len() as f64 > COARSE
    }

    /// Speed, rpm, below which the crank may come to a stand within `degrees`: the square of the speed is twice the
    /// angle times the braking.
    pub fn may_stop_below(&self, degrees: f64) -> f64 {
        (self.braking * degrees / 3.0).sqrt()
    }

    /// Whether a tooth that is missed can be told from a change of speed.
    pub fn is_fine(&self) -> bool {
        self.length / self.pitches.len() as f64 * FINE as f64 <= 360.0
    }

    /// Most by which the logarithm of the pace may change over `degrees` at `rpm`, by ripple and by acceleration.
    pub fn steepest(&self, degrees: f64, rpm: f64) -> f64 {
        let steep = (CRANKING / rpm).powi(2).clamp(LEAST_STEEP, 1.0);
        let ripple = (self.steepest * degrees).min(MOST_CHANGE) * steep;
        // Degrees / 6 / rpm is the time. At cranking speed the ripple is the acceleration.
        let acceleration = MOST_ACCELERATION * degrees / (6.0 * rpm * rpm);
        ripple + (1.0 - steep) * acceleration.min(MOST_CHANGE)
    }

    /// Standard deviation to be expected of the logarithm of an interval against the pace before.
    pub fn slack(&self, degrees: f64, rpm: f64) -> f64 {
        0.5 * (UNEVEN + self.steepest(degrees, rpm))
    }

    /// How much of a change of pace is to be expected to go on over `degrees`, and the standard deviation
    /// if that is taken into account. A sinusoidal ripple goes on for a small part of its period only; the figures
    /// hold the worst phase of the ripple above over equal and unequal intervals within two deviations.
    pub fn ahead(&self, degrees: f64, rpm: f64) -> (f64, f64) {
        let steep = self.steepest(degrees, rpm);
        let residue = (0.7 * steep + 0.4 * steep * steep).min(steep);
        ((0.7 - 1.17 * steep).max(0.0), 0.5 * (UNEVEN + residue))
    }

    /// The same against the mean pace of both neighbours, in which a change of pace that goes on cancels.
    pub fn slack_between(&self, degrees: f64, rpm: f64) -> f64 {
        0.5 * (UNEVEN_BETWEEN + 0.55 * self.steepest(degrees, rpm))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Seconds per degree between two angles at a speed of 1 + 0.4516 sin(order angle): 85 to 225 of 155 rpm.
    fn pace(from: f64, to: f64, order: f64) -> f64 {
        let n = 200;
        let sum: f64 = (0..n)
            .map(|i| from + (to - from) * (f64::from(i) + 0.5) / f64::from(n))
            .map(|a| 1.0 / (1.0 + 0.4516 * (order * a).to_radians().sin()))
            .sum();
        sum / f64::from(n)
    }

    #[test]
    fn the_worst_ripple_at_the_starter_stays_within_two_deviations() {
        for cylinders in [4_u8, 8] {
            let wheel = Wheel::parse("60-2").expect("a wheel");
            let course = Course::new(&wheel, cylinders);
            let order = 0.5 * f64::from(cylinders);
            let mut worst = 0.0_f64;
            for pitches in [
                [6.0, 6.0, 6.0],
                [6.0, 6.0, 18.0],
                [6.0, 18.0, 6.0],
                [18.0, 6.0, 6.0],
            ]
            .into_iter()
            .chain([[10.0, 10.0, 20.0], [10.0, 30.0, 10.0], [30.0, 10.0, 10.0]])
            .chain([[15.0, 15.0, 15.0], [15.0, 15.0, 30.0], [30.0, 15.0, 15.0]])
            {
                let [first, second, third] = pitches;
                let (before, next) = (0.5 * (first + second), 0.5 * (second + third));
                for phase in 0..180 {
                    let a = f64::from(phase) * 2.0;
                    let (b, c) = (a + first, a + first + second);
                    let l = [
                        pace(a, b, order),
                        pace(b, c, order),
                        pace(c, c + third, order),
                    ];
                    let (share, sigma) = course.ahead(next, 155.0);
                    let most = course.steepest(next, 155.0);
                    let trend = (l[1] / l[0]).ln() * next / before;
                    let off = (l[2] / l[1]).ln() - share * trend.clamp(-most, most);
                    worst = worst.max(off.abs() / sigma);
                }
            }
            assert!((1.0..2.0).contains(&worst), "{cylinders}: {worst}");
        }
    }
}
