//! What the facts of one cam are drawn from: everything that was kept, and what of it may be relied upon.

use super::circuit_log::{Found, is_standing, is_without_power};
use super::dossier::Dossier;
use super::episode::Episode;
use super::lead_log::LeadLog;
use super::motion::Rested;
use super::wheel_log::WheelLog;
use crate::base_timing::{BaseTiming, CamBase, Conclusion};
use crate::lead::{CamId, Role};
use crate::snapshot::AgreementState;
use crate::trial::{Outcome, TrialKind, TrialResult, TrialsView};

/// A lead that fails shows itself within this of what its failing looks like; until then nothing rests on it.
const CONFIRMED: f64 = 1.0;
/// Rests within this of each other are the same place: the wander of a mean of edges, doubled.
const SAME_PLACE: f64 = 2.0;
/// As many rests, each after a movement, show that it always comes back to the same place.
pub(super) const REPEATED: usize = 3;

/// One cam and all that bears on it.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Picture<'a> {
    pub dossier: &'a Dossier,
    pub leads: &'a LeadLog,
    pub wheel: &'a WheelLog,
    pub base: &'a BaseTiming,
    pub trials: &'a TrialsView,
    /// All cams.
    pub cams: &'a [Dossier],
    /// Seconds.
    pub now: f64,
    pub rate: f64,
}

impl<'a> Picture<'a> {
    pub fn cam(&self) -> CamId {
        self.dossier.cam
    }

    pub fn has_phaser(&self) -> bool {
        self.dossier.motion.is_some()
    }

    pub fn tolerance(&self) -> f64 {
        self.dossier.sheet.tolerance.0
    }

    /// The three leads that position and command rest on.
    pub fn movement_leads(&self) -> [Role; 3] {
        let cam = self.cam();
        [Role::Crank, Role::Cam(cam), Role::Command(cam)]
    }

    /// Whether all leads that an episode rests on were proven when it was decided and stayed so.
    fn is_sound(&self, e: &Episode) -> bool {
        let end = e.decided + CONFIRMED;
        if self.now < end {
            return false;
        }
        let start = e.decided - 0.2;
        let cam = self.cam();
        let proven = |role| self.leads.proven_over(role, start, end);
        match e.state {
            AgreementState::NoCommand => {
                proven(Role::Crank) && self.leads.known_over(Role::Command(cam), start, end)
            }
            AgreementState::NoPosition => {
                let first = self.leads.story(Role::Cam(cam)).and_then(|s| s.first);
                let before = first.is_some_and(|first| first < e.from);
                before && proven(Role::Crank) && self.leads.known_over(Role::Cam(cam), start, end)
            }
            _ => self.movement_leads().into_iter().all(proven),
        }
    }

