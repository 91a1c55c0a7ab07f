//! How much faster than real time the pipeline is: eight leads at 200 kS/s on one core, blocks of 1/100 s,
//! a snapshot 30 times a second as the screen takes them.
#![allow(clippy::print_stdout, reason = "a benchmark prints its figures")]
#![allow(
    clippy::cast_possible_truncation,
    reason = "made samples lie well within the counts"
)]

use keyway_analysis::calibration::Input;
use keyway_analysis::engine::EngineSheet;
use keyway_analysis::lead::LeadPlan;
use keyway_analysis::pipeline::Pipeline;
use keyway_analysis::units::{Hertz, Seconds};
use std::hint::black_box;
use std::time::Instant;

const RATE: usize = 200_000;
const SECONDS: usize = 60;
const BLOCK: usize = RATE / 100;

/// One second of a van's eight leads at `rpm`, a whole number of cycles so that it can be repeated.
fn second(sheet: &EngineSheet, rpm: f64) -> Vec<Vec<i16>> {
    let mut noise = 1_u64;
    let mut out = vec![Vec::new(); 8];
    for i in 0..RATE {
        let t = i as f64 / RATE as f64;
        let angle = (6.0 * rpm * t).rem_euclid(720.0);
        let turn = (angle + sheet.crank.gap_to_tdc.0).rem_euclid(360.0);
        let near = (turn / 6.0).round();
        let crank = if (58.0..60.0).contains(&near) {
            0.0
        } else {
            -5.0 * (std::f64::consts::TAU * (turn - 6.0 * near) / 6.0).sin()
        };
        let cam = |k: usize| {
            let high = sheet.cams[k]
                .windows
                .iter()
                .any(|[a, b]| (angle - a).rem_euclid(720.0) < b - a);
            if high { 5.0 } else { 0.2 }
        };
        let pin = |duty: f64, hertz: f64| {
            let x = (t * hertz).fract();
            if x < duty {
                0.4
            } else if (x - duty) / hertz < 2e-4 {
                53.0
            } else {
                13.7
            }
        };
        let volts = [
            crank,
            cam(0),
            cam(1),
            pin(0.45, 200.0),
            pin(0.55, 250.0),
            13.7,
            0.05,
            0.0,
        ];
        for (lead, v) in out.iter_mut().zip(volts) {
            noise = noise
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            lead.push((v * 400.0 + (noise >> 61) as f64 - 4.0).round() as i16);
        }
    }
    out
}

/// Time that this thread has had on a processor, where the system tells (Linux); else the wall clock's.
/// On a busy machine only the former says something of the program.
struct Clock {
    wall: Instant,
    processor: Option<f64>,
}

impl Clock {
    fn now() -> Self {
        Self {
            wall: Instant::now(),
            processor: Self::processor(),
        }
    }

    /// First figure of `schedstat`: nanoseconds.
    fn processor() -> Option<f64> {
        // Giving way brings the account up to date.
        std::thread::yield_now();
        let text = std::fs::read_to_string("/proc/thread-self/schedstat").ok()?;
        Some(text.split_whitespace().next()?.parse::<f64>().ok()? * 1e-9)
    }

    fn seconds(&self) -> f64 {
        match (self.processor, Self::processor()) {
            (Some(a), Some(b)) => b - a,
            _ => self.wall.elapsed().as_secs_f64(),
        }
    }
}

fn main() {
    let sheet = EngineSheet::from_toml(include_str!("../../app/assets/sheets/light-van.toml"))
        .expect("sheet");
    let plan = LeadPlan::from_toml(include_str!("../../app/assets/sheets/light-van-leads.toml"))
        .expect("plan");
    let inputs: Vec<Input> = (1..=8)
        .map(|number| Input {
            number,
            scale: 1.0 / 400.0,
            offset: 0.0,
            low: -80.0,
            high: 80.0,
            unit: "V".to_owned(),
        })
        .collect();
    for rpm in [840.0, 3000.0, 6480.0] {
        let samples = second(&sheet, rpm);
        let run = |looks: bool| {
            let mut pipeline =
                Pipeline::new(&sheet, &plan, &inputs, Hertz(RATE as f64)).expect("pipeline");
            let began = Clock::now();
            for s in 0..SECONDS {
                for b in 0..100 {
                    let at = b * BLOCK;
                    let refs: Vec<&[i16]> = samples.iter().map(|c| &c[at..at + BLOCK]).collect();
                    pipeline.push((s * RATE + at) as u64, &refs);
                    if looks && b % 3 == 0 {
                        let _ = black_box(pipeline.snapshot());
                        let _ = black_box(pipeline.traces(Seconds(0.1), 1500));
                    }
                }
            }
            (SECONDS as f64 / began.seconds(), pipeline.snapshot())
        };
        let (pushing, _) = run(false);
        let (whole, state) = run(true);
        println!(
            "{rpm:5.0} rpm ({:?}, {:.1} rpm measured): push {pushing:.0} times real time, with snapshots and traces at 33 Hz {whole:.0} times",
            state.sync,
            state.speed.any().map_or(f64::NAN, |s| s.0),
        );
    }
}
