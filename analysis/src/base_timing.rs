//! Where the cams stand at rest against their references, both cams and the crank considered together.

use crate::engine::EngineSheet;
use crate::lead::{CamId, Role};
use crate::phase::PhaseDetail;
use crate::proof::ProofState;
use crate::reading::{Reading, Why};
use crate::units::{CrankDegrees, Rpm, SampleTime};
use std::sync::Arc;

/// Base timing of the engine.
#[derive(Debug, Clone, PartialEq)]
pub struct BaseTiming {
    /// One entry per cam of the sheet, in its order.
    pub cams: Vec<CamBase>,
    /// What they say together.
    pub conclusion: Conclusion,
    /// The same in one sentence with its numbers.
    pub sentence: String,
    /// What would tell more: how to get a reference, cylinder pressure; `None` when nothing is open.
    pub next: Option<String>,
    /// Leads it rests on.
    pub rests_on: Vec<Role>,
}

/// One cam at rest.
#[derive(Debug, Clone, PartialEq)]
pub struct CamBase {
    /// Which.
    pub cam: CamId,
    /// Offset from the reference at rest, advance positive.
    pub offset: Reading<CrankDegrees>,
    /// Half width of its 95 % range: spread of the edges, tolerance of the reference.
    pub uncertainty: Option<CrankDegrees>,
    /// The same in teeth of its sprocket, advance positive; `None` when the sheet does not give them.
    pub teeth: Option<f64>,
    /// How many looks at rest it rests on.
    pub looks: usize,
}

/// What the cams say together.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Conclusion {
    /// Not judged: no reference, not yet seen at rest, or a lead not proven. The sentence says which.
    NotJudged,
    /// All cams are at their references.
    Good,
    /// This cam alone is out, by about a whole number of teeth: its sprocket, or its phaser does not rest.
    OneOutByTeeth(CamId, i32),
    /// This cam alone is out, not by a whole number of teeth.
    OneOut(CamId),
    /// All are out by the same: crank sprocket, or the crank's tone wheel or sensor.
    AllOutAlike,
    /// Several are out, each by another amount.
    SeveralOut,
}

impl BaseTiming {
    /// Before anything was seen of these cams.
    pub fn unseen(cams: impl IntoIterator<Item = CamId>) -> Self {
        Self {
            cams: cams
                .into_iter()
                .map(|cam| CamBase {
                    cam,
                    offset: Reading::Missing(Why::NotEnoughYet),
                    uncertainty: None,
                    teeth: None,
                    looks: 0,
                })
                .collect(),
            conclusion: Conclusion::NotJudged,
            sentence: "No cam has been seen at rest yet.".to_owned(),
            next: Some("Let the engine idle warm, with the commands at rest.".to_owned()),
            rests_on: Vec::new(),
        }
    }
}

/// One cam as a look sees it.
#[derive(Debug, Clone, Copy)]
pub struct BaseLook<'a> {
    /// Rolling phase.
    pub phase: Reading<CrankDegrees>,
    /// Spread of the edges in it.
    pub spread: Option<CrankDegrees>,
    /// What the single edges say.
    pub detail: &'a PhaseDetail,
    /// Whether its command lets it rest now; always for a cam without a phaser.
    pub at_rest: bool,
}

/// Judges base timing.
#[derive(Debug, Clone)]
pub struct Assessor {
    view: Arc<BaseTiming>,
}

impl Assessor {
    /// An assessor for this engine.
    pub fn new(engine: &EngineSheet) -> Self {
        let cams = engine.cams.iter().map(|c| c.cam);
        Self {
            view: Arc::new(BaseTiming::unseen(cams)),
        }
    }

    /// Looks, ten times a second: one entry per cam in the sheet's order, with the engine speed and the proofs.
    pub fn look(
        &mut self,
        _at: SampleTime,
        _speed: Option<Rpm>,
        _cams: &[BaseLook<'_>],
        _proofs: &[(Role, ProofState)],
    ) {
    }

    /// The judgement.
    pub fn view(&self) -> Arc<BaseTiming> {
        Arc::clone(&self.view)
    }
}
