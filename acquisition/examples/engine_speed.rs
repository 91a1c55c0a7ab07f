//! Prints how many times faster than real time the simulated engine runs on one core, by inputs and sample rate.
//! Counted in the processor's time where the system tells it (Linux), so that a busy machine shows the same.
#![allow(
    clippy::print_stdout,
    reason = "printing the figures is what this example is for"
)]

use keyway_acquisition::simulator::engine::Engine;
use keyway_acquisition::simulator::scenario::{Scenario, ScenarioError};
use keyway_acquisition::simulator::source::SampleSource;
use std::time::Instant;

/// Seconds of engine for each figure.
const SECONDS: u32 = 10;

fn times(inputs: usize, rate: u32) -> Result<f64, ScenarioError> {
    let mut engine = Engine::from_scenario(&Scenario::named("default")?, 1).with_inputs(inputs);
    engine.set_rate(f64::from(rate));
    let mut block = vec![Vec::new(); inputs];
    let begun = Instant::now();
    let used = processor_seconds();
    for _ in 0..SECONDS * 100 {
        block.iter_mut().for_each(Vec::clear);
        engine.fill(rate as usize / 100, &mut block);
    }
    let took = match (used, processor_seconds()) {
        (Some(before), Some(after)) => after - before,
        _ => begun.elapsed().as_secs_f64(),
    };
    Ok(f64::from(SECONDS) / took)
}

/// Time this thread has had a processor to itself.
fn processor_seconds() -> Option<f64> {
    let text = std::fs::read_to_string("/proc/thread-self/schedstat").ok()?;
    let nanoseconds: f64 = text.split_whitespace().next()?.parse().ok()?;
    Some(nanoseconds / 1e9)
}

fn main() -> Result<(), ScenarioError> {
    println!("times real time    20 kS/s    50 kS/s   200 kS/s");
    for inputs in [3, 6, 8] {
        let mut line = format!("{inputs} inputs        ");
        for rate in [20_000, 50_000, 200_000] {
            // The best of three: what else runs on the machine only ever takes away.
            let mut best = 0.0_f64;
            for _ in 0..3 {
                best = best.max(times(inputs, rate)?);
            }
            line += &format!("{best:11.1}");
        }
        println!("{line}");
    }
    Ok(())
}
