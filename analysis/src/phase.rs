//! What the single edges of a cam say beside its rolling phase: each kind of edge by itself, how old the newest is,
//! what was learnt of the tone wheel, and where the cam is now if it moves.
//!
//! The rolling phase is a mean over the last cam revolution. While the phaser moves it lags behind by half of that
//! revolution: 75 ms at 800 rpm, which at 150 degrees a second is 11 degrees. [`CurrentPhase`] does not.

use crate::drift::Drift;
use crate::engine::EdgeKind;
use crate::units::{CrankDegrees, DegreesPerSecond, Rpm, SampleTime, Seconds};

/// What the edges of a cam say beside its rolling phase. A figure that is not known is absent.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct PhaseDetail {
    /// Rising edges of the last cam revolution.
    pub rising: Option<FrontFigures>,
    /// Falling edges of the last cam revolution.
    pub falling: Option<FrontFigures>,
    /// Mean phase of the rising edges minus that of the falling ones. Air gap and threshold of a sensor move the two
    /// kinds against each other (US 6,615,644); a timing error moves them together. A Hall sensor may place rising
    /// edges within 1.6 and falling ones within 2.4 crank degrees (Allegro ATS673 data sheet: 0.8 and 1.2 of the cam).
    pub difference: Option<CrankDegrees>,
    /// How old the newest edge in the phase is.
    pub age: Option<SampleAge>,
    /// The rolling phase with the learnt offsets taken from each edge.
    pub cleaned: Option<FrontFigures>,
    /// Where the cam is at its newest edge, without the lag of the rolling phase.
    pub current: Option<CurrentPhase>,
    /// What was learnt of the tone wheel at rest.
    pub learnt: Option<Learnt>,
    /// Whether the phase at rest has moved over the session.
    pub drift: Drift,
}

/// Mean and spread of some edges of one cam revolution.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FrontFigures {
    /// Mean phase, advance positive.
    pub phase: CrankDegrees,
    /// Standard deviation of the edges about it; absent for a single edge.
    pub spread: Option<CrankDegrees>,
    /// How many edges.
    pub edges: usize,
}

/// Age of the newest edge in a phase.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SampleAge {
    /// Time since that edge.
    pub age: Seconds,
    /// Engine speed, which says how long an edge may keep one waiting.
    pub speed: Option<Rpm>,
}

/// The phase at the newest edge, by a straight line of least squares through the edges of the last cam revolution
/// with one slope for both kinds. It follows a steady motion without lag and is less certain than the mean at rest.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CurrentPhase {
    /// Phase on the line at the newest edge.
    pub phase: CrankDegrees,
    /// Standard error of that phase.
    pub uncertainty: CrankDegrees,
    /// Slope of the line.
    pub rate: DegreesPerSecond,
    /// The newest edge.
    pub at: SampleTime,
}

/// Offsets of the single edges, learnt while the phaser rests (US 6,915,767 does so): runout of the tone wheel,
/// its teeth, and what the sensor makes of them.
#[derive(Debug, Clone, PartialEq)]
pub struct Learnt {
    /// One for each reference edge: rising of window 0, falling of window 0, rising of window 1, ... Those of a kind
    /// add up to zero, so that an error of the base timing is never learnt away.
    pub offsets: Vec<EdgeOffset>,
    /// Cam revolutions they rest on.
    pub revolutions: u32,
}

/// Offset of one edge from the mean of its kind.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EdgeOffset {
    /// Direction of the edge.
    pub kind: EdgeKind,
    /// Mean offset, taken from each phase measured at this edge.
    pub offset: CrankDegrees,
    /// Standard deviation from revolution to revolution.
    pub spread: CrankDegrees,
}

/// How a phase is carried on from its newest edge.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Extrapolation {
    /// At the rate measured over the last cam revolution.
    Rate,
    /// Towards a commanded phase as a system of first order: target + (phase - target) exp(-age / time constant),
    /// as US 9,494,488 is read.
    FirstOrder {
        /// Where the command wants the cam.
        target: CrankDegrees,
        /// Time constant, above zero.
        time_constant: Seconds,
    },
}

/// A phase that was not measured but carried on from the newest edge, at most to the ends of the travel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ExtrapolatedPhase {
    /// The phase carried on.
    pub phase: CrankDegrees,
    /// The measured phase it starts from.
    pub from: CrankDegrees,
    /// Over how much time it was carried on.
    pub age: Seconds,
}

/// A phase measured at an edge of the last cam revolution.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Front {
    /// Samples.
    pub at: f64,
    pub kind: EdgeKind,
    pub phase: f64,
}

