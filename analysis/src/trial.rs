//! Trials that the technician runs with the controller's own commands; the tool only listens.

use crate::circuit::Condition;
use crate::duty::Period;
use crate::engine::EngineSheet;
use crate::lead::{CamId, Role};
use crate::observation::{CommandView, Observation};
use crate::proof::ProofState;
use crate::rotation::PhaseSample;
use crate::units::{Hertz, SampleTime};
use conditions::{caution, hindrance};
use setup::{Guide, Moment, Pulse, Setup};
use std::sync::Arc;
use task::Task;

mod answers;
mod conditions;
mod hold;
mod repeated;
mod rest;
mod setup;
mod snap;
mod step;
mod step_finder;
mod sweep;
mod task;

/// A trial.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum TrialKind {
    /// Where the cam stands at warm idle with the command at rest.
    RestAtIdle,
    /// The same with the actuator unplugged.
    RestUnplugged,
    /// A quick rev: does the phaser answer at all.
    SnapRev,
    /// A slow sweep of the speed: does it follow everywhere.
    SlowSweep,
    /// A step of the command and its return: dead time, rate, overshoot, settling.
    StepAndReturn,
    /// A steady speed: does it hold still.
    Hold,
    /// Back to rest several times: does it always come back to the same place.
    RestRepeated,
}

impl TrialKind {
    /// All, in the order in which a technician would run them.
    pub const ALL: [Self; 7] = [
        Self::RestAtIdle,
        Self::SnapRev,
        Self::StepAndReturn,
        Self::SlowSweep,
        Self::Hold,
        Self::RestRepeated,
        Self::RestUnplugged,
    ];
}

/// What to start.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TrialOrder {
    /// Which trial.
    pub kind: TrialKind,
    /// On which cam.
    pub cam: CamId,
    /// Oil temperature as read by the technician, °C.
    pub oil: Option<f64>,
}

/// The trial under way.
#[derive(Debug, Clone, PartialEq)]
pub struct TrialStatus {
    /// What was ordered.
    pub order: TrialOrder,
    /// When it began.
    pub began: SampleTime,
    /// What the technician does now.
    pub instruct: String,
    /// What is watched, with its present figure.
    pub watching: String,
    /// Share of what is enough, 0 to 1.
    pub progress: f64,
    /// What keeps it from going on, such as an unproven lead; empty when nothing does.
    pub hindrance: String,
}

/// One figure of a result.
#[derive(Debug, Clone, PartialEq)]
pub struct Measure {
    /// What it is: "dead time", "rate 10 to 90 %".
    pub name: String,
    /// The figure; `None` with `why` when it could not be measured.
    pub value: Option<f64>,
    /// Half width of its 95 % range, if known, in the same unit.
    pub uncertainty: Option<f64>,
    /// Unit as written beside it.
    pub unit: String,
    /// Why there is no figure; empty when there is.
    pub why: String,
}

/// How a trial came out.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Outcome {
    /// As a sound actuator does.
    Sound,
    /// Not as a sound actuator does.
    Unsound,
    /// It does not tell: too little was seen, a lead was not proven, or there is nothing to judge by.
    NotShown,
}

/// The result of a trial.
#[derive(Debug, Clone, PartialEq)]
pub struct TrialResult {
    /// What was ordered.
    pub order: TrialOrder,
    /// When it began and ended.
    pub span: [SampleTime; 2],
    /// The figures.
    pub measures: Vec<Measure>,
    /// How it came out.
    pub outcome: Outcome,
    /// The result in one sentence.
    pub sentence: String,
    /// Leads it rests on.
    pub rests_on: Vec<Role>,
}

/// The trial under way and the results so far, oldest first.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct TrialsView {
    /// The trial under way.
    pub running: Option<TrialStatus>,
    /// The results.
    pub results: Vec<TrialResult>,
}

/// Looks a second.
pub(crate) const LOOKS: f64 = 50.0;
/// Seconds without progress after which a trial ends by itself: long enough to find the pedal and let a cold engine
/// settle, short enough not to run on when everybody has left.
const PATIENCE: f64 = 60.0;
/// Seconds without a period after which a pin stands: two periods of 20 Hz.
const STANDS: f64 = 0.1;

