//! Whether position follows command, from invariants that hold whatever the hold duty is:
//! outside the hold zone a healthy phaser moves, at the slowest rate of the sheet or faster, until it meets a stop;
//! commanded to rest it ends at its reference. Hold duty drifts with oil, coil temperature and supply and is never judged.
//!
//! Inside, positions are degrees along the drive: zero at the reference at rest, positive when driven.

use crate::drive::{Drive, Point, Stops, Verdict};
use crate::engine::{CamSheet, PhaserSheet, Rest};
use crate::hunting::hunting;
use crate::lead::{CamId, Role};
use crate::observation::{CommandView, EngineView, Observation, PositionView};
use crate::observer::ObserverView;
use crate::sentence::{Finding, Reason, sentence};
use crate::snapshot::{Agreement, AgreementState};
use crate::units::{Band, CrankDegrees, Hertz, Rpm, SampleTime};
use std::collections::VecDeque;
use std::sync::Arc;

/// After this long at running speed oil pressure is owed (common practice, from memory).
const RUN_IN: f64 = 2.0;
/// How long the track is kept: hunting needs 4 s.
const TRACK: f64 = 4.0;
/// A command that stands this long is not given.
const NO_COMMAND: f64 = 1.0;
/// No cam edges for this long while the crank turns.
const NO_POSITION: f64 = 0.5;
/// Commanded to rest for this long, it has to be there or on the way. The price of less is a false flag on cold oil.
const REST_TIME: f64 = 1.2;
/// Motion over [`REST_LOOK`] below which it stands.
const REST_STILL: f64 = 0.75;
const REST_LOOK: f64 = 0.8;
/// A drive to rest that leaves the rest command is judged by rate again only after this long.
const REST_GRACE: f64 = 1.0;
/// Agreement must be seen this long before a disagreement is withdrawn.
const CLEAR: f64 = 0.5;
/// Motion in the drive's direction that refutes a standing still.
const ACQUITS: f64 = 3.0;
/// A reason not to judge must last this long before it replaces a judgement.
const LOSE: f64 = 0.5;
/// The same when it is merely being measured: what follows decides, and takes half a second to a second itself.
const UNCLEAR: f64 = 1.1;

/// A change of state.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Change {
    /// The new state.
    pub state: AgreementState,
}

/// Judges one cam.
#[derive(Debug, Clone)]
pub struct Judge {
    rate: f64,
    cam: CamId,
    running: f64,
    known_good: bool,
    tolerance: f64,
    phaser: Option<PhaserSheet>,
    track: VecDeque<Point>,
    drive: Option<Drive>,
    rest_since: Option<f64>,
    /// When rest was last commanded.
    rest_last: f64,
    /// Lowest position at which it has stood at rest, if that is beyond the stop: the whole travel is shifted by as much.
    shift: f64,
    running_since: Option<f64>,
    state: AgreementState,
    since: f64,
    finding: Finding,
    /// When the present disagreement was last shown true.
    last_true: f64,
    /// When it began to look otherwise.
    otherwise: Option<f64>,
    /// Whether it has moved as it must since then.
    acquitted: bool,
    due: Option<Band<CrankDegrees>>,
}

impl Judge {
    /// A judge of the cam of `sheet`; `idle` is the lowest idle speed.
    pub fn new(sheet: &CamSheet, idle: Rpm, rate: Hertz) -> Self {
        let reason = if sheet.phaser.is_some() {
            Reason::Measuring
        } else {
            Reason::NoPhaser
        };
        Self {
            rate: rate.0,
            cam: sheet.cam,
            running: 0.7 * idle.0,
            known_good: sheet.known_good,
            tolerance: sheet.tolerance.0,
            phaser: sheet.phaser.clone(),
            track: VecDeque::new(),
            drive: None,
            rest_since: None,
            rest_last: f64::NEG_INFINITY,
            shift: 0.0,
            running_since: None,
            state: AgreementState::NotJudged,
            since: 0.0,
            finding: Finding::NotJudged(reason),
            last_true: 0.0,
            otherwise: None,
            acquitted: false,
            due: None,
        }
    }