    /// The episodes of one state that may be relied upon.
    pub fn sound(self, state: AgreementState) -> impl Iterator<Item = &'a Episode> {
        (self.dossier.episodes.all.iter()).filter(move |e| e.state == state && self.is_sound(e))
    }

    pub fn has(self, state: AgreementState) -> bool {
        self.sound(state).next().is_some()
    }

    /// Whether anything disagreed at any time, relied upon or not.
    pub fn ever_disagreed(&self) -> bool {
        !self.dossier.episodes.all.is_empty()
    }

    /// Disagreements in which the command had power to move the cam, or in which it needed none: to rest it goes by
    /// itself.
    pub fn hydraulic(self, state: AgreementState) -> impl Iterator<Item = &'a Episode> {
        self.sound(state).filter(move |e| {
            state == AgreementState::OffRest || !e.circuit.is_some_and(is_without_power)
        })
    }

    /// Stood in one place though driven both ways, at a time at which it was to move.
    pub fn stands_still(self) -> bool {
        let Some(stood) = self.dossier.motion.as_ref().and_then(|m| m.stood) else {
            return false;
        };
        [AgreementState::NotFollowing, AgreementState::OffRest]
            .into_iter()
            .flat_map(|state| self.sound(state))
            .any(|e| e.from <= stood.to && e.last >= stood.from)
    }

    /// Any disagreement that only valve, oil, phaser or the drive of the cams can explain.
    pub fn moves_wrongly(self) -> bool {
        [
            AgreementState::NotFollowing,
            AgreementState::Lagging,
            AgreementState::AgainstCommand,
            AgreementState::OffRest,
            AgreementState::Hunting,
        ]
        .into_iter()
        .any(|state| self.hydraulic(state).next().is_some())
    }

    /// Whether it moved away from rest and back with its command.
    pub fn followed_both_ways(&self) -> bool {
        (self.dossier.motion.as_ref()).is_some_and(|m| m.out.count > 0 && m.back.count > 0)
    }

    /// Rests, oldest first.
    pub fn rests(&self) -> Vec<Rested> {
        (self.dossier.motion.as_ref()).map_or_else(Vec::new, |m| m.rests.iter().copied().collect())
    }

    /// Number of rests since an instant, each after a movement and all at the same place.
    pub fn repeated_since(&self, at: f64) -> usize {
        let rests: Vec<_> = self
            .rests()
            .into_iter()
            .filter(|r| r.at > at && r.anew)
            .collect();
        let low = rests.iter().map(|r| r.x).fold(f64::INFINITY, f64::min);
        let high = rests.iter().map(|r| r.x).fold(f64::NEG_INFINITY, f64::max);
        if high - low <= SAME_PLACE {
            rests.len()
        } else {
            0
        }
    }

    /// A rest at the reference after an instant.
    pub fn rested_at_reference_after(&self, at: f64) -> Option<Rested> {
        if !self.dossier.sheet.known_good {
            return None;
        }
        (self.rests().into_iter()).find(|r| r.at > at && r.x.abs() <= self.tolerance())
    }

    /// What base timing says of this cam, if the leads it rests on are proven.
    pub fn offset(&self) -> Option<(&'a CamBase, f64)> {
        if !self
            .base
            .rests_on
            .iter()
            .all(|&role| self.leads.proven(role))
        {
            return None;
        }
        let cam = self.base.cams.iter().find(|c| c.cam == self.dossier.cam)?;
        Some((cam, cam.offset.valid()?.0))
    }

    /// Whether this cam was found away from its reference at rest.
    pub fn is_out(&self) -> Option<bool> {
        let (_, offset) = self.offset()?;
        match self.base.conclusion {
            Conclusion::NotJudged => None,
            Conclusion::Good => Some(false),
            Conclusion::OneOutByTeeth(cam, _) | Conclusion::OneOut(cam) => Some(cam == self.cam()),
            Conclusion::AllOutAlike | Conclusion::SeveralOut => {
                Some(offset.abs() > self.tolerance())
            }
        }
    }

    /// Seen at rest on its reference, and never off it.
    pub fn rests_on_reference(&self) -> bool {
        let seen = match self.is_out() {
            Some(out) => !out,
            None => !self.base_known() && self.rested_at_reference_after(0.0).is_some(),
        };
        seen && !self.has(AgreementState::OffRest)
    }

    fn base_known(&self) -> bool {
        self.base.conclusion != Conclusion::NotJudged
    }

    /// Anything that a tone wheel or a sensor alone explains.
    pub fn edges_are_wrong(&self) -> bool {
        self.wheel.is_damaged()
            || self.wheel.losses > 0
            || self.is_in_trouble(Role::Crank)
            || self.is_in_trouble(Role::Cam(self.cam()))
            || self.cam_edges_are_wrong()
    }

    /// The same of this cam's own.
    pub fn cam_edges_are_wrong(&self) -> bool {
        self.has(AgreementState::NoPosition)
            || self.dossier.edges.are_apart()
            || self.dossier.edges.misfit > 1.0
    }

    /// Whether a lead was lost and has not come back for good: what was sound before says nothing of the time since.
    fn is_in_trouble(&self, role: Role) -> bool {
        (self.leads.story(role)).is_some_and(|s| s.first.is_some() && s.trouble.is_some())
    }

    /// Whether the command was missing at any time, relied upon or not.
    pub fn command_was_missing(&self) -> bool {
        let said = |e: &Episode| e.state == AgreementState::NoCommand;
        let circuit = &self.dossier.circuit;
        self.dossier.episodes.all.iter().any(said)
            || !circuit.losses.is_empty()
            || circuit.faults().any(|f| is_standing(f.condition))
            || self.is_in_trouble(Role::Command(self.cam()))
    }

    /// Whether what a lead of this cam is in trouble for may as well be the part itself: the sensor fell silent, or the
    /// command was lost, at a lead that had been proven. Then it is the part and the lead that are to be told apart.
    pub fn is_of_the_part(self) -> bool {
        let cam = self.cam();
        let silent = self.has(AgreementState::NoPosition);
        let lost = self.has(AgreementState::NoCommand) || !self.dossier.circuit.losses.is_empty();
        let troubled = self.leads.of_cam(cam, self.has_phaser());
        let mut troubled = troubled
            .iter()
            .filter(|s| s.trouble.is_some() || s.losses > 0)
            .peekable();
        troubled.peek().is_some()
            && troubled.all(|s| {
                (silent && s.role == Role::Cam(cam)) || (lost && s.role == Role::Command(cam))
            })
    }

    /// Whether all alike are out by what exchanged wires of a crank sensor of two poles would shift them by: about
    /// half of a tooth.
    pub fn could_be_polarity(&self) -> bool {
        let alike = self.cams.len() == 1 || self.base.conclusion == Conclusion::AllOutAlike;
        let offset = self.offset().map(|(_, o)| o.abs());
        alike
            && self.wheel.reluctor
            && offset.is_some_and(|o| (0.2..=0.8).contains(&(o / self.wheel.pitch)))
    }

    /// The newest result of a trial on this cam.
    pub fn trial(&self, kind: TrialKind) -> Option<&'a TrialResult> {
        (self.trials.results.iter().rev()).find(|r| {
            r.order.cam == self.dossier.cam
                && r.order.kind == kind
                && r.outcome != Outcome::NotShown
        })
    }

    /// Works as commanded as far as anything was seen: moved both ways with its command, rests on its reference, and
    /// nothing disagreed or was found wrong at any time.
    pub fn is_complete(&self) -> bool {
        let moves = self.followed_both_ways() || !self.has_phaser();
        moves && self.rests_on_reference() && self.is_clean()
    }

    /// Nothing found wrong at any time.
    pub fn is_clean(&self) -> bool {
        !self.ever_disagreed() && !self.dossier.circuit.faults().any(Found::is_grave)
    }
}
