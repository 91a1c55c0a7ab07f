//! Contribution of each cylinder while the engine runs.
//!
//! With a rigid crank of constant inertia the work done between two angles is the change of ½Jω²
//! (work-energy theorem). J is not known, so everything is told relative to the mean rise of ω² over a
//! power stroke, in which J cancels. Gas work of a cylinder between its TDC and the next firing TDC
//! decides; where more than two cylinders share a revolution the compression of the next one falls into
//! the same angle and is counted in.

use super::harmonic::{Harmonic, harmonics};
use super::waveform::{LENGTH, PARTS, Waveform, ends, folded, mean_curve, statistics};
use super::{NotJudged, Share};
use crate::units::{CrankDegrees, Rpm, SampleTime};
use std::collections::VecDeque;

/// Most cycles in one figure, about 5 s at idle: more would mix conditions, with fewer the scatter of
/// single combustions shows.
const MOST_CYCLES: usize = 32;
/// Fewest cycles. With the scatter of single combustions at idle, some 10 % (from memory), the mean of
/// 12 is good to 3 %.
const LEAST_CYCLES: usize = 12;
/// Change of kinetic energy over one cycle, as a part of it, beyond which conditions are not steady: 3 %
/// of speed. With more a ramp is taken for work; with less a rough idle would never be judged.
const STEADY: f64 = 0.06;
/// Points by which a weak cylinder lies below the median of the others. Healthy engines at idle differ by
/// some 10 points (from memory); a cylinder that does not fire lacks nearly all of its 100.
const WEAK: f64 = 25.0;
/// Standard errors that a difference must have to be told.
const SIGNIFICANT: f64 = 4.0;
/// Angle after TDC about which the work of combustion gathers (from memory). It may be wrong by half
/// the firing interval before order 0.5 points to another cylinder.
const WORK_CENTRE: f64 = 40.0;

/// How evenly the cylinders work.
#[derive(Debug, Clone, PartialEq)]
pub struct RunningBalance {
    /// End of the last cycle it rests on.
    pub at: SampleTime,
    /// Cycles it rests on.
    pub cycles: usize,
    /// Mean speed over them.
    pub speed: Rpm,
    /// Contribution of each cylinder in firing order: 100 % is the mean; a share is short of it by the work lacking
    /// between its TDC and the next firing TDC, in parts of the mean rise of kinetic energy over a power stroke. One
    /// that takes more work than it gives lies below 0.
    pub cylinders: Vec<Share>,
    /// Places in `cylinders` of those that contribute less.
    pub weak: Vec<Weak>,
    /// Harmonics of speed per crank revolution: 0.5, 1 ... twice the firing order.
    pub harmonics: Vec<Harmonic>,
    /// Place in `cylinders` of the cylinder to which order 0.5 points, if it stands out of its scatter.
    pub half_order_points_to: Option<usize>,
    /// Revolutions at higher speed from which the errors of the tooth spacing were learnt; `None` when they still are in
    /// the figures.
    pub wheel_learnt: Option<u32>,
}

/// A cylinder that contributes less.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Weak {
    /// Its place in the firing order.
    pub place: usize,
    /// Whether it is seen in what differs between the two revolutions of the cycle: against the cylinder half a
    /// cycle away, or with an odd number of cylinders in order 0.5. Tooth-spacing errors are the same in both
    /// revolutions, so they cannot feign it; otherwise they can.
    pub is_beyond_the_wheel: bool,
}

/// One cycle.
#[derive(Debug, Clone)]
struct Entry {
    at: SampleTime,
    mean: Rpm,
    energy: Vec<f64>,
    speed: Vec<f64>,
}

/// The last steady cycles.
#[derive(Debug, Clone, Default)]
pub(super) struct Running {
    entries: VecDeque<Entry>,
    unsteady: usize,
}

impl Running {
    pub fn clear(&mut self) {
        self.entries.clear();
        self.unsteady = 0;
    }

    /// Takes a cycle that ended at `at`.
    pub fn take(&mut self, at: SampleTime, cycle: &Waveform) {
        if cycle.drift().abs() > STEADY {
            self.unsteady += 1;
            if self.unsteady >= LEAST_CYCLES {
                self.entries.clear();
            }
            return;
        }
        self.unsteady = 0;
        if self.entries.len() == MOST_CYCLES {
            let _ = self.entries.pop_front();
        }
        self.entries.push_back(Entry {
            at,
            mean: cycle.mean,
            energy: cycle.level_energy(),
            speed: cycle.level_speed(),
        });
    }