/// Runs trials: told of everything while it happens. A trial ends when it has seen enough, at [`Self::stop`], or
/// after a minute without progress.
#[derive(Debug, Clone)]
pub struct Runner {
    sheet: EngineSheet,
    rate: Hertz,
    trial: Option<Trial>,
    view: Arc<TrialsView>,
}

/// The trial under way.
#[derive(Debug, Clone)]
struct Trial {
    order: TrialOrder,
    began: SampleTime,
    setup: Setup,
    task: Task,
    /// Index of the cam in the sheet.
    cam: usize,
    edges: Vec<(f64, f64)>,
    pulses: Vec<Pulse>,
    /// End of the last period, seconds.
    told: Option<f64>,
    progress: f64,
    /// Greatest progress so far, and when it came to that.
    best: f64,
    advanced: f64,
    hindrance: String,
    /// Whether its circuit shows a valve now, if it tells; and whether it has shown none.
    load: Option<bool>,
    unloaded: bool,
}

impl Runner {
    /// A runner for this engine.
    pub fn new(engine: &EngineSheet, rate: Hertz) -> Self {
        Self {
            sheet: engine.clone(),
            rate,
            trial: None,
            view: Arc::default(),
        }
    }

    /// Starts a trial; one under way ends with what was seen.
    pub fn start(&mut self, order: TrialOrder, at: SampleTime) {
        self.end(at, "another trial was started");
        let cam = self.sheet.cams.iter().position(|c| c.cam == order.cam);
        let Some((cam, sheet)) = cam.map(|k| (k, &self.sheet.cams[k])) else {
            return;
        };
        let trial = Trial {
            order,
            began: at,
            setup: Setup::new(&self.sheet, sheet, order.oil),
            task: Task::new(order.kind),
            cam,
            edges: Vec::new(),
            pulses: Vec::new(),
            told: None,
            progress: 0.0,
            best: 0.0,
            advanced: at.seconds(self.rate).0,
            hindrance: String::new(),
            load: None,
            unloaded: false,
        };
        let needs = sheet.phaser.is_some() || order.kind == TrialKind::RestAtIdle;
        let status = trial.status(&Guide {
            instruct: String::new(),
            watching: String::new(),
            progress: 0.0,
        });
        self.trial = Some(trial);
        if needs {
            self.publish(|view| view.running = Some(status));
        } else {
            self.end(at, "this cam has no phaser");
        }
    }

    /// Ends the trial under way with what was seen.
    pub fn stop(&mut self, at: SampleTime) {
        self.end(at, "it was stopped");
    }

    /// A cam edge.
    pub fn phase(&mut self, sample: &PhaseSample) {
        if let Some(trial) = &mut self.trial
            && trial.cam == sample.cam
        {
            let at = sample.at.seconds(self.rate).0;
            let learnt = sample.learnt.map_or(0.0, |l| l.0);
            trial.edges.push((at, sample.phase.0 - learnt));
        }
    }

    /// A PWM period of a cam's command.
    pub fn period(&mut self, cam: CamId, period: &Period) {
        if let Some(trial) = &mut self.trial
            && trial.order.cam == cam
        {
            let end = period.end.seconds(self.rate).0;
            trial.pulses.push(Pulse {
                start: end - period.length / self.rate.0,
                end,
                duty: 100.0 * period.low / period.length,
            });
            trial.told = Some(end);
        }
    }

    /// What the circuit of a cam shows of its valve.
    pub fn circuit(&mut self, cam: CamId, condition: Condition) {
        if let Some(trial) = &mut self.trial
            && trial.order.cam == cam
        {
            trial.load = conditions::load(condition);
            trial.unloaded |= trial.load == Some(false);
        }
    }

    /// Looks, 50 times a second: one observation per cam in the sheet's order, with the proofs of its leads.
    pub fn look(&mut self, seen: &[Observation], proofs: &[(Role, ProofState)]) {
        let Some(trial) = &mut self.trial else {
            return;
        };
        let Some(seen) = seen.get(trial.cam) else {
            return;
        };
        let t = seen.at.seconds(self.rate).0;
        let guide = trial.look(t, seen, proofs);
        let (done, stale) = (trial.progress >= 1.0, t - trial.advanced > PATIENCE);
        let status = trial.status(&guide);
        if done {
            self.end(seen.at, "");
        } else if stale {
            let why = format!("nothing came of it for {PATIENCE:.0} s");
            self.end(seen.at, &why);
        } else {
            self.publish(|view| view.running = Some(status));
        }
    }

