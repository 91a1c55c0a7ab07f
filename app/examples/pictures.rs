//! Renders the screens in both looks and two sizes to PNG files, without a display; some of made
//! moments, some of the simulated engine through the real analysis:
//! `cargo run -p keyway --example pictures -- DIRECTORY [PART OF A NAME]`

#![allow(clippy::print_stdout, reason = "a command that says what it wrote")]

mod measured;
mod pages;
mod sample;

use iced::Task;
use keyway::application::{Application, Message, Tab};
use keyway::font;
use keyway::screen::{findings, import, live, recordings};
use keyway::session::Shown;
use keyway::session::choice::{Offer, PortOffer};
use keyway::session::playback::PlayStatus;
use keyway::session::shelf::{Contents, Shelf, Volume};
use keyway::session::whole::{Found, Standing};
use keyway::settings::Settings;
use keyway::setup::Setup;
use keyway::status::{LinkState, LinkStatus, RecordingStatus};
use keyway::theme::Look;
use keyway_acquisition::import::inspect;
use keyway_acquisition::import::plan::Plan as ImportPlan;
use sample::Moment;
use std::error::Error;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::{Duration, Instant};

/// The sizes the screens must fit, logical pixels.
const SIZES: [(u16, u16); 2] = [(1280, 800), (1024, 600)];

/// Scenarios of the simulated engine that are measured: name of the moment, scenario, seconds, and
/// the wheel of the engine sheet, which is right but for one.
const MEASURED: [(&str, &str, f64, &str); 6] = [
    ("measured-default", "default", 24.0, "60-2"),
    ("measured-healthy", "healthy", 22.0, "60-2"),
    ("measured-tooth", "intake-chain-one-tooth", 22.0, "60-2"),
    ("measured-dropout", "cam-sensor-dropout", 22.0, "60-2"),
    ("measured-lead-off", "lead-off", 22.0, "60-2"),
    ("measured-other-wheel", "healthy", 4.0, "36-1"),
];

/// What is done before the picture is taken.
#[derive(Clone, Copy, PartialEq)]
enum Scene {
    Strip,
    Traces,
    LargeTraces,
    CrankLocked,
    Cylinders,
    LargeCylinders,
    Trials,
    Hookup,
    Recordings,
    Findings,
    FindingsPlayed,
    FindingsCodes,
    FindingsTiming,
    Playback,
    Source,
    Lost,
    BringIn,
}

/// Names of the pictures, with what they show; each moment of the engine has one of the first.
const SCENES: [(&str, Scene); 17] = [
    ("live", Scene::Strip),
    ("traces", Scene::Traces),
    ("traces-large", Scene::LargeTraces),
    ("crank-locked", Scene::CrankLocked),
    ("cylinders", Scene::Cylinders),
    ("cylinders-large", Scene::LargeCylinders),
    ("trials", Scene::Trials),
    ("hookup", Scene::Hookup),
    ("recordings", Scene::Recordings),
    ("findings", Scene::Findings),
    ("findings-played", Scene::FindingsPlayed),
    ("findings-codes", Scene::FindingsCodes),
    ("findings-timing", Scene::FindingsTiming),
    ("playback", Scene::Playback),
    ("source", Scene::Source),
    ("lost", Scene::Lost),
    ("bring-in", Scene::BringIn),
];

