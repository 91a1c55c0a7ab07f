//! The edges of a cam as the engine sheet gives them, and how measured edges fit them on the circle.

use crate::engine::{CamSheet, EdgeKind};

/// Distance in crank degrees at which an edge counts as not matched at all.
pub(crate) const CAP: f64 = 20.0;
/// Worst mean squared distance, in degrees squared, at which a pattern still fits: a good one has
/// less than 6 (Hall cam sensors place an edge within 2.4 crank degrees, Allegro ATS673 data sheet),
/// one missing edge of eight adds 27, one extra the same.
const FITS: f64 = 60.0;
/// Farthest from the median of a fit that an edge still counts for its phase: twice what a sensor does
/// while it calibrates itself would be 12 (same data sheet), a phaser on its way spreads a revolution's
/// edges by more. Below this an odd edge is not told from a moving cam.
const WITH_THE_OTHERS: f64 = 10.0;
/// Trial shifts closer than this are tried once; the fit then moves to the edges' own mean.
const ALIKE: f64 = 2.0;
/// Teeth by which a cam may be out and still be recognised.
const TEETH_OUT: f64 = 3.0;
/// Sprocket taken for that where the sheet names none: common practice is 36 to 48 (from memory).
const USUAL_SPROCKET: f64 = 40.0;
/// Tolerance taken for windows that are not of a known-good engine: they may be off by several degrees.
const UNPROVEN: f64 = 10.0;

/// Brings a difference of angle into (-360, 360].
pub(crate) fn wrap(degrees: f64) -> f64 {
    let d = degrees.rem_euclid(720.0);
    if d > 360.0 { d - 720.0 } else { d }
}

/// An edge of the reference pattern or a measured one; angle in crank degrees.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct PatternEdge {
    pub angle: f64,
    pub kind: EdgeKind,
}

/// The edges of a cam at rest, and the phases it can have.
#[derive(Debug, Clone)]
pub(crate) struct Pattern {
    /// Rising of window 0, falling of window 0, rising of window 1, ...
    pub edges: Vec<PatternEdge>,
    circle: [Circle; 2],
    /// Phases within the phaser's travel.
    travel: [f64; 2],
    tolerance: f64,
    /// Phases that are believed at all: travel and some teeth out.
    believed: [f64; 2],
}

/// How well measured edges fit a pattern.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Fit {
    /// Degrees to add to the measured angles.
    pub shift: f64,
    /// Mean squared distance, each at most [`CAP`] squared.
    pub cost: f64,
}

impl Fit {
    pub fn is_good(self) -> bool {
        self.cost < FITS
    }
}

/// Phases among which an alternative is looked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Belief {
    /// Travel and some sprocket teeth out.
    TeethOut,
    /// Travel and tolerance.
    Travel,
    /// The rest position and tolerance.
    Rest,
}

impl Pattern {
    pub fn new(sheet: &CamSheet) -> Self {
        let drive = sheet.phaser.as_ref().map_or(0.0, |p| {
            p.rest.drive_sign() * p.authority.0.abs().min(180.0)
        });
        let sprocket = sheet
            .sprocket_teeth
            .map_or(USUAL_SPROCKET, f64::from)
            .max(12.0);
        let edges = sheet
            .windows
            .iter()
            .flat_map(|&[rising, falling]| {
                [(rising, EdgeKind::Rising), (falling, EdgeKind::Falling)]
            })
            .map(|(angle, kind)| PatternEdge {
                angle: angle.rem_euclid(720.0),
                kind,
            })
            .collect();
        let tolerance = sheet.tolerance.0.abs();
        Self::of(
            edges,
            [drive.min(0.0), drive.max(0.0)],
            if sheet.known_good {
                tolerance
            } else {
                tolerance.max(UNPROVEN)
            },
            TEETH_OUT * 720.0 / sprocket,
        )
    }

    pub fn of(edges: Vec<PatternEdge>, travel: [f64; 2], tolerance: f64, out: f64) -> Self {
        Self {
            circle: circles(&edges),
            edges,
            travel,
            tolerance,
            believed: [travel[0] - out, travel[1] + out],
        }
    }

    pub fn believes(&self, phase: f64, belief: Belief) -> bool {
        let [low, high] = match belief {
            Belief::TeethOut => self.believed,
            Belief::Travel => [
                self.travel[0] - self.tolerance,
                self.travel[1] + self.tolerance,
            ],
            Belief::Rest => [-self.tolerance, self.tolerance],
        };
        (low..=high).contains(&phase)
    }

    /// Keeps a phase that was carried on from another within the travel, or where it was if it was outside already.
    pub fn within_travel(&self, phase: f64, from: f64) -> f64 {
        phase.clamp(self.travel[0].min(from), self.travel[1].max(from))
    }

    /// How far a phase lies outside the phaser's travel.
    pub fn outside(&self, phase: f64) -> f64 {
        (self.travel[0] - phase)
            .max(phase - self.travel[1])
            .max(0.0)
    }

