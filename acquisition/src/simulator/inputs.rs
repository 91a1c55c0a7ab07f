//! What each input of the scope sees: the leads on the engine, and the leads' own faults.

use super::blueprint::{Blueprint, Cam, CrankSensor};
use super::disturbance::{Disturber, Middle};
use super::fault::{Fault, HookupFault, Point, Wheel};
use super::plant::Plant;
use super::valve::Currents;
use super::wheel::{ToneWheel, hall};
use std::f64::consts::TAU;

/// Volts of a current clamp per ampere.
const CLAMP: f64 = 0.1;
/// Volts of the large clamp around the battery cable per ampere.
const LARGE_CLAMP: f64 = 0.005;
/// Mains hum on a lead that touches nothing, volts and Hz (assumed).
const HUM: f64 = 0.12;
const MAINS: f64 = 50.0;
/// Supply of the cam sensors from the controller, volts (common practice).
const SENSOR_SUPPLY: f64 = 5.0;
/// An injector: crank degrees after firing TDC 1 at which it opens, seconds for which it is open and then clamped,
/// volts while open and clamped (all assumed).
const INJECTION: f64 = 380.0;
const OPEN: f64 = 3e-3;
const CLAMPED: f64 = 0.3e-3;
const INJECTOR_LOW: f64 = 0.4;
const INJECTOR_CLAMP: f64 = 60.0;

/// Output of a Hall cam sensor as it is sampled.
#[derive(Debug, Clone, Copy)]
struct CamOutput {
    low: f64,
    high: f64,
    open: bool,
    since: f64,
    cursor: usize,
}

/// What an input is on now.
#[derive(Debug, Clone, Copy)]
struct Tap {
    /// Nothing if the lead is off.
    point: Option<Point>,
    /// Volts at the input per volt at the point; negative with the wires exchanged.
    factor: f64,
    /// Amplitude of the hum on it, volts.
    hum: f64,
}

/// The leads.
#[derive(Debug, Clone)]
pub(super) struct Leads {
    wheel: ToneWheel,
    /// Whether the crank's sensor is a switch that the controller feeds.
    switch: bool,
    cams: [CamOutput; 2],
    clamp_on: Cam,
    /// Disturbances, each with the signal it is on and the time from which it acts.
    disturbers: Vec<(usize, f64, Disturber)>,
    faults: Vec<Fault>,
    /// The faults that acted when the taps were last set.
    acting: u64,
    taps: [Tap; 8],
    /// How many of the inputs are carried, and whether any of those shows a valve, the supply, or a point that
    /// no plan names.
    carried: usize,
    valves: bool,
    elsewhere: bool,
}

impl Leads {
    pub fn new(blueprint: &Blueprint, faults: &[Fault], plant: &Plant, seed: u64) -> Self {
        let mut disturbers = Vec::new();
        for (number, fault) in (1u64..).zip(faults) {
            if let Fault::Signal { wheel, how, after } = *fault {
                let (signal, middle) = place(wheel, blueprint);
                let own = seed ^ number.wrapping_mul(0x9e37_79b9_7f4a_7c15);
                disturbers.push((signal, after, Disturber::new(how, middle, after, own)));
            }
        }
        let output = |cam: Cam| CamOutput {
            low: blueprint.cam(cam).low,
            high: blueprint.cam(cam).high,
            open: plant.cam_open(cam.index()),
            since: f64::NEG_INFINITY,
            cursor: 0,
        };
        let usual = |n: usize| Tap {
            point: Some(Point::USUAL[n]),
            factor: 1.0,
            hum: 0.0,
        };
        let mut leads = Self {
            wheel: ToneWheel::new(&blueprint.crank, faults),
            switch: matches!(blueprint.crank.sensor, CrankSensor::Hall { .. }),
            disturbers,
            cams: Cam::ALL.map(output),
            clamp_on: blueprint.current_on,
            faults: faults.to_vec(),
            acting: 0,
            taps: std::array::from_fn(usual),
            carried: 8,
            valves: true,
            elsewhere: false,
        };
        leads.tap(plant.effects().acting);
        leads
    }

    /// Only the first `count` inputs are looked at from now on.
    pub fn carry(&mut self, count: usize) {
        self.carried = count;
        self.tap(self.acting);
    }

    /// Puts the leads where they are while these faults act.
    fn tap(&mut self, acting: u64) {
        self.acting = acting;
        for (tap, point) in self.taps.iter_mut().zip(Point::USUAL) {
            *tap = Tap {
                point: Some(point),
                factor: 1.0,
                hum: 0.0,
            };
        }
        for (place, fault) in (0u32..).zip(&self.faults) {
            if !acts(acting, place) {
                continue;
            }
            match *fault {
                Fault::LeadOff { input, .. } => self.taps[input - 1].point = None,
                Fault::LeadsSwapped { input, with } => self.taps.swap(input - 1, with - 1),
                Fault::ProbeFactor { input, factor } => self.taps[input - 1].factor *= factor,
                Fault::Hookup { input, what, .. } => {
                    let tap = &mut self.taps[input - 1];
                    match what {
                        HookupFault::Off => tap.point = None,
                        HookupFault::On { point } => tap.point = Some(point),
                        HookupFault::Reversed => tap.factor = -tap.factor,
                        HookupFault::GroundMissing { hum } => tap.hum = hum,
                    }
                }
                // The rest are faults of the engine.
                _ => {}
            }
        }
        // A scope without ground stands on all of its leads, whichever are carried.
        let floats = (0u32..).zip(&self.faults).any(|(place, fault)| {
            matches!(fault, Fault::ScopeGroundMissing { .. }) && acts(acting, place)
        });
        let looked = if floats { 8 } else { self.carried };
        let points = || self.taps[..looked].iter().filter_map(|t| t.point);
        let sensor = Point::ExhaustSensor.index();
        self.valves = points().any(|p| p.index() > sensor);
        self.elsewhere = points().any(|p| p.index() > Point::Last.index());
    }

