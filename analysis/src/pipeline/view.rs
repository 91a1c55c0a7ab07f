//! The snapshot, put together from what the pipeline holds.

use super::Pipeline;
use crate::audition::Audition;
use crate::base_timing::CamAtRest;
use crate::channel::Channel;
use crate::circuit::Checker;
use crate::lead::Role;
use crate::quality::Quality;
use crate::reading::{Reading, Why};
use crate::readings;
use crate::series::{CamLook, Look};
use crate::snapshot::{CamSnapshot, CommandSnapshot, Counts, LeadSnapshot, Snapshot, Sync};
use crate::units::{CrankAngle, CrankDegrees, SampleTime};

impl Pipeline {
    /// Position in the cycle at a recent instant, see [`crate::rotation::Rotation::angle_at`]; `None` when not known.
    pub fn angle_at(&self, t: SampleTime) -> Option<CrankAngle> {
        self.rotation.angle_at(t)
    }

    /// What the crank wheel alone says, see [`crate::rotation::Rotation::crank_angle_at`].
    pub fn crank_angle_at(&self, t: SampleTime) -> Option<CrankDegrees> {
        self.rotation.crank_angle_at(t)
    }

    /// Degrees after which the crank wheel looks the same.
    pub fn crank_step(&self) -> CrankDegrees {
        self.rotation.crank_step()
    }

    /// What is known of the angle.
    pub fn sync(&self) -> Sync {
        self.rotation.sync()
    }

    /// The angles of the single cam edges while the cams rested, one entry per cam in the sheet's order.
    pub fn at_rest(&self) -> Vec<CamAtRest> {
        self.inquiry.base.at_rest()
    }

    /// The state of everything after the last complete slice.
    pub fn snapshot(&self) -> Snapshot {
        let at = self.now();
        let supply = self.channel(Role::Supply);
        Snapshot {
            at,
            elapsed: at.seconds(self.rate),
            speed: match self.channel(Role::Crank) {
                None => Reading::Missing(Why::NoLead),
                Some(_) => self.rotation.speed(readings::WINDOW),
            },
            sync: self.rotation.sync(),
            angle: self.rotation.angle_at(at),
            damaged_teeth: self.rotation.damaged_teeth(),
            cams: (0..self.sheet.cams.len()).map(|k| self.cam(k)).collect(),
            supply: readings::supply(supply),
            supply_ripple: readings::ripple(supply),
            leads: self.leads(),
            cylinders: self.ripple.view(),
            base_timing: self.inquiry.base.view(),
            trials: self.inquiry.trials.view(),
            findings: self.inquiry.casebook.view(),
            history: self.history.points(),
            events: self.history.events(),
            proposals: self.proposals(),
            counts: Counts {
                revolutions: self.rotation.revolutions(),
                stray_cam_edges: self.rotation.stray_cam_edges(),
                dropped_events: self.history.dropped(),
                ..self.counts
            },
        }
    }

    fn cam(&self, k: usize) -> CamSnapshot {
        let sheet = &self.sheet.cams[k];
        CamSnapshot {
            id: sheet.cam,
            phase: self.phase_reading(k),
            spread: self.rotation.spread(k),
            detail: self.rotation.phase_detail(k),
            due: self.judges[k].due(),
            reference: sheet
                .windows
                .iter()
                .map(|w| w.map(CrankAngle::wrapped))
                .collect(),
            measured: self.rotation.windows(k),
            command: self.command_reading(k),
            circuit: self.inquiry.checker(k).map(Checker::view),
            observer: self.judges[k].observer(),
            agreement: self.judges[k].agreement(),
        }
    }

    fn phase_reading(&self, k: usize) -> Reading<CrankDegrees> {
        match self.channel(Role::Cam(self.sheet.cams[k].cam)) {
            None => Reading::Missing(Why::NoLead),
            Some(_) => self.rotation.phase(k),
        }
    }

    fn command_reading(&self, k: usize) -> CommandSnapshot {
        let sheet = &self.sheet.cams[k];
        readings::command(
            self.now(),
            self.channel(Role::Command(sheet.cam)),
            self.channel(Role::Current(sheet.cam)),
            sheet.phaser.as_ref().map(|p| p.hold),
        )
    }

    /// The readings after the last complete slice, as a snapshot would have them.
    pub(super) fn look(&self) -> Look {
        Look {
            at: self.now(),
            supply: readings::supply(self.channel(Role::Supply)),
            cams: (0..self.sheet.cams.len())
                .map(|k| CamLook {
                    phase: self.phase_reading(k),
                    command: self.command_reading(k),
                })
                .collect(),
            cylinders: self.ripple.view(),
        }
    }

    fn leads(&self) -> Vec<LeadSnapshot> {
        (self.plan.leads.iter().zip(&self.by_lead))
            .zip(&self.proofs)
            .map(|((lead, index), proof)| {
                let channel = index.map(|i| &self.channels[i]);
                let audition = index.and_then(|i| self.auditions[i].as_ref());
                LeadSnapshot {
                    input: lead.input,
                    role: lead.role,
                    place: lead.place.clone(),
                    proof: proof.state,
                    recognition: audition.and_then(Audition::heard),
                    note: proof.note.clone(),
                    try_next: proof.try_next.clone(),
                    mistake: proof.mistake,
                    touch: proof.touch,
                    range: channel.and_then(|c| c.range(200)),
                    level: channel.and_then(|c| c.mean(200)),
                    unit: channel.map_or_else(String::new, |c| c.unit.clone()),
                    quality: channel.map_or_else(Quality::default, Channel::quality),
                }
            })
            .collect()
    }
}