    /// The judgement so far.
    pub fn agreement(&self) -> Agreement {
        let rest = self.phaser.as_ref().map_or(Rest::Retarded, |p| p.rest);
        Agreement {
            state: self.state,
            since: SampleTime(self.since * self.rate),
            sentence: sentence(self.finding, rest),
            rests_on: match self.state {
                AgreementState::NotJudged => Vec::new(),
                AgreementState::NoCommand => vec![Role::Crank, Role::Command(self.cam)],
                AgreementState::NoPosition => vec![Role::Crank, Role::Cam(self.cam)],
                _ => vec![Role::Crank, Role::Cam(self.cam), Role::Command(self.cam)],
            },
        }
    }

    /// What has been learnt of the phaser; none without one.
    pub fn observer(&self) -> Option<Arc<ObserverView>> {
        let _ = self.phaser.as_ref()?;
        Some(Arc::new(ObserverView::unseen()))
    }

    /// Where the phase is due, if it can be told.
    pub fn due(&self) -> Option<Band<CrankDegrees>> {
        self.due
    }

    /// Samples were lost, or cannot be judged: all windows start again.
    pub fn gap(&mut self) {
        self.track.clear();
        self.drive = None;
        self.rest_since = None;
    }

    /// Looks once; returns the change of state, if there is one.
    pub fn observe(&mut self, seen: &Observation) -> Option<Change> {
        let now = seen.at.0 / self.rate;
        self.due = None;
        let (state, since, finding) = match self.judgeable(now, seen) {
            Err((state, since, finding)) => {
                self.gap();
                (state, since, finding)
            }
            Ok((duty, phase, rpm, phaser)) => self.judge(now, duty, phase, rpm, seen, &phaser),
        };
        self.settle(now, state, since, finding)
    }