    /// The plant has made a step: what the last one still held is settled first.
    pub fn before_step(&mut self, plant: &Plant) {
        self.wheel.settle(plant.end());
        for n in 0..2 {
            self.take_edges(n, plant, f64::INFINITY);
            self.cams[n].cursor = 0;
        }
    }

    /// The plant has made a step, and what acts may have changed.
    pub fn after_step(&mut self, plant: &Plant) {
        if plant.effects().acting != self.acting {
            self.tap(plant.effects().acting);
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
        let mut at = [0.0; Point::COUNT];
        at[0] = self.wheel.volts(angle, speed, plant.effects().crank_wheel);
        for n in 0..2 {
            self.take_edges(n, plant, time);
            let cam = self.cams[n];
            // A sensor that has fallen silent leaves its line to the pull-up.
            let silent = plant.effects().cams[n].sensor_silent;
            at[1 + n] = if silent {
                cam.high
            } else {
                hall(cam.open, cam.low, cam.high, time - cam.since)
            };
        }
        for (n, after, disturber) in &mut self.disturbers {
            if time >= *after {
                at[*n] = disturber.disturb(time, at[*n]);
            }
        }
        let grounded = plant.effects().ground <= 0.0;
        if self.valves || !grounded {
            let drivers = self.look_at_valves(plant, time, angle, &mut at);
            if !grounded {
                self.lift(plant.lift(drivers), &mut at);
            }
        }
        if self.elsewhere {
            look_elsewhere(plant, time, angle, speed, &mut at);
        }
        self.seen(plant.effects().floating, time, &at)
    }

    /// What of the points arrives at the inputs.
    fn seen(&self, floating: Option<f64>, time: f64, at: &[f64; Point::COUNT]) -> [f64; 8] {
        let mains = || (time * MAINS * TAU).sin();
        let reference = floating.map_or(0.0, |hum| {
            // The inputs' resistances meet at the scope's ground.
            let touched = || (self.taps.iter().filter_map(|t| t.point)).filter(|p| !p.is_clamp());
            let sum: f64 = touched().map(|p| at[p.index()]).sum();
            sum / touched().count().max(1) as f64 + hum * mains()
        });
        self.taps.map(|tap| {
            let Some(point) = tap.point else {
                return HUM * mains();
            };
            let mut volts = at[point.index()];
            if !point.is_clamp() {
                volts -= reference;
            }
            if tap.hum > 0.0 {
                volts += tap.hum * mains();
            }
            volts * tap.factor
        })
    }

    /// What the controller feeds stands on the controller's ground.
    fn lift(&self, volts: f64, at: &mut [f64; Point::COUNT]) {
        for point in [
            Point::IntakeSensor,
            Point::ExhaustSensor,
            Point::SensorGround,
        ] {
            at[point.index()] += volts;
        }
        if self.switch {
            at[Point::Crank.index()] += volts;
        }
    }

    /// Puts in what belongs to the valves; the current through the drivers.
    fn look_at_valves(
        &self,
        plant: &mut Plant,
        time: f64,
        angle: f64,
        at: &mut [f64; Point::COUNT],
    ) -> f64 {
        let battery = plant.supply_at(time, angle);
        let common = plant.effects().feed;
        let own = plant.effects().cams.map(|c| c.circuit);
        let mut flows = [Currents::default(); 2];
        for (n, flow) in flows.iter_mut().enumerate() {
            if let Some(valve) = plant.valve(n) {
                *flow = valve.currents(time);
            }
        }
        let fed = battery - common * (flows[0].drawn + flows[1].drawn);
        let supplies = [Point::IntakeSupply, Point::ExhaustSupply].map(Point::index);
        let wires = [Point::IntakeWire, Point::ExhaustWire].map(Point::index);
        for n in 0..2 {
            at[supplies[n]] = fed;
            if let Some(valve) = plant.valve(n) {
                let supply = fed - own[n].feed * flows[n].drawn;
                let pin = valve.pin(time, supply, flows[n].coil);
                at[3 + n] = pin;
                // Behind a broken feed, the coil ties the supply side to the control side.
                at[supplies[n]] = if own[n].feed_open { pin } else { supply };
                at[wires[n]] = flows[n].coil * CLAMP;
            }
        }
        at[Point::Supply.index()] = at[supplies[self.clamp_on.index()]];
        at[Point::Wire.index()] = at[wires[self.clamp_on.index()]];
        at[Point::Last.index()] = plant.starter_at(angle) * LARGE_CLAMP;
        at[Point::Battery.index()] = battery;
        flows[0].ground + flows[1].ground
    }
}

/// Whether the fault at this place of the scenario acts.
fn acts(acting: u64, place: u32) -> bool {
    acting.checked_shr(place).unwrap_or(0) & 1 == 1
}

/// Puts in the points that no plan names.
fn look_elsewhere(plant: &Plant, time: f64, angle: f64, speed: f64, at: &mut [f64; Point::COUNT]) {
    at[Point::SensorSupply.index()] = SENSOR_SUPPLY;
    // Open for some milliseconds from a fixed angle on, then the driver's clamp.
    let since = (angle - INJECTION).rem_euclid(720.0) / speed.abs().max(1.0);
    at[Point::Injector.index()] = if since < OPEN {
        INJECTOR_LOW
    } else if since < OPEN + CLAMPED {
        INJECTOR_CLAMP
    } else {
        plant.supply_at(time, angle)
    };
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
