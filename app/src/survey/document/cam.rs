//! A cam in the document.

use super::inquiry::{Circuit, Phaser};
use super::recognised::Recognised;
use super::{Known, LEFT_OUT, reason};
use crate::survey::Survey;
use crate::survey::cam::{CamSurvey, EdgeSurvey};
use crate::survey::column::{DutyColumns, PhaseColumns};
use crate::survey::spread::Spread;
use keyway_analysis::drift;
use keyway_analysis::engine::EdgeKind;
use keyway_analysis::lead::Role;
use schemars::JsonSchema;
use serde::Serialize;
use std::collections::BTreeMap;

/// Why nothing was learnt of the edges.
const LEARNING: &str = "not enough revolutions with the cam at rest";

/// Why nothing is said of an actuator.
const NO_PHASER: &str = "no phaser on this cam in the engine sheet";

/// One cam.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct Cam {
    /// "intake" or "exhaust", with "-2" on the second bank.
    pub cam: String,
    /// What the signal of its lead looks like.
    pub recognised: Known<Recognised>,
    /// Phase over all edges, crank degrees.
    pub phase_deg: Known<Spread>,
    /// Phase over the rising edges alone, crank degrees: the two edges of a sensor have errors of their own.
    pub rising_phase_deg: Known<Spread>,
    /// Phase over the falling edges alone, crank degrees.
    pub falling_phase_deg: Known<Spread>,
    /// By how much the phase of one and the same edge varies from cycle to cycle, as a standard
    /// deviation in crank degrees, from the median step. Motion of the cam in fewer than half of the
    /// cycles hardly counts.
    pub phase_noise_deg: Known<f64>,
    /// The edges of the cam's pattern, in the order of the engine sheet.
    pub edges: Vec<Edge>,
    /// Mean phase of the rising edges minus that of the falling ones, crank degrees. Air gap and
    /// threshold of a sensor move the two against each other; a timing error moves them together.
    pub rising_minus_falling_deg: Known<f64>,
    /// Phase at the end with the learnt offsets taken from each edge.
    pub cleaned: Known<Cleaned>,
    /// Cam revolutions at rest on which the learnt offsets of the edges rest.
    pub learnt_revolutions: Known<u32>,
    /// Whether the phase at rest has moved over the recording: slowly, as a chain that stretches, or
    /// at once, as one that jumps a tooth.
    pub drift: Known<Drift>,
    /// Phase at each edge.
    pub phases: Known<PhaseColumns>,
    /// Share of time in which the valve is driven, over whole periods, percent.
    pub duty_pct: Known<Spread>,
    /// Frequency of the command, hertz.
    pub frequency_hz: Known<Spread>,
    /// Each period of the command.
    pub periods: Known<DutyColumns>,
    /// Seconds in each state of agreement between command and position.
    pub seconds_by_agreement: BTreeMap<&'static str, f64>,
    /// Whether command and position disagreed at any time.
    pub disagreed: bool,
    /// What the electrical checks say of the circuit of its actuator.
    pub circuit: Known<Circuit>,
    /// What has been learnt of its phaser.
    pub phaser: Known<Phaser>,
}

/// One edge of a cam's pattern.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct Edge {
    /// Direction.
    pub kind: Direction,
    /// Angle in the engine sheet, crank degrees after firing TDC of cylinder 1.
    #[schemars(range(min = 0, max = 720))]
    pub reference_deg: f64,
    /// Mean measured angle, crank degrees after firing TDC of cylinder 1.
    pub measured_deg: Known<f64>,
    /// Phase at this edge, crank degrees.
    pub phase_deg: Known<Spread>,
    /// Offset of this edge from the mean of its direction, learnt at rest, crank degrees: runout and
    /// teeth of the wheel, and what the sensor makes of them.
    pub offset_deg: Known<f64>,
}

/// A phase from which the learnt offsets are taken.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct Cleaned {
    /// Mean over the edges of the last cam revolution, crank degrees.
    pub phase_deg: f64,
    /// Standard deviation of those edges about it, crank degrees; null for a single edge.
    pub spread_deg: Option<f64>,
    /// How many edges.
    pub edges: usize,
}

/// What the phase at rest has done over the recording.
#[derive(Debug, Serialize, JsonSchema)]
#[serde(tag = "state", rename_all = "lowercase")]
#[schemars(deny_unknown_fields)]
pub enum Drift {
    /// It has not moved.
    Still {
        /// Time over which that was watched, seconds.
        over_seconds: f64,
    },
    /// It moves slowly.
    Drifting {
        /// Rate, crank degrees per second, advance positive; a stretching chain or belt is negative.
        rate_deg_per_second: f64,
        /// Standard error of the rate, crank degrees per second.
        uncertainty_deg_per_second: f64,
        /// Time over which that was watched, seconds.
        over_seconds: f64,
    },
    /// It moved at once.
    Stepped {
        /// The last time at rest before, seconds.
        after_seconds: f64,
        /// When it had moved, seconds.
        at_seconds: f64,
        /// By how much, crank degrees, advance positive.
        by_deg: f64,
        /// Standard error of that, crank degrees.
        uncertainty_deg: f64,
        /// The same in teeth of the cam sprocket, not rounded; null where the engine sheet does not
        /// say how many it has.
        teeth: Option<f64>,
    },
}

