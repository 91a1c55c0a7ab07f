//! The crank over a whole recording.

use super::column::RevolutionColumns;
use super::spread::{Moments, Spread};
use keyway_analysis::rotation::Revolution;

/// Revolutions and where the pattern was lost.
#[derive(Debug, Clone, Default)]
pub struct CrankSurvey {
    speeds: Moments,
    /// Speed of each revolution, if asked for.
    pub series: Option<RevolutionColumns>,
    /// Instants at which the pattern was lost, seconds from the begin of the stream.
    pub losses: Vec<f64>,
}

impl CrankSurvey {
    /// Before the first revolution.
    pub fn new(with_series: bool) -> Self {
        Self {
            series: with_series.then(RevolutionColumns::default),
            ..Self::default()
        }
    }

    /// Takes the next revolution, which ended this many seconds from the begin.
    pub fn push(&mut self, seconds: f64, revolution: &Revolution) {
        self.speeds.push(revolution.speed.0);
        if let Some(series) = &mut self.series {
            series.push(seconds, revolution.speed.0);
        }
    }

    /// Speed over the revolutions, rpm.
    pub fn speed(&self) -> Option<Spread> {
        self.speeds.spread()
    }
}
