//! Relative compression from the crank's speed while the starter turns it, and from the starter's current.
//!
//! On the way up to each compression TDC the crank gives kinetic energy to the gas, and after it the gas gives
//! back what has not leaked or cooled away. What is compared is how far ω² at TDC lies below the mean of the
//! peaks before and after, at the same angles for every cylinder: linear in that work, and J cancels
//! against the best cylinder. The starter gives more torque the slower it turns, so that the figures are not
//! those of the pressures: the simulated engines read 53 to 56 % with 60 % of the charge, and 92 to 96 % for the sound
//! cylinder that follows. Relative compression ranks cylinders; it is no gauge reading. (Comparing the
//! falls of speed is common practice, from memory; energy instead of speed follows from ½Jω².)
//!
//! The current of a starter rises with its torque (in a motor of constant field linearly; from memory), so the
//! height of its hump at each TDC over the valleys on both sides is compared in the same way.

use super::waveform::{LENGTH, Waveform, ends, folded, mean_curve, statistics};
use super::{NotJudged, Share};
use crate::units::{Percent, Rpm, SampleTime};
use std::collections::VecDeque;

/// Fewest cycles at cranking speed; a start in one second gives two, from which nothing is to be told
/// that a chance of breathing could not have made.
const LEAST_CYCLES: usize = 3;
/// Most cycles kept, about a minute.
const MOST_CYCLES: usize = 64;
/// Change of kinetic energy over a cycle beyond which the starter is still running up or the engine has
/// fired: 12 % of speed. One firing at cranking speed doubles the energy at least.
const STEADY: f64 = 0.25;
/// Relative compression below which a cylinder is low. Common practice for pressures is 75 % of the best
/// cylinder (from memory).
const LOW: f64 = 75.0;
/// Points by which both methods may differ and still agree. One goes with the square of speed, the other with speed:
/// on the simulated engines they differ by up to 13 points in a cylinder that holds next to nothing.
const AGREE: f64 = 15.0;

/// Compression of the cylinders relative to the best.
#[derive(Debug, Clone, PartialEq)]
pub struct RelativeCompression {
    /// End of the last cycle it rests on.
    pub at: SampleTime,
    /// Cycles it rests on.
    pub cycles: usize,
    /// Mean speed over them.
    pub speed: Rpm,
    /// From the dip of kinetic energy at each compression TDC, in firing order; the best is 100 %.
    pub cylinders: Vec<Share>,
    /// Places of the cylinders that are low.
    pub low: Vec<usize>,
    /// From the hump of starter current at each compression TDC, when a lead carries it.
    pub by_current: Option<ByCurrent>,
    /// How it ended.
    pub end: CrankingEnd,
}

/// The same from the starter's current.
#[derive(Debug, Clone, PartialEq)]
pub struct ByCurrent {
    /// In firing order; the best is 100 %.
    pub cylinders: Vec<Share>,
    /// Cycles it rests on.
    pub cycles: usize,
    /// Places of the cylinders that are low.
    pub low: Vec<usize>,
    /// Greatest difference to the figures from speed.
    pub difference: Percent,
    /// Whether no figure differs by more than 15 points.
    pub agrees: bool,
}

/// How the cranking ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum CrankingEnd {
    /// It goes on, or the crank has just stopped.
    #[default]
    Open,
    /// The engine fired; cycles from then on are left out.
    Fired,
}

#[derive(Debug, Clone)]
struct Entry {
    at: SampleTime,
    mean: Rpm,
    /// Kinetic energy with its sign turned: what the crank has given away.
    given: Vec<f64>,
    current: Option<Vec<f64>>,
}

/// The cycles of one cranking.
#[derive(Debug, Clone, Default)]
pub(super) struct Cranking {
    entries: VecDeque<Entry>,
    end: CrankingEnd,
}

impl Cranking {
    pub fn clear(&mut self) {
        *self = Self::default();
    }

    /// The engine has left cranking speed upwards.
    pub fn fired(&mut self) {
        if !self.entries.is_empty() {
            self.end = CrankingEnd::Fired;
        }
    }

