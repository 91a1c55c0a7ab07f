//! From what a drive shows to the state that is told: first what holds without a model, then the sequential test.

use super::residual::Verdict;
use super::{Judge, Seen, Told};
use crate::drive::Drive;
use crate::engine::{PhaserSheet, Rest};
use crate::observation::CommandView;
use crate::observer::Sense;
use crate::sentence::{Finding, Reason};
use crate::snapshot::AgreementState;

/// A command that stands this long is not given: sixty periods of the slowest frequency in use (100 Hz). The price of
/// less is a false flag on a controller that shuts the valve off for a moment.
const NO_COMMAND: f64 = 0.6;
/// Commanded to rest for this long and standing beyond its rest stop, the timing has moved.
const BEYOND_TIME: f64 = 0.6;
/// Motion over [`BEYOND_LOOK`] below which it stands, beside the noise.
const REST_STILL: f64 = 0.75;
const BEYOND_LOOK: f64 = 0.4;
/// What stands for this long after a command to rest is judged as such.
const REST_GRACE: f64 = 1.0;
/// Within this of where it stood off its rest it is there again.
const SAME_PLACE: f64 = 2.0;

impl Judge {
    /// What a verdict on the present drive means.
    pub(super) fn tell(&mut self, s: Seen, verdict: Verdict, away: bool, rest: Rest) -> Told {
        let Seen { now, duty, x, .. } = s;
        let at_rest = self.known_good && x.abs() <= self.tolerance;
        let resting = now - self.rest_last < REST_GRACE;
        let unsure = self.observer.sense() != Sense::AsSheet;
        let unshown = (
            AgreementState::NotJudged,
            now,
            Finding::NotJudged(Reason::SenseNotShown),
        );
        let (_, rate) = self.observer.figures(away, s.supply);
        let driven = |judge: &Self| match &judge.drive {
            Some(drive) => Finding::Driven {
                duty,
                seconds: now - drive.began(),
                moved: drive.moved(x),
                rate,
            },
            None => Finding::Holding {
                duty,
                phase: x,
                hold: None,
            },
        };
        match verdict {
            Verdict::Open | Verdict::AtStop
                if !away && at_rest && (resting || self.state == AgreementState::OffRest) =>
            {
                (
                    AgreementState::Following,
                    now,
                    Finding::AtRest { duty, phase: x },
                )
            }
            Verdict::Open => self.nothing_owed(now, driven(self)),
            Verdict::AtStop if away => self.nothing_owed(now, Finding::AtStop { duty, phase: x }),
            Verdict::AtStop => self.nothing_owed(now, Finding::AtRest { duty, phase: x }),
            Verdict::Against { .. } if unsure && (self.doubtful || x < 0.0) => unshown,
            Verdict::Against { since, .. } if !away && self.known_good && resting => {
                self.off_at = Some(x);
                self.stands_off(now, since, duty, x, rest)
            }
            Verdict::Against { lasts: false, .. } => self.nothing_owed(now, driven(self)),
            Verdict::Against { since, moved, .. } => (
                AgreementState::AgainstCommand,
                since,
                Finding::Against {
                    duty: self.mean_duty(since, duty),
                    seconds: now - since,
                    moved,
                },
            ),
            // A command that never changed, or motion the other way: perhaps the sheet is wrong.
            Verdict::Still { .. } | Verdict::Slow { .. }
                if unsure && (self.doubtful || (away && !self.seen_not_away)) =>
            {
                unshown
            }
            Verdict::Still { since, moved, due } => {
                let there = self
                    .off_at
                    .is_some_and(|at| (x - at).abs() <= SAME_PLACE + self.observer.motion.noise());
                if !away
                    && self.known_good
                    && (resting || there || self.state == AgreementState::OffRest)
                {
                    if resting {
                        self.off_at = Some(x);
                    }
                    return self.stands_off(now, since, duty, x, rest);
                }
                let (from, moved, due) = self.of_this_drive(since, x, (moved, due));
                let finding = Finding::Stuck {
                    duty: self.mean_duty(from, duty),
                    seconds: now - from,
                    moved,
                    due,
                };
                (AgreementState::NotFollowing, since, finding)
            }
            Verdict::Slow { since, moved, due } => {
                let (from, moved, due) = self.of_this_drive(since, x, (moved, due));
                let finding = Finding::Slow {
                    duty: self.mean_duty(from, duty),
                    seconds: now - from,
                    moved,
                    due,
                };
                (AgreementState::Lagging, since, finding)
            }
        }
    }

