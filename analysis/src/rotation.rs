//! The crank and its cams on one sample clock: angle, speed and cam phase from edges.

use crate::cam::{Cam, Heard, Matched};
use crate::crank::Crank;
use crate::cycle::{Cycle, Doubt};
use crate::damage::Flaw;
use crate::edge::Edge;
use crate::engine::{EdgeKind, EngineSheet};
use crate::lead::{CamId, Role};
use crate::phase::{ExtrapolatedPhase, Extrapolation, PhaseDetail};
use crate::reading::{Reading, Why};
use crate::snapshot::Sync;
use crate::speed;
use crate::units::{CrankAngle, CrankDegrees, Hertz, Rpm, SampleTime, Seconds};
use crate::wheel::{Wheel, WheelError};
use std::collections::VecDeque;

pub(crate) mod whole_cycle;

/// An engine sheet whose crank or cams cannot be followed.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum SheetError {
    /// The wheel.
    #[error(transparent)]
    Wheel(#[from] WheelError),
    /// The place of the gap.
    #[error("gap_to_tdc must be at least 0 and below 360 degrees, not {0}")]
    GapToTdc(f64),
    /// A window of a cam.
    #[error(
        "cam {cam}: each window is [rising, falling] with 0 <= rising < 720 and rising < falling < rising + 720"
    )]
    Windows {
        /// Which cam.
        cam: CamId,
    },
}

/// Phase measured at one cam edge.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PhaseSample {
    /// Index of the cam in the sheet.
    pub cam: usize,
    /// When the edge was.
    pub at: SampleTime,
    /// Which reference edge it is: index into the sheet's edges, rising of window 0, falling of window 0, rising of window 1, ...
    pub edge: usize,
    /// Reference minus measured angle, advance positive.
    pub phase: CrankDegrees,
    /// What had been learnt of this edge at rest, once enough had: `phase` less this is the phase without runout.
    pub learnt: Option<CrankDegrees>,
}

/// One crank revolution, from the first tooth after a gap to the next.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Revolution {
    /// First tooth after the gap.
    pub start: SampleTime,
    /// The same tooth one turn later.
    pub end: SampleTime,
    /// Mean speed over it.
    pub speed: Rpm,
}

/// Phase samples waiting to be drained; whoever does not drain loses the oldest.
const MOST_WAITING: usize = 16_384;
/// Longest wait of a cam edge for the teeth after it, in seconds; then the crank stands.
const LONGEST_WAIT: f64 = 1.0;

/// The crank and its cams.
#[derive(Debug, Clone)]
pub struct Rotation {
    crank: Crank,
    active: EdgeKind,
    wheel: String,
    ids: Vec<CamId>,
    cams: Vec<Cam>,
    cycle: Cycle,
    /// Adoption of the crank count on which cams and cycle rest.
    adoption: u64,
    /// Angle at which that count began.
    since: f64,
    rate: Hertz,
    now: f64,
    last_speed: Option<(Rpm, f64)>,
    samples: VecDeque<PhaseSample>,
    strays: u64,
}

impl Rotation {
    /// Starts with nothing known.
    pub fn new(sheet: &EngineSheet, rate: Hertz) -> Result<Self, SheetError> {
        let wheel = Wheel::parse(&sheet.crank.wheel)?;
        let gap_to_tdc = sheet.crank.gap_to_tdc.0;
        if !(0.0..360.0).contains(&gap_to_tdc) {
            return Err(SheetError::GapToTdc(gap_to_tdc));
        }
        for cam in &sheet.cams {
            let good = |[r, f]: &[f64; 2]| (0.0..720.0).contains(r) && *f > *r && *f < *r + 720.0;
            if cam.windows.is_empty() || !cam.windows.iter().all(good) {
                return Err(SheetError::Windows { cam: cam.cam });
            }
        }
        let crank = Crank::new(&wheel, gap_to_tdc, sheet.cylinders, rate);
        Ok(Self {
            active: sheet.crank.active_edge,
            wheel: sheet.crank.wheel.trim().to_owned(),
            ids: sheet.cams.iter().map(|c| c.cam).collect(),
            cams: sheet.cams.iter().map(|c| Cam::new(c, rate.0)).collect(),
            cycle: Cycle::new(sheet.cams.len(), crank.step()),
            crank,
            adoption: 0,
            since: 0.0,
            rate,
            now: 0.0,
            last_speed: None,
            samples: VecDeque::new(),
            strays: 0,
        })
    }

