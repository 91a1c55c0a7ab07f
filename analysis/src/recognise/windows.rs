//! An unknown cam target as a list of windows in a cycle, learnt while the crank is followed.

use crate::engine::EdgeKind;
use crate::units::CrankDegrees;

/// Edges within this many crank degrees of each other are the same edge of the target: twice the floor of a Hall cam
/// sensor (2.4 crank degrees, Allegro ATS673 data sheet) and room for idle ripple; targets have no closer edges.
const SAME: f64 = 6.0;
/// Cycles from which windows are told: the first three edges of a cam sensor may be 12 degrees off (same data sheet).
const CYCLES: f64 = 6.0;
/// Share of the cycles in which an edge must be there.
const THERE: f64 = 0.7;
/// Most edges kept.
const MOST: usize = 512;

/// Windows of an unknown target.
#[derive(Debug, Clone, PartialEq)]
pub struct CamWindows {
    /// Rising and falling edge of each, degrees of the crank after a TDC of cylinder 1. Which of its two revolutions
    /// begins there is not told by the crank: with the other one 360 is added to all.
    pub windows: Vec<[CrankDegrees; 2]>,
    /// Largest standard deviation of an edge.
    pub spread: CrankDegrees,
    /// Cycles they rest on.
    pub cycles: f64,
    /// Whether both revolutions look the same, so that the target cannot tell them apart.
    pub repeats: bool,
}

/// Learns windows from edges at crank angles that count on from turn to turn.
#[derive(Debug, Clone, Default)]
pub struct WindowLearner {
    edges: Vec<(f64, EdgeKind)>,
}

impl WindowLearner {
    /// Takes the next edge at its crank angle, which must not fall back at the end of a cycle.
    pub fn push(&mut self, angle: CrankDegrees, kind: EdgeKind) {
        if self
            .edges
            .last()
            .is_some_and(|last| angle.0 < last.0 - SAME)
        {
            // The crank is counted anew.
            self.edges.clear();
        }
        if self.edges.len() >= MOST {
            let _ = self.edges.drain(..MOST / 2).count();
        }
        self.edges.push((angle.0, kind));
    }

    /// Forgets all.
    pub fn clear(&mut self) {
        self.edges.clear();
    }

    /// The windows, when enough cycles agree.
    pub fn windows(&self) -> Option<CamWindows> {
        let (first, last) = (self.edges.first()?.0, self.edges.last()?.0);
        let cycles = (last - first) / 720.0;
        if cycles < CYCLES {
            return None;
        }
        let rising = self.places(EdgeKind::Rising, cycles);
        let falling = self.places(EdgeKind::Falling, cycles);
        if rising.is_empty() || rising.len() != falling.len() {
            return None;
        }
        let windows: Vec<[f64; 2]> = (rising.iter())
            .map(|&(r, _)| {
                let width = (falling.iter())
                    .map(|(f, _)| (f - r).rem_euclid(720.0))
                    .fold(720.0, f64::min);
                [r, r + width]
            })
            .collect();
        let spread = (rising.iter().chain(&falling))
            .map(|p| p.1)
            .fold(0.0, f64::max);
        let repeats = windows.iter().all(|[r, f]| {
            windows
                .iter()
                .any(|[a, b]| distance(a - 360.0, *r) < SAME && ((b - a) - (f - r)).abs() < SAME)
        });
        Some(CamWindows {
            windows: (windows.into_iter())
                .map(|w| w.map(|a| CrankDegrees((a * 10.0).round() / 10.0)))
                .collect(),
            spread: CrankDegrees(spread),
            cycles,
            repeats,
        })
    }

    /// Where edges of this kind come in most cycles: mean and standard deviation, in order.
    fn places(&self, kind: EdgeKind, cycles: f64) -> Vec<(f64, f64)> {
        let mut groups: Vec<(f64, Vec<f64>)> = Vec::new();
        for (angle, _) in self.edges.iter().filter(|e| e.1 == kind) {
            let place = angle.rem_euclid(720.0);
            match groups.iter_mut().find(|g| distance(g.0, place) < SAME) {
                Some((anchor, off)) => {
                    let d = (place - *anchor + 360.0).rem_euclid(720.0) - 360.0;
                    off.push(d);
                }
                None => groups.push((place, vec![0.0])),
            }
        }
        let mut places: Vec<(f64, f64)> = (groups.into_iter())
            .filter(|(_, off)| off.len() as f64 > THERE * cycles)
            .map(|(anchor, off)| {
                let n = off.len() as f64;
                let mean = off.iter().sum::<f64>() / n;
                let square = off.iter().map(|d| (d - mean).powi(2)).sum::<f64>() / n;
                ((anchor + mean).rem_euclid(720.0), square.sqrt())
            })
            .collect();
        places.sort_by(|a, b| a.0.total_cmp(&b.0));
        places
    }
}

fn distance(a: f64, b: f64) -> f64 {
    let d = (a - b).rem_euclid(720.0);
    d.min(720.0 - d)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn windows_of_an_unknown_target_are_learnt_and_a_stray_edge_is_not() {
        let truth = [[40.0, 130.0], [300.0, 345.0], [700.0, 735.0]];
        let mut learner = WindowLearner::default();
        for cycle in 0..9_u32 {
            let mut edges: Vec<(f64, EdgeKind)> = Vec::new();
            for [r, f] in truth {
                let wobble = 0.4 * f64::from(cycle % 3) - 0.4;
                edges.push((r + wobble, EdgeKind::Rising));
                edges.push((f + wobble, EdgeKind::Falling));
            }
            if cycle == 4 {
                edges.push((200.0, EdgeKind::Rising));
                edges.push((203.0, EdgeKind::Falling));
            }
            edges.sort_by(|a, b| a.0.total_cmp(&b.0));
            for (a, kind) in edges {
                learner.push(CrankDegrees(1440.0 + 720.0 * f64::from(cycle) + a), kind);
            }
        }
        let found = learner.windows().expect("nine cycles");
        assert!(!found.repeats && found.spread.0 < 0.5, "{found:?}");
        assert_eq!(found.windows.len(), 3);
        for (got, want) in found.windows.iter().zip(truth) {
            let off = (got[0].0 - want[0]).abs() + (got[1].0 - want[1]).abs();
            assert!(off < 0.3, "{got:?}, not {want:?}");
        }
    }
}
