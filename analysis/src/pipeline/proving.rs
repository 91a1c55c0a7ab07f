//! The lead proof at work.

use super::Pipeline;
use crate::lead::{Lead, Role};
use crate::proof::{self, LeadProof, ProofState, Surroundings};
use crate::readings;
use crate::snapshot::Sync;

impl Pipeline {
    pub(super) fn prove(&mut self) {
        for lead in 0..self.by_lead.len() {
            let Some(i) = self.by_lead[lead] else {
                continue;
            };
            let role = self.channels[i].role;
            let duty = match role {
                Role::Current(id) => self.duty_of(id).map(|d| d.0),
                _ => None,
            };
            let proof = proof::prove(&self.channels[i], self.surroundings(), duty);
            let state = proof.state;
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
            if state == ProofState::Proven {
                self.channels[i].proven = true;
            }
            self.proofs[lead] = proof;
        }
    }

    fn surroundings(&self) -> Surroundings<'_> {
        Surroundings {
            at: self.now(),
            rate: self.rate,
            rotation: &self.rotation,
            cams: &self.cam_ids,
            settled: self.settled(),
            supply: readings::steady_supply(self.channel(Role::Supply)).map(|v| v.0),
        }
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
