//! Pictures of the Cycles page, from the simulated engine through a recording and the real analysis.

use super::Picture;
use keyway::application::pages::Page;
use keyway::application::{Application, Message, Tab};
use keyway::screen::cycles::{Message as Cycles, Show, Stock};
use keyway::session::Shown;
use keyway::session::playback::PlayStatus;
use keyway::settings::Settings;
use keyway::setup::Setup;
use keyway::status::{LinkState, LinkStatus, RecordingStatus};
use keyway::theme::Look;
use keyway::work::Progress;
use keyway_acquisition::block::{DeviceInfo, SampleBlock, StreamInfo};
use keyway_acquisition::recording::header::RecordingHeader;
use keyway_acquisition::recording::writer::Recorder;
use keyway_acquisition::simulator::engine::Engine;
use keyway_acquisition::simulator::scenario::Scenario;
use keyway_acquisition::simulator::source::SampleSource;
use keyway_analysis::lead::Role;
use std::error::Error;
use std::path::PathBuf;
use std::sync::{Arc, OnceLock};

const RATE: f64 = 100_000.0;
const BLOCK: usize = 5_000;
const SECONDS: f64 = 12.0;

/// All of them.
pub fn all() -> Vec<Picture> {
    let picture = |name, make| Picture { name, make };
    vec![
        picture("cycles-one", |look| page(look, 0, &[Cycles::Step(3)])),
        picture("cycles-overlaid", |look| {
            page(look, 0, &[Cycles::Show(Show::All)])
        }),
        picture("cycles-mean", |look| {
            page(look, 0, &[Cycles::Show(Show::Mean)])
        }),
        picture("cycles-zoomed", |look| {
            let zoomed = [
                Cycles::Show(Show::Mean),
                Cycles::Window(150.0, 210.0),
                Cycles::PutCursor(0, 163.2),
                Cycles::PutCursor(1, 181.5),
                Cycles::ToggleLead(Role::Supply),
                Cycles::ToggleLead(Role::Pressure),
            ];
            page(look, 0, &zoomed)
        }),
        picture("cycles-leads", |look| {
            page(
                look,
                0,
                &[
                    Cycles::Show(Show::All),
                    Cycles::ToggleLeads,
                    Cycles::ToggleLead(Role::Supply),
                ],
            )
        }),
        picture("cycles-guessed", |look| page(look, 1, &[])),
        picture("cycles-none", |look| page(look, 2, &[])),
        picture("cycles-closed", |look| open(look, None)),
    ]
}

fn page(look: Look, which: usize, messages: &[Cycles]) -> Result<Application, Box<dyn Error>> {
    static MADE: OnceLock<Vec<Arc<Stock>>> = OnceLock::new();
    let stocks = match MADE.get() {
        Some(stocks) => stocks,
        None => {
            let made = stocks()?;
            MADE.get_or_init(|| made)
        }
    };
    let mut app = open(look, Some(Arc::clone(&stocks[which])))?;
    for message in messages {
        let _task = app.update(Message::Cycles(message.clone()));
    }
    Ok(app)
}

fn open(look: Look, stock: Option<Arc<Stock>>) -> Result<Application, Box<dyn Error>> {
    let settings = Settings {
        look,
        ..Settings::default()
    };
    let mut app = Application::still(Setup::built_in()?, "", settings)?;
    let _task = app.update(Message::Open(Tab::Recordings));
    let _task = app.update(Message::Turn(Page::Cycles));
    let playback = stock.as_ref().map(|_| {
        Arc::new(PlayStatus {
            position: 8.0,
            length: SECONDS,
            is_playing: false,
            speed: 1.0,
            fault: None,
        })
    });
    app.present(
        Shown {
            snapshot: None,
            traces: Arc::default(),
            link: LinkStatus {
                source: if stock.is_some() {
                    "2026-11-25-160312.mcap"
                } else {
                    "Virtual scope"
                }
                .to_owned(),
                state: if stock.is_some() {
                    LinkState::Playing
                } else {
                    LinkState::Streaming
                },
                channels: 8,
                rate_hz: RATE,
                lost: 0,
                bad_frames: 0,
                overruns: 0,
            },
            recording: RecordingStatus::Off,
            playback,
            whole: None,
        },
        std::time::Instant::now(),
    );
    if let Some(stock) = stock {
        let _task = app.update(Message::Cycles(Cycles::Take(stock)));
    }
    Ok(app)
}

/// Idle and a rev of a healthy van; the same without its cam leads; a stretch too short for a cycle.
fn stocks() -> Result<Vec<Arc<Stock>>, Box<dyn Error>> {
    let path = std::env::temp_dir().join(format!("keyway-cycles-{}.mcap", std::process::id()));
    let setup = record(&path)?;
    let progress = Progress::default();
    let mut blind = setup.clone();
    let mut plan = (*setup.plan).clone();
    plan.leads.retain(|l| !matches!(l.role, Role::Cam(_)));
    blind.plan = Arc::new(plan);
    let mut stocks = Vec::new();
    for (setup, span) in [
        (&setup, 6.0..12.0),
        (&blind, 6.0..12.0),
        (&setup, 7.0..7.04),
    ] {
        let mut stock = Stock::cut(&path, setup, span, &progress)?;
        stock.path = PathBuf::from("2026-11-25-160312.mcap");
        stocks.push(Arc::new(stock));
    }
    std::fs::remove_file(path)?;
    Ok(stocks)
}

fn record(path: &std::path::Path) -> Result<Setup, Box<dyn Error>> {
    let scenario = Scenario::named("healthy")?;
    let setup = Setup::load(None, None, &scenario.sheet)?;
    let header = RecordingHeader {
        engine_sheet: setup.sheet_text.to_string(),
        lead_plan: setup.plan_text.to_string(),
        ..RecordingHeader::default()
    };
    let mut engine = Engine::from_scenario(&scenario, 7);
    engine.set_rate(RATE);
    let channels = engine.channels();
    let inputs = channels.len();
    let mut recorder = Recorder::create(path, &header)?;
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
        first_index += BLOCK as u64;
    }
    let _bytes = recorder.finish()?;
    Ok(setup)
}
