//! Which of its two crank revolutions the engine is in: cam edges against the reference windows.

use crate::engine::{CamSheet, EdgeKind};

/// Distance at which an edge counts as not matched at all.
const CAP: f64 = 20.0;
/// Worst mean squared distance, in degrees squared, at which a pattern still fits: a good one has
/// less than 5 (Hall cam sensors place an edge within 2.4 crank degrees, Allegro ATS673 data sheet),
/// one missing edge of eight adds 27, one extra the same.
const FITS: f64 = 60.0;
/// By how much, and to what part, the better revolution must beat the other.
const MARGIN: f64 = 15.0;
const MARGIN_PART: f64 = 0.6;
/// Decisive contrary cam revolutions before a decision is turned round.
const TURN_ROUND: u32 = 3;
/// Teeth by which a cam may be out and still be recognised.
const TEETH_OUT: f64 = 3.0;
/// Sprocket taken for that where the sheet names none: common practice is 36 to 48 (from memory).
const USUAL_SPROCKET: f64 = 40.0;

/// Brings a difference of angle into (-360, 360].
pub(crate) fn wrap(degrees: f64) -> f64 {
    let d = degrees.rem_euclid(720.0);
    if d > 360.0 { d - 720.0 } else { d }
}

/// An edge of the reference pattern or a measured one; angle in degrees of the cycle.
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
    /// Phases within the phaser's authority.
    pub authority: [f64; 2],
    /// Phases that are believed: authority and some teeth out.
    pub believed: [f64; 2],
}

/// How well measured edges fit a pattern.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Fit {
    pub phase: f64,
    /// Mean squared distance, each at most [`CAP`] squared.
    pub cost: f64,
}

impl Fit {
    pub fn is_good(self) -> bool {
        self.cost < FITS
    }
}

impl Pattern {
    pub fn new(sheet: &CamSheet) -> Self {
        let edges = sheet
            .windows
            .iter()
            .flat_map(|[rising, falling]| {
                [
                    PatternEdge {
                        angle: rising.rem_euclid(720.0),
                        kind: EdgeKind::Rising,
                    },
                    PatternEdge {
                        angle: falling.rem_euclid(720.0),
                        kind: EdgeKind::Falling,
                    },
                ]
            })
            .collect();
        let drive = sheet.phaser.as_ref().map_or(0.0, |p| {
            p.rest.drive_sign() * p.authority.0.abs().min(180.0)
        });
        let authority = [drive.min(0.0), drive.max(0.0)];
        let sprocket = sheet
            .sprocket_teeth
            .map_or(USUAL_SPROCKET, f64::from)
            .max(12.0);
        let out = TEETH_OUT * 720.0 / sprocket;
        Self {
            edges,
            authority,
            believed: [authority[0] - out, authority[1] + out],
        }
    }

    pub fn believes(&self, phase: f64) -> bool {
        (self.believed[0]..=self.believed[1]).contains(&phase)
    }

    /// Best phase among all that bring a measured edge onto a reference edge: a circular assignment
    /// that bears missing and extra edges. `None` when no believable phase does.
    pub fn fit(&self, measured: &[PatternEdge]) -> Option<Fit> {
        let mut best: Option<(f64, Fit)> = None;
        for m in measured {
            for r in self.edges.iter().filter(|r| r.kind == m.kind) {
                let phase = wrap(r.angle - m.angle);
                if !self.believes(phase) {
                    continue;
                }
                let fit = self.refined(measured, phase);
                // Of two that fit alike, the phase nearer to the authority is the likelier.
                let outside = (self.authority[0] - fit.phase)
                    .max(fit.phase - self.authority[1])
                    .max(0.0);
                let rank = fit.cost + outside * 0.05;
                if best.is_none_or(|(b, _)| rank < b) {
                    best = Some((rank, fit));
                }
            }
        }
        best.map(|(_, fit)| fit)
    }

    fn refined(&self, measured: &[PatternEdge], phase: f64) -> Fit {
        let distances: Vec<f64> = measured
            .iter()
            .map(|m| nearest(&self.edges, m.kind, m.angle + phase))
            .collect();
        let (sum, n) = distances
            .iter()
            .filter(|d| d.abs() < CAP)
            .fold((0.0, 0.0), |(s, n), d| (s + d, n + 1.0));
        let shift = if n > 0.0 { sum / n } else { 0.0 };
        let phase = phase + shift;
        let mut cost: f64 = distances.iter().map(|d| capped(d - shift)).sum();
        cost += self
            .edges
            .iter()
            .map(|r| capped(nearest(measured, r.kind, r.angle - phase)))
            .sum::<f64>();
        let count =
            u32::try_from(measured.len() + self.edges.len()).map_or(f64::INFINITY, f64::from);
        Fit {
            phase,
            cost: cost / count,
        }
    }
}

fn capped(distance: f64) -> f64 {
    let d = distance.abs().min(CAP);
    d * d
}

/// Signed distance from `angle` to the nearest edge of this kind.
fn nearest(edges: &[PatternEdge], kind: EdgeKind, angle: f64) -> f64 {
    edges
        .iter()
        .filter(|e| e.kind == kind)
        .map(|e| wrap(e.angle - angle))
        .min_by(|a, b| a.abs().total_cmp(&b.abs()))
        .unwrap_or(f64::INFINITY)
}

/// What one cam revolution says: the fit as counted, and the fit one crank revolution on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Verdict {
    pub as_counted: Option<Fit>,
    pub turned: Option<Fit>,
}

