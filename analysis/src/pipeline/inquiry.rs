//! What is judged beside the agreement: circuits, trials, base timing, and the findings from all of it.

use super::Pipeline;
use super::judging::commands_rest;
use crate::agreement::Judge;
use crate::base_timing::{Assessor, BaseLook};
use crate::circuit::{Checker, CircuitLook, Seen};
use crate::duty::Period;
use crate::engine::EngineSheet;
use crate::findings::{CamCase, CaseLook, Casebook};
use crate::lead::{CamId, Role};
use crate::observation::Observation;
use crate::proof::{LeadProof, ProofState, Touch};
use crate::readings;
use crate::rotation::PhaseSample;
use crate::snapshot::Sync;
use crate::trial::{Runner, TrialOrder};
use crate::units::{Hertz, Rpm, SampleTime};

/// The judges of everything but the agreement.
#[derive(Debug, Clone)]
pub(super) struct Inquiry {
    /// One per cam that has a phaser.
    circuits: Vec<Option<Circuit>>,
    cams: Vec<CamId>,
    pub(super) trials: Runner,
    pub(super) base: Assessor,
    pub(super) casebook: Casebook,
}

#[derive(Debug, Clone)]
struct Circuit {
    checker: Checker,
    periods: Vec<Period>,
}

impl Inquiry {
    pub(super) fn new(sheet: &EngineSheet, rate: Hertz) -> Self {
        let circuit = |cam: &crate::engine::CamSheet| {
            cam.phaser.as_ref().map(|phaser| Circuit {
                checker: Checker::new(sheet, cam.cam, phaser, rate),
                periods: Vec::new(),
            })
        };
        Self {
            circuits: sheet.cams.iter().map(circuit).collect(),
            cams: sheet.cams.iter().map(|c| c.cam).collect(),
            trials: Runner::new(sheet, rate),
            base: Assessor::new(sheet, rate),
            casebook: Casebook::new(sheet, rate),
        }
    }

    /// PWM periods of a cam's command.
    pub(super) fn periods(&mut self, cam: CamId, periods: &[Period]) {
        for period in periods {
            self.trials.period(cam, period);
        }
        let known = self.cams.iter().position(|&c| c == cam);
        if let Some(Some(circuit)) = known.and_then(|k| self.circuits.get_mut(k)) {
            circuit.periods.extend_from_slice(periods);
        }
    }

    /// A cam edge.
    pub(super) fn phase(&mut self, sample: &PhaseSample) {
        self.trials.phase(sample);
        self.base.phase(sample);
    }

    /// Samples were lost.
    pub(super) fn gap(&mut self) {
        self.trials.gap();
        self.base.gap();
        for circuit in self.circuits.iter_mut().flatten() {
            circuit.periods.clear();
            circuit.checker.gap();
        }
    }

    pub(super) fn checker(&self, cam: usize) -> Option<&Checker> {
        Some(&self.circuits.get(cam)?.as_ref()?.checker)
    }
}

impl Pipeline {
    /// Starts a trial; one under way ends.
    pub fn start_trial(&mut self, order: TrialOrder) {
        let now = self.now();
        self.inquiry.trials.start(order, now);
    }

    /// Ends the trial under way with what was seen.
    pub fn stop_trial(&mut self) {
        let now = self.now();
        self.inquiry.trials.stop(now);
    }

    /// The codes that the controller has stored, as typed.
    pub fn set_codes(&mut self, codes: &[String]) {
        self.inquiry.casebook.set_codes(codes);
    }

    /// Lets the trial under way look.
    pub(super) fn try_out(&mut self, looks: &[Observation]) {
        let proofs: Vec<(Role, ProofState)> = (self.plan.leads.iter().zip(&self.proofs))
            .map(|(lead, proof)| (lead.role, proof.state))
            .collect();
        for k in 0..self.cam_ids.len() {
            if let Some(circuit) = self.inquiry.checker(k).map(Checker::view) {
                self.inquiry
                    .trials
                    .circuit(self.cam_ids[k], circuit.condition);
            }
        }
        self.inquiry.trials.look(looks, &proofs);
    }

