//! What each input of the scope sees: the leads on the engine, and the leads' own faults.

use super::blueprint::{Blueprint, Cam, CrankSensor};
use super::disturbance::{Disturber, Middle};
use super::fault::{Fault, Wheel};
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
    /// Disturbances, each with the signal it is on and the time from which it acts.
    disturbers: Vec<(usize, f64, Disturber)>,
    /// Whether an input that is carried shows a valve or the supply.
    valves: bool,
    /// Signal that each input carries, and the probe's factor.
    wiring: [(usize, f64); 8],
    /// Time from which each input carries nothing.
    off_from: [f64; 8],
}

impl Leads {
    pub fn new(blueprint: &Blueprint, faults: &[Fault], plant: &Plant, seed: u64) -> Self {
        let mut wiring: [(usize, f64); 8] = std::array::from_fn(|n| (n, 1.0));
        let mut off_from = [f64::INFINITY; 8];
        let mut disturbers = Vec::new();
        for (number, fault) in (1u64..).zip(faults) {
            match *fault {
                Fault::LeadOff { input, after } => off_from[input - 1] = after,
                Fault::LeadsSwapped { input, with } => wiring.swap(input - 1, with - 1),
                Fault::ProbeFactor { input, factor } => wiring[input - 1].1 = factor,
                Fault::Signal { wheel, how, after } => {
                    let (signal, middle) = place(wheel, blueprint);
                    let own = seed ^ number.wrapping_mul(0x9e37_79b9_7f4a_7c15);
                    disturbers.push((signal, after, Disturber::new(how, middle, after, own)));
                }
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
            wheel: ToneWheel::new(&blueprint.crank, faults),
            disturbers,
            valves: true,
            cams: Cam::ALL.map(output),
            clamp_on: blueprint.current_on,
            wiring,
            off_from,
        }
    }

    /// Only the first `count` inputs are looked at from now on.
    pub fn carry(&mut self, count: usize) {
        self.valves = self.wiring[..count].iter().any(|(from, _)| *from > 2);
    }

    /// The plant has made a step: what the last one still held is settled first.
    pub fn before_step(&mut self, plant: &Plant) {
        self.wheel.settle(plant.end());
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
        for (n, after, disturber) in &mut self.disturbers {
            if time >= *after {
                signal[*n] = disturber.disturb(time, signal[*n]);
            }
        }
        if self.valves {
            self.look_at_valves(plant, time, angle, &mut signal);
        }
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

    fn look_at_valves(&self, plant: &mut Plant, time: f64, angle: f64, signal: &mut [f64; 8]) {
        let raw_supply = plant.supply_at(time, angle);
        let feed = plant.effects().feed;
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
    }
}

/// The signal of a wheel's sensor, and its levels.
fn place(wheel: Wheel, blueprint: &Blueprint) -> (usize, Middle) {
    let switch = |low: f64, high: f64| Middle {
        level: (low + high) / 2.0,
        open: high,
    };
    let cam = |cam: Cam| {
        let plan = blueprint.cam(cam);
        (1 + cam.index(), switch(plan.low, plan.high))
    };
    match wheel {
        Wheel::Crank => match blueprint.crank.sensor {
            CrankSensor::Vr { .. } => (
                0,
                Middle {
                    level: 0.0,
                    open: 0.0,
                },
            ),
            CrankSensor::Hall { low, high, .. } => (0, switch(low, high)),
        },
        Wheel::Intake => cam(Cam::Intake),
        Wheel::Exhaust => cam(Cam::Exhaust),
    }
}