    /// Takes the next edge of the crank lead; those in the direction that is not active only tell the width of coded teeth.
    pub fn push_crank(&mut self, edge: Edge) {
        if edge.kind == self.active {
            self.crank.push(edge.at.0);
        } else {
            self.crank.push_other(edge.at.0);
        }
    }

    /// Takes the next edge of a cam lead; `cam` is the index into the sheet's cams, an unknown one is passed over.
    pub fn push_cam(&mut self, cam: usize, edge: Edge) {
        if let Some(cam) = self.cams.get_mut(cam) {
            cam.wait(edge);
        }
    }

    /// Says whether the phaser of a cam is known to be at rest: commanded to rest, or never driven. At first a cam
    /// without phaser is and any other is not. On a crank wheel of like teeth only a cam at rest may be able to tell the
    /// tooth; a phaser that stands elsewhere than commanded by about a tooth is then not seen.
    pub fn set_at_rest(&mut self, cam: usize, at_rest: bool) {
        if let Some(cam) = self.cams.get_mut(cam) {
            cam.set_at_rest(at_rest);
        }
    }

    /// Says that every edge before `until` has been pushed: waiting cam edges are resolved, a standing crank is noticed.
    /// Call it once per block, after the edges.
    pub fn settle(&mut self, until: SampleTime) {
        self.now = until.0;
        if self.crank.adoptions() != self.adoption {
            self.recount();
        }
        while let Some(cam) = self.next_cam() {
            self.resolve(cam);
        }
        self.crank.settle(self.now);
        if !self.crank.is_turning() {
            self.cams.iter_mut().for_each(Cam::forget);
            self.last_speed = None;
        } else if self.crank.is_tracking()
            && let (Some(last), Some(rpm)) = (
                self.crank.teeth().last(),
                speed::between(self.crank.teeth(), 360.0, self.rate),
            )
        {
            self.last_speed = Some((rpm, last.at));
        }
    }

    fn recount(&mut self) {
        self.adoption = self.crank.adoptions();
        self.since = self.crank.teeth().first().map_or(0.0, |t| t.angle);
        self.cycle = self.cycle.renewed();
        for cam in &mut self.cams {
            cam.recount(self.since);
        }
    }

    /// The cam whose waiting edge is the earliest of all that can be dealt with now.
    fn next_cam(&self) -> Option<usize> {
        self.cams
            .iter()
            .enumerate()
            .filter_map(|(i, cam)| Some((i, cam.next_waiting()?.at.0)))
            .filter(|&(i, at)| {
                self.has_passed(at, self.cams[i].look_ahead())
                    || self.now - at > LONGEST_WAIT * self.rate.0
            })
            .min_by(|a, b| a.1.total_cmp(&b.1))
            .map(|(i, _)| i)
    }

    /// Whether the crank has been seen to turn on by some degrees since.
    fn has_passed(&self, at: f64, degrees: f64) -> bool {
        let teeth = self.crank.teeth();
        let on = |angle: f64| teeth.time_at(angle + degrees);
        teeth.surround(at)
            && teeth
                .angle_at(at)
                .is_none_or(|a| on(a).is_some_and(|t| teeth.surround(t)))
    }

