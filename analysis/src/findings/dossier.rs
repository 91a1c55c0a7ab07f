//! What is kept of one cam over the session. Times are seconds.

use super::CamCase;
use super::circuit_log::CircuitLog;
use super::episode::{EpisodeLog, Figures};
use super::lead_log::LeadLog;
use super::motion::{MotionLog, Point};
use crate::drift::Drift;
use crate::engine::CamSheet;
use crate::lead::{CamId, Role};
use crate::observer::{ObserverView, Sense};
use crate::reading::{Reading, Why};
use crate::units::{Band, CrankDegrees, DegreesPerSecond, Percent};

/// Hall sensors may place rising edges within 1.6 and falling ones within 2.4 crank degrees (Allegro ATS673 data
/// sheet); further apart than both together says that the sensor or its air gap is not as it should be.
pub(super) const FRONTS_APART: f64 = 4.0;
/// How long that must last.
const LASTS: f64 = 2.0;

/// What was learnt of a phaser, the newest of each.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(crate) struct Learnt {
    pub hold: Option<Band<Percent>>,
    pub out: Option<(DegreesPerSecond, f64)>,
    pub back: Option<(DegreesPerSecond, f64)>,
    pub travel: Option<(CrankDegrees, f64)>,
    pub opposite: bool,
}

/// What the edges of the cam sensor showed.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(crate) struct Edges {
    /// Seconds with a valid phase through a proven lead.
    pub valid: f64,
    /// Seconds for which the edges did not fit the sheet, and when last.
    pub misfit: f64,
    pub misfit_at: f64,
    /// Rising less falling edges, the newest, and when.
    pub apart: Option<(CrankDegrees, f64)>,
    /// Seconds for which they were further apart than a sensor may place them.
    pub apart_for: f64,
    pub drift: Drift,
}

impl Edges {
    /// Whether the two kinds of edges have stood too far apart.
    pub fn are_apart(&self) -> bool {
        self.apart_for >= LASTS
    }
}

/// One cam over the session.
#[derive(Debug, Clone)]
pub(crate) struct Dossier {
    pub sheet: CamSheet,
    pub cam: CamId,
    pub episodes: EpisodeLog,
    /// None without a phaser.
    pub motion: Option<MotionLog>,
    pub circuit: CircuitLog,
    pub learnt: Learnt,
    pub edges: Edges,
    /// Since when the technician has it unplugged.
    unplugged: Option<f64>,
    last: Option<f64>,
}

/// What one look at a cam has beside the cam itself.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Moment {
    /// Seconds.
    pub at: f64,
    pub rate: f64,
    /// Speed if it is known.
    pub rpm: Option<f64>,
    /// Whether it runs by itself, and has for long enough to have oil pressure.
    pub running: bool,
    /// Whether the technician has the actuator unplugged.
    pub unplugged: bool,
}

impl Dossier {
    pub fn new(sheet: &CamSheet) -> Self {
        Self {
            sheet: sheet.clone(),
            cam: sheet.cam,
            episodes: EpisodeLog::default(),
            motion: sheet.phaser.as_ref().map(MotionLog::new),
            circuit: CircuitLog::default(),
            learnt: Learnt::default(),
            edges: Edges::default(),
            unplugged: None,
            last: None,
        }
    }

    /// Looks; true when a disagreement began or ended.
    pub fn look(&mut self, now: Moment, case: &CamCase<'_>, leads: &LeadLog) -> bool {
        let step = self
            .last
            .map_or(0.0, |last| (now.at - last).clamp(0.0, 0.5));
        self.last = Some(now.at);
        let proven = leads.proven(Role::Crank) && leads.proven(Role::Cam(self.cam));
        self.edges(now, step, proven, case);
        if now.unplugged {
            // What is not plugged in shows neither command nor motion as it would.
            let _ = self.unplugged.get_or_insert(now.at);
            self.circuit.pause();
            if let Some(motion) = &mut self.motion {
                motion.pause();
            }
            return self.episodes.interrupt();
        }
        if let Some(from) = self.unplugged.take() {
            self.circuit.forgive(from * now.rate, now.at * now.rate);
        }
        if now.running {
            if let Some(view) = case.circuit {
                self.circuit.look(now.at, view, duty(case.duty), leads);
            }
        } else {
            self.circuit.pause();
        }
        let phase = case.phase.valid().map(|p| p.0);
        let duty = duty(case.duty);
        if let Some(motion) = &mut self.motion {
            let sign = (self.sheet.phaser.as_ref()).map_or(1.0, |p| p.rest.drive_sign());
            match (phase, duty) {
                (Some(phase), Some(duty))
                    if now.running && proven && leads.proven(Role::Command(self.cam)) =>
                {
                    motion.look(Point {
                        at: now.at,
                        x: phase * sign,
                        duty,
                    });
                }
                _ => motion.pause(),
            }
        }
        if let Some(view) = case.observer.filter(|_| proven) {
            self.learn(now.at, view);
        }
        let seen = Figures {
            phase,
            duty,
            rpm: now.rpm,
            circuit: case.circuit.map(|c| c.condition),
        };
        let since = case.agreement.since.0 / now.rate;
        self.episodes.look(now.at, since, case.agreement, seen)
    }

    fn edges(&mut self, now: Moment, step: f64, proven: bool, case: &CamCase<'_>) {
        match case.phase {
            Reading::Valid(_) if proven => self.edges.valid += step,
            Reading::Missing(Why::PatternMismatch) | Reading::Suspect(_, Why::PatternMismatch) => {
                self.edges.misfit += step;
                self.edges.misfit_at = now.at;
            }
            _ => {}
        }
        if !proven {
            return;
        }
        if let Some(apart) = case.detail.difference {
            self.edges.apart = Some((apart, now.at));
            if apart.0.abs() > FRONTS_APART {
                self.edges.apart_for += step;
            }
        }
        if case.detail.drift != Drift::Unknown {
            self.edges.drift = case.detail.drift;
        }
    }

    fn learn(&mut self, at: f64, view: &ObserverView) {
        let l = &mut self.learnt;
        l.hold = view.hold.valid().or(l.hold);
        l.out = view.rate_out.valid().map(|r| (r, at)).or(l.out);
        l.back = view.rate_back.valid().map(|r| (r, at)).or(l.back);
        l.travel = view.travel.valid().map(|t| (t, at)).or(l.travel);
        l.opposite = view.sense == Sense::Opposite;
    }
}

/// Duty as the valve sees it: a pin that stands above ground is a valve that is off.
fn duty(reading: Reading<Percent>) -> Option<f64> {
    match reading {
        Reading::Missing(Why::Static(volts)) if volts >= crate::proof::GROUND => Some(0.0),
        other => other.valid().map(|d| d.0),
    }
}
