//! The simulated engine as a source of samples, with its truth.
//!
//! ```
//! use keyway_acquisition::simulator::{engine::Engine, scenario::Scenario, source::SampleSource};
//! let mut engine = Engine::from_scenario(&Scenario::named("healthy")?, 7);
//! engine.set_rate(200_000.0);
//! let mut samples = vec![Vec::new(); 8];
//! engine.fill(4_000, &mut samples);
//! assert_eq!(samples[0].len(), 4_000);
//! let truth = engine.truth_at(2_000).expect("within the log");
//! assert!((truth.rpm - 800.0).abs() < 100.0);
//! # Ok::<(), keyway_acquisition::simulator::scenario::ScenarioError>(())
//! ```

use super::blueprint::Cam;
use super::converter::Converter;
use super::fault::Fault;
use super::inputs::Leads;
use super::plant::{Plant, STEP};
use super::scenario::Scenario;
use super::source::SampleSource;
use super::truth::{CommandLoss, Disagreement, Log, Truth};
use crate::block::ChannelInfo;
use rand::SeedableRng;
use rand_pcg::Pcg64Mcg;

/// Steps between two records of the truth: 1 ms.
const LOG_EVERY: u32 = 20;
/// Seconds of truth kept unless more is asked for.
const LOG_SECONDS: f64 = 10.0;
/// Disagreements, and losses of the command, kept at most, so that a run of days does not grow.
const DISAGREEMENTS: usize = 4096;

/// The simulated engine with the scope's eight inputs on it. The same scenario and seed give the same
/// samples, however they are asked for.
#[derive(Debug, Clone)]
pub struct Engine {
    plant: Plant,
    leads: Leads,
    /// The inputs that are carried, the first ones.
    inputs: Vec<Converter>,
    noise: Pcg64Mcg,
    rate: f64,
    /// Engine time of sample 0 at the present rate, and samples made since.
    origin: f64,
    made: u64,
    log: Log,
    to_log: u32,
    disagreements: Vec<Disagreement>,
    losses: Vec<CommandLoss>,
    /// Place of the loss that lasts now, of each cam.
    open_losses: [Option<usize>; 2],
}

impl Engine {
    /// An engine at the start of a scenario, at 200 kS/s until another rate is set.
    pub fn from_scenario(scenario: &Scenario, seed: u64) -> Self {
        let mut plant = Plant::new(scenario, seed);
        let mut inputs = Converter::inputs(scenario.noise).to_vec();
        for fault in &scenario.faults {
            match *fault {
                Fault::InputRange { input, volts } => inputs[input - 1].set_range(volts),
                // A probe on a command loads the pin the less the more it divides.
                Fault::ProbeFactor { input, factor } if (4..=5).contains(&input) => {
                    if let Some(valve) = plant.valve(input - 4) {
                        valve.probe_with(factor);
                    }
                }
                _ => {}
            }
        }
        Self {
            leads: Leads::new(&scenario.engine, &scenario.faults, &plant, seed),
            inputs,
            // A stream of its own, so that the physics does not depend on the sample rate.
            noise: Pcg64Mcg::seed_from_u64(seed ^ 0x6e6f_6973_6520_2020),
            rate: 200_000.0,
            origin: 0.0,
            made: 0,
            log: new_log(LOG_SECONDS, &plant),
            to_log: LOG_EVERY,
            disagreements: Vec::new(),
            losses: Vec::new(),
            open_losses: [None; 2],
            plant,
        }
    }

    /// Keeps this many seconds of truth instead of ten. About 0.3 MB for each second.
    #[must_use]
    pub fn with_truth(mut self, seconds: f64) -> Self {
        self.log = new_log(seconds, &self.plant);
        self
    }

    /// Carries only the first `count` inputs, from 1 to 8: three of them are crank and cams, and cost less.
    #[must_use]
    pub fn with_inputs(mut self, count: usize) -> Self {
        self.inputs.truncate(count.max(1));
        self.leads.carry(self.inputs.len());
        self
    }

    /// The truth at a sample (its index since the rate was set, fractions allowed), from a log of one record
    /// a millisecond; angle and speed are interpolated. None if not made yet or no longer kept.
    pub fn truth_at_instant(&self, sample: f64) -> Option<Truth> {
        let mut truth = self.log.at(self.origin + sample / self.rate)?;
        truth.time -= self.origin;
        Some(truth)
    }