/// In which moments a scene is drawn: the Live screen in all of them, the rest where there is
/// something else to see.
fn is_wanted(scene: Scene, moment: &str) -> bool {
    match scene {
        Scene::Strip => true,
        Scene::Cylinders | Scene::LargeCylinders => {
            ["healthy", "not-following", "four-cams", "measured-weak"].contains(&moment)
        }
        Scene::Traces | Scene::LargeTraces | Scene::CrankLocked => {
            ["not-following", "four-cams", "measured-default"].contains(&moment)
        }
        Scene::Trials => moment.starts_with("trial-"),
        Scene::Hookup => [
            "healthy",
            "cam-lost",
            "four-cams",
            "proofs",
            "touched",
            "measured-lead-off",
            "measured-healthy",
            "measured-other-wheel",
        ]
        .contains(&moment),
        Scene::Findings => {
            [
                "healthy",
                "supported",
                "ambiguous",
                "hook-up-fault",
                "tooth-out",
            ]
            .contains(&moment)
                || moment.starts_with("measured")
        }
        Scene::FindingsPlayed | Scene::FindingsCodes => moment == "supported",
        Scene::FindingsTiming => ["supported", "tooth-out"].contains(&moment),
        Scene::Recordings | Scene::Source | Scene::BringIn => moment == "healthy",
        Scene::Playback | Scene::Lost => ["not-following", "four-cams"].contains(&moment),
    }
}

fn link() -> LinkStatus {
    LinkStatus {
        source: "Virtual scope".to_owned(),
        state: LinkState::Streaming,
        channels: 8,
        rate_hz: 200_000.0,
        lost: 0,
        bad_frames: 0,
        overruns: 0,
    }
}

fn shown(moment: &Moment, scene: Scene) -> Shown {
    let mut shown = Shown {
        snapshot: Some(Arc::clone(&moment.snapshot)),
        traces: Arc::clone(if scene == Scene::CrankLocked {
            &moment.locked
        } else {
            &moment.traces
        }),
        link: link(),
        recording: RecordingStatus::On {
            path: PathBuf::from("van.mcap"),
            seconds: 161.0,
            bytes: 31_000_000,
        },
        playback: None,
        whole: None,
    };
    match scene {
        Scene::Playback | Scene::FindingsPlayed => {
            shown.link.state = LinkState::Playing;
            shown.link.source = "2026-11-25-160312.mcap".to_owned();
            shown.recording = RecordingStatus::Off;
            shown.whole = Some(Arc::new(Standing {
                share: 1.0,
                found: Some(Found::at_rate(&moment.snapshot)),
                course: None,
            }));
            shown.playback = Some(Arc::new(PlayStatus {
                position: 161.0,
                length: 252.4,
                is_playing: true,
                speed: 1.0,
                fault: None,
            }));
        }
        Scene::Lost => {
            shown.link.source = "/dev/ttyACM0".to_owned();
            shown.link.state = LinkState::Lost(Arc::from(
                "The scope is gone: check its cable and its supply.",
            ));
        }
        Scene::Strip
        | Scene::Traces
        | Scene::LargeTraces
        | Scene::CrankLocked
        | Scene::Cylinders
        | Scene::LargeCylinders
        | Scene::Hookup
        | Scene::Recordings
        | Scene::Findings
        | Scene::Trials
        | Scene::FindingsCodes
        | Scene::FindingsTiming
        | Scene::Source
        | Scene::BringIn => {}
    }
    shown
}

fn shelf() -> Shelf {
    let volume = |name: &str, contents| Volume {
        path: PathBuf::from(name),
        name: name.to_owned(),
        job: None,
        contents,
    };
    let contents = |started: &str, note: &str, seconds, bytes, shortfall: Option<&str>| Contents {
        engine: "Light van 2.0, two phasers".to_owned(),
        started: started.to_owned(),
        note: note.to_owned(),
        seconds,
        bytes,
        shortfall: shortfall.map(str::to_owned),
    };
    let killed = "The recording was never finished: it reads up to 37.2 s, and 1880 bytes after that are lost.";
    Shelf {
        volumes: vec![
            volume(
                "2026-11-25-160312.mcap",
                Ok(contents(
                    "2026-11-25 16:03 UTC",
                    "P0014 · hesitates pulling away, worse when hot",
                    252.4,
                    148_000_000,
                    None,
                )),
            ),
            volume(
                "2026-11-25-154100.mcap",
                Ok(contents(
                    "2026-11-25 15:41 UTC",
                    "",
                    37.2,
                    21_400_000,
                    Some(killed),
                )),
            ),
            volume(
                "drive-log.mcap",
                Err(Arc::from(
                    "drive-log.mcap is an MCAP file, but not one that Keyway recorded",
                )),
            ),
        ],
        ..Shelf::default()
    }
}

