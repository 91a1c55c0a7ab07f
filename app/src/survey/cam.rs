//! One cam over a whole recording.

use super::column::{DutyColumns, PhaseColumns};
use super::noise::Noise;
use super::spread::{Moments, Spread};
use keyway_analysis::duty::Period;
use keyway_analysis::engine::{CamSheet, EdgeKind};
use keyway_analysis::lead::CamId;
use std::collections::BTreeMap;

/// Phase at its edges, duty of its command, and what was judged.
#[derive(Debug, Clone)]
pub struct CamSurvey {
    /// Which.
    pub id: CamId,
    /// Its edges, in the order of the sheet's windows: rising, falling, rising, ...
    pub edges: Vec<EdgeSurvey>,
    /// Phase at each edge, if asked for.
    pub phases: Option<PhaseColumns>,
    noise: Noise,
    duty: Moments,
    frequency: Moments,
    /// Each period of the command, if asked for.
    pub periods: Option<DutyColumns>,
    /// Seconds in each agreement state, by its words.
    pub states: BTreeMap<&'static str, f64>,
    /// Whether any of them was a disagreement.
    pub disagreed: bool,
}

/// One edge of the cam's pattern.
#[derive(Debug, Clone, Copy)]
pub struct EdgeSurvey {
    /// Direction.
    pub kind: EdgeKind,
    /// Angle in the engine sheet, crank degrees after firing TDC 1, in [0, 720).
    pub reference: f64,
    phases: Moments,
    last: Option<f64>,
}

impl EdgeSurvey {
    /// Phase at this edge, crank degrees.
    pub fn phase(&self) -> Option<Spread> {
        self.phases.spread()
    }

    /// Mean measured angle, crank degrees after firing TDC 1, in [0, 720).
    pub fn measured(&self) -> Option<f64> {
        // Phase is reference minus measured angle.
        self.phase()
            .map(|p| (self.reference - p.mean).rem_euclid(720.0))
    }
}

impl CamSurvey {
    /// Before the first edge.
    pub fn new(sheet: &CamSheet, with_series: bool) -> Self {
        let edge = |kind, at: f64| EdgeSurvey {
            kind,
            reference: at.rem_euclid(720.0),
            phases: Moments::default(),
            last: None,
        };
        Self {
            id: sheet.cam,
            edges: sheet
                .windows
                .iter()
                .flat_map(|[rise, fall]| {
                    [
                        edge(EdgeKind::Rising, *rise),
                        edge(EdgeKind::Falling, *fall),
                    ]
                })
                .collect(),
            phases: with_series.then(PhaseColumns::default),
            noise: Noise::default(),
            duty: Moments::default(),
            frequency: Moments::default(),
            periods: with_series.then(DutyColumns::default),
            states: BTreeMap::new(),
            disagreed: false,
        }
    }

    /// Takes the phase at the next edge.
    pub fn push_phase(&mut self, seconds: f64, edge: usize, degrees: f64) {
        if let Some(own) = self.edges.get_mut(edge) {
            own.phases.push(degrees);
            if let Some(before) = own.last.replace(degrees) {
                self.noise.push(degrees - before);
            }
        }
        if let Some(phases) = &mut self.phases {
            phases.push(seconds, edge, degrees);
        }
    }

    /// Takes the next period of the command; `rate` in samples a second.
    pub fn push_period(&mut self, seconds: f64, period: &Period, rate: f64) {
        let (percent, hertz) = (100.0 * period.low / period.length, rate / period.length);
        self.duty.push(percent);
        self.frequency.push(hertz);
        if let Some(periods) = &mut self.periods {
            periods.push(seconds, percent, hertz);
        }
    }

    /// Phase over all edges, crank degrees.
    pub fn phase(&self) -> Option<Spread> {
        Spread::over(self.edges.iter().map(|e| &e.phases))
    }

    /// Phase over the edges of one direction, crank degrees: a sensor's two edges have errors of their own.
    pub fn phase_of(&self, kind: EdgeKind) -> Option<Spread> {
        Spread::over(
            self.edges
                .iter()
                .filter(|e| e.kind == kind)
                .map(|e| &e.phases),
        )
    }

    /// Standard deviation of the phase of one and the same edge from cycle to cycle, crank degrees; see [`Noise`].
    pub fn noise(&self) -> Option<f64> {
        self.noise.deviation()
    }

    /// Duty over the periods, percent.
    pub fn duty(&self) -> Option<Spread> {
        self.duty.spread()
    }

    /// Frequency over the periods, hertz.
    pub fn frequency(&self) -> Option<Spread> {
        self.frequency.spread()
    }
}
