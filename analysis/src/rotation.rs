//! The crank and its cams on one sample clock: angle, speed and cam phase from edges.

use crate::edge::Edge;
use crate::engine::{EdgeKind, EngineSheet};
use crate::lead::{CamId, Role};
use crate::reading::{Reading, Why};
use crate::snapshot::Sync;
use crate::units::{CrankAngle, CrankDegrees, Hertz, Rpm, SampleTime, Seconds};
use crate::wheel::{Wheel, WheelError};

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

/// The crank and its cams.
#[derive(Debug, Clone)]
pub struct Rotation {
    wheel: Wheel,
    rate: Hertz,
}

impl Rotation {
    /// Starts with nothing known.
    pub fn new(sheet: &EngineSheet, rate: Hertz) -> Result<Self, SheetError> {
        Ok(Self {
            wheel: Wheel::parse(&sheet.crank.wheel)?,
            rate,
        })
    }

    /// Takes the next edge of the crank lead; edges in the direction that is not active are passed over.
    pub fn push_crank(&mut self, edge: Edge) {
        let _ = (edge, EdgeKind::Rising);
    }

    /// Takes the next edge of a cam lead; `cam` is the index into the sheet's cams.
    pub fn push_cam(&mut self, cam: usize, edge: Edge) {
        let _ = (cam, edge);
    }

    /// Says that every edge before `until` has been pushed: waiting cam edges are resolved, a standing crank is noticed.
    /// Call it once per block, after the edges.
    pub fn settle(&mut self, until: SampleTime) {
        let _ = until;
    }

    /// Samples were lost; the next edge comes at or after `first_good`. No interval is measured across.
    pub fn gap(&mut self, first_good: SampleTime) {
        let _ = first_good;
    }

    /// What is known of the angle.
    pub fn sync(&self) -> Sync {
        Sync::Stopped
    }

    /// Position in the cycle at an instant of the last seconds (at least the last six cycles), interpolated between teeth.
    pub fn angle_at(&self, t: SampleTime) -> Option<CrankAngle> {
        let _ = t;
        None
    }

    /// Mean engine speed over the last `window`.
    pub fn speed(&self, window: Seconds) -> Reading<Rpm> {
        let _ = window;
        Reading::Missing(Why::NotEnoughYet)
    }

    /// Instants at which the last cycles began (firing TDC of cylinder 1), oldest first; each but the last is complete.
    pub fn cycle_starts(&self) -> Vec<SampleTime> {
        Vec::new()
    }

    /// The instant at which `angle` is passed in the cycle that began at `start` (one of [`Self::cycle_starts`]).
    pub fn time_at(&self, start: SampleTime, angle: CrankAngle) -> Option<SampleTime> {
        let _ = (start, angle);
        None
    }

    /// Rolling phase of a cam: circular mean over the edges of its last revolution.
    pub fn phase(&self, cam: usize) -> Reading<CrankDegrees> {
        let _ = cam;
        Reading::Missing(Why::NotEnoughYet)
    }

    /// Standard deviation of the edges in that mean.
    pub fn spread(&self, cam: usize) -> Option<CrankDegrees> {
        let _ = cam;
        None
    }

    /// Measured windows [rising, falling] over the last cycle; empty when the cycle is not known.
    pub fn windows(&self, cam: usize) -> Vec<[CrankAngle; 2]> {
        let _ = cam;
        Vec::new()
    }

    /// Phase samples since the last call, in the order in which they were measured.
    pub fn drain_phase_samples(&mut self) -> impl Iterator<Item = PhaseSample> + '_ {
        std::iter::empty()
    }

    /// Complete crank revolutions since the last call.
    pub fn drain_revolutions(&mut self) -> impl Iterator<Item = Revolution> + '_ {
        std::iter::empty()
    }

    /// Crank revolutions with valid angle so far.
    pub fn revolutions(&self) -> u64 {
        0
    }

    /// Times the crank pattern was lost (not counting gaps of the stream and a crank that stops).
    pub fn sync_losses(&self) -> u64 {
        0
    }

    /// Cam edges that fitted no reference edge.
    pub fn stray_cam_edges(&self) -> u64 {
        0
    }

    /// A few words for the lead with this role: "60-2, locked", "4 windows". Empty for roles that have no part in the rotation.
    pub fn note(&self, role: Role) -> String {
        let _ = (role, &self.wheel, self.rate);
        String::new()
    }
}
