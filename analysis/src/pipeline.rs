//! From raw blocks to a snapshot. Live and over a recording this is the same code with the same numbers:
//! whatever the blocks, samples are worked on in slices of 1/200 s that begin at multiples of their length.

use crate::agreement::Judge;
use crate::audition::Audition;
use crate::calibration::Input;
use crate::channel::Channel;
use crate::damage::Flaw;
use crate::duty::Period;
use crate::edge::Edge;
use crate::engine::EngineSheet;
use crate::history::{self, History};
use crate::lead::{CamId, LeadPlan, Role};
use crate::proof::{LeadProof, Prover};
use crate::readings;
use crate::ripple::Ripple;
use crate::rotation::{Revolution, Rotation, SheetError};
use crate::series::Series;
use crate::snapshot::{CamPoint, Counts, Event, HistoryPoint, Sync, Traces};
use crate::trace;
use crate::units::{Hertz, Percent, SampleTime, Seconds};
use crate::wheel::Wheel;

mod engine_cycles;
mod inquiry;
mod judging;
mod proposals;
mod proving;
mod view;
mod watch;
mod wheel;

/// Slices a second.
const SLICES: u64 = 200;
/// Slices between two judgements: 50 a second.
const JUDGE_EVERY: u64 = 4;
/// Slices between two history points: 20 a second.
const HISTORY_EVERY: u64 = 10;
/// Slices between two looks at the leads.
const PROVE_EVERY: u64 = 20;
/// Below this many samples a second not even a slow engine's teeth are seen.
const SLOWEST_RATE: f64 = 1000.0;
/// Seconds of a followed crank after which a fitting cam has told the cycle: two cam revolutions at 120 rpm.
const SETTLED: f64 = 2.0;
/// A phase older than this is no position any more.
const STALE: f64 = 0.5;

/// Why a pipeline cannot be built.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum PipelineError {
    /// The engine sheet.
    #[error("engine sheet: {0}")]
    Sheet(#[from] SheetError),
    /// The sample rate.
    #[error("a sample rate of {0} per second is too low; at least 1000 are needed")]
    Rate(f64),
    /// Scale or factor of a lead.
    #[error("lead on input {0}: scale and factor must be numbers other than zero")]
    Factor(usize),
    /// Two leads of one role.
    #[error("lead plan: two leads have the role '{0}'")]
    Twice(Role),
    /// Two leads on one input.
    #[error("lead plan: two leads are on input {0}")]
    Shared(usize),
}

/// The analysis of one stream.
#[derive(Debug, Clone)]
pub struct Pipeline {
    rate: Hertz,
    slice: u64,
    sheet: EngineSheet,
    plan: LeadPlan,
    cam_ids: Vec<CamId>,
    /// One per lead that is carried.
    channels: Vec<Channel>,
    /// Index into `channels` per lead of the plan.
    by_lead: Vec<Option<usize>>,
    /// What the signals of crank and cams look like, one per channel.
    auditions: Vec<Option<Audition>>,
    rotation: Rotation,
    ripple: Ripple,
    judges: Vec<Judge>,
    inquiry: inquiry::Inquiry,
    prover: Prover,
    proofs: Vec<LeadProof>,
    history: History,
    counts: Counts,
    /// Index after the last sample worked on.
    done: u64,
    /// Index after the last sample taken.
    next: Option<u64>,
    edges: Vec<Edge>,
    periods: Vec<Period>,
    sync: Sync,
    /// Since when the crank has been followed without a break.
    followed: Option<SampleTime>,
    /// Whether it has been said that the cams do not fit.
    misfit: bool,
    series: Option<Series>,
    cycles: Option<engine_cycles::EngineCycles>,
    /// Teeth of the crank wheel that were told to be wrong.
    flaws: Vec<(usize, Flaw)>,
    scouts: proposals::Scouts,
}

impl Pipeline {
    /// A pipeline for streams whose blocks carry one channel per entry of `inputs`, in that order, at `rate` samples a second.
    pub fn new(
        sheet: &EngineSheet,
        plan: &LeadPlan,
        inputs: &[Input],
        rate: Hertz,
    ) -> Result<Self, PipelineError> {
        if !(rate.0.is_finite() && rate.0 >= SLOWEST_RATE) {
            return Err(PipelineError::Rate(rate.0));
        }
        check(plan)?;
        let mut channels = Vec::new();
        let mut by_lead = Vec::new();
        for lead in &plan.leads {
            let input = inputs
                .iter()
                .enumerate()
                .find(|(_, i)| i.number == lead.input);
            by_lead.push(match input {
                Some((position, input)) if lead.role != Role::Spare => {
                    let channel = Channel::new(lead, input, position, &sheet.crank, rate)
                        .ok_or(PipelineError::Factor(lead.input))?;
                    channels.push(channel);
                    Some(channels.len() - 1)
                }
                _ => None,
            });
        }
        let rotation = Rotation::new(sheet, rate)?;
        let auditions = channels.iter().map(|c| audition(c, sheet, rate)).collect();
        let proofs = plan.leads.iter().map(proving::unproven).collect();
        let scouts = proposals::Scouts::new(sheet);
        let prover = Prover::new(sheet, channels.len());
        Ok(Self {
            rate,
            slice: slice_length(rate),
            sheet: sheet.clone(),
            plan: plan.clone(),
            cam_ids: sheet.cams.iter().map(|c| c.cam).collect(),
            channels,
            by_lead,
            auditions,
            rotation,
            ripple: Ripple::new(sheet, rate),
            inquiry: inquiry::Inquiry::new(sheet, rate),
            judges: sheet
                .cams
                .iter()
                .map(|c| Judge::new(c, sheet.idle.low, rate))
                .collect(),
            prover,
            proofs,
            history: History::default(),
            counts: Counts::default(),
            done: 0,
            next: None,
            edges: Vec::new(),
            periods: Vec::new(),
            sync: Sync::Stopped,
            followed: None,
            misfit: false,
            series: None,
            cycles: None,
            flaws: Vec::new(),
            scouts,
        })
    }

