//! Every measured value one by one, as columns of equal length: far smaller than an object for each,
//! and what numerical programs read.

use schemars::JsonSchema;
use serde::Serialize;

/// Digits after the point that say something: time to 0.1 µs, a fortieth of a sample at 250 kS/s;
/// speed, angle and duty to far below what can be measured.
const TIME: f64 = 1e7;
const FINE: f64 = 1e4;

/// Speed of each crank revolution.
#[derive(Debug, Clone, Default, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct RevolutionColumns {
    /// End of the revolution, seconds from the begin of the stream.
    pub seconds: Vec<f64>,
    /// Mean speed over the revolution, rpm.
    pub speed_rpm: Vec<f64>,
}

/// Phase at each cam edge.
#[derive(Debug, Clone, Default, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct PhaseColumns {
    /// Instant of the edge, seconds from the begin of the stream.
    pub seconds: Vec<f64>,
    /// Which edge of the cam it is: its place in the cam's list of edges, from 0.
    pub edge: Vec<usize>,
    /// Phase, crank degrees against the reference in the engine sheet, advance positive.
    pub phase_deg: Vec<f64>,
}

/// Each period of a valve's command.
#[derive(Debug, Clone, Default, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct DutyColumns {
    /// End of the period, seconds from the begin of the stream.
    pub seconds: Vec<f64>,
    /// Share of the period in which the valve is driven, percent.
    pub duty_pct: Vec<f64>,
    /// Frequency, hertz: one over the length of the period.
    pub frequency_hz: Vec<f64>,
}

impl RevolutionColumns {
    /// Takes the next revolution.
    pub fn push(&mut self, seconds: f64, rpm: f64) {
        self.seconds.push(rounded(seconds, TIME));
        self.speed_rpm.push(rounded(rpm, FINE));
    }
}

impl PhaseColumns {
    /// Takes the next edge.
    pub fn push(&mut self, seconds: f64, edge: usize, degrees: f64) {
        self.seconds.push(rounded(seconds, TIME));
        self.edge.push(edge);
        self.phase_deg.push(rounded(degrees, FINE));
    }
}

impl DutyColumns {
    /// Takes the next period.
    pub fn push(&mut self, seconds: f64, percent: f64, hertz: f64) {
        self.seconds.push(rounded(seconds, TIME));
        self.duty_pct.push(rounded(percent, FINE));
        self.frequency_hz.push(rounded(hertz, FINE));
    }
}

fn rounded(value: f64, per_unit: f64) -> f64 {
    (value * per_unit).round() / per_unit
}