    /// `numbers` holds the cylinder at each place of the firing order, where it is known.
    /// `learnt` counts the revolutions from which the wheel's errors were learnt.
    pub fn balance(
        &self,
        numbers: &[Option<u8>],
        learnt: Option<u32>,
    ) -> Result<RunningBalance, NotJudged> {
        let have = self.entries.len();
        let (true, Some(last)) = (have >= LEAST_CYCLES, self.entries.back()) else {
            return Err(if self.unsteady >= LEAST_CYCLES {
                NotJudged::Unsteady
            } else {
                NotJudged::FewCycles {
                    have,
                    need: LEAST_CYCLES,
                }
            });
        };
        let n = numbers.len();
        let mean = mean_curve(self.entries.iter().map(|e| e.energy.as_slice()));
        let fold = folded(&mean, n);
        let [low, high] = ends(&fold);
        let rise = fold[high] - fold[low];
        let cylinders: Vec<Share> = (numbers.iter().enumerate())
            .map(|(place, &cylinder)| {
                let values: Vec<f64> = (self.entries.iter())
                    .map(|e| 100.0 * (1.0 + work(&e.energy, place, n) / rise))
                    .collect();
                Share::new(cylinder, place, statistics(&values))
            })
            .collect();
        let speeds: Vec<&[f64]> = self.entries.iter().map(|e| e.speed.as_slice()).collect();
        let harmonics: Vec<Harmonic> = harmonics(&speeds, 2 * n).into_iter().map(full).collect();
        let half_order_points_to = harmonics.first().and_then(|h| points_to(h, n));
        let weak = (0..n)
            .filter(|&place| is_weak(place, &cylinders))
            .map(|place| Weak {
                place,
                is_beyond_the_wheel: if n.is_multiple_of(2) {
                    self.lacks_against_its_mate(place, n, rise)
                } else {
                    half_order_points_to == Some(place)
                },
            })
            .collect();
        Ok(RunningBalance {
            at: last.at,
            cycles: have,
            speed: Rpm(self.entries.iter().map(|e| e.mean.0).sum::<f64>() / have as f64),
            half_order_points_to,
            wheel_learnt: learnt,
            cylinders,
            weak,
            harmonics,
        })
    }

    /// Whether a cylinder gives less than the one half a cycle away, in whose power stroke the same teeth pass.
    fn lacks_against_its_mate(&self, place: usize, n: usize, rise: f64) -> bool {
        let values: Vec<f64> = (self.entries.iter())
            .map(|e| {
                let mate = work(&e.energy, (place + n / 2) % n, n);
                100.0 * (mate - work(&e.energy, place, n)) / rise
            })
            .collect();
        let [short, _, error] = statistics(&values);
        short > (WEAK / 2.0).max(SIGNIFICANT * error)
    }
}

fn is_weak(place: usize, cylinders: &[Share]) -> bool {
    let n = cylinders.len();
    let share = &cylinders[place];
    let mut others: Vec<f64> = (cylinders.iter())
        .filter(|s| s.place != place)
        .map(|s| s.value.0)
        .collect();
    others.sort_by(f64::total_cmp);
    let median = (others[(n - 2) / 2] + others[(n - 1) / 2]) / 2.0;
    median - share.value.0 > WEAK.max(SIGNIFICANT * share.error.0)
}

/// Change of the energy from the TDC at this place to the next.
fn work(energy: &[f64], place: usize, n: usize) -> f64 {
    let spacing = LENGTH / n;
    energy[(place + 1) * spacing % LENGTH] - energy[place * spacing]
}

/// Undoes the mean over two parts with which the speed at an angle was found: sin(x)/x in amplitude.
fn full(harmonic: Harmonic) -> Harmonic {
    let x = harmonic.order * (720.0 / f64::from(PARTS)).to_radians();
    let k = x / x.sin();
    Harmonic {
        amplitude: harmonic.amplitude * k,
        error: harmonic.error * k,
        ..harmonic
    }
}

/// The cylinder whose lack of work would put order 0.5 where it is. A lack at one angle of the cycle makes
/// the speed fall there and rise evenly all the rest: a saw-tooth, whose first harmonic is least a quarter
/// of the cycle later, greatest three quarters later (its Fourier series).
fn points_to(half: &Harmonic, n: usize) -> Option<usize> {
    if half.amplitude.0 < SIGNIFICANT * half.error.0 {
        return None;
    }
    let lack = CrankDegrees((half.peak.0 - 540.0 - WORK_CENTRE).rem_euclid(720.0));
    let spacing = 720.0 / n as f64;
    (0..n).min_by(|&a, &b| {
        let off = |place: usize| {
            let d = (lack.0 - place as f64 * spacing).rem_euclid(720.0);
            d.min(720.0 - d)
        };
        off(a).total_cmp(&off(b))
    })
}
