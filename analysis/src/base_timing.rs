//! Where the cams stand at rest against their references, both cams and the crank considered together.

use crate::engine::{CamSheet, EngineSheet};
use crate::lead::{CamId, Role};
use crate::phase::PhaseDetail;
use crate::proof::ProofState;
use crate::reading::{Reading, Why};
use crate::rotation::PhaseSample;
use crate::units::{CrankDegrees, Hertz, Rpm, SampleTime};
use crate::wheel::Wheel;
use edges::EdgeWatch;
pub use edges::{CamAtRest, EdgeAtRest, Hindrance};
use rest::{RestWatch, Seen};
use standing::{Standing, Unjudged};
use std::sync::Arc;

mod edges;
mod known;
mod rest;
mod standing;
mod words;

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
    /// What the cams are judged against and how good that is, in a few words; always said.
    pub against: String,
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
    pub fn unseen(cams: &[CamSheet]) -> Self {
        Self {
            cams: cams
                .iter()
                .map(|sheet| CamBase {
                    cam: sheet.cam,
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
            against: words::against(cams),
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

/// Part of the lowest idle speed below which the engine cranks.
const RUNNING: f64 = 0.7;
/// Below this the crank hardly turns, rpm: no starter is so slow (from memory: 120 rpm and more).
const TURNS: f64 = 60.0;

/// Judges base timing.
#[derive(Debug, Clone)]
pub struct Assessor {
    sheet: EngineSheet,
    rate: Hertz,
    /// Degrees after which the crank wheel looks the same, if that is less than a turn.
    step: Option<f64>,
    watches: Vec<RestWatch>,
    edges: Vec<EdgeWatch>,
    view: Arc<BaseTiming>,
}

impl Assessor {
    /// An assessor for this engine.
    pub fn new(engine: &EngineSheet, rate: Hertz) -> Self {
        Self {
            sheet: engine.clone(),
            rate,
            step: (Wheel::parse(&engine.crank.wheel).ok())
                .filter(|w| w.symmetry() > 1)
                .map(|w| w.period().0 / w.symmetry() as f64),
            watches: (engine.cams.iter())
                .map(|c| RestWatch::new(2 * c.windows.len()))
                .collect(),
            edges: (engine.cams.iter())
                .map(|c| EdgeWatch::new(c, engine.idle))
                .collect(),
            view: Arc::new(BaseTiming::unseen(&engine.cams)),
        }
    }

    /// Looks, ten times a second: one entry per cam in the sheet's order, with the engine speed and the proofs.
    pub fn look(
        &mut self,
        at: SampleTime,
        speed: Option<Rpm>,
        cams: &[BaseLook<'_>],
        proofs: &[(Role, ProofState)],
    ) {
        let at = at.seconds(self.rate).0;
        let running = RUNNING * self.sheet.idle.low.0;
        let speed = speed.map(|v| v.0).filter(|&v| v >= TURNS);
        let mut standings = Vec::with_capacity(cams.len());
        let watches = self.watches.iter_mut().zip(&mut self.edges);
        for ((sheet, (watch, edges)), look) in self.sheet.cams.iter().zip(watches).zip(cams) {
            let lead = unproven(sheet, proofs);
            // Where only some edges are known, they alone tell the phase.
            let phase = match sheet.known_edges() {
                None => look.phase.valid().map(|p| p.0),
                Some(known) => look
                    .phase
                    .valid()
                    .and_then(|_| known::phase(look.detail, &known)),
            };
            match (speed, phase, lead) {
                (Some(rpm), Some(phase), None) => watch.look(&Seen {
                    at,
                    rpm,
                    cranking: rpm < running,
                    phase,
                    spread: spread(look),
                    at_rest: look.at_rest,
                }),
                _ => watch.pause(),
            }
            edges.look(speed, look, lead, watch.is_resting());
            let rest = if sheet.is_judged() {
                watch.rest().ok_or(lead.unwrap_or(Unjudged::NotSeen))
            } else {
                Err(Unjudged::NoReference)
            };
            standings.push(Standing::new(sheet, rest));
        }
        let mut next = judged(&standings, self.step);
        next.against.clone_from(&self.view.against);
        if *self.view != next {
            self.view = Arc::new(next);
        }
    }

    /// A cam edge.
    pub fn phase(&mut self, sample: &PhaseSample) {
        if let Some(edges) = self.edges.get_mut(sample.cam) {
            edges.wait(sample.edge, sample.phase);
        }
    }

    /// Samples were lost: the edges before them are not told from those after.
    pub fn gap(&mut self) {
        self.edges.iter_mut().for_each(EdgeWatch::gap);
    }

    /// The angles of the single edges while the cams rested, one entry per cam in the sheet's order.
    pub fn at_rest(&self) -> Vec<CamAtRest> {
        (self.edges.iter().zip(&self.watches))
            .map(|(edges, watch)| edges.view(watch.rest()))
            .collect()
    }

    /// The judgement.
    pub fn view(&self) -> Arc<BaseTiming> {
        Arc::clone(&self.view)
    }
}

/// The leads a cam's position at rest rests on.
fn leads(sheet: &CamSheet) -> impl Iterator<Item = Role> {
    let command = sheet.phaser.as_ref().map(|_| Role::Command(sheet.cam));
    [Role::Crank, Role::Cam(sheet.cam)]
        .into_iter()
        .chain(command)
}

/// The first of them through which nothing may be judged.
fn unproven(sheet: &CamSheet, proofs: &[(Role, ProofState)]) -> Option<Unjudged> {
    leads(sheet).find_map(|role| match proofs.iter().find(|(r, _)| *r == role) {
        Some((_, ProofState::Proven)) => None,
        Some((_, ProofState::Spare)) | None => Some(Unjudged::NoLead(role)),
        Some((_, ProofState::Doubtful | ProofState::Silent)) => Some(Unjudged::Unproven(role)),
    })
}

/// How far the edges lie from their mean: as learnt at rest, if it is, else as they lie now.
fn spread(look: &BaseLook<'_>) -> f64 {
    let learnt = look.detail.learnt.as_ref().map(|l| {
        let squares: f64 = l.offsets.iter().map(|o| o.offset.0.powi(2)).sum();
        let n: f64 = l.offsets.iter().map(|_| 1.0).sum();
        (squares / f64::max(n - 1.0, 1.0)).sqrt()
    });
    learnt.or(look.spread.map(|s| s.0)).unwrap_or(0.0)
}

fn judged(standings: &[Standing], step: Option<f64>) -> BaseTiming {
    let conclusion = standing::conclude(standings, step);
    let mut rests_on: Vec<Role> = Vec::new();
    for (cam, _) in standing::judged(standings) {
        let command = cam.travel.map(|_| Role::Command(cam.cam));
        for role in [Role::Crank, Role::Cam(cam.cam)].into_iter().chain(command) {
            if !rests_on.contains(&role) {
                rests_on.push(role);
            }
        }
    }
    BaseTiming {
        cams: standings.iter().map(base).collect(),
        conclusion,
        sentence: words::judgement(conclusion, standings, step),
        next: words::next(conclusion, standings, step),
        rests_on,
        against: String::new(),
    }
}

fn base(standing: &Standing) -> CamBase {
    let rest = standing.rest.ok();
    CamBase {
        cam: standing.cam,
        offset: match standing.rest {
            Ok(rest) => Reading::Valid(CrankDegrees(rest.offset)),
            Err(Unjudged::NoReference) => Reading::Missing(Why::NoReference),
            Err(Unjudged::NoLead(_)) => Reading::Missing(Why::NoLead),
            Err(Unjudged::Unproven(_) | Unjudged::NotSeen) => Reading::Missing(Why::NotEnoughYet),
        },
        uncertainty: rest.map(|r| CrankDegrees(standing.total(&r))),
        teeth: rest.zip(standing.tooth).map(|(r, t)| r.offset / t),
        looks: rest.map_or(0, |r| r.looks),
    }
}

#[cfg(test)]
mod tests;
