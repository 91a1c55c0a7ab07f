//! The tone wheel of a cam: edges at crank degrees that move with the cam's phase.

use super::blueprint::CamPlan;
use rand::Rng;
use rand_distr::{Distribution, StandardNormal};

/// An edge of the sensor's output.
#[derive(Debug, Clone, Copy)]
pub(super) struct CamEdge {
    /// Seconds since the engine's start.
    pub time: f64,
    /// Whether the output opens (rises).
    pub rising: bool,
    /// Where the edge lies with the cam at rest, crank degrees after firing TDC 1, unwrapped.
    pub at_rest: f64,
}

/// Position of the sensor over the wheel. The wheel's angle is the crank's plus the advance.
#[derive(Debug, Clone)]
pub(super) struct CamWheel {
    /// Nominal edge in [0, 720), its fixed error, and whether it rises; in rising order.
    edges: Vec<(f64, f64, bool)>,
    jitter: f64,
    next: usize,
    turn: f64,
    next_at: f64,
    /// Output now.
    pub open: bool,
}

impl CamWheel {
    pub fn new(plan: &CamPlan, angle: f64) -> Self {
        let error = |n: usize| plan.edge_errors.get(n).copied().unwrap_or(0.0);
        let mut edges: Vec<(f64, f64, bool)> = Vec::new();
        for (n, [rise, fall]) in plan.windows.iter().enumerate() {
            edges.push((rise.rem_euclid(720.0), error(2 * n), true));
            edges.push((fall.rem_euclid(720.0), error(2 * n + 1), false));
        }
        edges.sort_by(|a, b| a.0.total_cmp(&b.0));
        let turn = (angle / 720.0).floor() * 720.0;
        let (next, turn) = edges
            .iter()
            .position(|e| turn + e.0 + e.1 > angle)
            .map_or((0, turn + 720.0), |n| (n, turn));
        let open = !edges[next].2;
        let next_at = turn + edges[next].0 + edges[next].1;
        Self {
            edges,
            jitter: plan.jitter,
            next,
            turn,
            next_at,
            open,
        }
    }

    /// Finds the edges passed while the wheel turns by the quadratic `start + rate·s + ½·bend·s²`
    /// for s from 0 to `dt`, beginning at `time`.
    pub fn pass(
        &mut self,
        time: f64,
        dt: f64,
        [start, rate, bend]: [f64; 3],
        rng: &mut impl Rng,
        found: &mut Vec<CamEdge>,
    ) {
        let at = |s: f64| start + (rate + 0.5 * bend * s) * s;
        while at(dt) >= self.next_at {
            let chord = (at(dt) - start) / dt;
            let mut s = if chord > 0.0 {
                (self.next_at - start) / chord
            } else {
                0.0
            };
            // One Newton step from the chord leaves an error far below a nanosecond.
            let slope = rate + bend * s;
            if slope > 0.0 {
                s += (self.next_at - at(s)) / slope;
            }
            let (nominal, _, rising) = self.edges[self.next];
            self.open = rising;
            found.push(CamEdge {
                time: time + s.clamp(0.0, dt),
                rising,
                at_rest: self.turn + nominal,
            });
            self.next += 1;
            if self.next == self.edges.len() {
                self.next = 0;
                self.turn += 720.0;
            }
            let (nominal, error, _) = self.edges[self.next];
            let spread: f64 = StandardNormal.sample(rng);
            self.next_at = self.turn + nominal + error + self.jitter * spread;
        }
    }
}