    /// From when on the sentence counts, motion since and motion due since: the evidence may be of earlier drives too, but
    /// between them something else was commanded, which the sentence must not say.
    fn of_this_drive(&self, since: f64, x: f64, seen: (f64, f64)) -> (f64, f64, f64) {
        match &self.drive {
            Some(drive) if drive.began() > since => (drive.began(), drive.moved(x), drive.owed()),
            _ => (since, seen.0, seen.1),
        }
    }

    /// Nothing tells for or against: a phaser that did not follow when it last had to is not acquitted by silence.
    pub(super) fn nothing_owed(&self, now: f64, finding: Finding) -> Told {
        let duty = match finding {
            Finding::Holding { duty, .. }
            | Finding::Driven { duty, .. }
            | Finding::AtRest { duty, .. }
            | Finding::AtStop { duty, .. } => duty,
            _ => 0.0,
        };
        match self.state {
            AgreementState::NotFollowing
            | AgreementState::Lagging
            | AgreementState::OffRest
            | AgreementState::AgainstCommand
                if !self.acquitted =>
            {
                (
                    self.state,
                    self.since,
                    Finding::Unrefuted {
                        duty,
                        ago: now - self.last_true,
                    },
                )
            }
            _ => (AgreementState::Following, now, finding),
        }
    }

    pub(super) fn stands_off(&self, now: f64, since: f64, duty: f64, x: f64, rest: Rest) -> Told {
        // Rest has been commanded for no longer than that, however old the evidence is.
        let commanded = self.rest_since.or(self.drive.as_ref().map(Drive::began));
        let from = commanded.unwrap_or(since).max(since);
        (
            AgreementState::OffRest,
            since,
            Finding::OffRest {
                duty: self.mean_duty(from, duty),
                seconds: now - from,
                phase: x * rest.drive_sign(),
                tolerance: self.tolerance,
                beyond: x < 0.0,
            },
        )
    }

    /// Mean duty since an instant, as far as the track goes back.
    pub(super) fn mean_duty(&self, since: f64, now: f64) -> f64 {
        let duties = self.track.iter().filter(|p| p.t >= since).map(|p| p.duty);
        let n = duties.clone().count();
        if n == 0 {
            now
        } else {
            duties.sum::<f64>() / n as f64
        }
    }

    /// No command, when the pin has stood for long although this controller always drives it.
    pub(super) fn no_command(
        &self,
        now: f64,
        command: CommandView,
        phaser: &PhaserSheet,
    ) -> Option<Told> {
        let CommandView::Stands(volts, since) = command else {
            return None;
        };
        let since = (since.0 / self.rate).max(self.running_since?);
        let seconds = now - since;
        (phaser.always_driven && seconds >= NO_COMMAND).then_some((
            AgreementState::NoCommand,
            since,
            Finding::NoCommand {
                volts: volts.0,
                seconds,
            },
        ))
    }

    /// Commanded to rest for long enough, and there.
    pub(super) fn rests_at_reference(&self, now: f64, x: f64) -> bool {
        let motion = &self.observer.motion;
        let stands = motion
            .range(now, BEYOND_LOOK)
            .is_some_and(|(low, high)| high - low < REST_STILL + 4.0 * motion.noise());
        stands
            && x.abs() <= self.tolerance
            && self.rest_since.is_some_and(|t| now - t >= BEYOND_TIME)
    }

    /// Commanded to rest and standing where no phaser can go.
    pub(super) fn beyond_rest(&self, s: Seen, rest: Rest) -> Option<Told> {
        let since = self.rest_since?;
        let motion = &self.observer.motion;
        let far = s.x < -(self.tolerance + motion.noise());
        if !self.known_good || !far || s.now - since < BEYOND_TIME {
            return None;
        }
        let (low, high) = motion.range(s.now, BEYOND_LOOK)?;
        (high - low < REST_STILL + 4.0 * motion.noise())
            .then(|| self.stands_off(s.now, since, s.duty, s.x, rest))
    }
}
