//! Records a long session of eight inputs at 200 kS/s from the simulated engine, reads it again, and
//! prints what it costs: room on the disk, time until it is seen, time of every zoom, memory.
//!
//! `cargo run --release -p keyway-acquisition --example overview_hour -- FOLDER [MINUTES]`. An hour
//! takes about 5 GB. A recording that the folder holds already is only looked at; nothing is deleted.
#![allow(
    clippy::print_stdout,
    reason = "printing the figures is what this example is for"
)]

use keyway_acquisition::block::{DeviceInfo, SampleBlock, StreamInfo};
use keyway_acquisition::recording::header::RecordingHeader;
use keyway_acquisition::recording::lens::{Absence, Lens};
use keyway_acquisition::recording::overview::{self, Watch};
use keyway_acquisition::recording::reader::Recording;
use keyway_acquisition::recording::writer::Recorder;
use keyway_acquisition::simulator::engine::Engine;
use keyway_acquisition::simulator::scenario::Scenario;
use keyway_acquisition::simulator::source::SampleSource;
use std::error::Error;
use std::path::{Path, PathBuf};
use std::sync::atomic::AtomicBool;
use std::time::Instant;

const INPUTS: usize = 8;
const RATE: u32 = 200_000;
/// Samples of a block, about what the link hands over.
const BLOCK: usize = 500;
/// Blocks in 0.2 s, after which the recorder of a live session has flushed.
const FLUSH: u64 = 80;
/// Blocks that the engine makes before they are written again and again: 30 s.
const MADE: usize = 12_000;
const COLUMNS: usize = 1_500;

type Blocks = Vec<Vec<Vec<i16>>>;

fn main() -> Result<(), Box<dyn Error>> {
    let mut arguments = std::env::args().skip(1);
    let folder = arguments.next().ok_or("which folder?")?;
    let minutes: u64 = arguments.next().map_or(Ok(60), |text| text.parse())?;
    let path = PathBuf::from(folder).join("overview_hour.mcap");
    if !path.exists() {
        make(&path, minutes)?;
    }
    println!("the finished file, its pages in memory as far as the system keeps them");
    forget_peak();
    first_view(&path)?;
    zooms(&path)?;
    println!("peak memory of all this        {}", peak());
    without_overview(&path)?;
    Ok(())
}

/// Writes the recording, looks at it before it is finished, and compares it sample by sample.
fn make(path: &Path, minutes: u64) -> Result<(), Box<dyn Error>> {
    let mut engine = Engine::from_scenario(&Scenario::named("default")?, 1).with_inputs(INPUTS);
    engine.set_rate(f64::from(RATE));
    let blocks: Blocks = (0..MADE)
        .map(|_| {
            let mut block = vec![Vec::new(); INPUTS];
            engine.fill(BLOCK, &mut block);
            block
        })
        .collect();
    let header = RecordingHeader {
        started_ns: 1_790_000_000_000_000_000,
        ..RecordingHeader::default()
    };
    let mut recorder = Recorder::create(path, &header)?;
    recorder.stream(&StreamInfo {
        device: DeviceInfo {
            maker: "Invented".to_owned(),
            model: "Bench Eight".to_owned(),
            serial: String::new(),
            firmware: "1".to_owned(),
            channels: engine.channels(),
            max_rate_hz: f64::from(RATE),
        },
        generation: 0,
        rate_hz: f64::from(RATE),
        enabled: (0..INPUTS).collect(),
    })?;
    let count = minutes * 60 * u64::from(RATE) / BLOCK as u64;
    let begun = Instant::now();
    for (number, channels) in (0..count).zip(blocks.iter().cycle()) {
        recorder.block(&SampleBlock {
            generation: 0,
            first_index: number * BLOCK as u64,
            channels: channels.clone(),
        })?;
        if number % FLUSH == FLUSH - 1 {
            recorder.flush()?;
        }
    }
    let took = begun.elapsed().as_secs_f64();
    println!("{minutes} minutes of {INPUTS} inputs at {RATE} S/s, recorded in {took:.0} s");
    println!("the file before it is finished");
    first_view(path)?;
    let bytes = recorder.finish()?;
    let raw = count * (BLOCK * INPUTS * 2) as u64;
    let side = std::fs::metadata(overview::path_of(path))?.len();
    println!("raw samples                    {:9.1} MB", megabytes(raw));
    println!(
        "recording                      {:9.1} MB, {:.2} times smaller",
        megabytes(bytes),
        raw as f64 / bytes as f64
    );
    println!(
        "overview                       {:9.1} MB, {:.2} % of the recording",
        megabytes(side),
        100.0 * side as f64 / bytes as f64
    );
    compare(path, &blocks, count)
}

