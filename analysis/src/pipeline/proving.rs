//! The lead proof at work.

use super::Pipeline;
use crate::audition::Audition;
use crate::lead::{Lead, Role};
use crate::proof::{self, LeadProof, ProofState, View};
use crate::snapshot::Sync;
use crate::units::SampleTime;

impl Pipeline {
    pub(super) fn prove(&mut self) {
        let proofs = self.prover.look(View {
            at: SampleTime(self.done as f64),
            rate: self.rate,
            rotation: &self.rotation,
            sheet: &self.sheet,
            channels: &self.channels,
            heard: (self.auditions.iter())
                .map(|a| a.as_ref().and_then(Audition::heard))
                .collect(),
            settled: self.settled(),
            followed: (self.followed).map_or(0.0, |since| self.now().since(since, self.rate).0),
        });
        for lead in 0..self.by_lead.len() {
            let Some(i) = self.by_lead[lead] else {
                continue;
            };
            let role = self.channels[i].role;
            let state = proofs[i].state;
            let was = self.proofs[lead].state;
            // A standing engine silences crank and cams; that is no news of the leads.
            let news = self.rotation.sync() != Sync::Stopped
                || !matches!(role, Role::Crank | Role::Cam(_));
            if self.channels[i].proven && was != state && state == ProofState::Silent && news {
                let at = self.channels[i].last_edge.unwrap_or(self.now());
                let text =
                    format!("The {role} lead went silent; check that it has not slipped off.");
                self.note(at, text);
            }
            self.channels[i].proven = self.prover.is_known(i);
            self.proofs[lead] = proofs[i].clone();
        }
    }

    /// Asks for the touch test of the lead with this role: to be touched to ground and to the supply, each held for 0.3 s,
    /// in either order. [`crate::snapshot::LeadSnapshot::touch`] tells how far it is; once done, a level at which the pin
    /// stands is explained. Another test under way ends.
    pub fn ask_touch(&mut self, role: Role) {
        self.prover.ask_touch(role);
    }

    /// Ends the touch test. One that was done keeps its result until the lead shows nothing for a second.
    pub fn end_touch(&mut self) {
        self.prover.end_touch();
    }

    /// Whether a judgement may rest on the lead with this role; also where no such lead is planned.
    pub(super) fn bears(&self, role: Role) -> bool {
        (self.plan.leads.iter().zip(&self.proofs))
            .find(|(lead, _)| lead.role == role)
            .is_none_or(|(_, proof)| proof::bears(role, proof))
    }

    pub(super) fn proof_of(&self, role: Role) -> Option<ProofState> {
        let lead = self.plan.leads.iter().position(|l| l.role == role)?;
        Some(self.proofs[lead].state)
    }
}

pub(super) fn unproven(lead: &Lead) -> LeadProof {
    match lead.role {
        Role::Spare => LeadProof::plain(ProofState::Spare, String::new()),
        _ => LeadProof::plain(
            ProofState::Silent,
            format!("input {} has sent nothing yet", lead.input),
        ),
    }
}
