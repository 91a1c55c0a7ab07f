//! Prints the truth of a scenario as CSV, one line each 20 ms: `engine_truth [SCENARIO [SECONDS [SEED]]]`.
//! With a fourth argument RATE, prints the eight inputs in volts at that rate instead.
#![allow(
    clippy::print_stdout,
    reason = "printing the figures is what this example is for"
)]

use keyway_acquisition::simulator::engine::Engine;
use keyway_acquisition::simulator::scenario::Scenario;
use keyway_acquisition::simulator::source::SampleSource;
use std::error::Error;

fn main() -> Result<(), Box<dyn Error>> {
    let argument = |n: usize| std::env::args().nth(n);
    let name = argument(1).unwrap_or_else(|| "default".to_owned());
    let seconds: u32 = argument(2).map_or(Ok(30), |s| s.parse())?;
    let seed = argument(3).map_or(Ok(1), |s| s.parse())?;
    let mut engine = Engine::from_scenario(&Scenario::named(&name)?, seed);
    let mut block = vec![Vec::new(); 8];
    if let Some(rate) = argument(4) {
        let rate: u32 = rate.parse()?;
        engine.set_rate(f64::from(rate));
        let infos = engine.channels();
        println!("crank,intake,exhaust,command intake,command exhaust,supply,current,spare");
        for _ in 0..seconds * rate {
            block.iter_mut().for_each(Vec::clear);
            engine.fill(1, &mut block);
            let line: Vec<String> = (block.iter().zip(&infos))
                .map(|(b, i)| format!("{:.4}", f64::from(b[0]) * i.scale + i.offset))
                .collect();
            println!("{}", line.join(","));
        }
        return Ok(());
    }
    engine.set_rate(10_000.0);
    println!(
        "time,angle,rpm,map,oil,supply,phase_in,target_in,duty_in,hold_in,phase_ex,target_ex,duty_ex,hold_ex,dis_in,dis_ex"
    );
    for _ in 0..seconds * 50 {
        block.iter_mut().for_each(Vec::clear);
        engine.fill(200, &mut block);
        let t = engine.truth();
        print!(
            "{:.3},{:.2},{:.1},{:.1},{:.1},{:.2}",
            t.time,
            t.crank_angle(),
            t.rpm,
            t.manifold,
            t.oil,
            t.supply
        );
        for c in &t.cams {
            print!(
                ",{:.3},{:.2},{:.2},{:.2}",
                c.phase, c.target, c.delivered_duty, c.hold_duty
            );
        }
        println!(",{},{}", t.cams[0].disagrees, t.cams[1].disagrees);
    }
    for (fault, onset) in engine.onsets() {
        eprintln!("{fault:?}: {onset:?}");
    }
    for d in engine.disagreements() {
        eprintln!("{d:?}");
    }
    Ok(())
}