/// Direction of an edge of the signal.
#[derive(Debug, Serialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Direction {
    /// Upwards.
    Rising,
    /// Downwards.
    Falling,
}

impl Cam {
    pub(super) fn of(cam: CamSurvey, index: usize, survey: &Survey) -> Self {
        let last = survey.last.cams.get(index);
        let phase = last.map_or_else(String::new, |c| reason(&c.phase));
        let detail = last.map(|c| &c.detail);
        let learnt = detail.and_then(|d| d.learnt.as_ref());
        let duty = last.map_or_else(String::new, |c| reason(&c.command.duty));
        Self {
            cam: cam.id.to_string(),
            recognised: Recognised::of(&survey.last, Role::Cam(cam.id)),
            phase_deg: Known::of(cam.phase(), &phase),
            rising_phase_deg: Known::of(cam.phase_of(EdgeKind::Rising), &phase),
            falling_phase_deg: Known::of(cam.phase_of(EdgeKind::Falling), &phase),
            phase_noise_deg: Known::of(
                cam.noise(),
                if cam.phase().is_some() {
                    "no edge was seen often enough"
                } else {
                    &phase
                },
            ),
            edges: cam
                .edges
                .iter()
                .enumerate()
                .map(|(i, edge)| {
                    let offset = learnt.and_then(|l| l.offsets.get(i));
                    Edge::of(edge, offset.map(|o| o.offset.0), &phase)
                })
                .collect(),
            duty_pct: Known::of(cam.duty(), &duty),
            frequency_hz: Known::of(cam.frequency(), &duty),
            rising_minus_falling_deg: Known::of(
                match (
                    cam.phase_of(EdgeKind::Rising),
                    cam.phase_of(EdgeKind::Falling),
                ) {
                    (Some(rising), Some(falling)) => Some(rising.mean - falling.mean),
                    _ => None,
                },
                if cam.phase().is_some() {
                    "edges of one direction only"
                } else {
                    &phase
                },
            ),
            cleaned: Known::of(
                detail.and_then(|d| d.cleaned).map(|c| Cleaned {
                    phase_deg: c.phase.0,
                    spread_deg: c.spread.map(|s| s.0),
                    edges: c.edges,
                }),
                LEARNING,
            ),
            learnt_revolutions: Known::of(learnt.map(|l| l.revolutions), LEARNING),
            drift: Known::of(
                detail.and_then(|d| Drift::of(d.drift, survey)),
                "too little seen with the cam at rest",
            ),
            phases: Known::of(cam.phases, LEFT_OUT),
            periods: Known::of(cam.periods, LEFT_OUT),
            seconds_by_agreement: cam.states,
            disagreed: cam.disagreed,
            circuit: Known::of(
                last.and_then(|c| c.circuit.as_deref())
                    .map(|c| Circuit::of(c, &|at| survey.seconds_at(at))),
                NO_PHASER,
            ),
            phaser: Known::of(
                last.and_then(|c| c.observer.as_deref()).map(Phaser::of),
                NO_PHASER,
            ),
        }
    }
}

impl Direction {
    pub(super) fn of(kind: EdgeKind) -> Self {
        match kind {
            EdgeKind::Rising => Self::Rising,
            EdgeKind::Falling => Self::Falling,
        }
    }
}

impl Edge {
    fn of(edge: &EdgeSurvey, offset: Option<f64>, why: &str) -> Self {
        Self {
            kind: Direction::of(edge.kind),
            reference_deg: edge.reference,
            measured_deg: Known::of(edge.measured(), why),
            phase_deg: Known::of(edge.phase(), why),
            offset_deg: Known::of(offset, LEARNING),
        }
    }
}

impl Drift {
    fn of(drift: drift::Drift, survey: &Survey) -> Option<Self> {
        Some(match drift {
            drift::Drift::Unknown => return None,
            drift::Drift::Still { over } => Self::Still {
                over_seconds: over.0,
            },
            drift::Drift::Drifting {
                rate,
                uncertainty,
                over,
            } => Self::Drifting {
                rate_deg_per_second: rate.0,
                uncertainty_deg_per_second: uncertainty.0,
                over_seconds: over.0,
            },
            drift::Drift::Stepped {
                at,
                after,
                by,
                uncertainty,
                teeth,
            } => Self::Stepped {
                after_seconds: survey.seconds_at(after),
                at_seconds: survey.seconds_at(at),
                by_deg: by.0,
                uncertainty_deg: uncertainty.0,
                teeth: teeth.map(|t| t.count),
            },
        })
    }
}
