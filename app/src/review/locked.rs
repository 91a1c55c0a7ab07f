//! A stretch of a recording cut into engine cycles: every lead over 720 crank degrees, cycle by cycle.

use crate::fault::Fault;
use crate::setup::Setup;
use crate::work::Progress;
use keyway_acquisition::recording::reader::Recording;
use keyway_analysis::lead::Role;
use std::ops::Range;

/// All complete engine cycles of a stretch.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Locked {
    /// The stretch, seconds since the start of the recording.
    pub span: (f64, f64),
    /// The cycles, in order.
    pub cycles: Vec<Cycle>,
    /// One per lead of the lead plan that was recorded.
    pub leads: Vec<LockedLead>,
    /// Cycles that lie in the stretch but are not among `cycles`, because only so many were wanted.
    pub left_out: usize,
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

/// One lead.
#[derive(Debug, Clone, PartialEq)]
pub struct LockedLead {
    /// Its role.
    pub role: Role,
    /// Unit of the values, at the probe's tip.
    pub unit: String,
    /// Per cycle as many values as columns, at the middle of each column of 720 / columns crank
    /// degrees; not a number where there is no sample.
    pub cycles: Vec<Vec<f32>>,
}

/// Cuts a stretch into cycles of `columns` columns, at most `most` cycles, spread evenly over the
/// stretch when there are more. Angles come from the analysis of the recording with `setup`, which
/// runs up some seconds before the stretch.
pub fn cut(
    _recording: &Recording,
    _setup: &Setup,
    span: Range<f64>,
    _columns: usize,
    _most: usize,
    progress: &Progress,
) -> Result<Locked, Fault> {
    progress.check()?;
    Ok(Locked {
        span: (span.start, span.end),
        hindrance: Some("not cut into cycles yet".to_owned()),
        ..Locked::default()
    })
}