    /// Duty, phase and speed if all are there; else what that means.
    #[allow(
        clippy::type_complexity,
        reason = "a judgement is a state, its onset and its finding"
    )]
    fn judgeable(
        &mut self,
        now: f64,
        seen: &Observation,
    ) -> Result<(f64, f64, f64, PhaserSheet), (AgreementState, f64, Finding)> {
        let not = |reason| Err((AgreementState::NotJudged, now, Finding::NotJudged(reason)));
        let Some(phaser) = self.phaser.clone() else {
            return not(Reason::NoPhaser);
        };
        let rpm = match seen.engine {
            EngineView::Cycle(rpm) => Some(rpm.0),
            EngineView::Stopped => {
                self.running_since = None;
                return not(Reason::Stopped);
            }
            EngineView::NoSync => return not(Reason::NoSync),
            EngineView::Revolution | EngineView::Several | EngineView::Mismatch => None,
        };
        if rpm.is_some_and(|rpm| rpm < self.running) {
            self.running_since = None;
            return not(Reason::Cranking);
        }
        let running_since = *self.running_since.get_or_insert(now);
        match seen.position {
            PositionView::NoLead => return not(Reason::NoCamLead),
            PositionView::Silent => return not(Reason::CamSilent),
            PositionView::NoEdges(since, volts) => {
                let since = (since.0 / self.rate).max(running_since);
                if now - since < NO_POSITION {
                    return not(Reason::Measuring);
                }
                return Err((
                    AgreementState::NoPosition,
                    since,
                    Finding::NoPosition {
                        seconds: now - since,
                        volts: volts.map(|v| v.0),
                    },
                ));
            }
            PositionView::Unknown(_) | PositionView::Phase(_) => {}
        }
        let duty = match seen.command {
            CommandView::NoLead => return not(Reason::NoCommandLead),
            CommandView::Silent => return not(Reason::CommandSilent),
            CommandView::Doubtful => return not(Reason::CommandDoubtful),
            CommandView::Measuring => return not(Reason::Measuring),
            CommandView::Ground => return not(Reason::HeldAtGround),
            CommandView::Stands(..) => 0.0,
            CommandView::Duty(duty) => duty.0,
        };
        let unknown = !matches!(seen.position, PositionView::Phase(_));
        if let Some(none) = self.no_command(now, seen.command, &phaser)
            && (rpm.is_none() || unknown)
        {
            return Err(none);
        }
        let Some(rpm) = rpm else {
            return not(match seen.engine {
                EngineView::Mismatch => Reason::PatternMismatch,
                EngineView::Several => Reason::SeveralPositions,
                _ => Reason::CycleUnresolved,
            });
        };
        let phase = match seen.position {
            PositionView::Phase(phase) => phase.0 * phaser.rest.drive_sign(),
            PositionView::Unknown(reason) => return not(reason),
            PositionView::NoLead | PositionView::Silent | PositionView::NoEdges(..) => {
                return not(Reason::Measuring);
            }
        };
        Ok((duty, phase, rpm, phaser))
    }

    fn judge(
        &mut self,
        now: f64,
        duty: f64,
        phase: f64,
        rpm: f64,
        seen: &Observation,
        phaser: &PhaserSheet,
    ) -> (AgreementState, f64, Finding) {
        self.track.push_back(Point {
            t: now,
            x: phase,
            duty,
            rpm,
        });
        while self.track.front().is_some_and(|p| now - p.t > TRACK) {
            let _ = self.track.pop_front();
        }
        let commands_rest = duty < phaser.rest_below.0;
        if commands_rest {
            let _ = self.rest_since.get_or_insert(now);
            self.rest_last = now;
        } else {
            self.rest_since = None;
        }
        if self.running_since.is_none_or(|t| now - t < RUN_IN) {
            // Where it stands at rest is seen from the start; motion is owed later.
            self.drive = None;
            if let Some(none) = self.no_command(now, seen.command, phaser) {
                return none;
            }
            return (
                AgreementState::NotJudged,
                now,
                Finding::NotJudged(Reason::RunIn),
            );
        }
        let push = Drive::push(duty, seen.supply, phaser);
        if self.drive.as_ref().is_none_or(|d| d.is_over(now, push)) {
            self.drive = Drive::begin(now, phase, push);
        }
        let stops = Stops {
            authority: phaser.authority.0 + self.shift,
            tolerance: self.tolerance,
        };
        let verdict = self
            .drive
            .as_mut()
            .map(|drive| drive.look(now, phase, push, phaser.slowest.0, &stops));
        let band = self
            .drive
            .as_ref()
            .filter(|d| d.is_away() || self.known_good)
            .map(|d| d.band(now, &stops));
        self.due = band.map(|(low, high)| {
            if phaser.rest.drive_sign() > 0.0 {
                Band {
                    low: CrankDegrees(low),
                    high: CrankDegrees(high),
                }
            } else {
                Band {
                    low: CrankDegrees(-high),
                    high: CrankDegrees(-low),
                }
            }
        });

        // A loop that finds the cam off its rest may drive the duty down to nothing: that is not a lost command.
        let let_go = self.state == AgreementState::OffRest && phase.abs() > self.tolerance;
        if let Some(none) = self.no_command(now, seen.command, phaser)
            && !let_go
        {
            return none;
        }
        if let Some(off) = self.off_rest(now, duty, phase, phaser.rest) {
            if phase < 0.0 {
                self.shift = phase;
            }
            return off;
        }
        if let Some((since, found)) = hunting(&self.track) {
            return (AgreementState::Hunting, since, found);
        }
        let (Some(drive), Some(verdict)) = (&self.drive, verdict) else {
            return self.nothing_owed(now, Finding::Holding { duty, phase });
        };
        let seconds = now - drive.began();
        self.acquitted |= drive.moved(phase) >= ACQUITS;
        // On the way to rest the rest rule judges; without a reference nobody knows where rest is.
        let resting = now - self.rest_last < REST_GRACE;
        let by_rest = !drive.is_away() && (resting || !self.known_good);
        let off = self.known_good
            && phase.abs() > self.tolerance
            && !drive.is_away()
            && (resting || self.state == AgreementState::OffRest);
        match verdict {
            Verdict::Open { .. } if commands_rest && phase.abs() <= self.tolerance => (
                AgreementState::Following,
                now,
                Finding::AtRest { duty, phase },
            ),
            Verdict::Still { since, .. } if off => (
                AgreementState::OffRest,
                since,
                self.stands_off(now, since, duty, phase, phaser.rest),
            ),
            Verdict::Still { moved, .. } | Verdict::Slow { moved, .. } if by_rest => self
                .nothing_owed(
                    now,
                    Finding::Driven {
                        duty,
                        seconds,
                        moved,
                    },
                ),
            Verdict::Open { moved } | Verdict::Moving { moved } => self.nothing_owed(
                now,
                Finding::Driven {
                    duty,
                    seconds,
                    moved,
                },
            ),
            Verdict::AtStop if drive.is_away() => {
                self.nothing_owed(now, Finding::AtStop { duty, phase })
            }
            Verdict::AtStop
                if self.state == AgreementState::OffRest && phase.abs() <= self.tolerance =>
            {
                (
                    AgreementState::Following,
                    now,
                    Finding::AtRest { duty, phase },
                )
            }
            Verdict::AtStop => self.nothing_owed(now, Finding::AtRest { duty, phase }),
            Verdict::Still { since, moved, due } => (
                AgreementState::NotFollowing,
                since,
                Finding::Stuck {
                    duty: self.mean_duty(since, duty),
                    seconds: now - since,
                    moved,
                    due,
                },
            ),
            Verdict::Slow { since, moved, due } => (
                AgreementState::Lagging,
                since,
                Finding::Slow {
                    duty: self.mean_duty(since, duty),
                    seconds: now - since,
                    moved,
                    due,
                },
            ),
            Verdict::Against { since, moved } => (
                AgreementState::AgainstCommand,
                since,
                Finding::Against {
                    duty: self.mean_duty(since, duty),
                    seconds: now - since,
                    moved,
                },
            ),
        }
    }

    /// Nothing tells for or against: a phaser that did not follow when it last had to is not acquitted by silence.
    fn nothing_owed(&self, now: f64, finding: Finding) -> (AgreementState, f64, Finding) {
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

    fn stands_off(&self, now: f64, since: f64, duty: f64, phase: f64, rest: Rest) -> Finding {
        Finding::OffRest {
            duty: self.mean_duty(since, duty),
            seconds: now - since,
            phase: phase * rest.drive_sign(),
            tolerance: self.tolerance,
            beyond: phase < 0.0,
        }
    }

    /// Mean duty since an instant, as far as the track goes back.
    fn mean_duty(&self, since: f64, now: f64) -> f64 {
        let duties = self.track.iter().filter(|p| p.t >= since).map(|p| p.duty);
        let n = duties.clone().count();
        if n == 0 {
            now
        } else {
            duties.sum::<f64>() / n as f64
        }
    }

    /// No command, when the pin has stood for long although this controller always drives it.
    fn no_command(
        &self,
        now: f64,
        command: CommandView,
        phaser: &PhaserSheet,
    ) -> Option<(AgreementState, f64, Finding)> {
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

    fn off_rest(
        &self,
        now: f64,
        duty: f64,
        phase: f64,
        rest: Rest,
    ) -> Option<(AgreementState, f64, Finding)> {
        let since = self.rest_since?;
        if !self.known_good || now - since < REST_TIME || phase.abs() <= self.tolerance {
            return None;
        }
        let then = self.track.iter().find(|p| now - p.t <= REST_LOOK)?;
        // Still there means: neither moving now nor having moved during the look.
        let (low, high) = self
            .track
            .iter()
            .skip_while(|p| p.t < then.t)
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), p| {
                (a.min(p.x), b.max(p.x))
            });
        let covered = now - then.t > REST_LOOK - 0.1;
        (covered && high - low < REST_STILL).then(|| {
            (
                AgreementState::OffRest,
                since,
                self.stands_off(now, since, duty, phase, rest),
            )
        })
    }

    /// Lets a state replace the present one: a disagreement at once, anything else when it has lasted.
    fn settle(
        &mut self,
        now: f64,
        state: AgreementState,
        since: f64,
        finding: Finding,
    ) -> Option<Change> {
        if state == self.state {
            if !matches!(finding, Finding::Unrefuted { .. }) {
                self.last_true = now;
                self.acquitted = false;
            }
            self.otherwise = None;
            self.finding = finding;
            return None;
        }
        let began = *self.otherwise.get_or_insert(now);
        let wait = if state.is_disagreement() {
            0.0
        } else if self.state.is_disagreement() && state == AgreementState::Following {
            CLEAR
        } else if self.state == AgreementState::NotJudged {
            0.0
        } else if finding == Finding::NotJudged(Reason::Measuring) {
            UNCLEAR
        } else {
            LOSE
        };
        if now - began < wait {
            return None;
        }
        self.state = state;
        self.since = if state.is_disagreement() {
            since
        } else {
            began
        };
        self.finding = finding;
        self.last_true = now;
        self.otherwise = None;
        self.acquitted = false;
        Some(Change { state })
    }
}

#[cfg(test)]
mod tests;
