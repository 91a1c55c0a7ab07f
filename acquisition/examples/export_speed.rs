//! Prints how fast a recording is exported in each form, how large the files are, and the memory that
//! takes: so many seconds of the simulated engine (60 without a number), eight inputs at 200 kS/s.
//! Each form is written by a process of its own, so that its memory is its own.
//! Counted in the processor's time where the system tells it (Linux), so that a busy machine shows the same.
#![allow(
    clippy::print_stdout,
    reason = "printing the figures is what this example is for"
)]

use keyway_acquisition::block::{DeviceInfo, SampleBlock, StreamInfo};
use keyway_acquisition::export::{Form, Lead, Watch, Wish, run};
use keyway_acquisition::recording::header::RecordingHeader;
use keyway_acquisition::recording::reader::Recording;
use keyway_acquisition::recording::writer::Recorder;
use keyway_acquisition::simulator::engine::Engine;
use keyway_acquisition::simulator::scenario::Scenario;
use keyway_acquisition::simulator::source::SampleSource;
use std::error::Error;
use std::path::Path;
use std::process::Command;
use std::sync::atomic::AtomicBool;

/// Samples a second and input.
const RATE: u32 = 200_000;
/// Inputs.
const INPUTS: usize = 8;
/// Samples in a block.
const BLOCK: u32 = 4_000;

/// Forms, with counts or values.
const FORMS: [(&str, Form, bool); 4] = [
    ("Parquet, values", Form::Parquet, false),
    ("Parquet, counts", Form::Parquet, true),
    ("CSV", Form::Csv, false),
    ("WAV", Form::Wav, false),
];

fn main() -> Result<(), Box<dyn Error>> {
    let words: Vec<String> = std::env::args().skip(1).collect();
    if let [file, form] = &words[..] {
        return export(Path::new(file), form.parse()?);
    }
    let seconds: u32 = words.first().map_or(Ok(60), |word| word.parse())?;
    let folder = std::env::temp_dir().join(format!("keyway-export-{}", std::process::id()));
    std::fs::create_dir_all(&folder)?;
    let file = folder.join("a.mcap");
    let measured = record(&file, seconds).and_then(|()| {
        println!(
            "{seconds} s, {INPUTS} inputs at {RATE} samples a second: {:.0} MB as bare counts, {:.0} MB recorded",
            f64::from(seconds * RATE) * INPUTS as f64 * 2.0 / 1e6,
            std::fs::metadata(&file)?.len() as f64 / 1e6
        );
        for form in 0..FORMS.len() {
            let own = std::env::current_exe()?;
            let status = Command::new(own).arg(&file).arg(form.to_string()).status()?;
            if !status.success() {
                return Err("an export failed".into());
            }
        }
        Ok(())
    });
    std::fs::remove_dir_all(&folder)?;
    measured
}

fn record(file: &Path, seconds: u32) -> Result<(), Box<dyn Error>> {
    let mut engine = Engine::from_scenario(&Scenario::named("default")?, 1).with_inputs(INPUTS);
    engine.set_rate(f64::from(RATE));
    let mut recorder = Recorder::create(file, &RecordingHeader::default())?;
    recorder.stream(&StreamInfo {
        device: DeviceInfo {
            maker: "Invented".to_owned(),
            model: "Bench Eight".to_owned(),
            serial: String::new(),
            firmware: String::new(),
            channels: engine.channels(),
            max_rate_hz: f64::from(RATE),
        },
        generation: 1,
        rate_hz: f64::from(RATE),
        enabled: (0..INPUTS).collect(),
    })?;
    for i in 0..seconds * RATE / BLOCK {
        let mut channels = vec![Vec::new(); INPUTS];
        engine.fill(BLOCK as usize, &mut channels);
        recorder.block(&SampleBlock {
            generation: 1,
            first_index: u64::from(i * BLOCK),
            channels,
        })?;
    }
    let _bytes = recorder.finish()?;
    Ok(())
}

fn export(file: &Path, form: usize) -> Result<(), Box<dyn Error>> {
    let (name, form, counts) = FORMS[form];
    let recording = Recording::open(file)?;
    let out = file.with_extension(form.ending());
    let wish = Wish {
        form,
        leads: (1..=INPUTS)
            .map(|input| Lead {
                input,
                role: String::new(),
                factor: 1.0,
                unit: None,
            })
            .collect(),
        span: 0.0..f64::INFINITY,
        stream: None,
        counts,
        replace: true,
        software: "export_speed".to_owned(),
    };
    let watch = Watch {
        progress: &|_| {},
        stop: &AtomicBool::new(false),
    };
    let summary = run(&recording, &wish, &out, watch)?;
    let took = processor_seconds().unwrap_or(f64::NAN);
    println!(
        "{name:16} {:6.1} s of processor, {:5.1} million values/s, {:5.0} MB; {}",
        took,
        summary.samples as f64 * INPUTS as f64 / took / 1e6,
        summary.bytes as f64 / 1e6,
        memory()
    );
    std::fs::remove_file(out)?;
    Ok(())
}

/// Time this thread has had a processor to itself.
fn processor_seconds() -> Option<f64> {
    let text = std::fs::read_to_string("/proc/thread-self/schedstat").ok()?;
    let nanoseconds: f64 = text.split_whitespace().next()?.parse().ok()?;
    Some(nanoseconds / 1e9)
}

/// The most memory this process ever held, where the system tells.
fn memory() -> String {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let peak = status
        .lines()
        .find_map(|line| line.strip_prefix("VmHWM:"))
        .map_or("unknown", str::trim);
    format!("peak memory {peak}")
}
