//! Finds the gap of a tone wheel in bare intervals.

/// A gap must be longer than its neighbours divided by this. The ratio is the example value shipped
/// with NXP's eTPU engine-control functions (etpu_crank.h, 2015), which ask it of each neighbour.
/// Here it is asked of their mean, which a change of speed leaves alone: a 36-1 gap may be only 1.5
/// times one neighbour while cranking, but stays near twice the mean. Every gap of a 60-2 wheel
/// with 93 % peak-to-peak ripple passes, no other tooth comes near.
pub(crate) const GAP_RATIO: f64 = 0.6;
/// And it must be this much longer than either: a doubled edge makes one neighbour short, not both.
const LONGER: f64 = 1.15;

/// Watches the raw edges and says when two gaps have been found the right number of teeth apart.
#[derive(Debug, Clone)]
pub(crate) struct GapSearch {
    teeth: usize,
    /// The last edges, newest last.
    recent: [Option<f64>; 4],
    /// Edges since the first tooth after the last gap, that one included.
    since_gap: Option<Vec<f64>>,
}

impl GapSearch {
    pub fn new(teeth: usize) -> Self {
        Self {
            teeth,
            recent: [None; 4],
            since_gap: None,
        }
    }

    pub fn reset(&mut self) {
        *self = Self::new(self.teeth);
    }

    /// Takes an edge. When it is tooth 1 after a gap that lies a full count of teeth after another gap,
    /// returns all edges from tooth 0 after the earlier gap to this one.
    pub fn push(&mut self, at: f64) -> Option<Vec<f64>> {
        self.recent.rotate_left(1);
        self.recent[3] = Some(at);
        if let Some(edges) = &mut self.since_gap {
            edges.push(at);
            if edges.len() > self.teeth + 2 {
                self.since_gap = None;
            }
        }
        let [Some(a), Some(b), Some(c), Some(d)] = self.recent else {
            return None;
        };
        let (before, gap, after) = (b - a, c - b, d - c);
        if GAP_RATIO * gap <= 0.5 * (before + after) || gap <= LONGER * before.max(after) {
            return None;
        }
        let edges = self.since_gap.replace(vec![c, d])?;
        (edges.len() == self.teeth + 2).then_some(edges)
    }
}
