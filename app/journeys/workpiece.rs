//! Recordings to work on, made from the simulated engine without waiting for it.

use keyway::review::course::side_file;
use keyway::setup::Setup;
use keyway_acquisition::block::{DeviceInfo, SampleBlock, StreamInfo};
use keyway_acquisition::recording::header::RecordingHeader;
use keyway_acquisition::recording::writer::Recorder;
use keyway_acquisition::simulator::engine::Engine;
use keyway_acquisition::simulator::scenario::Scenario;
use keyway_acquisition::simulator::source::SampleSource;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};

/// Samples a second; enough for every signal, and half the work of the usual rate.
const RATE: f64 = 100_000.0;
/// Samples handed over at a time.
const BLOCK: usize = 5_000;
/// Samples per channel that a gap takes.
const GAP: usize = 1_000;

/// What to record.
pub struct Workpiece {
    /// Scenario.
    pub scenario: &'static str,
    /// Further faults, as TOML.
    pub faults: &'static str,
    /// Seconds of each stream.
    pub seconds: f64,
    /// Seconds after which samples are lost in each stream.
    pub gap: Option<f64>,
    /// Streams, one after another as after a reconnection.
    pub streams: u64,
    /// Seed of the simulated engine.
    pub seed: u64,
    /// What the driver does instead, as a TOML array; empty for what the scenario says.
    pub driver: &'static str,
    /// Words of the engine sheet and the lead plan to be replaced by others.
    pub renamed: [&'static str; 2],
}

impl Workpiece {
    /// One stream without a gap.
    pub fn of(scenario: &'static str, seconds: f64) -> Self {
        Self {
            scenario,
            faults: "",
            seconds,
            gap: None,
            streams: 1,
            seed: 7,
            driver: "",
            renamed: [""; 2],
        }
    }
}

/// A file that is gone after the test.
pub struct File {
    path: PathBuf,
}

impl File {
    /// Its path.
    pub fn path(&self) -> &str {
        self.path.to_str().unwrap()
    }
}

impl Drop for File {
    fn drop(&mut self) {
        drop(std::fs::remove_file(&self.path));
        drop(std::fs::remove_file(side_file::place(&self.path)));
    }
}

/// Records it.
pub fn recorded(workpiece: &Workpiece) -> File {
    static MADE: AtomicU64 = AtomicU64::new(0);
    let number = MADE.fetch_add(1, Ordering::Relaxed);
    let name = format!("keyway-{}-workpiece-{number}.mcap", std::process::id());
    let path = std::env::temp_dir().join(name);
    let scenarios = Path::new(env!("CARGO_MANIFEST_DIR")).join("../acquisition/scenarios");
    let file = scenarios.join(format!("{}.toml", workpiece.scenario));
    let mut text = std::fs::read_to_string(&file).unwrap() + workpiece.faults;
    if !workpiece.driver.is_empty() {
        let mut table: toml::Table = text.parse().unwrap();
        let own: toml::Table = format!("driver = {}", workpiece.driver).parse().unwrap();
        table.extend(own);
        text = table.to_string();
    }
    let scenario = Scenario::from_toml(&file.to_string_lossy(), &text).unwrap();
    let setup = Setup::load(None, None, &scenario.sheet).unwrap();
    let renamed = |text: &str| match workpiece.renamed {
        ["", _] => text.to_owned(),
        [word, other] => text.replace(word, other),
    };
    let header = RecordingHeader {
        engine_sheet: renamed(&setup.sheet_text),
        lead_plan: renamed(&setup.plan_text),
        ..RecordingHeader::default()
    };
    let mut recorder = Recorder::create(&path, &header).unwrap();
    for generation in 0..workpiece.streams {
        let mut engine = Engine::from_scenario(&scenario, workpiece.seed);
        engine.set_rate(RATE);
        let channels = engine.channels();
        let inputs = channels.len();
        recorder
            .stream(&StreamInfo {
                device: DeviceInfo {
                    maker: "Invented".to_owned(),
                    model: "Bench Eight".to_owned(),
                    serial: String::new(),
                    firmware: "1".to_owned(),
                    channels,
                    max_rate_hz: RATE,
                },
                generation,
                rate_hz: RATE,
                enabled: (0..inputs).collect(),
            })
            .unwrap();
        let mut first_index = 0;
        let mut gap = workpiece.gap;
        while (first_index as f64) < workpiece.seconds * RATE {
            if gap.take_if(|at| first_index as f64 >= *at * RATE).is_some() {
                engine.fill(GAP, &mut vec![Vec::new(); inputs]);
                first_index += GAP as u64;
            }
            let mut channels = vec![Vec::new(); inputs];
            engine.fill(BLOCK, &mut channels);
            recorder
                .block(&SampleBlock {
                    generation,
                    first_index,
                    channels,
                })
                .unwrap();
            first_index += BLOCK as u64;
        }
    }
    let _bytes = recorder.finish().unwrap();
    File { path }
}
