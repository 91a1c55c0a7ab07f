//! The last edges of a lead, for asking whose pattern they are.

use crate::edge::Edge;
use crate::engine::EdgeKind;
use crate::pattern::PatternEdge;
use crate::rotation::Rotation;
use crate::units::SampleTime;
use std::collections::VecDeque;

/// Edges kept: three revolutions of a cam with ten windows, or the periods of an eighth of a second at 250 Hz.
const KEPT: usize = 64;
/// Fewest intervals between like edges that make a beat.
const FEWEST: usize = 12;
/// A controller's period is held by a crystal (from memory: better than 0.1 %); a sample each way, and the jitter of an
/// interrupt that switches the pin, take more. Teeth of a turning engine leave this within a turn, at the latest in a gap.
const WITHIN: f64 = 0.015;
/// Share of the edges that two leads on one pin have in common; noise moves some of them.
const SAME: f64 = 0.9;
/// Share of the intervals that must keep it: at full and at no duty periods are left out.
const SHARE: f64 = 0.8;

/// Remembers the last edges of one lead.
#[derive(Debug, Clone, Default)]
pub(crate) struct Ear {
    edges: VecDeque<Edge>,
}

impl Ear {
    pub fn push(&mut self, edges: &[Edge]) {
        let edges = &edges[edges.len().saturating_sub(KEPT)..];
        let surplus = (self.edges.len() + edges.len()).saturating_sub(KEPT);
        let _ = self.edges.drain(..surplus);
        self.edges.extend(edges);
    }

    /// Samples were lost: no interval is measured across.
    pub fn gap(&mut self) {
        self.edges.clear();
    }

    /// Edges since `from`.
    pub fn since(&self, from: f64) -> usize {
        self.edges
            .iter()
            .rev()
            .take_while(|e| e.at.0 >= from)
            .count()
    }

    /// Intervals in samples between edges of the kind that comes last, oldest first.
    fn intervals(&self) -> Vec<f64> {
        let Some(kind) = self.edges.back().map(|e| e.kind) else {
            return Vec::new();
        };
        let like: Vec<f64> = self.of(kind).collect();
        like.windows(2).map(|w| w[1] - w[0]).collect()
    }

    fn of(&self, kind: EdgeKind) -> impl Iterator<Item = f64> {
        self.edges
            .iter()
            .filter(move |e| e.kind == kind)
            .map(|e| e.at.0)
    }

    /// Whether nearly all edges of two leads come at the same instants, within a sample.
    pub fn coincide(a: &Self, b: &Self) -> bool {
        let (Some(first), Some(other)) = (a.edges.front(), b.edges.front()) else {
            return false;
        };
        // The older edges of the one may be forgotten by the other.
        let from = first.at.0.max(other.at.0) - 1.0;
        let late = |e: &&Edge| e.at.0 >= from;
        let (mut shared, mut all) = (0usize, 0usize);
        let mut there = b.edges.iter().peekable();
        for edge in a.edges.iter().filter(late) {
            all += 1;
            while there.next_if(|o| o.at.0 < edge.at.0 - 1.0).is_some() {}
            let is_there = there
                .peek()
                .is_some_and(|o| o.at.0 <= edge.at.0 + 1.0 && o.kind == edge.kind);
            shared += usize::from(is_there);
        }
        let most = b.edges.iter().filter(late).count().max(all);
        all >= FEWEST && shared as f64 >= SAME * most as f64
    }

    /// Median interval between like edges, in samples.
    pub fn pace(&self) -> Option<f64> {
        let mut all = self.intervals();
        if all.len() < FEWEST {
            return None;
        }
        let middle = all.len() / 2;
        Some(*all.select_nth_unstable_by(middle, f64::total_cmp).1)
    }

    /// The same if nearly all intervals are alike, as those of a clock are.
    pub fn beat(&self) -> Option<f64> {
        let pace = self.pace()?;
        let all = self.intervals();
        let alike = all
            .iter()
            .filter(|x| (*x / pace - 1.0).abs() < WITHIN)
            .count();
        (alike as f64 >= SHARE * all.len() as f64).then_some(pace)
    }

    /// Edges of the last 720 degrees in the crank's own count; `None` until so much was heard.
    pub fn turn(&self, rotation: &Rotation) -> Option<Vec<PatternEdge>> {
        let angle = |at: SampleTime| rotation.crank_angle_at(at).map(|a| a.0);
        let newest = angle(self.edges.back()?.at)?;
        let mut turn = Vec::new();
        for edge in self.edges.iter().rev() {
            let at = angle(edge.at)?;
            if at <= newest - 720.0 {
                return Some(turn);
            }
            turn.push(PatternEdge {
                angle: at,
                kind: edge.kind,
            });
        }
        None
    }
}
