//! Pictures of the Compare page: the simulated engine recorded, measured and compared as any other.

use super::Picture;
use keyway::application::pages::Page;
use keyway::application::{Application, Message, Tab};
use keyway::compare::Outcome;
use keyway::screen::compare::{self, Shown};
use keyway::settings::Settings;
use keyway::setup::Setup;
use keyway::theme::Look;
use keyway::work::Progress;
use keyway_acquisition::block::{DeviceInfo, SampleBlock, StreamInfo};
use keyway_acquisition::recording::header::RecordingHeader;
use keyway_acquisition::recording::writer::Recorder;
use keyway_acquisition::simulator::engine::Engine;
use keyway_acquisition::simulator::scenario::Scenario;
use keyway_acquisition::simulator::source::SampleSource;
use std::error::Error;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;

/// Samples a second.
const RATE: f64 = 100_000.0;
/// Samples handed over at a time.
const BLOCK: usize = 5_000;
/// Seconds of each recording.
const SECONDS: f64 = 45.0;

/// All of them.
pub fn all() -> Vec<Picture> {
    vec![
        Picture {
            name: "compare-choosing",
            make: choosing,
        },
        Picture {
            name: "compare-table-repaired",
            make: |look| shown(look, repaired()?, &[]),
        },
        Picture {
            name: "compare-table-all",
            make: |look| shown(look, repaired()?, &[compare::Message::All]),
        },
        Picture {
            name: "compare-table-tooth",
            make: |look| shown(look, tooth()?, &[]),
        },
        Picture {
            name: "compare-crank-tooth",
            make: |look| shown(look, tooth()?, &[compare::Message::Show(Shown::Crank)]),
        },
        Picture {
            name: "compare-crank-beside",
            make: |look| {
                let beside = [
                    compare::Message::Show(Shown::Crank),
                    compare::Message::Beside,
                ];
                shown(look, tooth()?, &beside)
            },
        },
        Picture {
            name: "compare-event-repaired",
            make: |look| shown(look, repaired()?, &[compare::Message::Show(Shown::Events)]),
        },
        Picture {
            name: "compare-event-beside",
            make: |look| {
                let beside = [
                    compare::Message::Show(Shown::Events),
                    compare::Message::Beside,
                    compare::Message::Shift(0.35),
                ];
                shown(look, repaired()?, &beside)
            },
        },
        Picture {
            name: "compare-running",
            make: running,
        },
    ]
}

fn still(look: Look) -> Result<Application, Box<dyn Error>> {
    let settings = Settings {
        look,
        ..Settings::default()
    };
    let mut app = Application::still(Setup::built_in()?, "", settings)?;
    for message in [Message::Open(Tab::Recordings), Message::Turn(Page::Compare)] {
        let _task = app.update(message);
    }
    Ok(app)
}

fn choosing(look: Look) -> Result<Application, Box<dyn Error>> {
    let mut app = still(look)?;
    for path in [
        "/recordings/2026-11-24 van.mcap",
        "/recordings/2026-11-25 van.mcap",
    ] {
        for message in [
            compare::Message::Typed(path.to_owned()),
            compare::Message::AddTyped,
        ] {
            let _task = app.update(Message::Compare(message));
        }
    }
    Ok(app)
}

fn running(look: Look) -> Result<Application, Box<dyn Error>> {
    let mut app = choosing(look)?;
    // The files are not there: the picture is taken before that is known.
    let _task = app.update(Message::Compare(compare::Message::Start));
    Ok(app)
}

fn shown(
    look: Look,
    outcome: Outcome,
    messages: &[compare::Message],
) -> Result<Application, Box<dyn Error>> {
    let mut app = still(look)?;
    app.show_comparison(outcome);
    for message in messages {
        let _task = app.update(Message::Compare(message.clone()));
    }
    Ok(app)
}

/// The stuck phaser, before and after.
fn repaired() -> Result<Outcome, Box<dyn Error>> {
    static MADE: OnceLock<Outcome> = OnceLock::new();
    let files = [("stuck-at-rest", "A before"), ("healthy", "B after")];
    made(&MADE, files)
}

/// A good engine, and one whose chain is a tooth out.
fn tooth() -> Result<Outcome, Box<dyn Error>> {
    static MADE: OnceLock<Outcome> = OnceLock::new();
    let files = [("healthy", "A good"), ("intake-chain-one-tooth", "B this")];
    made(&MADE, files)
}

fn made(kept: &OnceLock<Outcome>, files: [(&str, &str); 2]) -> Result<Outcome, Box<dyn Error>> {
    if let Some(outcome) = kept.get() {
        return Ok(outcome.clone());
    }
    let mut recorded = Vec::new();
    for (i, (scenario, name)) in files.into_iter().enumerate() {
        let seed = u64::try_from(i)? + 1;
        recorded.push((record(scenario, seed)?, name.to_owned()));
    }
    let outcome = Outcome::of(&recorded, true, &Progress::default())?;
    for (path, _) in &recorded {
        std::fs::remove_file(path)?;
    }
    Ok(kept.get_or_init(|| outcome).clone())
}

fn record(scenario: &str, seed: u64) -> Result<PathBuf, Box<dyn Error>> {
    let name = format!("keyway-{}-{scenario}-{seed}.mcap", std::process::id());
    let path = std::env::temp_dir().join(name);
    let scenarios = Path::new(env!("CARGO_MANIFEST_DIR")).join("../acquisition/scenarios");
    let file = scenarios.join(format!("{scenario}.toml"));
    let text = std::fs::read_to_string(&file)?;
    let scenario = Scenario::from_toml(&file.to_string_lossy(), &text)?;
    let setup = Setup::load(None, None, &scenario.sheet)?;
    let header = RecordingHeader {
        engine_sheet: setup.sheet_text.to_string(),
        lead_plan: setup.plan_text.to_string(),
        ..RecordingHeader::default()
    };
    let mut recorder = Recorder::create(&path, &header)?;
    let mut engine = Engine::from_scenario(&scenario, seed);
    engine.set_rate(RATE);
    let channels = engine.channels();
    let inputs = channels.len();
    recorder.stream(&StreamInfo {
        device: DeviceInfo {
            maker: "Invented".to_owned(),
            model: "Bench Eight".to_owned(),
            serial: String::new(),
            firmware: "1".to_owned(),
            channels,
            max_rate_hz: RATE,
        },
        generation: 0,
        rate_hz: RATE,
        enabled: (0..inputs).collect(),
    })?;
    let mut first_index = 0;
    while (first_index as f64) < SECONDS * RATE {
        let mut channels = vec![Vec::new(); inputs];
        engine.fill(BLOCK, &mut channels);
        recorder.block(&SampleBlock {
            generation: 0,
            first_index,
            channels,
        })?;
        first_index += u64::try_from(BLOCK)?;
    }
    let _bytes = recorder.finish()?;
    Ok(path)
}
