//! What the list of events says of the crank and the cycle as they come and go.

use super::Pipeline;
use crate::audition::Audition;
use crate::lead::Role;
use crate::snapshot::Sync;

impl Pipeline {
    pub(super) fn watch_sync(&mut self) {
        let sync = self.rotation.sync();
        let was = std::mem::replace(&mut self.sync, sync);
        match sync {
            Sync::Stopped | Sync::Searching => {
                self.followed = None;
                self.misfit = false;
            }
            Sync::Revolution | Sync::Cycle => {
                let now = self.now();
                let _ = self.followed.get_or_insert(now);
            }
        }
        let misfit = sync == Sync::Revolution && self.settled();
        if misfit && !self.misfit {
            self.misfit = true;
            self.note(self.now(), self.open_position().to_owned());
        }
        if was == Sync::Stopped && sync != was {
            self.auditions
                .iter_mut()
                .flatten()
                .for_each(Audition::begin);
        }
        // Cams whose edges fit the sheet need no other name, and to listen to them costs as much as all else.
        if sync != was && (sync == Sync::Cycle || was == Sync::Cycle) {
            for (channel, audition) in self.channels.iter().zip(&mut self.auditions) {
                if let (Role::Cam(_), Some(audition)) = (channel.role, audition) {
                    if sync == Sync::Cycle {
                        audition.rest();
                    } else {
                        audition.begin();
                    }
                }
            }
        }
        let text = match (was, sync) {
            (Sync::Stopped, Sync::Searching | Sync::Revolution | Sync::Cycle) => "The crank turns.",
            (Sync::Searching | Sync::Revolution | Sync::Cycle, Sync::Stopped) => {
                "The crank has stopped, or its signal has."
            }
            (Sync::Revolution | Sync::Cycle, Sync::Searching) => "The crank pattern is lost.",
            _ => return,
        };
        self.note(self.now(), text.to_owned());
    }

    /// Why the position in the cycle stays open although the crank has been followed for long enough.
    fn open_position(&self) -> &'static str {
        let is_even = self.rotation.crank_step().0 < 360.0;
        let has_lead = |id| self.channel(Role::Cam(id)).is_some();
        if self.rotation.fits_several_positions() {
            "The teeth of the crank wheel are alike, and the cams fit more than one of them; with the phasers commanded to rest the position may be told."
        } else if self.cam_ids.iter().any(|&id| has_lead(id)) {
            "The cam edges do not fit the engine sheet; cam leads swapped, or another engine?"
        } else if is_even {
            "The teeth of the crank wheel are alike: without a cam lead only speed is known."
        } else {
            "Without a cam lead it is not known which of the two revolutions of the cycle this is."
        }
    }
}
