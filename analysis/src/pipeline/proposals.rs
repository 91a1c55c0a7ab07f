//! Proposals to the engine sheet, from signals that look different from what it says.

use super::Pipeline;
use crate::channel::Channel;
use crate::edge::Edge;
use crate::engine::EngineSheet;
use crate::lead::Role;
use crate::recognise::scout::Scout;
use crate::recognise::{Proposal, WindowLearner};
use crate::ring::SampleRing;
use crate::rotation::Rotation;
use crate::snapshot::Sync;
use crate::units::Hertz;
use crate::wheel::Wheel;

/// Cam edges that wait for the teeth around them; more are dropped, for windows need no single one.
const WAITING: usize = 64;

/// Those who listen beside the pipeline.
#[derive(Debug, Clone)]
pub(super) struct Scouts {
    crank: Option<Box<Scout>>,
    cams: Vec<WindowLearner>,
    waiting: Vec<(usize, Edge)>,
    proposed: Vec<Option<Proposal>>,
}

impl Scouts {
    pub fn new(sheet: &EngineSheet, channels: &[Channel], rate: Hertz) -> Self {
        let lead = channels.iter().find(|c| c.role == Role::Crank);
        let wheel = Wheel::parse(&sheet.crank.wheel).ok();
        Self {
            crank: (lead.zip(wheel)).map(|(lead, wheel)| {
                Box::new(Scout::new(lead.calibration, &sheet.crank, wheel, rate))
            }),
            cams: vec![WindowLearner::default(); sheet.cams.len()],
            waiting: Vec::new(),
            proposed: vec![None; sheet.cams.len()],
        }
    }

    /// Takes the samples of the crank lead between two indices.
    pub fn listen(&mut self, ring: &SampleRing, from: u64, to: u64) {
        if let Some(crank) = self.crank.as_mut().filter(|c| c.listens()) {
            ring.visit(from, to, |first, samples| crank.push(first, samples));
        }
    }

    /// Takes edges of cam `k`, which are of interest only while the cams do not fit.
    pub fn wait(&mut self, k: usize, edges: &[Edge], is_misfit: bool) {
        if is_misfit {
            let room = WAITING.saturating_sub(self.waiting.len());
            self.waiting
                .extend(edges.iter().take(room).map(|&e| (k, e)));
        }
    }

    /// Places the cam edges among the teeth.
    pub fn settle(&mut self, rotation: &Rotation) {
        for (k, edge) in self.waiting.drain(..) {
            match rotation.crank_angle_at(edge.at) {
                Some(angle) => self.cams[k].push(angle, edge.kind),
                None => self.cams[k].clear(),
            }
        }
    }
}

impl Pipeline {
    /// Looks at what the scouts have heard, and notes what is new.
    pub(super) fn scout(&mut self) {
        let now = self.now();
        let is_followed = matches!(self.rotation.sync(), Sync::Revolution | Sync::Cycle);
        let news = (self.scouts.crank.as_mut())
            .and_then(|crank| crank.look(now, is_followed))
            .map(|proposal| proposal.text.clone());
        if let Some(text) = news {
            self.note(now, text);
        }
        if self.rotation.sync() == Sync::Cycle {
            self.scouts.proposed.fill(None);
            self.scouts.cams.iter_mut().for_each(WindowLearner::clear);
        }
        for k in 0..self.cam_ids.len() {
            if !self.misfit || self.scouts.proposed[k].is_some() {
                continue;
            }
            if let Some(found) = self.scouts.cams[k].windows() {
                let proposal = Proposal::of_cam(self.cam_ids[k], &found, now);
                self.note(now, proposal.text.clone());
                self.scouts.proposed[k] = Some(proposal);
            }
        }
    }

    /// All proposals that hold.
    pub(super) fn proposals(&self) -> Vec<Proposal> {
        let crank = self.scouts.crank.as_ref().and_then(|c| c.proposal());
        let cams = self.scouts.proposed.iter().flatten();
        crank.into_iter().chain(cams).cloned().collect()
    }
}
