//! What the page shows: a stretch cut into cycles, with what the cycles of each lead come to.

use crate::fault::Fault;
use crate::review::locked::{self, Course, Cycle, Locked};
use crate::screen::live::traces;
use crate::session::playback;
use crate::setup::Setup;
use crate::work::Progress;
use keyway_analysis::lead::Role;
use std::ops::Range;
use std::path::{Path, PathBuf};

/// Columns of a cycle: a tenth of a crank degree each, so that some degrees still fill a screen.
pub const COLUMNS: usize = 7200;
/// Cycles that are shown at most: seven leads of them take 50 MB.
pub const MOST: usize = 240;

/// A stretch cut into cycles.
#[derive(Debug, Clone)]
pub struct Stock {
    /// The recording.
    pub path: PathBuf,
    /// Sheet and plan with which it was measured.
    pub setup: Setup,
    /// The cycles.
    pub locked: Locked,
    /// What they come to, one per lead.
    pub courses: Vec<Course>,
    /// Ends of each lead's scale, over all its cycles, so that it stands still from cycle to cycle; none where
    /// nothing is known.
    pub scales: Vec<Option<[f32; 2]>>,
}

impl Stock {
    /// Cuts this stretch of a recording, seconds from its start.
    pub fn cut(
        path: &Path,
        setup: &Setup,
        span: Range<f64>,
        progress: &Progress,
    ) -> Result<Self, Fault> {
        let (recording, _own) = playback::open(path)?;
        let locked = locked::cut(&recording, setup, span, COLUMNS, MOST, progress)?;
        let (mut courses, mut scales) = (Vec::new(), Vec::new());
        for lead in &locked.leads {
            progress.check()?;
            courses.push(lead.course());
            let extent = lead.extent();
            scales.push(extent.map(|e| traces::rounded([e.least, e.greatest])));
        }
        Ok(Self {
            path: path.to_owned(),
            setup: setup.clone(),
            locked,
            courses,
            scales,
        })
    }

    /// The cycles.
    pub fn cycles(&self) -> &[Cycle] {
        &self.locked.cycles
    }

    /// Place of a lead.
    pub fn lead(&self, role: Role) -> Option<usize> {
        self.locked.leads.iter().position(|l| l.role == role)
    }

    /// Whether angle 0 is known to be the firing TDC of cylinder 1.
    pub fn is_known(&self) -> bool {
        self.cycles().iter().all(|c| c.is_known)
    }

    /// Mean length of a cycle, seconds; none without cycles.
    pub fn mean_length(&self) -> Option<f64> {
        let cycles = self.cycles();
        let sum: f64 = cycles.iter().map(|c| c.end - c.begin).sum();
        (!cycles.is_empty()).then(|| sum / cycles.len() as f64)
    }

    /// Lowest and highest mean speed of a cycle, rpm.
    pub fn speeds(&self) -> Option<(f64, f64)> {
        let rpm = self.cycles().iter().map(Cycle::rpm);
        rpm.fold(None, |range, v| {
            Some(range.map_or((v, v), |(l, h): (f64, f64)| (l.min(v), h.max(v))))
        })
    }

    /// Name of the file.
    pub fn name(&self) -> String {
        let name = self.path.file_name().unwrap_or_default();
        name.to_string_lossy().into_owned()
    }

    /// Firing TDC of each cylinder by the firing order, with its angle. Even firing is assumed, as the sheet
    /// cannot say otherwise. Where it is not known which revolution is which, the two cylinders that are
    /// 360 degrees apart share a mark.
    pub fn dead_centres(&self) -> Vec<(f64, String)> {
        let order = &self.setup.sheet.firing_order;
        let step = 720.0 / order.len().max(1) as f64;
        let opposite = order.len() / 2;
        let name = |place: usize, cylinder: &u8| {
            let other = order.get((place + opposite) % order.len());
            match other {
                Some(other) if !self.is_known() && order.len().is_multiple_of(2) => {
                    format!("TDC {cylinder} or {other}")
                }
                Some(_) | None => format!("TDC {cylinder}"),
            }
        };
        let marks = order.iter().enumerate();
        marks
            .map(|(place, c)| (place as f64 * step, name(place, c)))
            .collect()
    }

    /// Windows of a cam by the sheet as stretches of 0 to 720 degrees; none where the cycle is not known.
    pub fn windows(&self, role: Role) -> Vec<(f64, f64)> {
        let Role::Cam(id) = role else {
            return Vec::new();
        };
        if !self.is_known() {
            return Vec::new();
        }
        let cam = self.setup.sheet.cams.iter().find(|c| c.cam == id);
        let windows = cam.map(|c| c.windows.as_slice()).unwrap_or_default();
        let pieces = |[rise, fall]: &[f64; 2]| {
            let (rise, length) = (rise.rem_euclid(720.0), fall - rise);
            let end = rise + length;
            if end > 720.0 {
                vec![(rise, 720.0), (0.0, end - 720.0)]
            } else {
                vec![(rise, end)]
            }
        };
        windows.iter().flat_map(pieces).collect()
    }
}
