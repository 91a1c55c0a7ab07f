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

/// An edge of the wheel.
#[derive(Debug, Clone, Copy)]
struct WheelEdge {
    /// Crank degrees in [0, 720).
    nominal: f64,
    /// Fixed error.
    error: f64,
    rising: bool,
}

/// An edge next to the sensor: its index, crank degrees of the turn it belongs to, and where it is felt.
#[derive(Debug, Clone, Copy)]
struct Near {
    index: usize,
    turn: f64,
    at: f64,
}

/// Position of the sensor over the wheel. The wheel's angle is the crank's plus the advance.
#[derive(Debug, Clone)]
pub(super) struct CamWheel {
    /// In rising order.
    edges: Vec<WheelEdge>,
    jitter: f64,
    /// The edge that passed last, and the one after it.
    before: Near,
    after: Near,
    /// Output now.
    pub open: bool,
}

impl CamWheel {
    pub fn new(plan: &CamPlan, angle: f64) -> Self {
        let error = |n: usize| plan.edge_errors.get(n).copied().unwrap_or(0.0);
        let mut edges: Vec<WheelEdge> = Vec::new();
        for (n, [rise, fall]) in plan.windows.iter().enumerate() {
            for (nominal, error, rising) in
                [(rise, error(2 * n), true), (fall, error(2 * n + 1), false)]
            {
                edges.push(WheelEdge {
                    nominal: nominal.rem_euclid(720.0),
                    error,
                    rising,
                });
            }
        }
        edges.sort_by(|a, b| a.nominal.total_cmp(&b.nominal));
        let turn = (angle / 720.0).floor() * 720.0;
        let felt = |index: usize, turn: f64| Near {
            index,
            turn,
            at: turn + edges[index].nominal + edges[index].error,
        };
        let after = (0..edges.len())
            .map(|n| felt(n, turn))
            .find(|near| near.at > angle)
            .unwrap_or_else(|| felt(0, turn + 720.0));
        let before = match after.index {
            0 => felt(edges.len() - 1, after.turn - 720.0),
            n => felt(n - 1, after.turn),
        };
        Self {
            open: edges[before.index].rising,
            edges,
            jitter: plan.jitter,
            before,
            after,
        }
    }

    /// Finds the edges passed while the wheel turns by the quadratic `start + rate·s + ½·bend·s²`
    /// for s from 0 to `dt`, beginning at `time`. Turned back, the same edges are passed the other way.
    pub fn pass(
        &mut self,
        time: f64,
        dt: f64,
        [start, rate, bend]: [f64; 3],
        rng: &mut impl Rng,
        found: &mut Vec<CamEdge>,
    ) {
        let at = |s: f64| start + (rate + 0.5 * bend * s) * s;
        let end = at(dt);
        let instant = |angle: f64| {
            let chord = (end - start) / dt;
            let mut s = if chord == 0.0 {
                0.0
            } else {
                (angle - start) / chord
            };
            // One Newton step from the chord leaves an error far below a nanosecond.
            let slope = rate + bend * s;
            if slope * chord > 0.0 {
                s += (angle - at(s)) / slope;
            }
            time + s.clamp(0.0, dt)
        };
        while end >= self.after.at {
            self.before = self.after;
            let edge = self.edges[self.before.index];
            self.open = edge.rising;
            found.push(CamEdge {
                time: instant(self.before.at),
                rising: edge.rising,
                at_rest: self.before.turn + edge.nominal,
            });
            let (index, turn) = if self.before.index + 1 == self.edges.len() {
                (0, self.before.turn + 720.0)
            } else {
                (self.before.index + 1, self.before.turn)
            };
            self.after = self.felt(index, turn, rng);
        }
        while end < self.before.at {
            self.after = self.before;
            let edge = self.edges[self.after.index];
            self.open = !edge.rising;
            found.push(CamEdge {
                time: instant(self.after.at),
                rising: !edge.rising,
                at_rest: self.after.turn + edge.nominal,
            });
            let (index, turn) = match self.after.index {
                0 => (self.edges.len() - 1, self.after.turn - 720.0),
                n => (n - 1, self.after.turn),
            };
            self.before = self.felt(index, turn, rng);
        }
    }

    /// Where an edge will be felt this time.
    fn felt(&self, index: usize, turn: f64, rng: &mut impl Rng) -> Near {
        let spread: f64 = StandardNormal.sample(rng);
        let edge = self.edges[index];
        Near {
            index,
            turn,
            at: turn + edge.nominal + edge.error + self.jitter * spread,
        }
    }
}