    /// Everything that is judged ten times a second, after the leads were proven.
    pub(super) fn inquire(&mut self) {
        self.check_circuits();
        self.assess_base();
        self.look_into_case();
    }

    fn check_circuits(&mut self) {
        let at = self.now();
        let speed = match self.rotation.sync() {
            Sync::Stopped => Some(Rpm(0.0)),
            _ => self.rotation.speed(readings::WINDOW).valid(),
        };
        for k in 0..self.cam_ids.len() {
            let Some(mut circuit) = self.inquiry.circuits[k].take() else {
                continue;
            };
            let id = self.cam_ids[k];
            circuit.checker.look(&CircuitLook {
                at,
                command: self.seen(Role::Command(id)),
                current: self.seen(Role::Current(id)),
                supply: self.seen(Role::Supply),
                speed,
                periods: &circuit.periods,
                touched: self.is_touched(Role::Command(id)),
            });
            circuit.periods.clear();
            self.inquiry.circuits[k] = Some(circuit);
        }
    }

    /// Whether the touch test of this lead is under way.
    fn is_touched(&self, role: Role) -> bool {
        (self.plan.leads.iter().zip(&self.proofs))
            .filter(|(lead, _)| lead.role == role)
            .any(|(_, proof)| matches!(proof.touch, Some(Touch::ToGround | Touch::ToSupply)))
    }

    fn seen(&self, role: Role) -> Seen<'_> {
        Some((self.channel(role)?, self.proof_of(role)?))
    }

    fn assess_base(&mut self) {
        let proofs: Vec<(Role, ProofState)> = (self.plan.leads.iter().zip(&self.proofs))
            .map(|(lead, proof)| (lead.role, proof.state))
            .collect();
        let details: Vec<_> = (0..self.cam_ids.len())
            .map(|k| self.rotation.phase_detail(k))
            .collect();
        let looks: Vec<BaseLook<'_>> = (self.sheet.cams.iter().zip(&details).enumerate())
            .map(|(k, (cam, detail))| BaseLook {
                phase: self.rotation.phase(k),
                spread: self.rotation.spread(k),
                detail,
                at_rest: cam
                    .phaser
                    .as_ref()
                    .is_none_or(|p| commands_rest(self.command(cam.cam), p.rest_below)),
            })
            .collect();
        let speed = self.rotation.speed(readings::WINDOW).valid();
        let at = self.now();
        self.inquiry.base.look(at, speed, &looks, &proofs);
    }

    fn look_into_case(&mut self) {
        let leads: Vec<(Role, LeadProof)> = (self.plan.leads.iter().zip(&self.proofs))
            .map(|(lead, proof)| (lead.role, proof.clone()))
            .collect();
        let circuits: Vec<_> = (0..self.cam_ids.len())
            .map(|k| self.inquiry.checker(k).map(Checker::view))
            .collect();
        let observers: Vec<_> = self.judges.iter().map(Judge::observer).collect();
        let agreements: Vec<_> = self.judges.iter().map(Judge::agreement).collect();
        let details: Vec<_> = (0..self.cam_ids.len())
            .map(|k| self.rotation.phase_detail(k))
            .collect();
        let cams: Vec<CamCase<'_>> = (0..self.cam_ids.len())
            .map(|k| CamCase {
                phase: self.rotation.phase(k),
                duty: readings::command(
                    self.now(),
                    self.channel(Role::Command(self.cam_ids[k])),
                    None,
                    None,
                )
                .duty,
                agreement: &agreements[k],
                circuit: circuits[k].as_deref(),
                observer: observers[k].as_deref(),
                detail: &details[k],
            })
            .collect();
        let base = self.inquiry.base.view();
        let trials = self.inquiry.trials.view();
        self.inquiry.casebook.look(&CaseLook {
            at: SampleTime(self.done as f64),
            sync: self.rotation.sync(),
            damaged: &self.rotation.damaged_teeth(),
            speed: self.rotation.speed(readings::WINDOW),
            leads: &leads,
            cams: &cams,
            base: &base,
            trials: &trials,
        });
    }
}
