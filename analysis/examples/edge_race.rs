//! The way from edges to cam phase, and from raw samples, against the straightforward vectorised NumPy one on
//! the same capture in the same run. Checks that both say the same and prints both times and their ratio.
//!
//! `PYTHON=path/to/python cargo run --release -p keyway-analysis --example edge_race`; without the variable
//! it is `python3`, which needs the packages in `tests/reference/requirements.txt`.

#![allow(clippy::print_stdout, reason = "a benchmark prints its figures")]
#![allow(
    clippy::cast_possible_truncation,
    reason = "made samples lie well within the counts"
)]

use keyway_analysis::edge::{Edge, Thresholds, TwoState};
use keyway_analysis::engine::{EdgeKind, EngineSheet};
use keyway_analysis::rotation::{PhaseSample, Rotation};
use keyway_analysis::units::{Hertz, SampleTime};
use keyway_analysis::zero_crossing::ZeroCrossing;
use std::error::Error;
use std::f64::consts::TAU;
use std::fs;
use std::path::Path;
use std::process::Command;
use std::time::Instant;

const RATE: f64 = 200_000.0;
const SECONDS: usize = 60;
/// Samples of each lead.
const COUNT: usize = SECONDS * 200_000;
/// The slice in which the pipeline works: 1/200 s.
const SLICE: usize = 1000;
/// Counts: half of the slowest peak of the coil is far above this, the noise far below.
const FLOOR: f32 = 100.0;
const LEVELS: Thresholds = Thresholds {
    low: 800,
    mid: 1000.0,
    high: 1200,
};

/// Crank angle: 800 to 2,200 rpm and back every 20 s, with 1 % of ripple twice a turn.
fn angle(t: f64) -> f64 {
    let swing = TAU / 20.0;
    let steady = 6.0 * (1500.0 * t - 700.0 / swing * (swing * t).sin());
    steady + 0.3 * (2.0 * steady).to_radians().sin()
}

/// Advance of each cam.
fn advance(cam: usize, t: f64) -> f64 {
    match cam {
        0 => 20.0 - 20.0 * (TAU * t / 15.0).cos(),
        _ => -10.0 + 10.0 * (TAU * t / 11.0).cos(),
    }
}

/// Counts of the coil over a 60-2 wheel and of two Hall sensors, with noise.
fn capture(sheet: &EngineSheet) -> Vec<Vec<i16>> {
    let mut leads = vec![Vec::new(); 3];
    let mut seed = 1_u32;
    let mut noise = || {
        seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        f64::from(seed >> 8) / f64::from(1 << 24) - 0.5
    };
    let mut before = angle(-1.0 / RATE);
    for i in 0..COUNT {
        let t = i as f64 / RATE;
        let here = angle(t);
        let (step, place) = (
            here - before,
            (here + sheet.crank.gap_to_tdc.0).rem_euclid(360.0),
        );
        before = here;
        let tooth = (place / 6.0).round();
        // The sine of one pitch about each tooth, as steep as the wheel is fast.
        let coil = if (58.0..60.0).contains(&tooth) {
            0.0
        } else {
            -40_000.0 * step * (TAU * (place / 6.0 - tooth)).sin()
        };
        leads[0].push((coil + 10.0 * noise()).round() as i16);
        for (k, cam) in sheet.cams.iter().enumerate() {
            let at = here + advance(k, t);
            // Edges about two samples long, so that they can be timed between samples.
            let inside = cam.windows.iter().fold(-360.0_f64, |most, [a, b]| {
                let x = (at - a).rem_euclid(720.0);
                most.max(if x < 0.5 * (b - a) + 360.0 {
                    x.min(b - a - x)
                } else {
                    x - 720.0
                })
            });
            let share = (0.5 + inside / (2.0 * step)).clamp(0.0, 1.0);
            leads[k + 1].push((2000.0 * share + 10.0 * noise()).round() as i16);
        }
    }
    leads
}

/// Edges of each lead, slice by slice, with where each slice's edges end.
#[derive(Default)]
struct Found {
    edges: [Vec<Edge>; 3],
    ends: Vec<[usize; 3]>,
}

