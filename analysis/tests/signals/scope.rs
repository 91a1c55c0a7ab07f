//! The scope that sees the sensor: rate, range, bits; and the detector of the lead, as the pipeline uses it.

#![allow(
    clippy::cast_possible_truncation,
    reason = "clamped to the range of the converter first"
)]

use keyway_analysis::calibration::Input;
use keyway_analysis::channel::Channel;
use keyway_analysis::edge::Edge;
use keyway_analysis::engine::{CrankSheet, EdgeKind, Sensor};
use keyway_analysis::lead::{Lead, Role};
use keyway_analysis::quality::Quality;
use keyway_analysis::units::{CrankDegrees, Hertz};

/// A channel of a scope.
#[derive(Debug, Clone, Copy)]
pub struct Scope {
    /// Samples a second.
    pub rate: f64,
    /// It measures from minus to plus this, volts.
    pub range: f64,
    /// Bits of its converter.
    pub bits: i32,
}

impl Scope {
    fn step(&self) -> f64 {
        2.0 * self.range / 2.0_f64.powi(self.bits)
    }

    /// Samples in 1/200 s.
    fn slice(&self) -> usize {
        (1..).find(|&n| n as f64 >= self.rate / 200.0).unwrap_or(1)
    }

    /// Counts of a voltage, clipped at the ends of the range.
    pub fn counts(&self, volts: f64) -> i16 {
        let most = 2.0_f64.powi(self.bits - 1);
        (volts / self.step()).round().clamp(-most, most - 1.0) as i16
    }

    /// What the lead's detector makes of `samples`, in slices of 1/200 s as the pipeline gives them.
    pub fn edges(&self, sensor: Sensor, samples: &[i16]) -> (Vec<Edge>, Quality) {
        let input = Input {
            number: 1,
            scale: self.step(),
            offset: 0.0,
            low: -self.range,
            high: self.range - self.step(),
            unit: "V".to_owned(),
        };
        let lead = Lead {
            input: 1,
            role: Role::Crank,
            place: String::new(),
            factor: 1.0,
        };
        let sheet = CrankSheet {
            wheel: "60-2".to_owned(),
            sensor,
            gap_to_tdc: CrankDegrees(0.0),
            active_edge: EdgeKind::Falling,
        };
        let mut channel =
            Channel::new(&lead, &input, 0, &sheet, Hertz(self.rate)).expect("a usable scale");
        let (mut edges, mut periods) = (Vec::new(), Vec::new());
        let mut first = 0;
        for part in samples.chunks(self.slice()) {
            let mut fresh = Vec::new();
            channel.work(first, part, &mut fresh, &mut periods);
            edges.append(&mut fresh);
            first += part.len() as u64;
        }
        (edges, channel.quality())
    }
}
