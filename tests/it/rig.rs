//! A simulated engine wired straight to the analysis, with the truth at hand.

use crate::engines;
use keyway_acquisition::simulator::engine::Engine;
use keyway_acquisition::simulator::scenario::Scenario;
use keyway_acquisition::simulator::script::Segment;
use keyway_acquisition::simulator::source::SampleSource;
use keyway_analysis::engine::EngineSheet;
use keyway_analysis::pipeline::Pipeline;
use keyway_analysis::units::Hertz;

/// Samples per block, as many as a scope usually sends in a frame.
pub const BLOCK: usize = 512;

/// Engine and analysis side by side.
pub struct Rig {
    pub engine: Engine,
    pub pipeline: Pipeline,
    pub rate: f64,
    buffers: Vec<Vec<i16>>,
}

impl Rig {
    /// Keeps the truth of the last `kept` seconds.
    pub fn new(scenario: &Scenario, seed: u64, rate: f64, kept: f64) -> Self {
        Self::wired(scenario, seed, rate, kept, 8)
    }

    /// Crank and cams only, which cost less.
    pub fn of_wheels(scenario: &Scenario, seed: u64, rate: f64, kept: f64) -> Self {
        Self::wired(scenario, seed, rate, kept, 3)
    }

    /// With a sheet that need not be right in every figure.
    pub fn told(scenario: &Scenario, seed: u64, rate: f64, kept: f64, sheet: &EngineSheet) -> Self {
        Self::with(scenario, seed, rate, kept, 8, sheet)
    }

    fn wired(scenario: &Scenario, seed: u64, rate: f64, kept: f64, inputs: usize) -> Self {
        let sheet = engines::sheet(&scenario.engine);
        Self::with(scenario, seed, rate, kept, inputs, &sheet)
    }

    fn with(
        scenario: &Scenario,
        seed: u64,
        rate: f64,
        kept: f64,
        inputs: usize,
        sheet: &EngineSheet,
    ) -> Self {
        let mut engine = Engine::from_scenario(scenario, seed)
            .with_truth(kept)
            .with_inputs(inputs);
        engine.set_rate(rate);
        let channels = engine.channels();
        let pipeline = Pipeline::new(
            sheet,
            &engines::plan_for(&scenario.engine),
            &engines::inputs(&channels),
            Hertz(rate),
        )
        .expect("sheet and plan fit");
        Self {
            engine,
            pipeline,
            rate,
            buffers: vec![Vec::with_capacity(BLOCK); channels.len()],
        }
    }

    /// Runs for some seconds and looks after each block.
    pub fn run(&mut self, seconds: f64, mut look: impl FnMut(&mut Pipeline, &Engine)) {
        let start = self.engine.made();
        while ((self.engine.made() - start) as f64) < seconds * self.rate {
            let first = self.make(BLOCK);
            let planes: Vec<&[i16]> = self.buffers.iter().map(Vec::as_slice).collect();
            self.pipeline.push(first, &planes);
            look(&mut self.pipeline, &self.engine);
        }
    }

    /// The next samples are made and lost: the stream has a gap.
    pub fn lose(&mut self, samples: usize) {
        let _ = self.make(samples);
    }

    fn make(&mut self, samples: usize) -> u64 {
        let first = self.engine.made();
        self.buffers.iter_mut().for_each(Vec::clear);
        self.engine.fill(samples, &mut self.buffers);
        first
    }
}

/// A scenario with the driver doing this and nothing else, for ever.
pub fn driven(name: &str, driver: Vec<Segment>) -> Scenario {
    let mut scenario = Scenario::named(name).expect("an embedded scenario");
    scenario.driver = driver;
    scenario.repeat_from = None;
    scenario
}

/// Held by a dynamometer at one speed.
pub fn fixed(name: &str, rpm: f64) -> Scenario {
    driven(name, vec![Segment::Fixed { rpm, seconds: 1e6 }])
}

/// Mean and 95th percentile of the absolute values.
pub fn spread(errors: &[f64]) -> (f64, f64) {
    let mean = errors.iter().sum::<f64>() / errors.len() as f64;
    let mut sizes: Vec<f64> = errors.iter().map(|e| e.abs()).collect();
    sizes.sort_by(f64::total_cmp);
    (mean, sizes[(sizes.len() * 95 / 100).min(sizes.len() - 1)])
}