    /// Keeps every measured value from now on, for [`Self::drain_series`]. Off at first: it grows until drained.
    pub fn collect_series(&mut self) {
        self.series = Some(Series::default());
    }

    /// The values measured since the last call; empty unless [`Self::collect_series`] was called.
    pub fn drain_series(&mut self) -> Series {
        self.series.as_mut().map(std::mem::take).unwrap_or_default()
    }

    /// Takes a block: one slice of samples per channel, all of one length, the first with index `first`.
    /// A jump of the index is a gap; samples already seen are passed over.
    pub fn push(&mut self, first: u64, channels: &[&[i16]]) {
        let length = channels.iter().map(|c| c.len()).min().unwrap_or(0) as u64;
        let end = first + length;
        let from = match self.next {
            None => {
                self.done = first;
                first
            }
            Some(next) if first > next => {
                self.gap(next, first);
                first
            }
            Some(next) => next,
        };
        if from >= end {
            return;
        }
        let mut at = from;
        while at < end {
            let boundary = (self.done / self.slice + 1) * self.slice;
            let to = boundary.min(end);
            let (a, b) = (offset(at - first), offset(to - first));
            for (channel, audition) in self.channels.iter().zip(&mut self.auditions) {
                if let (Some(audition), Some(samples)) = (audition, channels.get(channel.position))
                {
                    audition.push(at, &samples[a..b]);
                }
            }
            if to == boundary {
                self.work(channels, a, b, boundary);
            } else {
                for channel in &mut self.channels {
                    if let Some(samples) = channels.get(channel.position) {
                        channel.wait(&samples[a..b]);
                    }
                }
            }
            at = to;
        }
        self.next = Some(end);
    }

    /// Lowest and highest value per column over the last `span` (at most a second and a half is kept).
    pub fn traces(&self, span: Seconds, columns: usize) -> Traces {
        trace::against_time(&self.channels, self.done, span, columns, self.rate)
    }

    /// The same over the last complete engine cycle, columns of equal crank angle; `None` without one.
    pub fn crank_locked(&self, columns: usize) -> Option<Traces> {
        trace::crank_locked(&self.channels, &self.rotation, columns, self.rate)
    }

    fn now(&self) -> SampleTime {
        SampleTime(self.done as f64)
    }

    fn channel(&self, role: Role) -> Option<&Channel> {
        self.channels.iter().find(|c| c.role == role)
    }

    /// Works on the slice that ends at `end`.
    fn work(&mut self, blocks: &[&[i16]], a: usize, b: usize, end: u64) {
        let first = self.done;
        for i in 0..self.channels.len() {
            let channel = &mut self.channels[i];
            let samples = blocks.get(channel.position).map_or(&[][..], |s| &s[a..b]);
            channel.work(first, samples, &mut self.edges, &mut self.periods);
            match channel.role {
                Role::Crank => self.edges.iter().for_each(|&e| self.rotation.push_crank(e)),
                Role::Cam(id) => {
                    if let Some(k) = self.cam_ids.iter().position(|&c| c == id) {
                        self.edges
                            .iter()
                            .for_each(|&e| self.rotation.push_cam(k, e));
                        self.scouts.wait(k, &self.edges, self.misfit);
                    }
                }
                Role::Command(id) => {
                    self.inquiry.periods(id, &self.periods);
                    if let Some(series) = &mut self.series {
                        series.periods.extend(self.periods.iter().map(|&p| (id, p)));
                    }
                }
                Role::Current(_)
                | Role::StarterCurrent
                | Role::Supply
                | Role::Pressure
                | Role::Spare => {}
            }
            self.prover.hear(i, &self.edges);
            self.edges.clear();
            self.periods.clear();
        }
        self.counts.samples += end - first;
        self.done = end;
        self.rotation.settle(self.now());
        self.scouts.settle(&self.rotation);
        self.collect();
        if end.is_multiple_of(self.slice) {
            self.tick(end / self.slice);
        }
    }

