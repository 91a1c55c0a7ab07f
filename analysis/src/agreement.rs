//! Whether position follows command. First what holds whatever the model: commanded to rest a cam ends at its reference,
//! driven hard it moves until it meets a stop, and never against the drive. Then a sequential test on what a healthy
//! phaser at its slowest owes, less what was seen. Hold duty drifts with oil, coil temperature and supply and is never judged.
//!
//! Inside, positions are degrees along the drive: zero at the reference at rest, positive when driven.

mod expectation;
mod residual;
mod verdict;

use crate::drive::{Drive, Point, Pushes};
use crate::engine::{CamSheet, PhaserSheet, Rest};
use crate::hunting::hunting;
use crate::lead::{CamId, Role};
use crate::observation::{CommandView, EngineView, Observation, PositionView};
use crate::observer::{Observer, ObserverView, Sense};
use crate::reading::{Reading, Why};
use crate::sentence::{Finding, Reason, sentence};
use crate::snapshot::{Agreement, AgreementState};
use crate::units::{Band, CrankDegrees, Hertz, Rpm, SampleTime, Volts};
use residual::{Residual, Verdict};
use std::collections::VecDeque;
use std::sync::Arc;

/// After this long at running speed oil pressure is owed (common practice, from memory).
const RUN_IN: f64 = 2.0;
/// How long the track is kept: slow hunting needs 5 s.
const TRACK: f64 = 5.0;
/// No cam edges for this long while the crank turns.
const NO_POSITION: f64 = 0.5;
/// Agreement must be seen this long before a disagreement is withdrawn.
const CLEAR: f64 = 0.5;
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

/// State, onset and what was found.
type Told = (AgreementState, f64, Finding);