    /// Takes a cycle that ended at `at`, with the starter's current at its parts if there is one.
    /// Whether the cycle was used.
    pub fn take(&mut self, at: SampleTime, cycle: &Waveform, current: Option<Vec<f64>>) -> bool {
        let drift = cycle.drift();
        if drift > STEADY {
            self.fired();
        }
        if drift.abs() > STEADY || self.end == CrankingEnd::Fired {
            return false;
        }
        if self.entries.len() == MOST_CYCLES {
            let _ = self.entries.pop_front();
        }
        self.entries.push_back(Entry {
            at,
            mean: cycle.mean,
            given: cycle.level_energy().iter().map(|e| -e).collect(),
            current,
        });
        true
    }

    pub fn end(&self) -> CrankingEnd {
        self.end
    }

    pub fn compression(&self, numbers: &[Option<u8>]) -> Result<RelativeCompression, NotJudged> {
        let have = self.entries.len();
        let (true, Some(last)) = (have >= LEAST_CYCLES, self.entries.back()) else {
            return Err(NotJudged::FewCycles {
                have,
                need: LEAST_CYCLES,
            });
        };
        let given: Vec<&[f64]> = self.entries.iter().map(|e| e.given.as_slice()).collect();
        let cylinders = relative(&given, numbers).ok_or(NotJudged::NoCompression)?;
        let low = below(&cylinders);
        let currents: Vec<&[f64]> = (self.entries.iter())
            .filter_map(|e| e.current.as_deref())
            .collect();
        let by_current = (currents.len() >= LEAST_CYCLES)
            .then(|| relative(&currents, numbers))
            .flatten()
            .map(|shares| {
                let difference = (shares.iter().zip(&cylinders))
                    .map(|(a, b)| (a.value.0 - b.value.0).abs())
                    .fold(0.0, f64::max);
                ByCurrent {
                    agrees: difference <= AGREE,
                    cycles: currents.len(),
                    low: below(&shares),
                    difference: Percent(difference),
                    cylinders: shares,
                }
            });
        Ok(RelativeCompression {
            at: last.at,
            cycles: have,
            speed: Rpm(self.entries.iter().map(|e| e.mean.0).sum::<f64>() / have as f64),
            cylinders,
            low,
            by_current,
            end: self.end,
        })
    }
}

fn below(cylinders: &[Share]) -> Vec<usize> {
    (cylinders.iter())
        .filter(|s| s.value.0 < LOW)
        .map(|s| s.place)
        .collect()
}

/// Where on the mean curve of all cylinders the extremes lie: of the one at the TDC itself its distance after
/// TDC, and how far before it the other one is; in parts.
struct Shape {
    after_tdc: usize,
    before: usize,
}

impl Shape {
    fn new(at_tdc: usize, other: usize, spacing: usize) -> Self {
        Self {
            // An extreme in the second half of the interval belongs to the next TDC.
            after_tdc: at_tdc
                + if at_tdc > spacing / 2 {
                    LENGTH - spacing
                } else {
                    0
                },
            before: (at_tdc + spacing - other) % spacing,
        }
    }

    fn at(&self, place: usize, spacing: usize) -> usize {
        place * spacing + self.after_tdc + LENGTH
    }
}

/// Height at each cylinder's TDC over the mean of the valleys on both sides, at the same angles for all.
fn height(fold: &[f64]) -> impl Fn(&[f64], usize) -> f64 + use<> {
    let [low, high] = ends(fold);
    let spacing = fold.len();
    let shape = Shape::new(high, low, spacing);
    move |curve, place| {
        let at = shape.at(place, spacing);
        let valley = at - shape.before;
        curve[at % LENGTH] - (curve[valley % LENGTH] + curve[(valley + spacing) % LENGTH]) / 2.0
    }
}

/// Height of every cylinder's peak, relative to the greatest mean; `None` when there is nothing to compare.
fn relative(curves: &[&[f64]], numbers: &[Option<u8>]) -> Option<Vec<Share>> {
    let n = numbers.len();
    let height = height(&folded(&mean_curve(curves.iter().copied()), n));
    let values: Vec<Vec<f64>> = (0..n)
        .map(|place| curves.iter().map(|c| height(c, place)).collect())
        .collect();
    let best = (values.iter())
        .map(|v| statistics(v)[0])
        .fold(f64::NEG_INFINITY, f64::max);
    (best > 0.0).then(|| {
        (numbers.iter().zip(values).enumerate())
            .map(|(place, (&cylinder, values))| {
                let parts: Vec<f64> = values.iter().map(|v| 100.0 * v / best).collect();
                Share::new(cylinder, place, statistics(&parts))
            })
            .collect()
    })
}
