//! The whole engine in fixed steps: crank train, phasers, controller, supply, valves, cam wheels.
//! The sampled inputs only look at it; nothing here depends on the sample rate.

use super::blueprint::{Blueprint, Cam, CamPlan};
use super::camwheel::{CamEdge, CamWheel};
use super::controller::Controller;
use super::crankshaft::Crankshaft;
use super::fault::{Conditions, Effects, Fault, Faults};
use super::phaser::{Phaser, Surroundings};
use super::scenario::{Scenario, Warming};
use super::script::{Script, Segment};
use super::supply::Supply;
use super::truth::{CamTruth, Truth, Watch};
use super::turn::sine;
use super::valve::{Currents, Feed, Valve};
use rand::SeedableRng;
use rand_pcg::Pcg64Mcg;

/// Length of a step, seconds. At 6500 rpm it is 2 crank degrees, well below a tooth of torque ripple.
pub(super) const STEP: f64 = 50e-6;
/// Time the engine has been running before the first sample, unless it starts from rest, seconds.
const WARM_UP: f64 = 2.0;
/// Current of the controller itself through its ground, amperes (assumed).
const CONTROLLER: f64 = 0.8;

/// Phaser, loop and valve of a cam that has them.
#[derive(Debug, Clone)]
struct Actuator {
    phaser: Phaser,
    controller: Controller,
    valve: Valve,
    watch: Watch,
    sign: f64,
}

/// A cam with its wheel.
#[derive(Debug, Clone)]
struct CamUnit {
    plan: CamPlan,
    wheel: CamWheel,
    actuator: Option<Actuator>,
    advance: f64,
    rate: f64,
    edges: Vec<CamEdge>,
}

/// The engine.
#[derive(Debug, Clone)]
pub(super) struct Plant {
    blueprint: Blueprint,
    oil: Warming,
    coil: Warming,
    script: Script,
    shaft: Crankshaft,
    supply: Supply,
    cams: [CamUnit; 2],
    faults: Faults,
    effects: Effects,
    rng: Pcg64Mcg,
    steps: i64,
    /// Angle and speed at the start of the present step and the speed's change within it.
    motion: [f64; 3],
    supply_before: f64,
    /// Temperature of the oil and of the coils at the start of the step, °C.
    warmth: [f64; 2],
    /// Currents of the valves at the end of the step.
    flows: [Currents; 2],
}