/// Duty, phase along the drive and speed.
#[derive(Debug, Clone, Copy)]
struct Seen {
    now: f64,
    duty: f64,
    x: f64,
    rpm: f64,
    supply: Option<Volts>,
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
    observer: Observer,
    track: VecDeque<Point>,
    /// Pushes by the zone of the sheet, and by the zone narrowed with what was learnt.
    pushes: [Pushes; 2],
    drive: Option<Drive>,
    /// Away from rest, and back.
    tests: [Residual; 2],
    looked: f64,
    seen: Option<Seen>,
    rest_since: Option<f64>,
    /// When rest was last commanded.
    rest_last: f64,
    /// Lowest position at which it has stood at rest, if that is beyond the stop: the whole travel is shifted by as much.
    shift: f64,
    /// How far the timing seems to have jumped to late of the drive since it was last seen at rest.
    sprang: f64,
    /// Where it last stood off its rest.
    off_at: Option<f64>,
    /// Whether the command has been seen elsewhere than driving away: one that never changes shows nothing.
    seen_not_away: bool,
    /// Whether the sheet may have it the other way round.
    doubtful: bool,
    /// Whether it has been seen at rest at its reference.
    has_rested: bool,
    running_since: Option<f64>,
    state: AgreementState,
    since: f64,
    finding: Finding,
    /// When the present disagreement was last shown true, and where the cam was.
    last_true: f64,
    true_at: f64,
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
            observer: Observer::new(),
            track: VecDeque::new(),
            pushes: [Pushes::default(), Pushes::default()],
            drive: None,
            tests: [Residual::default(), Residual::default()],
            looked: 0.0,
            seen: None,
            rest_since: None,
            rest_last: f64::NEG_INFINITY,
            shift: 0.0,
            sprang: 0.0,
            off_at: None,
            seen_not_away: false,
            doubtful: false,
            has_rested: false,
            running_since: None,
            state: AgreementState::NotJudged,
            since: 0.0,
            finding: Finding::NotJudged(reason),
            last_true: 0.0,
            true_at: 0.0,
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
        let (now, supply) = self.seen.map_or((0.0, None), |s| (s.now, s.supply));
        let predicted = match self.due {
            Some(band) => Reading::Valid(band),
            None => Reading::Missing(Why::NotEnoughYet),
        };
        Some(Arc::new(self.observer.view(now, supply, predicted)))
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
        self.observer.gap();
        self.pushes.iter_mut().for_each(Pushes::clear);
        self.tests.iter_mut().for_each(Residual::interrupt);
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
            Ok((look, phaser)) => self.judge(look, seen.command, &phaser),
        };
        self.settle(now, state, since, finding)
    }

    /// Duty, phase and speed if all are there; else what that means.
    fn judgeable(&mut self, now: f64, seen: &Observation) -> Result<(Seen, PhaserSheet), Told> {
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
        let x = match seen.position {
            PositionView::Phase(phase) => phase.0 * phaser.rest.drive_sign(),
            PositionView::Unknown(reason) => return not(reason),
            PositionView::NoLead | PositionView::Silent | PositionView::NoEdges(..) => {
                return not(Reason::Measuring);
            }
        };
        let supply = seen.supply;
        let look = Seen {
            now,
            duty,
            x,
            rpm,
            supply,
        };
        Ok((look, phaser))
    }

    fn judge(&mut self, s: Seen, command: CommandView, phaser: &PhaserSheet) -> Told {
        let Seen { now, duty, x, .. } = s;
        let dt = (now - self.looked).clamp(0.0, 0.1);
        self.looked = now;
        self.seen = Some(s);
        self.keep(s, phaser);
        if self.running_since.is_none_or(|t| now - t < RUN_IN) {
            // Where it stands at rest is seen from the start; motion is owed later.
            self.drive = None;
            self.tests.iter_mut().for_each(Residual::reset);
            if let Some(none) = self.no_command(now, command, phaser) {
                return none;
            }
            return (
                AgreementState::NotJudged,
                now,
                Finding::NotJudged(Reason::RunIn),
            );
        }
        let stops = self.stops(phaser);
        self.push(s, dt, phaser, &stops);
        self.due = self.predict(s, phaser, &stops);

        // A loop that finds the cam off its rest may drive the duty down to nothing: that is not a lost command.
        let let_go = self.state == AgreementState::OffRest && x.abs() > self.tolerance;
        if let Some(none) = self.no_command(now, command, phaser)
            && !let_go
        {
            return none;
        }
        if self.observer.sense() == Sense::Opposite && self.doubtful {
            return (
                AgreementState::NotJudged,
                now,
                Finding::NotJudged(Reason::SenseOpposite),
            );
        }
        if let Some(off) = self.beyond_rest(s, phaser.rest) {
            (self.shift, self.sprang) = (x, 0.0);
            return off;
        }
        if self.rests_at_reference(now, x) {
            (self.shift, self.sprang) = (0.0, 0.0);
            self.has_rested = true;
        }
        if let Some((since, found)) = hunting(&self.track, self.observer.motion.noise()) {
            return (AgreementState::Hunting, since, found);
        }
        let Some(drive) = &self.drive else {
            let (hold, _) = self.observer.figures(true, s.supply);
            return self.nothing_owed(
                now,
                Finding::Holding {
                    duty,
                    phase: x,
                    hold,
                },
            );
        };
        let away = drive.is_away();
        let verdict = if stops.reached(away, x) {
            Verdict::AtStop
        } else {
            let along = if away { x } else { -x };
            self.tests[usize::from(!away)].verdict(along)
        };
        self.tell(s, verdict, away, phaser.rest)
    }

    /// Keeps what this look shows.
    fn keep(&mut self, s: Seen, phaser: &PhaserSheet) {
        self.track.push_back(Point {
            t: s.now,
            x: s.x,
            duty: s.duty,
            rpm: s.rpm,
        });
        while self.track.front().is_some_and(|p| s.now - p.t > TRACK) {
            let _ = self.track.pop_front();
        }
        if s.duty < phaser.rest_below.0 {
            let _ = self.rest_since.get_or_insert(s.now);
            self.rest_last = s.now;
        } else {
            self.rest_since = None;
        }
        self.observer.motion.look(s.now, s.x, s.rpm);
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
                self.true_at = self.seen.map_or(0.0, |s| s.x);
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
        self.true_at = self.seen.map_or(0.0, |s| s.x);
        self.otherwise = None;
        self.acquitted = false;
        Some(Change { state })
    }
}

#[cfg(test)]
mod tests;