    fn resolve(&mut self, index: usize) {
        let cam = &mut self.cams[index];
        let Some(edge) = cam.take_waiting() else {
            return;
        };
        // Before the first tooth there is no angle, and after the last one of a crank that stopped neither.
        let Some(angle) = self.crank.teeth().angle_at(edge.at.0) else {
            return;
        };
        if cam.is_spike(edge, angle, |at| self.crank.teeth().angle_at(at)) {
            self.strays += 2;
            return;
        }
        let matched = cam.take(edge, angle, self.cycle.offset());
        let heard = cam.revolution(self.cycle.step(), self.cycle.taken().is_some());
        match matched {
            Matched::Reference(reference, phase) => self.report(index, edge.at.0, reference, phase),
            Matched::Instead(reference, phase) => {
                self.strays += 1;
                self.report(index, edge.at.0, reference, phase);
            }
            Matched::Stray => self.strays += 1,
            Matched::Unknown => {}
        }
        let verdict = match heard {
            None => return,
            Some(Heard::AsExpected) => return self.cycle.confirm(),
            Some(Heard::Fits(verdict)) => verdict,
        };
        if self.cycle.hear(index, &verdict) {
            self.cams.iter_mut().for_each(Cam::unmatch);
        }
        for (at, reference, phase) in self.cams[index].expect(&verdict, &self.cycle) {
            self.report(index, at, reference, phase);
        }
    }

    fn report(&mut self, cam: usize, at: f64, edge: usize, phase: f64) {
        if self.samples.len() == MOST_WAITING {
            let _ = self.samples.pop_front();
        }
        self.samples.push_back(PhaseSample {
            cam,
            at: SampleTime(at),
            edge,
            phase: CrankDegrees(phase),
            learnt: self.cams[cam].offset(edge),
        });
    }

    /// Samples were lost; the next edge comes at or after `first_good`. No interval is measured across.
    pub fn gap(&mut self, first_good: SampleTime) {
        self.now = first_good.0;
        self.crank.gap(first_good.0);
        self.cycle = self.cycle.renewed();
        self.cams.iter_mut().for_each(Cam::gap);
    }

    /// What is known of the angle.
    pub fn sync(&self) -> Sync {
        if self.crank.is_tracking() {
            if self.cycle.offset().is_some() {
                Sync::Cycle
            } else {
                Sync::Revolution
            }
        } else if self.crank.is_turning() {
            Sync::Searching
        } else {
            Sync::Stopped
        }
    }

    /// Position in the cycle at a recent instant (the last six cycles), interpolated between teeth;
    /// after the last tooth extrapolated as far as the next one is due. `None` when not known.
    pub fn angle_at(&self, t: SampleTime) -> Option<CrankAngle> {
        let offset = self.offset()?;
        Some(CrankAngle::wrapped(self.crank.angle_at(t.0)? + offset))
    }

    /// Angle of the crank at a recent instant when its wheel alone is known: right but for a multiple of
    /// [`Self::crank_step`]. `None` when not known.
    pub fn crank_angle_at(&self, t: SampleTime) -> Option<CrankDegrees> {
        self.crank.angle_at(t.0).map(CrankDegrees)
    }

    /// Degrees after which the crank wheel looks the same: 360 for one with a gap, the pitch for an even one.
    pub fn crank_step(&self) -> CrankDegrees {
        CrankDegrees(self.crank.step())
    }

    /// The cycle's offset, unless the count has been lost or begun anew since.
    fn offset(&self) -> Option<f64> {
        self.cycle
            .offset()
            .filter(|_| self.crank.adoptions() == self.adoption)
    }

    /// Mean engine speed over the last `window`, rounded up to whole revolutions.
    pub fn speed(&self, window: Seconds) -> Reading<Rpm> {
        self.speed_reading(|c| speed::mean(c.teeth(), window, self.rate))
    }

    /// Speed over the last tooth interval.
    pub fn tooth_speed(&self) -> Reading<Rpm> {
        self.speed_reading(|c| speed::tooth(c.teeth(), self.rate))
    }

