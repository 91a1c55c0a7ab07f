//! Prints how many times faster than real time the simulated engine runs at 8 × 200 kS/s on one core.
#![allow(
    clippy::print_stdout,
    reason = "printing the figure is what this example is for"
)]

use keyway_acquisition::simulator::engine::Engine;
use keyway_acquisition::simulator::scenario::{Scenario, ScenarioError};
use keyway_acquisition::simulator::source::SampleSource;
use std::time::Instant;

fn main() -> Result<(), ScenarioError> {
    const RATE: u32 = 200_000;
    const SECONDS: u32 = 20;
    let mut engine = Engine::from_scenario(&Scenario::named("default")?, 1);
    engine.set_rate(f64::from(RATE));
    let mut block = vec![Vec::new(); 8];
    let begun = Instant::now();
    for _ in 0..SECONDS * 100 {
        block.iter_mut().for_each(Vec::clear);
        engine.fill(RATE as usize / 100, &mut block);
    }
    let took = begun.elapsed().as_secs_f64();
    println!(
        "{SECONDS} s of engine at 8 x {RATE} samples/s in {took:.2} s: {:.1} times real time",
        f64::from(SECONDS) / took
    );
    Ok(())
}