    /// The truth at a whole sample, see [`Engine::truth_at_instant`].
    pub fn truth_at(&self, sample: u64) -> Option<Truth> {
        let sample = sample as f64;
        self.truth_at_instant(sample)
    }

    /// The truth at the end of the engine step that holds the last sample made.
    pub fn truth(&self) -> Truth {
        let mut truth = self.plant.truth();
        truth.time -= self.origin;
        truth
    }

    /// Every fault of the scenario with the time in seconds at which it first took effect, if it has.
    pub fn onsets(&self) -> Vec<(Fault, Option<f64>)> {
        let mut list = self.plant.onsets();
        for (_, onset) in &mut list {
            *onset = onset.map(|t| t - self.origin);
        }
        list
    }

    /// Stretches of gross disagreement between command and position so far, see
    /// [`CamTruth::disagrees`](super::truth::CamTruth::disagrees); `from` is the true onset.
    pub fn disagreements(&self) -> Vec<Disagreement> {
        let moved = |d: &Disagreement| Disagreement {
            cam: d.cam,
            from: d.from - self.origin,
            to: d.to.map(|t| t - self.origin),
        };
        self.disagreements.iter().map(moved).collect()
    }

    /// Stretches of time so far in which the controller asked for something that did not reach a coil.
    pub fn losses(&self) -> Vec<CommandLoss> {
        let moved = |l: &CommandLoss| CommandLoss {
            cam: l.cam,
            from: l.from - self.origin,
            to: l.to.map(|t| t - self.origin),
        };
        self.losses.iter().map(moved).collect()
    }

    /// Samples made since the rate was set.
    pub fn made(&self) -> u64 {
        self.made
    }

    fn step(&mut self) {
        self.leads.before_step(&self.plant);
        self.plant.step();
        self.leads.after_step(&self.plant);
        for cam in Cam::ALL {
            self.note_loss(cam);
        }
        self.to_log -= 1;
        if self.to_log == 0 {
            self.to_log = LOG_EVERY;
            self.log.push(self.plant.truth());
            for cam in Cam::ALL {
                self.note_disagreement(cam);
            }
        }
    }

    fn note_loss(&mut self, cam: Cam) {
        let end = self.plant.end();
        let open = &mut self.open_losses[cam.index()];
        match (self.plant.loses_command(cam.index()), *open) {
            (true, None) if self.losses.len() < DISAGREEMENTS => {
                *open = Some(self.losses.len());
                self.losses.push(CommandLoss {
                    cam,
                    from: end - STEP,
                    to: None,
                });
            }
            (false, Some(place)) => {
                self.losses[place].to = Some(end - STEP);
                *open = None;
            }
            _ => {}
        }
    }

    fn note_disagreement(&mut self, cam: Cam) {
        let full = self.disagreements.len() >= DISAGREEMENTS;
        let open = self
            .disagreements
            .iter_mut()
            .rev()
            .find(|d| d.cam == cam && d.to.is_none());
        match (self.plant.disagreement(cam.index()), open) {
            (Some(from), None) if !full => {
                self.disagreements.push(Disagreement {
                    cam,
                    from,
                    to: None,
                });
            }
            (None, Some(open)) => open.to = Some(self.plant.end()),
            _ => {}
        }
    }
}

fn new_log(seconds: f64, plant: &Plant) -> Log {
    let every = STEP * f64::from(LOG_EVERY);
    #[allow(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "a duration chosen by a test; a float cast saturates"
    )]
    let most = (seconds.max(0.0) / every).ceil() as usize + 2;
    let mut log = Log::new(most);
    log.push(plant.truth());
    log
}

impl SampleSource for Engine {
    fn channels(&self) -> Vec<ChannelInfo> {
        self.inputs.iter().map(Converter::info).collect()
    }

    fn set_rate(&mut self, rate_hz: f64) {
        if self.made > 0 {
            let made = self.made as f64;
            self.origin += made / self.rate;
        }
        self.made = 0;
        self.rate = rate_hz;
    }

    fn fill(&mut self, count: usize, out: &mut [Vec<i16>]) {
        for _ in 0..count {
            let made = self.made as f64;
            let time = self.origin + made / self.rate;
            while time >= self.plant.end() {
                self.step();
            }
            let volts = self.leads.volts(&mut self.plant, time);
            for ((input, volts), out) in self.inputs.iter().zip(volts).zip(out.iter_mut()) {
                out.push(input.convert(volts, &mut self.noise));
            }
            self.made += 1;
        }
    }
}