    /// Smallest distance between two edges of one kind, and between any two.
    pub fn closest(&self) -> [f64; 2] {
        let mut closest = [720.0_f64; 2];
        for (i, a) in self.edges.iter().enumerate() {
            for b in &self.edges[i + 1..] {
                let d = wrap(a.angle - b.angle).abs();
                closest[1] = closest[1].min(d);
                if a.kind == b.kind {
                    closest[0] = closest[0].min(d);
                }
            }
        }
        closest
    }

    /// All shifts of the circle at which measured edges lie on reference edges, with their cost: every pair of
    /// like edges is a trial, pairs of mutually nearest edges give the shift, and edges that are too many or
    /// missing cost at most [`CAP`] each without pulling it. The work does not depend on what the crank knows.
    pub fn fits(&self, measured: &[PatternEdge]) -> Vec<Fit> {
        let seen = circles(measured);
        let mut trials: Vec<f64> = measured
            .iter()
            .flat_map(|m| {
                let like = self.edges.iter().filter(|r| r.kind == m.kind);
                like.map(|r| wrap(r.angle - m.angle))
            })
            .collect();
        trials.sort_by(f64::total_cmp);
        let mut fits: Vec<Fit> = Vec::new();
        let mut i = 0;
        while i < trials.len() {
            let n = trials[i..].partition_point(|t| *t <= trials[i] + ALIKE);
            let fit = self.refined(&seen, trials[i + n / 2]);
            match fits
                .iter_mut()
                .find(|f| wrap(f.shift - fit.shift).abs() < ALIKE)
            {
                Some(twin) if fit.cost < twin.cost => *twin = fit,
                Some(_) => {}
                None => fits.push(fit),
            }
            i += n;
        }
        fits
    }

    fn refined(&self, seen: &[Circle; 2], trial: f64) -> Fit {
        let mut shift = trial;
        // Twice: what is nearest may change with the shift.
        for _ in 0..2 {
            let mut off: Vec<f64> = (self.circle.iter().zip(seen))
                .flat_map(|(reference, seen)| reference.pairs(seen, shift))
                .collect();
            if off.is_empty() {
                break;
            }
            let middle = off.len() / 2;
            let (_, median, _) = off.select_nth_unstable_by(middle, f64::total_cmp);
            let median = *median;
            let (sum, n) = off
                .iter()
                .filter(|d| (*d - median).abs() < WITH_THE_OTHERS)
                .fold((0.0, 0.0), |(s, n), d| (s + d, n + 1.0));
            shift += sum / n;
        }
        let (mut cost, mut count) = (0.0, 0.0);
        for (reference, seen) in self.circle.iter().zip(seen) {
            for &m in &seen.0 {
                cost += capped(reference.nearest(m + shift).map(|(_, d)| d));
                count += 1.0;
            }
            for &r in &reference.0 {
                cost += capped(seen.nearest(r - shift).map(|(_, d)| d));
                count += 1.0;
            }
        }
        Fit {
            shift: wrap(shift),
            cost: if count > 0.0 { cost / count } else { CAP * CAP },
        }
    }
}

fn capped(distance: Option<f64>) -> f64 {
    let d = distance.map_or(CAP, |d| d.abs().min(CAP));
    d * d
}

/// Angles of the edges of one kind in [0, 720), sorted.
#[derive(Debug, Clone)]
struct Circle(Vec<f64>);

fn circles(edges: &[PatternEdge]) -> [Circle; 2] {
    [EdgeKind::Rising, EdgeKind::Falling].map(|kind| {
        let mut angles: Vec<f64> = edges
            .iter()
            .filter(|e| e.kind == kind)
            .map(|e| e.angle.rem_euclid(720.0))
            .collect();
        angles.sort_by(f64::total_cmp);
        Circle(angles)
    })
}

impl Circle {
    /// The edge nearest to `angle`, and how far ahead of it that is.
    fn nearest(&self, angle: f64) -> Option<(usize, f64)> {
        let n = self.0.len();
        let after = self.0.partition_point(|&a| a <= angle.rem_euclid(720.0));
        (n > 0).then(|| {
            [(after + n - 1) % n, after % n]
                .map(|i| (i, wrap(self.0[i] - angle)))
                .into_iter()
                .min_by(|a, b| a.1.abs().total_cmp(&b.1.abs()))
        })?
    }

    /// Distances of the pairs that are each other's nearest, at most [`CAP`].
    fn pairs(&self, seen: &Self, shift: f64) -> Vec<f64> {
        seen.0
            .iter()
            .enumerate()
            .filter_map(|(i, &m)| {
                let (j, off) = self.nearest(m + shift)?;
                let (back, _) = seen.nearest(self.0[j] - shift)?;
                (back == i && off.abs() < CAP).then_some(off)
            })
            .collect()
    }
}

#[cfg(test)]
mod tests;
