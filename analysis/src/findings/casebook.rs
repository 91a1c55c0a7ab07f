//! The casebook: looks ten times a second at everything, keeps what was seen over the whole session, and says what
//! explains it.

use super::caution::DEFERENCE;
use super::check::choose;
use super::dossier::{Dossier, Moment};
use super::fact::Fact;
use super::facts::facts;
use super::lead_log::{LeadLog, Turns};
use super::picture::Picture;
use super::wheel_log::WheelLog;
use super::{Bearing, CaseLook, Cause, CauseRow, Findings, Standing};
use crate::base_timing::BaseTiming;
use crate::codes;
use crate::engine::EngineSheet;
use crate::lead::Role;
use crate::proof::ProofState;
use crate::snapshot::Sync;
use crate::trial::{TrialKind, TrialsView};
use crate::units::Hertz;
use std::sync::Arc;

/// The table is made again this often, seconds, and at once when a disagreement begins or ends. More often costs time
/// and shows nothing that can be read so quickly.
const EVERY: f64 = 1.0;
/// After this long at running speed oil pressure is owed, as the agreement takes it.
const RUN_IN: f64 = 2.0;
/// After an actuator has been plugged in again its circuit is looked at only after this.
const PLUGGED: f64 = 3.0;

/// Keeps what was seen over the whole session and says what explains it.
#[derive(Debug, Clone)]
pub struct Casebook {
    rate: f64,
    running_above: f64,
    leads: LeadLog,
    wheel: WheelLog,
    cams: Vec<Dossier>,
    base: BaseTiming,
    trials: TrialsView,
    codes: Vec<String>,
    running_since: Option<f64>,
    now: f64,
    made: Option<f64>,
    view: Arc<Findings>,
}

impl Casebook {
    /// An empty casebook for this engine.
    pub fn new(engine: &EngineSheet, rate: Hertz) -> Self {
        let mut new = Self {
            rate: rate.0,
            running_above: 0.7 * engine.idle.low.0,
            leads: LeadLog::default(),
            wheel: WheelLog::new(engine),
            cams: engine.cams.iter().map(Dossier::new).collect(),
            base: BaseTiming::unseen(&engine.cams),
            trials: TrialsView::default(),
            codes: Vec::new(),
            running_since: None,
            now: 0.0,
            made: None,
            view: Arc::default(),
        };
        new.make();
        new
    }

    /// The codes that the controller has stored, as typed: in any case, with blanks, several in one line.
    pub fn set_codes(&mut self, codes: &[String]) {
        self.codes = codes::split(codes);
        self.make();
    }

    /// Looks once.
    pub fn look(&mut self, seen: &CaseLook<'_>) {
        let now = seen.at.0 / self.rate;
        self.now = now;
        let rpm = seen.speed.valid().map(|s| s.0);
        let fast = rpm.is_some_and(|rpm| rpm >= self.running_above);
        if seen.sync == Sync::Stopped || (rpm.is_some() && !fast) {
            self.running_since = None;
        } else if fast {
            let _ = self.running_since.get_or_insert(now);
        }
        let running = self
            .running_since
            .is_some_and(|since| now - since >= RUN_IN);
        let cam_turns = (seen.leads.iter())
            .any(|(role, proof)| matches!(role, Role::Cam(_)) && proof.state == ProofState::Proven);
        let turns = Turns {
            at_all: cam_turns || seen.sync != Sync::Stopped,
            by_cam: cam_turns,
            runs: running,
        };
        self.leads.look(now, turns, seen.leads);
        // An inverted coil or too few samples put good teeth in the wrong place.
        let damaged = if self.leads.proven(Role::Crank) {
            seen.damaged
        } else {
            &[]
        };
        self.wheel.look(now, seen.sync, damaged);
        let mut changed = self.made.is_none();
        for (dossier, case) in self.cams.iter_mut().zip(seen.cams) {
            let moment = Moment {
                at: now,
                rate: self.rate,
                rpm,
                running,
                unplugged: is_unplugged(seen.trials, dossier, now, self.rate),
            };
            changed |= dossier.look(moment, case, &self.leads);
        }
        if changed || self.made.is_none_or(|made| now - made >= EVERY) {
            if self.base != *seen.base {
                self.base = seen.base.clone();
            }
            if self.trials != *seen.trials {
                self.trials = seen.trials.clone();
            }
            self.made = Some(now);
            self.make();
        }
    }