/// A capture as another instrument writes it.
fn capture() -> Result<PathBuf, Box<dyn Error>> {
    let path = std::env::temp_dir().join("van-at-idle.csv");
    let mut text =
        "Zeit;Crank;Cam Intake;Exhaust valve;Probe;Remark\n(ms);(V);(V);(V);(mV);\n".to_owned();
    for k in 0..400_u32 {
        let t = f64::from(k) * 0.005;
        let row = format!(
            "{t:.3};{:.3};{:.2};{:.1};{:.0};\n",
            (t * 40.0).sin() * 2.4,
            if k % 90 < 40 { 4.98 } else { 0.12 },
            if k % 50 < 20 { 0.3 } else { 13.7 },
            (t * 3.0).cos() * 180.0
        );
        text.push_str(&row.replace('.', ","));
    }
    std::fs::write(&path, text)?;
    Ok(path)
}

fn application(moment: &Moment, scene: Scene, look: Look) -> Result<Application, Box<dyn Error>> {
    let settings = Settings {
        look,
        recordings: Some(PathBuf::from("/home/workshop/Documents/Keyway")),
        port: Some("/dev/pts/3".to_owned()),
        ..Settings::default()
    };
    let setup = Setup {
        sheet: Arc::new(moment.sheet.clone()),
        ..Setup::built_in()?
    };
    let story = "P0014 · hesitates pulling away, worse when hot";
    let mut app = Application::still(setup, story, settings)?;
    let messages: &[Message] = match scene {
        Scene::Strip | Scene::Playback | Scene::Source | Scene::Lost => &[],
        Scene::Traces => &[Message::Live(live::Message::ShowTraces)],
        Scene::LargeTraces => &[
            Message::Live(live::Message::ShowTraces),
            Message::Live(live::Message::ToggleEnlarged),
        ],
        Scene::Cylinders => &[Message::Live(live::Message::ShowCylinders)],
        Scene::LargeCylinders => &[
            Message::Live(live::Message::ShowCylinders),
            Message::Live(live::Message::ToggleEnlarged),
        ],
        Scene::CrankLocked => &[
            Message::Live(live::Message::ShowTraces),
            Message::Live(live::Message::ToggleCrankLock),
            Message::Live(live::Message::ToggleEnlarged),
        ],
        Scene::Trials => &[Message::Live(live::Message::ShowTrials)],
        Scene::Hookup => &[Message::Open(Tab::Hookup)],
        Scene::Findings | Scene::FindingsPlayed => &[Message::Open(Tab::Findings)],
        Scene::FindingsCodes => &[
            Message::Open(Tab::Findings),
            Message::Findings(findings::Message::Beside(findings::Page::Codes)),
        ],
        Scene::FindingsTiming => &[
            Message::Open(Tab::Findings),
            Message::Findings(findings::Message::Beside(findings::Page::Timing)),
        ],
        Scene::Recordings => &[Message::Open(Tab::Recordings)],
        Scene::BringIn => &[Message::Open(Tab::Recordings), Message::BringIn],
    };
    for message in messages {
        let _ = app.update(message.clone());
    }
    match scene {
        Scene::Recordings => {
            let read = recordings::Message::Read(Ok(Arc::new(shelf())));
            let _ = app.update(Message::Recordings(read));
        }
        Scene::BringIn => {
            let path = capture()?;
            let found = inspect(&path, &ImportPlan::default())?;
            let _ = app.update(Message::Import(import::Message::Capture(
                path.display().to_string(),
            )));
            let _ = app.update(Message::Import(import::Message::Looked(Ok(Arc::new(
                found,
            )))));
        }
        Scene::Source => {
            let port = |path: &str, about: &str| PortOffer {
                path: path.to_owned(),
                about: about.to_owned(),
            };
            let offer = Offer {
                ports: vec![
                    port("/dev/ttyACM0", "Bench Eight, eight inputs"),
                    port("/dev/ttyS0", "built-in serial port"),
                ],
                ..Offer::now()
            };
            app.offer(offer, "/dev/pts/3".to_owned());
        }
        _ => {}
    }
    app.present(shown(moment, scene), Instant::now());
    Ok(app)
}

