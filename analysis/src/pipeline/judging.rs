//! The judgements at work: whether position follows command, 50 times a second.

use super::{Pipeline, STALE};
use crate::lead::{CamId, Role};
use crate::observation::{CommandView, EngineView, Observation, PositionView};
use crate::proof;
use crate::reading::{Reading, Why};
use crate::readings;
use crate::sentence::Reason;
use crate::snapshot::{AgreementState, Event, Sync};
use crate::units::{Percent, Volts};

impl Pipeline {
    pub(super) fn judge(&mut self) {
        let at = self.now();
        let engine = match self.rotation.sync() {
            Sync::Stopped => EngineView::Stopped,
            Sync::Searching => EngineView::NoSync,
            Sync::Revolution if self.rotation.fits_several_positions() => EngineView::Several,
            Sync::Revolution if self.settled() => EngineView::Mismatch,
            Sync::Revolution => EngineView::Revolution,
            Sync::Cycle => self
                .rotation
                .speed(readings::WINDOW)
                .any()
                .map_or(EngineView::Revolution, EngineView::Cycle),
        };
        let supply = (self.channel(Role::Supply)).filter(|_| self.bears(Role::Supply));
        let supply = readings::steady_supply(supply);
        let mut looks = Vec::with_capacity(self.judges.len());
        for k in 0..self.judges.len() {
            let id = self.cam_ids[k];
            let seen = Observation {
                at,
                engine,
                command: self.command(id),
                position: self.position(k),
                supply,
            };
            looks.push(seen);
            if let Some(phaser) = &self.sheet.cams[k].phaser {
                let at_rest = commands_rest(seen.command, phaser.rest_below);
                self.rotation.set_at_rest(k, at_rest);
            }
            if let Some(change) = self.judges[k].observe(&seen) {
                let agreement = self.judges[k].agreement();
                self.history.write_back(k, agreement.since, change.state);
                self.history.note(Event {
                    at: agreement.since,
                    decided: at,
                    cam: Some(id),
                    state: Some(change.state),
                    text: headline(id, change.state, &agreement.sentence),
                });
            }
        }
        self.try_out(&looks);
    }

    /// Position of cam `k` as the judgement sees it.
    fn position(&self, k: usize) -> PositionView {
        let Some(channel) = self.channel(Role::Cam(self.cam_ids[k])) else {
            return PositionView::NoLead;
        };
        let at = self.now();
        let Some(since) = channel.last_edge.or(channel.first) else {
            return PositionView::Unknown(Reason::Measuring);
        };
        // A cam of one window turned by a slow starter has no edge for longer than that.
        let speed = self.rotation.speed(readings::WINDOW).any().map(|v| v.0);
        let patience = STALE.max(self.prover.patience(k, speed));
        if at.since(since, self.rate).0 > patience {
            return if proof::is_silent(channel, readings::WINDOW_SLICES) {
                PositionView::Silent
            } else if !self.bears(Role::Cam(self.cam_ids[k])) {
                PositionView::Unknown(Reason::CamUnproven)
            } else {
                let level = channel.mean(readings::WINDOW_SLICES).map(Volts);
                PositionView::NoEdges(since, level)
            };
        }
        match self.rotation.phase(k) {
            Reading::Valid(_) | Reading::Stale(..) if !self.bears(Role::Crank) => {
                PositionView::Unknown(Reason::CrankUnproven)
            }
            Reading::Valid(_) | Reading::Stale(..) if !self.bears(Role::Cam(self.cam_ids[k])) => {
                PositionView::Unknown(Reason::CamUnproven)
            }
            Reading::Valid(phase) | Reading::Stale(phase, _) => PositionView::Phase(phase),
            Reading::Suspect(_, why) | Reading::Missing(why) => PositionView::Unknown(match why {
                Why::PatternMismatch => Reason::PatternMismatch,
                Why::CycleUnresolved => Reason::CycleUnresolved,
                Why::SeveralPositions => Reason::SeveralPositions,
                Why::EngineStopped => Reason::Stopped,
                Why::NoSync => Reason::NoSync,
                Why::StreamGap => Reason::Gap,
                _ => Reason::Measuring,
            }),
        }
    }

    /// The command of a cam as the judgement sees it.
    pub(super) fn command(&self, id: CamId) -> CommandView {
        readings::command_view(
            self.now(),
            self.rate,
            self.channel(Role::Command(id)),
            self.channel(Role::Current(id)),
            !self.bears(Role::Command(id)),
        )
    }
}

/// Whether the command lets the phaser rest, as far as its lead shows.
pub(super) fn commands_rest(command: CommandView, rest_below: Percent) -> bool {
    match command {
        CommandView::Duty(duty) => duty < rest_below,
        // The valve is off.
        CommandView::Stands(..) => true,
        CommandView::NoLead
        | CommandView::Silent
        | CommandView::Doubtful
        | CommandView::Measuring
        | CommandView::Ground => false,
    }
}

/// One line for the list of events.
fn headline(cam: CamId, state: AgreementState, sentence: &str) -> String {
    let name = cam.to_string();
    let mut letters = name.chars();
    let first = letters.next().map(|c| c.to_ascii_uppercase());
    let name: String = first.into_iter().chain(letters).collect();
    format!("{name} cam, {}: {sentence}", state.words())
}