impl Verdict {
    /// Whether the count must be turned by 360 degrees, and by what margin it is known; `None` if it cannot be told.
    fn decision(self) -> Option<(bool, f64)> {
        let cost = |f: Option<Fit>| f.map_or(CAP * CAP, |f| f.cost);
        let (a, b) = (cost(self.as_counted), cost(self.turned));
        let (better, worse) = (a.min(b), a.max(b));
        (better < FITS && worse - better > MARGIN && better < MARGIN_PART * worse)
            .then_some((b < a, worse - better))
    }

    /// Whether the edges fit the pattern in one of the two revolutions.
    pub fn fits(self) -> bool {
        [self.as_counted, self.turned]
            .iter()
            .flatten()
            .any(|f| f.is_good())
    }
}

/// Collects the verdicts of all cams.
#[derive(Debug, Clone, Default)]
pub(crate) struct Cycle {
    turned: Option<bool>,
    latest: Vec<Option<(bool, f64)>>,
    contrary: u32,
}

impl Cycle {
    pub fn new(cams: usize) -> Self {
        Self {
            turned: None,
            latest: vec![None; cams],
            contrary: 0,
        }
    }

    /// Degrees to add to the crank's own count, once known.
    pub fn offset(&self) -> Option<f64> {
        self.turned.map(|t| if t { 360.0 } else { 0.0 })
    }

    /// Takes a cam revolution into account; true if the offset became known or changed.
    pub fn hear(&mut self, cam: usize, verdict: Verdict) -> bool {
        self.latest[cam] = verdict.decision();
        let balance: f64 = self
            .latest
            .iter()
            .flatten()
            .map(|&(turned, margin)| if turned { margin } else { -margin })
            .sum();
        if balance.abs() < MARGIN {
            return false;
        }
        let says = balance > 0.0;
        match self.turned {
            None => {
                self.turned = Some(says);
                true
            }
            Some(now) if now == says => {
                self.contrary = 0;
                false
            }
            Some(_) => {
                self.contrary += 1;
                let turn = self.contrary >= TURN_ROUND;
                if turn {
                    self.turned = Some(says);
                    self.contrary = 0;
                }
                turn
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use EdgeKind::{Falling, Rising};

    fn pattern() -> Pattern {
        Pattern {
            edges: [
                (40.0, Rising),
                (130.0, Falling),
                (400.0, Rising),
                (520.0, Falling),
            ]
            .map(|(angle, kind)| PatternEdge { angle, kind })
            .to_vec(),
            authority: [0.0, 50.0],
            believed: [-50.0, 100.0],
        }
    }

    fn seen(p: &Pattern, by: f64) -> Vec<PatternEdge> {
        p.edges
            .iter()
            .map(|e| PatternEdge {
                angle: (e.angle + by).rem_euclid(720.0),
                kind: e.kind,
            })
            .collect()
    }

    #[test]
    fn every_believed_phase_is_found_and_the_revolution_told() {
        let p = pattern();
        for phase in [-45.0, -10.0, 0.0, 25.0, 50.0, 95.0] {
            for turned in [false, true] {
                let at = |count: f64| {
                    p.fit(&seen(&p, -phase + count + if turned { 360.0 } else { 0.0 }))
                };
                let v = Verdict {
                    as_counted: at(0.0),
                    turned: at(360.0),
                };
                assert_eq!(v.decision().map(|d| d.0), Some(turned), "{phase}");
                let fit = if turned { v.turned } else { v.as_counted };
                assert!(fit.is_some_and(|f| (f.phase - phase).abs() < 1e-9 && f.cost < 1e-9));
            }
        }
    }

    #[test]
    fn one_missing_and_one_extra_edge_are_borne() {
        let p = pattern();
        let mut edges = seen(&p, -20.0);
        let _ = edges.remove(1);
        edges.push(PatternEdge {
            angle: 300.0,
            kind: Rising,
        });
        let fit = p.fit(&edges).expect("a fit");
        assert!((fit.phase - 20.0).abs() < 1e-9);
    }

    #[test]
    fn a_symmetric_pattern_decides_nothing() {
        let mut p = pattern();
        p.edges[3].angle = 490.0;
        let v = Verdict {
            as_counted: p.fit(&seen(&p, 0.0)),
            turned: p.fit(&seen(&p, 360.0)),
        };
        assert!(v.fits() && v.decision().is_none());
    }

    #[test]
    fn a_decision_turns_only_on_repeated_contradiction() {
        let sure = |turned: bool| {
            let (good, bad) = (
                Fit {
                    phase: 0.0,
                    cost: 1.0,
                },
                Fit {
                    phase: 0.0,
                    cost: 90.0,
                },
            );
            if turned {
                Verdict {
                    as_counted: Some(bad),
                    turned: Some(good),
                }
            } else {
                Verdict {
                    as_counted: Some(good),
                    turned: Some(bad),
                }
            }
        };
        let mut c = Cycle::new(1);
        assert!(c.hear(0, sure(false)));
        assert!(!c.hear(0, sure(true)) && !c.hear(0, sure(true)) && !c.hear(0, sure(false)));
        assert_eq!(c.offset(), Some(0.0));
        assert!(!c.hear(0, sure(true)) && !c.hear(0, sure(true)) && c.hear(0, sure(true)));
        assert_eq!(c.offset(), Some(360.0));
    }
}