    /// Mean speed over the last 360 degrees.
    pub fn revolution_speed(&self) -> Reading<Rpm> {
        self.speed_reading(|c| speed::between(c.teeth(), 360.0, self.rate))
    }

    /// Mean speed over the last 720 degrees.
    pub fn cycle_speed(&self) -> Reading<Rpm> {
        self.speed_reading(|c| speed::between(c.teeth(), 720.0, self.rate))
    }

    fn speed_reading(&self, value: impl FnOnce(&Crank) -> Option<Rpm>) -> Reading<Rpm> {
        let remembered = self.last_speed.and_then(|(rpm, at)| {
            let age = (self.now - at) / self.rate.0;
            (age < LONGEST_WAIT).then_some(Reading::Stale(rpm, Seconds(age.max(0.0))))
        });
        if !self.crank.is_tracking() {
            return remembered.unwrap_or(Reading::Missing(self.crank.why()));
        }
        match value(&self.crank) {
            Some(rpm) if self.crank.is_fresh(self.now) => Reading::Valid(rpm),
            Some(_) => remembered.unwrap_or(Reading::Missing(self.crank.why())),
            None => Reading::Missing(Why::NotEnoughYet),
        }
    }

    /// Instants at which the last cycles began (firing TDC of cylinder 1), oldest first; each but the last is complete.
    pub fn cycle_starts(&self) -> Vec<SampleTime> {
        let teeth = self.crank.teeth();
        let (Some(offset), Some(first), Some(last)) = (self.offset(), teeth.first(), teeth.last())
        else {
            return Vec::new();
        };
        let mut starts = Vec::new();
        let mut angle = ((first.angle + offset) / 720.0).ceil() * 720.0 - offset;
        while angle <= last.angle {
            starts.extend(teeth.time_at(angle).map(SampleTime));
            angle += 720.0;
        }
        starts
    }

    /// The instant at which `angle` is passed in the cycle that began at `start` (one of [`Self::cycle_starts`]).
    pub fn time_at(&self, start: SampleTime, angle: CrankAngle) -> Option<SampleTime> {
        let offset = self.offset()?;
        let teeth = self.crank.teeth();
        let began = ((teeth.angle_at(start.0)? + offset) / 720.0).round() * 720.0 - offset;
        teeth.time_at(began + angle.degrees()).map(SampleTime)
    }

    /// Rolling phase of a cam: circular mean over the edges of its last revolution. While the phaser moves it lags
    /// by half of that revolution; [`PhaseDetail::current`] does not.
    pub fn phase(&self, cam: usize) -> Reading<CrankDegrees> {
        let Some(cam) = self.cams.get(cam) else {
            return Reading::Missing(Why::NoReference);
        };
        match self.crank.teeth().last() {
            Some(last) if self.crank.is_tracking() && self.crank.adoptions() == self.adoption => {
                cam.phase(last.angle, self.since, self.now, &self.cycle)
            }
            _ => cam
                .remembered(self.now)
                .filter(|_| self.crank.is_turning())
                .unwrap_or(Reading::Missing(self.crank.why())),
        }
    }

    /// Standard deviation of the edges in that mean.
    pub fn spread(&self, cam: usize) -> Option<CrankDegrees> {
        let _ = self.phase(cam).any()?;
        self.cams.get(cam)?.spread()
    }

    /// What the single edges of a cam say beside its rolling phase.
    pub fn phase_detail(&self, cam: usize) -> PhaseDetail {
        let known = self.phase(cam).any().is_some() && self.crank.is_tracking();
        let speed = self.revolution_speed().any();
        self.cams
            .get(cam)
            .map(|c| c.detail(self.now, speed, known))
            .unwrap_or_default()
    }

    /// The phase at the last instant settled, carried on from the newest edge: not measured, and never part of
    /// [`Self::phase`]. `None` unless that phase is valid and, for [`Extrapolation::Rate`], a rate is known.
    pub fn phase_extrapolated(&self, cam: usize, how: Extrapolation) -> Option<ExtrapolatedPhase> {
        let _ = self.phase(cam).valid()?;
        self.cams.get(cam)?.extrapolated(self.now, how)
    }

