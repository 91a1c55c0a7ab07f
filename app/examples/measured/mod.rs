//! Moments that were measured: the simulated engine's samples through the real analysis, so that
//! the pictures show what a user sees, to the last figure.

use crate::sample::{self, Moment};
use keyway_acquisition::simulator::engine::Engine;
use keyway_acquisition::simulator::scenario::Scenario;
use keyway_acquisition::simulator::source::SampleSource;
use keyway_analysis::calibration::Input;
use keyway_analysis::lead::LeadPlan;
use keyway_analysis::pipeline::Pipeline;
use keyway_analysis::units::{Hertz, Seconds};
use std::error::Error;
use std::sync::Arc;

/// Samples a second; enough for every signal, and half the work of the usual rate.
const RATE: f64 = 100_000.0;

/// Samples handed over at a time.
const BLOCK: usize = 5_000;

/// The same engine every time.
const SEED: u64 = 7;

/// What the screen shows after `seconds` of a scenario, with this wheel in the engine sheet.
pub fn measured(
    name: &'static str,
    scenario: &str,
    seconds: f64,
    wheel: &str,
) -> Result<Moment, Box<dyn Error>> {
    let mut sheet = sample::sheet();
    wheel.clone_into(&mut sheet.crank.wheel);
    let plan = LeadPlan::from_toml(include_str!("../../assets/sheets/light-van-leads.toml"))?;
    let mut engine = Engine::from_scenario(&Scenario::named(scenario)?, SEED);
    engine.set_rate(RATE);
    let described = engine.channels();
    let inputs: Vec<_> = described
        .iter()
        .enumerate()
        .map(|(i, channel)| Input {
            number: i + 1,
            scale: channel.scale,
            offset: channel.offset,
            low: channel.low,
            high: channel.high,
            unit: channel.unit.clone(),
        })
        .collect();
    let mut pipeline = Pipeline::new(&sheet, &plan, &inputs, Hertz(RATE))?;
    let mut block: Vec<Vec<i16>> = vec![Vec::new(); described.len()];
    let mut first = 0;
    while (first as f64) < seconds * RATE {
        for channel in &mut block {
            channel.clear();
        }
        engine.fill(BLOCK, &mut block);
        let channels: Vec<&[i16]> = block.iter().map(Vec::as_slice).collect();
        pipeline.push(first, &channels);
        first += BLOCK as u64;
    }
    Ok(Moment {
        name,
        sheet,
        snapshot: Arc::new(pipeline.snapshot()),
        traces: Arc::new(pipeline.traces(Seconds(0.1), 960)),
        locked: Arc::new(pipeline.crank_locked(960).unwrap_or_default()),
    })
}
