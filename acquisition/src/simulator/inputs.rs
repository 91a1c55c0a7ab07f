//! What each input of the scope sees: the leads on the engine, and the leads' own faults.

use super::blueprint::{Blueprint, Cam};
use super::fault::Fault;
use super::plant::Plant;
use super::wheel::{ToneWheel, hall};

/// Volts of a current clamp per ampere.
const CLAMP: f64 = 0.1;
/// Volts of the large clamp around the battery cable per ampere.
const LARGE_CLAMP: f64 = 0.005;
/// Mains hum on a lead that touches nothing, volts and Hz (assumed).
const HUM: f64 = 0.12;
const MAINS: f64 = 50.0;

/// Output of a Hall cam sensor as it is sampled.
#[derive(Debug, Clone, Copy)]
struct CamOutput {
    low: f64,
    high: f64,
    open: bool,
    since: f64,
    cursor: usize,
}

/// The leads.
#[derive(Debug, Clone)]
pub(super) struct Leads {
    wheel: ToneWheel,
    cams: [CamOutput; 2],
    clamp_on: Cam,
    /// Signal that each input carries, and the probe's factor.
    wiring: [(usize, f64); 8],
    /// Time from which each input carries nothing.
    off_from: [f64; 8],
}

impl Leads {
    pub fn new(blueprint: &Blueprint, faults: &[Fault], plant: &Plant) -> Self {
        let mut wiring: [(usize, f64); 8] = std::array::from_fn(|n| (n, 1.0));
        let mut off_from = [f64::INFINITY; 8];
        for fault in faults {
            match *fault {
                Fault::LeadOff { input, after } => off_from[input - 1] = after,
                Fault::LeadsSwapped { input, with } => wiring.swap(input - 1, with - 1),
                Fault::ProbeFactor { input, factor } => wiring[input - 1].1 = factor,
                // The rest are faults of the engine.
                _ => {}
            }
        }
        let output = |cam: Cam| CamOutput {
            low: blueprint.cam(cam).low,
            high: blueprint.cam(cam).high,
            open: plant.cam_open(cam.index()),
            since: f64::NEG_INFINITY,
            cursor: 0,
        };
        Self {
            wheel: ToneWheel::new(&blueprint.crank),
            cams: Cam::ALL.map(output),
            clamp_on: blueprint.current_on,
            wiring,
            off_from,
        }
    }

    /// The plant has made a step: what the last one still held is settled first.
    pub fn before_step(&mut self, plant: &Plant) {
        for n in 0..2 {
            self.take_edges(n, plant, f64::INFINITY);
            self.cams[n].cursor = 0;
        }
    }

    fn take_edges(&mut self, n: usize, plant: &Plant, until: f64) {
        let output = &mut self.cams[n];
        while let Some(edge) = plant.edges(n).get(output.cursor)
            && edge.time <= until
        {
            output.open = edge.rising;
            output.since = edge.time;
            output.cursor += 1;
        }
    }

    /// Volts at the eight inputs at a time within the plant's step.
    pub fn volts(&mut self, plant: &mut Plant, time: f64) -> [f64; 8] {
        let (angle, speed) = plant.motion_at(time);
        let raw_supply = plant.supply_at(time, angle);
        let feed = plant.effects().feed;
        let mut signal = [0.0; 8];
        signal[0] = self.wheel.volts(angle, speed, plant.effects().crank_wheel);
        for n in 0..2 {
            self.take_edges(n, plant, time);
            let cam = self.cams[n];
            // A sensor that has fallen silent leaves its line to the pull-up.
            let silent = plant.effects().cams[n].sensor_silent;
            signal[1 + n] = if silent {
                cam.high
            } else {
                hall(cam.open, cam.low, cam.high, time - cam.since)
            };
        }
        let mut drawn = 0.0;
        for n in 0..2 {
            if let Some(valve) = plant.valve(n) {
                drawn += valve.read(time, raw_supply).drawn;
            }
        }
        let supply = raw_supply - feed * drawn;
        for n in 0..2 {
            if let Some(valve) = plant.valve(n) {
                let reading = valve.read(time, supply);
                signal[3 + n] = reading.pin;
                if self.clamp_on.index() == n {
                    signal[6] = reading.current * CLAMP;
                }
            }
        }
        signal[5] = supply;
        signal[7] = plant.starter_at(angle) * LARGE_CLAMP;
        let mut seen = [0.0; 8];
        for (n, volts) in seen.iter_mut().enumerate() {
            let (from, factor) = self.wiring[n];
            *volts = if time >= self.off_from[n] {
                HUM * (time * MAINS * std::f64::consts::TAU).sin()
            } else {
                signal[from] * factor
            };
        }
        seen
    }
}