fn edges_of(sheet: &EngineSheet, leads: &[Vec<i16>]) -> Found {
    let mut found = Found::default();
    let mut coil = ZeroCrossing::new(sheet.crank.active_edge, FLOOR, Hertz(RATE));
    let mut cams = [TwoState::default(), TwoState::default()];
    for first in (0..leads[0].len()).step_by(SLICE) {
        let part = |k: usize| &leads[k][first..(first + SLICE).min(leads[k].len())];
        coil.push(first as u64, part(0), &mut found.edges[0]);
        for (k, cam) in cams.iter_mut().enumerate() {
            cam.push(first as u64, part(k + 1), LEVELS, &mut found.edges[k + 1]);
        }
        found.ends.push([0, 1, 2].map(|k| found.edges[k].len()));
    }
    found
}

fn phases_of(sheet: &EngineSheet, found: &Found) -> Vec<PhaseSample> {
    let mut rotation = Rotation::new(sheet, Hertz(RATE)).expect("the sheet in the assets");
    let mut phases = Vec::new();
    let mut from = [0; 3];
    for (slice, to) in found.ends.iter().enumerate() {
        let part = |k: usize| &found.edges[k][from[k]..to[k]];
        part(0).iter().for_each(|&e| rotation.push_crank(e));
        for k in [1, 2] {
            part(k).iter().for_each(|&e| rotation.push_cam(k - 1, e));
        }
        rotation.settle(SampleTime(((slice + 1) * SLICE) as f64));
        phases.extend(rotation.drain_phase_samples());
        let _: usize = rotation.drain_revolutions().count();
        from = *to;
    }
    phases
}

/// The shortest of five runs, in seconds: what else the machine does only ever adds.
fn best<T>(mut run: impl FnMut() -> T) -> (f64, T) {
    let mut once = || {
        let start = Instant::now();
        let value = run();
        (start.elapsed().as_secs_f64(), value)
    };
    (0..4).fold(once(), |a, _| {
        let b = once();
        if b.0 < a.0 { b } else { a }
    })
}

/// Each cam's phases: instant, reference edge, phase, as little-endian 64-bit floats.
fn bytes(phases: &[PhaseSample], cam: usize) -> Vec<u8> {
    let own = phases.iter().filter(|p| p.cam == cam);
    own.flat_map(|p| [p.at.0, p.edge as f64, p.phase.0])
        .flat_map(f64::to_le_bytes)
        .collect()
}

fn main() -> Result<(), Box<dyn Error>> {
    let sheet = EngineSheet::from_toml(include_str!("../../app/assets/sheets/light-van.toml"))?;
    assert_eq!(sheet.crank.active_edge, EdgeKind::Falling, "as made here");
    let leads = capture(&sheet);
    let folder = std::env::temp_dir().join(format!("keyway-edge-race-{}", std::process::id()));
    fs::create_dir_all(&folder)?;
    let outcome = race(&sheet, &leads, &folder);
    fs::remove_dir_all(&folder)?;
    outcome
}

fn race(sheet: &EngineSheet, leads: &[Vec<i16>], folder: &Path) -> Result<(), Box<dyn Error>> {
    let (samples_to_edges, found) = best(|| edges_of(sheet, leads));
    let (edges_to_phase, phases) = best(|| phases_of(sheet, &found));
    for (k, lead) in leads.iter().enumerate() {
        let raw: Vec<u8> = lead.iter().flat_map(|x| x.to_le_bytes()).collect();
        fs::write(folder.join(format!("lead{k}.i16")), raw)?;
    }
    for k in 0..sheet.cams.len() {
        fs::write(folder.join(format!("cam{k}.f64")), bytes(&phases, k))?;
    }
    let windows: Vec<_> = sheet.cams.iter().map(|c| &c.windows).collect();
    let race = format!(
        "{{\"rate\": {RATE}, \"gap_to_tdc\": {}, \"windows\": {windows:?}, \
         \"samples_to_edges\": {samples_to_edges}, \"edges_to_phase\": {edges_to_phase}}}",
        sheet.crank.gap_to_tdc.0
    );
    fs::write(folder.join("race.json"), race)?;
    let python = std::env::var("PYTHON").unwrap_or_else(|_| "python3".to_owned());
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("../tests/reference/edge_race.py");
    let output = Command::new(&python).arg(script).arg(folder).output()?;
    println!("{}", String::from_utf8_lossy(&output.stdout).trim_end());
    if output.status.success() {
        Ok(())
    } else {
        Err(format!("{python}: {}", String::from_utf8_lossy(&output.stderr)).into())
    }
}