impl Plant {
    pub fn new(scenario: &Scenario, seed: u64) -> Self {
        let blueprint = scenario.engine.clone();
        let rpm = match scenario.driver.first() {
            Some(Segment::Idle { .. } | Segment::Throttle { .. }) => blueprint.block.idle,
            Some(Segment::Speed { rpm, .. } | Segment::Fixed { rpm, .. }) => *rpm,
            Some(Segment::Profile { from, .. }) => *from,
            Some(Segment::Stopped { .. } | Segment::Crank { .. } | Segment::Start { .. })
            | None => 0.0,
        };
        let running = rpm > 0.0;
        let supply = Supply::new(&blueprint.supply, running);
        let start = if running { -WARM_UP } else { 0.0 };
        // Some engine stands somewhere: an angle that no test should lean on.
        let angle = 0.618 * 720.0;
        let unit = |cam: Cam| {
            let plan = blueprint.cam(cam).clone();
            CamUnit {
                wheel: CamWheel::new(&plan, angle),
                actuator: plan.phaser.as_ref().map(|p| Actuator {
                    phaser: Phaser::new(p),
                    controller: Controller::new(p),
                    valve: Valve::new(&p.valve, start, supply.mean),
                    watch: Watch::NEW,
                    sign: p.rest.sign(),
                }),
                advance: 0.0,
                rate: 0.0,
                edges: Vec::new(),
                plan,
            }
        };
        #[allow(
            clippy::cast_possible_truncation,
            reason = "a few tens of thousands of steps"
        )]
        let steps = (start / STEP).round() as i64;
        let mut plant = Self {
            oil: scenario.oil,
            coil: scenario.coil,
            script: Script::new(&scenario.driver, scenario.repeat_from),
            shaft: Crankshaft::new(&blueprint.block, rpm, angle),
            cams: Cam::ALL.map(unit),
            faults: Faults::new(&scenario.faults, seed),
            effects: Effects::NONE,
            rng: Pcg64Mcg::seed_from_u64(seed),
            steps,
            motion: [angle, rpm * 6.0, 0.0],
            supply_before: supply.mean,
            warmth: [scenario.oil.start, scenario.coil.start],
            flows: [Currents::default(); 2],
            supply,
            blueprint,
        };
        plant.settle_faults();
        while plant.steps < 0 {
            plant.step();
        }
        plant
    }

    /// A jump that was there from the start has moved the wheel before the first edge is awaited.
    fn settle_faults(&mut self) {
        self.look_at_faults(self.end());
        let angle = self.shaft.angle;
        for (n, cam) in self.cams.iter_mut().enumerate() {
            cam.advance = self.effects.cams[n].jump + self.effects.cams[n].wheel;
            cam.wheel = CamWheel::new(&cam.plan, angle + cam.advance);
        }
    }

    /// Start of the present step, seconds; the state lies at its end.
    fn start(&self) -> f64 {
        let n = (self.steps - 1) as f64;
        n * STEP
    }

    /// End of the present step, seconds.
    pub fn end(&self) -> f64 {
        let n = self.steps as f64;
        n * STEP
    }

    fn look_at_faults(&mut self, time: f64) {
        let travel = [0, 1].map(|n: usize| {
            self.cams[n]
                .actuator
                .as_ref()
                .map_or(0.0, |a| a.phaser.travel)
        });
        self.warmth = [self.oil.at(time), self.coil.at(time)];
        let now = Conditions {
            time,
            oil: self.warmth[0],
            rpm: self.shaft.mean_rpm,
            travel,
        };
        let [intake, exhaust] = &self.cams;
        let acting = self.faults.acting(now);
        if acting != self.effects.acting {
            self.effects = self.faults.effects(acting, [&intake.plan, &exhaust.plan]);
            self.shaft.weaken(self.effects.cylinders);
        }
    }

    /// Advances by one step.
    pub fn step(&mut self) {
        self.steps += 1;
        let (start, end) = (self.start(), self.end());
        // Temperatures change over seconds, faults at any step.
        self.look_at_faults(start);
        let asked = self.script.at(start);
        let (angle, speed) = (self.shaft.angle, self.shaft.speed);
        self.shaft.step(STEP, asked, &mut self.rng);
        let bend = (self.shaft.speed - speed) / STEP;
        self.motion = [angle, speed, bend];
        let starter = if self.shaft.starter_on() {
            (1.0 - self.shaft.rpm() / self.blueprint.block.starter_speed).clamp(0.0, 1.0)
        } else {
            0.0
        };
        self.supply_before = self.supply.mean;
        self.supply.step(STEP, self.shaft.mean_rpm, starter);
        for n in 0..self.cams.len() {
            self.step_cam(n, start, end);
        }
    }

    fn step_cam(&mut self, n: usize, start: f64, end: f64) {
        let effect = self.effects.cams[n];
        let rpm = self.shaft.mean_rpm;
        let [oil, coil] = self.warmth;
        let [angle, speed, bend] = self.motion;
        let other = self.flows[1 - n];
        let cam = &mut self.cams[n];
        let mut advance = effect.jump + effect.wheel;
        if let Some(a) = &mut cam.actuator {
            a.controller.step(STEP, start, rpm, self.supply.mean);
            let feed = Feed {
                supply: self.supply.mean - self.effects.feed * other.drawn,
                feed: self.effects.feed,
                ground: self.effects.ground,
                lift: self.effects.ground * (CONTROLLER + other.ground),
                coil,
                circuit: effect.circuit,
            };
            a.valve
                .step(start, end, feed, effect.driver, || a.controller.duty);
            self.flows[n] = a.valve.currents_at_end(end);
            let around = Surroundings {
                time: start,
                rpm,
                oil,
                coil,
                supply: self.supply.mean,
                feed_share: a.valve.added() / a.valve.resistance(),
            };
            let duty = a.valve.delivered;
            a.phaser.step(STEP, a.valve.driving, around, &effect);
            a.watch.step(
                end,
                duty - a.phaser.hold,
                a.phaser.travel,
                a.phaser.at_stop(duty),
            );
            let mut flutter = a.phaser.flutter(&effect);
            if flutter > 0.0 {
                // One swing for each lobe that opens: as many per 720 degrees as there are cylinders.
                let lobes = self.blueprint.block.firing_order.len() as f64;
                flutter *= sine(self.shaft.angle * lobes / 720.0);
            }
            advance += a.sign * a.phaser.travel + flutter;
        }
        cam.rate = (advance - cam.advance) / STEP;
        cam.edges.clear();
        let path = [angle + cam.advance, speed + cam.rate, bend];
        cam.wheel
            .pass(start, STEP, path, &mut self.rng, &mut cam.edges);
        cam.advance = advance;
        if let Some(a) = &mut cam.actuator
            && !effect.sensor_silent
            && let Some(edge) = cam.edges.last()
        {
            let s = edge.time - start;
            let at_crank = angle + (speed + 0.5 * bend * s) * s + self.effects.crank_wheel;
            a.controller.edge(edge.time, edge.at_rest - at_crank);
        }
    }

    /// Crank angle (degrees, unwrapped) and speed (degrees per second) at a time within the step.
    pub fn motion_at(&self, time: f64) -> (f64, f64) {
        let s = time - self.start();
        let [angle, speed, bend] = self.motion;
        (angle + (speed + 0.5 * bend * s) * s, speed + bend * s)
    }

    /// Supply before the feed at a time within the step and a crank angle, volts.
    pub fn supply_at(&self, time: f64, angle: f64) -> f64 {
        let x = (time - self.start()) / STEP;
        self.supply_before + (self.supply.mean - self.supply_before) * x + self.supply.ripple(angle)
    }

    /// Starter current at a crank angle within the step, amperes.
    pub fn starter_at(&self, angle: f64) -> f64 {
        self.supply.starter(angle)
    }

    /// Edges of a cam sensor within the step.
    pub fn edges(&self, cam: usize) -> &[CamEdge] {
        &self.cams[cam].edges
    }

    /// Output of a cam's sensor at the end of the step.
    pub fn cam_open(&self, cam: usize) -> bool {
        self.cams[cam].wheel.open
    }

    pub fn valve(&mut self, cam: usize) -> Option<&mut Valve> {
        self.cams[cam].actuator.as_mut().map(|a| &mut a.valve)
    }

    pub fn effects(&self) -> &Effects {
        &self.effects
    }

    /// Volts of the controller's ground against the battery's, with these currents through the drivers.
    pub fn lift(&self, drivers: f64) -> f64 {
        self.effects.ground * (CONTROLLER + drivers)
    }

    pub fn onsets(&self) -> Vec<(Fault, Option<f64>)> {
        self.faults.onsets()
    }

    /// Onset of a gross disagreement that lasts now.
    pub fn disagreement(&self, cam: usize) -> Option<f64> {
        self.cams[cam].actuator.as_ref().and_then(|a| a.watch.onset)
    }

    /// Whether the controller asks for something that does not reach the coil.
    pub fn loses_command(&self, cam: usize) -> bool {
        let actuator = self.cams[cam].actuator.as_ref();
        actuator.is_some_and(|a| a.valve.wanted > 0.0 && !a.valve.reaches())
    }

    /// The state at the end of the step, with times in the engine's own seconds.
    pub fn truth(&self) -> Truth {
        let time = self.end();
        let cams = [0, 1].map(|n: usize| {
            let cam = &self.cams[n];
            let effect = &self.effects.cams[n];
            let base = CamTruth {
                phase: cam.advance - effect.wheel,
                shown: cam.advance - self.effects.crank_wheel,
                rate: cam.rate,
                reaches_coil: true,
                ..CamTruth::default()
            };
            cam.actuator.as_ref().map_or(base, |a| CamTruth {
                target: a.sign * a.controller.target,
                wanted_duty: a.valve.wanted,
                delivered_duty: a.valve.delivered,
                driving_duty: a.valve.driving,
                coil_current: self.flows[n].coil,
                reaches_coil: a.valve.reaches(),
                hold_duty: a.phaser.hold,
                hold_band: a.phaser.hold_band(),
                largest_rate: a.phaser.limit,
                stop: a.phaser.stop(),
                locked: a.phaser.locked,
                disagrees: a.watch.onset.is_some(),
                ..base
            })
        });
        Truth {
            time,
            angle: self.shaft.angle,
            rpm: self.shaft.rpm(),
            manifold: self.shaft.manifold,
            oil: self.oil.at(time),
            supply: self.supply.mean,
            acting: self.effects.acting,
            cams,
        }
    }
}
