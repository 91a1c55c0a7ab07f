//! A stretch of a recording cut into engine cycles: every lead over 720 crank degrees, cycle by cycle.
//!
//! It goes over the recording twice. First the analysis runs over the stretch, with a run-up as when the
//! recording is played there, and gives the instants of the angles of every complete cycle; of too many
//! cycles every second, fourth, eighth ... is kept as it goes. Then the samples of the cycles that are
//! shown are read and brought into columns. So what is in memory is bounded by what was asked for, however
//! long the stretch: up to three times `2 most + 1` cycles of `columns + 1` instants, eight bytes each, the
//! result of four bytes per lead, cycle and column, one chunk of the file, and the raw samples of one cycle.

mod column;
mod course;
mod finder;
mod hindrance;
mod reader;
mod thinning;

pub use course::{Course, Extent};

use crate::fault::Fault;
use crate::setup::Setup;
use crate::work::Progress;
use keyway_acquisition::recording::reader::Recording;
use keyway_analysis::lead::Role;
use std::ops::Range;
use std::sync::Arc;

/// Most columns of a cycle: a twentieth of a crank degree each.
pub const MOST_COLUMNS: usize = 14_400;
/// Share of the work that the analysis takes; the rest is reading the samples again.
const ANALYSIS_SHARE: f64 = 0.85;

/// All complete engine cycles of a stretch.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Locked {
    /// The stretch, seconds since the start of the recording.
    pub span: (f64, f64),
    /// The cycles, in order.
    pub cycles: Vec<Cycle>,
    /// One per lead of the lead plan that was recorded; spare leads have none.
    pub leads: Vec<LockedLead>,
    /// Cycles that lie in the stretch but are not among `cycles`, because only so many were wanted.
    pub left_out: usize,
    /// Cycles that are not among `cycles` because it was not known of them which revolution is which.
    pub not_known: usize,
    /// Why there are none or fewer than one would expect, in a sentence; none if all is well.
    pub hindrance: Option<String>,
}

/// One engine cycle.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cycle {
    /// Instant of crank angle 0, seconds since the start of the recording.
    pub begin: f64,
    /// Instant of crank angle 720.
    pub end: f64,
    /// Whether it begins at the firing TDC of cylinder 1; otherwise at its firing or its exchange TDC.
    pub is_known: bool,
}

impl Cycle {
    /// Mean engine speed over it, rpm.
    pub fn rpm(&self) -> f64 {
        120.0 / (self.end - self.begin)
    }
}

/// One lead.
#[derive(Debug, Clone, PartialEq)]
pub struct LockedLead {
    /// Its role.
    pub role: Role,
    /// Unit of the values, at the probe's tip.
    pub unit: String,
    /// Per cycle as many values as columns, each the mean over its column of 720 / columns crank degrees,
    /// which stands for the column's middle; not a number where there is no sample.
    pub cycles: Vec<Vec<f32>>,
}

/// Cuts a stretch into cycles of `columns` columns, at most `most` cycles, spread evenly over the
/// stretch when there are more. Angles come from the analysis of the recording with `setup`, which
/// runs up some seconds before the stretch, and does what the technician told it, so that they are those
/// of the recording when it is played.
///
/// A value is the mean over its column of the straight lines through the samples: with many samples in a
/// column their mean, with fewer than one the interpolation between its neighbours.
///
/// Cycles of which it is known which revolution is which are never mixed with others. Only when there is
/// none of them those of the longest unbroken count are given, and the hindrance says so.
pub fn cut(
    recording: &Recording,
    setup: &Setup,
    span: Range<f64>,
    columns: usize,
    most: usize,
    progress: &Progress,
) -> Result<Locked, Fault> {
    progress.check()?;
    let length = recording.duration().as_secs_f64();
    // A bound that is not a number is the recording's own.
    let bound = |x: f64, own: f64| {
        if x.is_nan() {
            own
        } else {
            x.clamp(0.0, length)
        }
    };
    let (from, to) = (bound(span.start, 0.0), bound(span.end, length));
    let span = from..to.max(from);
    let columns = columns.clamp(1, MOST_COLUMNS);
    let found = finder::find(recording, setup, &span, columns, most.max(1), progress)?;
    let hindrance = hindrance::of(&found, setup, &span);
    let mut locked = Locked {
        span: (span.start, span.end),
        left_out: found.left_out,
        not_known: found.not_known,
        hindrance,
        ..Locked::default()
    };
    reader::read(recording, setup, &found.cycles, &mut locked, progress)?;
    progress.set(1.0);
    Ok(locked)
}

fn unreadable(error: &impl ToString) -> Fault {
    Fault::Recording(Arc::from(error.to_string()))
}