    /// Samples were lost.
    pub fn gap(&mut self) {
        if let Some(trial) = &mut self.trial {
            trial.pause();
        }
    }

    /// Trial and results.
    pub fn view(&self) -> Arc<TrialsView> {
        Arc::clone(&self.view)
    }

    fn publish(&mut self, change: impl FnOnce(&mut TrialsView)) {
        change(Arc::make_mut(&mut self.view));
    }

    fn end(&mut self, at: SampleTime, why_not: &str) {
        let Some(trial) = self.trial.take() else {
            return;
        };
        let why_not = match (why_not, trial.hindrance.as_str()) {
            (why, "") => why.to_owned(),
            ("", hindrance) => hindrance.trim_end_matches('.').to_owned(),
            (why, hindrance) => format!("{why}: {}", hindrance.trim_end_matches('.')),
        };
        let mut verdict = trial.task.conclude(&trial.setup, &why_not);
        if trial.order.kind == TrialKind::RestUnplugged
            && verdict.outcome != Outcome::NotShown
            && !trial.unloaded
        {
            verdict.sentence.push_str(
                " That it was unplugged rests on the technician's word; the pin does not show it.",
            );
        }
        let result = TrialResult {
            order: trial.order,
            span: [trial.began, at],
            measures: verdict.measures,
            outcome: verdict.outcome,
            sentence: verdict.sentence,
            rests_on: trial.leads(),
        };
        self.publish(|view| {
            view.running = None;
            view.results.push(result);
        });
    }
}

impl Trial {
    /// Leads that it rests on.
    fn leads(&self) -> Vec<Role> {
        let command = self.setup.phaser.is_some() && self.order.kind != TrialKind::RestUnplugged;
        let cam = self.order.cam;
        [Role::Crank, Role::Cam(cam)]
            .into_iter()
            .chain(command.then_some(Role::Command(cam)))
            .collect()
    }

    fn pause(&mut self) {
        self.edges.clear();
        self.pulses.clear();
        self.told = None;
        self.task.pause();
    }

    fn look(&mut self, t: f64, seen: &Observation, proofs: &[(Role, ProofState)]) -> Guide {
        let duty = match seen.command {
            CommandView::Duty(duty) => Some(duty.0),
            CommandView::Stands(..) => Some(0.0),
            _ => None,
        };
        // While a pin stands there are no periods, but there is a command.
        if let (Some(duty), Some(told)) = (duty, self.told)
            && t - told > STANDS
        {
            self.pulses.push(Pulse {
                start: told,
                end: t,
                duty,
            });
            self.told = Some(t);
        } else if self.told.is_none() && duty.is_some() {
            self.told = Some(t);
        }
        match hindrance(&self.leads(), self.order.kind, seen, proofs, self.load) {
            Err(why) => {
                self.hindrance = why;
                self.pause();
                Guide {
                    instruct: self.setup.first_words(self.order.kind),
                    watching: String::new(),
                    progress: self.progress,
                }
            }
            Ok((rpm, phase)) => {
                self.hindrance.clear();
                let guide = self.task.look(
                    &self.setup,
                    &Moment {
                        t,
                        rpm,
                        duty,
                        supply: seen.supply.map(|v| v.0),
                        phase,
                        edges: &self.edges,
                        pulses: &self.pulses,
                    },
                );
                self.edges.clear();
                self.pulses.clear();
                if guide.progress > self.best {
                    self.best = guide.progress;
                    self.advanced = t;
                }
                self.progress = guide.progress.min(1.0);
                guide
            }
        }
    }

    fn status(&self, guide: &Guide) -> TrialStatus {
        let cautions = caution(self.order.kind).filter(|_| guide.progress <= 0.0);
        let words: Vec<&str> = cautions
            .into_iter()
            .chain([guide.instruct.as_str()])
            .collect();
        TrialStatus {
            order: self.order,
            began: self.began,
            instruct: words.join(" ").trim().to_owned(),
            watching: guide.watching.clone(),
            progress: guide.progress.clamp(0.0, 1.0),
            hindrance: self.hindrance.clone(),
        }
    }
}

#[cfg(test)]
mod tests;