    /// What explains it.
    pub fn view(&self) -> Arc<Findings> {
        Arc::clone(&self.view)
    }

    fn picture<'a>(&'a self, dossier: &'a Dossier) -> Picture<'a> {
        Picture {
            dossier,
            leads: &self.leads,
            wheel: &self.wheel,
            base: &self.base,
            trials: &self.trials,
            cams: &self.cams,
            now: self.now,
            rate: self.rate,
        }
    }

    /// Makes the table from what was kept.
    fn make(&mut self) {
        let pictures: Vec<Picture<'_>> = self.cams.iter().map(|d| self.picture(d)).collect();
        let codes = codes::explain(&self.codes, &pictures);
        let tables: Vec<Vec<CauseRow>> = pictures
            .iter()
            .map(|&p| {
                let facts = facts(p, &codes);
                rows(p, &facts)
            })
            .collect();
        // The cam with something to explain comes before one that is in order.
        let urgent = |rows: &[CauseRow]| {
            let supported = |r: &&CauseRow| r.standing == Standing::Supported;
            let faults: Vec<_> = (rows.iter().filter(supported))
                .filter(|r| r.cause != Cause::AsCommanded)
                .collect();
            match faults.as_slice() {
                [] if rows.iter().any(|r| supported(&r)) => 0,
                [] => 1,
                [only] if only.cause == Cause::LeadFault => 2,
                _ => 3,
            }
        };
        let mut choices: Vec<_> = (pictures.iter().zip(&tables))
            .filter_map(|(&p, rows)| Some((urgent(rows), choose(p, rows)?)))
            .collect();
        // Stable: of cams that are alike urgent the first.
        choices.sort_by_key(|c| std::cmp::Reverse(c.0));
        let mut cautions = Vec::new();
        let mut choices = choices.into_iter();
        let next_check = choices.next().map(|(first, mut choice)| {
            choices
                .filter(|(urgency, _)| *urgency == first)
                .for_each(|(_, other)| choice.join(&other));
            cautions.push(DEFERENCE.to_owned());
            cautions.extend(choice.cautions.iter().map(|c| c.words().to_owned()));
            choice.check
        });
        let mut causes: Vec<CauseRow> = tables.into_iter().flatten().collect();
        // Stable: cams stay in the sheet's order.
        causes.sort_by_key(|r| (r.standing, r.cause));
        self.view = Arc::new(Findings {
            causes,
            next_check,
            codes,
            cautions,
        });
    }
}

/// The rows of one cam.
fn rows(p: Picture<'_>, facts: &[Fact]) -> Vec<CauseRow> {
    Cause::ALL
        .into_iter()
        .filter(|&cause| p.has_phaser() || without_phaser(cause))
        .map(|cause| {
            let has = |how| facts.iter().any(|f| f.bearing(cause) == how);
            let standing = if has(Bearing::Contradicts) {
                Standing::Contradicted
            } else if has(Bearing::Supports) {
                Standing::Supported
            } else {
                Standing::Open
            };
            CauseRow {
                cause,
                cam: Some(p.cam()),
                standing,
                evidence: facts.iter().map(|f| f.evidence(cause, p.rate)).collect(),
            }
        })
        .collect()
}

/// Whether a cause exists for a cam that has no phaser.
fn without_phaser(cause: Cause) -> bool {
    matches!(
        cause,
        Cause::LeadFault | Cause::BaseTiming | Cause::WheelOrSensor | Cause::AsCommanded
    )
}

/// Whether the technician has this cam's actuator unplugged, for a trial.
fn is_unplugged(trials: &TrialsView, dossier: &Dossier, now: f64, rate: f64) -> bool {
    let own =
        |o: &crate::trial::TrialOrder| o.kind == TrialKind::RestUnplugged && o.cam == dossier.cam;
    trials.running.as_ref().is_some_and(|t| own(&t.order))
        || (trials.results.iter().rev().take(1))
            .any(|r| own(&r.order) && now - r.span[1].0 / rate < PLUGGED)
}