/// Mean and spread; `None` without edges.
pub(crate) fn figures<'a>(fronts: impl Iterator<Item = &'a Front> + Clone) -> Option<FrontFigures> {
    let (mut sum, mut edges) = (0.0, 0);
    for f in fronts.clone() {
        sum += f.phase;
        edges += 1;
    }
    let n = f64::from(u32::try_from(edges).ok().filter(|&n| n > 0)?);
    let mean = sum / n;
    let squares: f64 = fronts.map(|f| (f.phase - mean).powi(2)).sum();
    Some(FrontFigures {
        phase: CrankDegrees(mean),
        spread: (edges > 1).then(|| CrankDegrees((squares / (n - 1.0)).sqrt())),
        edges,
    })
}

/// The line of least squares at the newest edge, `rate` being samples a second. Each kind of edge has its own level,
/// so that what moves the kinds against each other does not tilt the line. `None` with too few edges to tell its error.
pub(crate) fn current(fronts: &[Front], rate: f64) -> Option<CurrentPhase> {
    let newest = fronts.iter().map(|f| f.at).max_by(f64::total_cmp)?;
    let (mut txx, mut txy, mut tyy, mut freedom) = (0.0, 0.0, 0.0, -1.0);
    let (mut n, mut t_sum, mut y_sum) = (0.0, 0.0, 0.0);
    for kind in [EdgeKind::Rising, EdgeKind::Falling] {
        let own = || fronts.iter().filter(|f| f.kind == kind);
        let count: f64 = own().map(|_| 1.0).sum();
        if count < 1.0 {
            continue;
        }
        let time = |f: &Front| (f.at - newest) / rate;
        let t: f64 = own().map(time).sum();
        let y: f64 = own().map(|f| f.phase).sum();
        for f in own() {
            let (dt, dy) = (time(f) - t / count, f.phase - y / count);
            txx += dt * dt;
            txy += dt * dy;
            tyy += dy * dy;
        }
        freedom += count - 1.0;
        n += count;
        t_sum += t;
        y_sum += y;
    }
    if freedom < 1.0 || txx <= 0.0 {
        return None;
    }
    let slope = txy / txx;
    let variance = ((tyy - slope * txy) / freedom).max(0.0);
    let back = t_sum / n;
    Some(CurrentPhase {
        phase: CrankDegrees(y_sum / n - slope * back),
        uncertainty: CrankDegrees((variance * (1.0 / n + back * back / txx)).sqrt()),
        rate: DegreesPerSecond(slope),
        at: SampleTime(newest),
    })
}

impl Extrapolation {
    /// Phase after `age` from a phase and its rate.
    pub(crate) fn carry(self, phase: f64, rate: Option<f64>, age: f64) -> Option<f64> {
        match self {
            Self::Rate => Some(phase + rate? * age),
            Self::FirstOrder {
                target,
                time_constant,
            } => (time_constant.0 > 0.0)
                .then(|| target.0 + (phase - target.0) * (-age / time_constant.0).exp()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use EdgeKind::{Falling, Rising};

    fn front(at: f64, kind: EdgeKind, phase: f64) -> Front {
        Front { at, kind, phase }
    }

    #[test]
    fn the_line_follows_a_motion_that_the_mean_lags_behind() {
        // 40 degrees a second at 1000 samples a second, falling edges 1 degree off.
        let fronts: Vec<Front> = (0..8_u32)
            .map(|i| {
                let at = f64::from(i) * 20.0;
                let (kind, off) = if i % 2 == 0 {
                    (Rising, 0.0)
                } else {
                    (Falling, 1.0)
                };
                front(at, kind, 0.04 * at + off)
            })
            .collect();
        let c = current(&fronts, 1000.0).expect("a line");
        assert!((c.rate.0 - 40.0).abs() < 1e-9 && c.uncertainty.0 < 1e-6);
        // Half way between the kinds, as the mean is.
        assert!((c.phase.0 - (5.6 + 0.5)).abs() < 1e-9, "{c:?}");
        let mean = figures(fronts.iter()).expect("edges").phase.0;
        assert!((mean - (2.8 + 0.5)).abs() < 1e-9);
    }

    #[test]
    fn too_few_edges_give_no_line() {
        assert_eq!(current(&[], 1.0), None);
        let two = [front(0.0, Rising, 0.0), front(1.0, Rising, 1.0)];
        assert_eq!(current(&two, 1.0), None);
        let same = [front(0.0, Rising, 0.0); 5];
        assert_eq!(current(&same, 1.0), None);
    }

    #[test]
    fn the_published_first_order_form() {
        let how = Extrapolation::FirstOrder {
            target: CrankDegrees(20.0),
            time_constant: Seconds(0.1),
        };
        // 20 - 20 / e after one time constant.
        let at = how.carry(0.0, None, 0.1).expect("a phase");
        assert!((at - 12.642_411).abs() < 1e-6);
        assert_eq!(Extrapolation::Rate.carry(1.0, Some(10.0), 0.1), Some(2.0));
        assert_eq!(Extrapolation::Rate.carry(1.0, None, 0.1), None);
    }
}