fn compare(path: &Path, blocks: &Blocks, count: u64) -> Result<(), Box<dyn Error>> {
    let begun = Instant::now();
    let mut written = (0..count).zip(blocks.iter().cycle());
    for block in Recording::open(path)?.blocks()? {
        let block = block?;
        let (number, channels) = written.next().ok_or("more blocks than were written")?;
        if block.first_index != number * BLOCK as u64 || block.channels != *channels {
            return Err(format!("block {number} is not as it was written").into());
        }
    }
    if written.next().is_some() {
        return Err("fewer blocks than were written".into());
    }
    let took = begun.elapsed().as_secs_f64();
    println!("every sample reads as it was written; read in {took:.0} s");
    Ok(())
}

/// From nothing to the whole recording at a glance.
fn first_view(path: &Path) -> Result<(), Box<dyn Error>> {
    let mut all = Vec::new();
    for _ in 0..5 {
        let begun = Instant::now();
        let recording = Recording::open(path)?;
        let opened = begun.elapsed().as_secs_f64();
        let mut lens = Lens::open(&recording)?;
        let ready = begun.elapsed().as_secs_f64();
        let sight = lens.look(0.0, recording.duration().as_secs_f64(), COLUMNS)?;
        let seen = begun.elapsed().as_secs_f64();
        all.push([opened, ready - opened, seen - ready, seen]);
        if sight.inputs.len() != INPUTS || !sight.missing.is_empty() {
            return Err(format!("not all is seen: {:?}", sight.missing).into());
        }
    }
    all.sort_by(|a, b| a[3].total_cmp(&b[3]));
    let [opened, lens, look, whole] = all[all.len() / 2].map(|s| 1e3 * s);
    println!(
        "opened and seen as a whole     {whole:9.1} ms: file {opened:.1}, overview {lens:.1}, first look {look:.1}; slowest of five {:.1} ms",
        1e3 * all[all.len() - 1][3]
    );
    Ok(())
}

fn zooms(path: &Path) -> Result<(), Box<dyn Error>> {
    let recording = Recording::open(path)?;
    let mut lens = Lens::open(&recording)?;
    let whole = recording.duration().as_secs_f64();
    println!("one redraw of {COLUMNS} columns and {INPUTS} inputs, at 15 places each");
    let mut span = whole;
    while span > 0.001 {
        let mut all = Vec::new();
        for place in 0..15 {
            let from = (whole - span) * f64::from(place) / 14.0;
            let begun = Instant::now();
            let sight = lens.look(from, from + span, COLUMNS)?;
            all.push(1e3 * begun.elapsed().as_secs_f64());
            if sight.inputs.len() != INPUTS {
                return Err("an input is not seen".into());
            }
        }
        all.sort_by(f64::total_cmp);
        println!(
            "  {span:11.4} s                {:9.1} ms, slowest {:.1} ms",
            all[all.len() / 2],
            all[all.len() - 1]
        );
        span /= 2.0;
    }
    Ok(())
}

/// Without an overview: what is seen at once, and how long it takes to make one.
fn without_overview(path: &Path) -> Result<(), Box<dyn Error>> {
    let recording = Recording::open(path)?;
    let nowhere = path.with_extension("none");
    let whole = recording.duration().as_secs_f64();
    let mut lens = Lens::open_with(&recording, &nowhere)?;
    println!("without its overview");
    for span in [whole, 60.0, 10.0, 1.0, 0.01] {
        let begun = Instant::now();
        let mut looks = 0;
        let mut slowest = 0.0_f64;
        let share = loop {
            let one = Instant::now();
            let sight = lens.look(whole / 3.0, whole / 3.0 + span, COLUMNS)?;
            slowest = slowest.max(1e3 * one.elapsed().as_secs_f64());
            looks += 1;
            let unread = sight.missing.iter().filter(|m| m.why == Absence::NotRead);
            let unread: f64 = unread
                .map(|m| m.to.min(sight.to) - m.from.max(sight.from))
                .sum();
            if unread <= 0.0 || looks == 40 {
                break 1.0 - unread / (sight.to - sight.from).min(whole * 2.0 / 3.0);
            }
        };
        println!(
            "  {span:11.4} s                {:5.1} % seen after {looks} looks and {:.0} ms, slowest look {slowest:.1} ms",
            100.0 * share.max(0.0),
            1e3 * begun.elapsed().as_secs_f64()
        );
    }
    println!("peak memory of all this        {}", peak());
    forget_peak();
    let again = path.with_extension("again");
    let watch = Watch {
        progress: &|_| {},
        stop: &AtomicBool::new(false),
    };
    let begun = Instant::now();
    overview::rebuild_as(&recording, &again, watch)?;
    println!(
        "made again in                  {:9.1} s, peak memory {}",
        begun.elapsed().as_secs_f64(),
        peak()
    );
    std::fs::remove_file(again)?;
    Ok(())
}

fn megabytes(bytes: u64) -> f64 {
    bytes as f64 / 1e6
}

/// Most memory this process has held, where the system tells it (Linux).
fn peak() -> String {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|l| l.strip_prefix("VmHWM:"));
    line.map_or("not known".to_owned(), |text| text.trim().to_owned())
}

/// Begins to count the most memory again.
fn forget_peak() {
    // Where this is not possible the figure is that of the whole run, which is larger.
    drop(std::fs::write("/proc/self/clear_refs", "5"));
}