    /// Measured windows [rising, falling] over the last cycle, oldest first; empty when the cycle is not known.
    pub fn windows(&self, cam: usize) -> Vec<[CrankAngle; 2]> {
        match (self.cams.get(cam), self.offset(), self.crank.teeth().last()) {
            (Some(cam), Some(offset), Some(last)) if self.crank.is_tracking() => {
                cam.windows(last.angle, offset)
            }
            _ => Vec::new(),
        }
    }

    /// Phase samples since the last call, in the order in which they were measured.
    pub fn drain_phase_samples(&mut self) -> impl Iterator<Item = PhaseSample> + '_ {
        self.samples.drain(..)
    }

    /// Complete crank revolutions since the last call.
    pub fn drain_revolutions(&mut self) -> impl Iterator<Item = Revolution> + '_ {
        self.crank.drain_revolutions()
    }

    /// Crank revolutions with valid angle so far.
    pub fn revolutions(&self) -> u64 {
        self.crank.revolutions()
    }

    /// Times the crank pattern was lost (not counting gaps of the stream and a crank that stops).
    pub fn sync_losses(&self) -> u64 {
        self.crank.losses()
    }

    /// Teeth of the crank wheel that are missing or out of place turn after turn, counted from 0 for the first after
    /// the gap; of a wheel of like parts, within its part.
    pub fn damaged_teeth(&self) -> Vec<(usize, Flaw)> {
        self.crank.flaws()
    }

    /// Cam edges that fitted no reference edge.
    pub fn stray_cam_edges(&self) -> u64 {
        self.strays
    }

    /// A few words for the lead with this role: "60-2, locked", "4 windows". Empty for roles that have no part in the rotation.
    pub fn note(&self, role: Role) -> String {
        match role {
            Role::Crank => {
                let state = match self.sync() {
                    Sync::Stopped => return "no teeth".to_owned(),
                    Sync::Searching => "gap not found",
                    Sync::Revolution if self.cycle.step() < 360.0 => {
                        "even wheel: the cam must tell the position"
                    }
                    Sync::Cycle if self.cycle.step() < 360.0 => "locked, the tooth told by the cam",
                    Sync::Revolution | Sync::Cycle => "locked",
                };
                match self.damaged_teeth().as_slice() {
                    [] => format!("{}, {state}", self.wheel),
                    [(tooth, Flaw::Missing)] => {
                        format!("{}, tooth {} missing", self.wheel, tooth + 1)
                    }
                    [(tooth, Flaw::Misplaced)] => {
                        format!("{}, tooth {} damaged", self.wheel, tooth + 1)
                    }
                    several => format!("{}, {} teeth damaged", self.wheel, several.len()),
                }
            }
            Role::Cam(id) => self
                .ids
                .iter()
                .position(|&c| c == id)
                .map_or_else(String::new, |i| self.cam_note(i)),
            Role::Command(_)
            | Role::Current(_)
            | Role::StarterCurrent
            | Role::Supply
            | Role::Pressure
            | Role::Spare => String::new(),
        }
    }

    /// Whether the cams fit a crank wheel of like teeth at more than one of them, so that the position stays unknown.
    pub fn fits_several_positions(&self) -> bool {
        self.cycle.taken().is_none()
            && self.cycle.step() < 360.0
            && self.cycle.doubt() == Doubt::Several
    }

    fn cam_note(&self, index: usize) -> String {
        let cam = &self.cams[index];
        if !self.crank.is_tracking() {
            return "waits for the crank".to_owned();
        }
        let text = match cam.window_count() {
            0 => return "no edges".to_owned(),
            1 => "1 window".to_owned(),
            n => format!("{n} windows"),
        };
        if cam.is_mismatch() {
            format!("{text}, not the sheet's pattern")
        } else {
            text
        }
    }
}
