//! Proposals to the engine sheet, from signals that look different from what it says.

use super::Pipeline;
use crate::audition::Audition;
use crate::edge::Edge;
use crate::engine::EngineSheet;
use crate::lead::Role;
use crate::recognise::{Certainty, Proposal, Recognition, WindowLearner};
use crate::rotation::Rotation;
use crate::snapshot::Sync;
use crate::wheel::Wheel;
use std::sync::Arc;

/// Cam edges that wait for the teeth around them; more are dropped, for windows need no single one.
const WAITING: usize = 64;

/// What is to be proposed, and what it rests on.
#[derive(Debug, Clone)]
pub(super) struct Scouts {
    wheel: Option<Wheel>,
    crank: Option<Proposal>,
    /// The recognition of the crank lead that was looked at last.
    considered: Option<Arc<Recognition>>,
    cams: Vec<WindowLearner>,
    waiting: Vec<(usize, Edge)>,
    proposed: Vec<Option<Proposal>>,
}

impl Scouts {
    pub fn new(sheet: &EngineSheet) -> Self {
        Self {
            wheel: Wheel::parse(&sheet.crank.wheel).ok(),
            crank: None,
            considered: None,
            cams: vec![WindowLearner::default(); sheet.cams.len()],
            waiting: Vec::new(),
            proposed: vec![None; sheet.cams.len()],
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
    /// Looks at what was heard beside the pipeline, and notes what is new.
    pub(super) fn scout(&mut self) {
        let now = self.now();
        self.consider_crank();
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

    /// Compares what the crank lead was last recognised as with the sheet.
    fn consider_crank(&mut self) {
        let lead = self.channels.iter().position(|c| c.role == Role::Crank);
        let audition = lead.and_then(|i| self.auditions[i].as_ref());
        let Some(found) = audition.and_then(Audition::heard) else {
            return;
        };
        let known = self.scouts.considered.as_ref();
        if known.is_some_and(|known| Arc::ptr_eq(known, &found)) {
            return;
        }
        self.scouts.considered = Some(Arc::clone(&found));
        let now = self.now();
        let is_followed = matches!(self.rotation.sync(), Sync::Revolution | Sync::Cycle);
        // Against a sheet whose wheel is being followed only certainty counts.
        let counts = !is_followed || found.certainty == Certainty::Sure;
        let proposal = (self.scouts.wheel.as_ref())
            .filter(|_| counts)
            .and_then(|wheel| Proposal::of_crank(&found, &self.sheet.crank, wheel, now));
        let is_news = match (&proposal, &self.scouts.crank) {
            (Some(new), Some(old)) => {
                (&new.wheel, new.sensor, new.active_edge)
                    != (&old.wheel, old.sensor, old.active_edge)
            }
            (Some(_), None) => true,
            (None, _) => false,
        };
        if let Some(new) = proposal.as_ref().filter(|_| is_news) {
            self.note(now, new.text.clone());
        }
        self.scouts.crank = proposal;
    }

    /// All proposals that hold.
    pub(super) fn proposals(&self) -> Vec<Proposal> {
        let crank = self.scouts.crank.iter();
        let cams = self.scouts.proposed.iter().flatten();
        crank.chain(cams).cloned().collect()
    }
}