fn main() -> Result<(), Box<dyn Error>> {
    let Some(directory) = std::env::args().nth(1).map(PathBuf::from) else {
        return Err("say in which directory to write the pictures".into());
    };
    let only = std::env::args().nth(2);
    std::fs::create_dir_all(&directory)?;
    // The window loads them by its settings; here nobody does, and another typeface would stand in.
    for file in font::files() {
        iced::advanced::graphics::text::font_system()
            .write()
            .map_err(|_| "the font system is in use")?
            .load_font(file);
    }
    let mut moments = sample::moments();
    moments.extend(sample::inquiry::all());
    let is_asked = |name: &str| {
        let of = |look: &str, wide: u16| format!("-{name}-{look}-{wide}.png");
        let files = ["workshop", "daylight"].map(|look| SIZES.map(|(wide, _)| of(look, wide)));
        only.as_ref().is_none_or(|part| {
            let scenes = SCENES.iter().filter(|(_, scene)| is_wanted(*scene, name));
            scenes.into_iter().any(|(scene, _)| {
                (files.iter().flatten())
                    .any(|file| format!("{scene}{file}").contains(part.as_str()))
            })
        })
    };
    // Measuring takes seconds a moment: only what will be drawn.
    for (name, scenario, seconds, wheel) in MEASURED.into_iter().filter(|m| is_asked(m.0)) {
        moments.push(measured::measured(name, scenario, seconds, wheel)?);
    }
    for look in [Look::Workshop, Look::Daylight] {
        for (name, scene) in SCENES {
            for moment in &moments {
                if !is_wanted(scene, moment.name) {
                    continue;
                }
                for (wide, high) in SIZES {
                    let look_name = look.name().to_lowercase();
                    let file = format!("{name}-{}-{look_name}-{wide}.png", moment.name);
                    if only.as_ref().is_some_and(|o| !file.contains(o.as_str())) {
                        continue;
                    }
                    let path = directory.join(file);
                    let size = (f32::from(wide), f32::from(high));
                    let moment = moment.clone();
                    picture(move || application(&moment, scene, look), look, size, &path)?;
                    println!("{}", path.display());
                }
            }
        }
        for page in pages::all() {
            for (wide, high) in SIZES {
                let look_name = look.name().to_lowercase();
                let file = format!("{}-{look_name}-{wide}.png", page.name);
                if only.as_ref().is_some_and(|o| !file.contains(o.as_str())) {
                    continue;
                }
                let path = directory.join(file);
                let size = (f32::from(wide), f32::from(high));
                picture(move || (page.make)(look), look, size, &path)?;
                println!("{}", path.display());
            }
        }
    }
    Ok(())
}

fn picture(
    make: impl Fn() -> Result<Application, Box<dyn Error>> + 'static,
    look: Look,
    size: (f32, f32),
    path: &Path,
) -> Result<(), Box<dyn Error>> {
    // Found out here, because the toolkit's start cannot fail.
    drop(make()?);
    let start = move || make().ok();
    let program = iced::application(
        start,
        |_: &mut Option<Application>, _: Message| Task::none(),
        keyway::application::window::view,
    )
    .settings(font::settings())
    .theme(move |_: &Option<Application>| look.theme());
    let shot = iced_test::screenshot(&program, &look.theme(), size, 1.0, Duration::ZERO);
    let mut encoder = png::Encoder::new(
        std::fs::File::create(path)?,
        shot.size.width,
        shot.size.height,
    );
    encoder.set_color(png::ColorType::Rgba);
    encoder.write_header()?.write_image_data(&shot.rgba)?;
    Ok(())
}