    fn collect(&mut self) {
        let before = std::mem::replace(&mut self.counts.sync_losses, self.rotation.sync_losses());
        let now = SampleTime(self.done as f64);
        match &mut self.series {
            Some(series) => {
                let losses = before..self.counts.sync_losses;
                series.losses.extend(losses.map(|_| now));
                let phases = self.rotation.drain_phase_samples();
                let phases = phases.inspect(|p| self.inquiry.phase(p));
                series.phases.extend(phases);
                series.revolutions.extend(self.rotation.drain_revolutions());
            }
            None => {
                let phases = self.rotation.drain_phase_samples();
                phases.for_each(|p| self.inquiry.phase(&p));
                let _: Option<Revolution> = self.rotation.drain_revolutions().last();
            }
        }
    }

    /// What is due at the end of slice number `slice`.
    fn tick(&mut self, slice: u64) {
        if let Some(cycles) = &mut self.cycles {
            cycles.observe(&self.rotation);
        }
        if history::closes(slice, PROVE_EVERY) {
            self.prove();
            self.inquire();
            self.watch_teeth();
            self.scout();
        }
        if history::closes(slice, JUDGE_EVERY) {
            self.watch_sync();
            self.judge();
            let starter = self
                .channels
                .iter()
                .find(|c| c.role == Role::StarterCurrent);
            self.ripple.observe(&self.rotation, starter);
        }
        if history::closes(slice, HISTORY_EVERY) {
            self.record();
        }
    }

    fn gap(&mut self, from: u64, to: u64) {
        // What waits for the rest of its slice is worked on as it is.
        if from > self.done {
            let none: [&[i16]; 0] = [];
            self.work(&none, 0, 0, from);
        }
        self.counts.gaps += 1;
        self.counts.lost += to - from;
        self.done = to;
        self.rotation.gap(SampleTime(to as f64));
        self.channels.iter_mut().for_each(Channel::gap);
        self.judges.iter_mut().for_each(Judge::gap);
        self.inquiry.gap();
        self.prover.gap();
        let seconds = (to - from) as f64 / self.rate.0;
        self.note(
            SampleTime(from as f64),
            format!("{seconds:.3} s of samples were lost."),
        );
    }

    fn note(&mut self, at: SampleTime, text: String) {
        let decided = self.now();
        self.history.note(Event {
            at,
            decided,
            cam: None,
            state: None,
            text,
        });
    }

    /// Whether the crank has been followed long enough for a fitting cam to have told the cycle.
    fn settled(&self) -> bool {
        self.followed
            .is_some_and(|since| self.now().since(since, self.rate).0 > SETTLED)
    }

    fn record(&mut self) {
        let interval = HISTORY_EVERY as f64 / SLICES as f64;
        let point = HistoryPoint {
            at: history::middle(self.now(), interval, self.rate),
            speed: self.rotation.speed(Seconds(interval)).valid(),
            supply: readings::supply(self.channel(Role::Supply)).valid(),
            cams: (0..self.judges.len())
                .map(|k| CamPoint {
                    duty: self.duty_of(self.cam_ids[k]),
                    phase: self.rotation.phase(k).valid(),
                    due: self.judges[k].due(),
                    state: self.judges[k].agreement().state,
                })
                .collect(),
        };
        self.history.record(point);
        if self.series.is_some() {
            let look = self.look();
            if let Some(series) = &mut self.series {
                series.looks.push(look);
            }
        }
    }

    fn duty_of(&self, id: CamId) -> Option<Percent> {
        let meter = self.channel(Role::Command(id))?.meter()?;
        meter.duty(self.now(), Seconds(0.1)).map(|d| d.duty)
    }
}

/// The ear on a lead that may be a wheel's; only of the crank the sheet says which.
fn audition(channel: &Channel, sheet: &EngineSheet, rate: Hertz) -> Option<Audition> {
    let wheel = match channel.role {
        Role::Crank => Wheel::parse(&sheet.crank.wheel).ok(),
        Role::Cam(_) => None,
        _ => return None,
    };
    Some(Audition::new(channel.calibration, rate, wheel))
}

fn check(plan: &LeadPlan) -> Result<(), PipelineError> {
    for (i, lead) in plan.leads.iter().enumerate() {
        let others = &plan.leads[..i];
        if others.iter().any(|o| o.input == lead.input) {
            return Err(PipelineError::Shared(lead.input));
        }
        if lead.role != Role::Spare && others.iter().any(|o| o.role == lead.role) {
            return Err(PipelineError::Twice(lead.role));
        }
    }
    Ok(())
}

#[allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "the rate is positive and far below 2^53"
)]
fn slice_length(rate: Hertz) -> u64 {
    ((rate.0 / SLICES as f64).round() as u64).max(1)
}

#[allow(
    clippy::cast_possible_truncation,
    reason = "an offset into a block in memory"
)]
fn offset(x: u64) -> usize {
    x as usize
}

#[cfg(test)]
mod tests;
