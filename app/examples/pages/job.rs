//! Pictures of the Job screen.

use super::Picture;
use keyway::application::pages::Page;
use keyway::application::{Application, Message, Tab};
use keyway::job::folder::JobFolder;
use keyway::screen::job::{self, Field};
use keyway::screen::recordings;
use keyway::session::shelf;
use keyway::settings::Settings;
use keyway::setup::Setup;
use keyway::theme::Look;
use keyway_acquisition::block::{DeviceInfo, SampleBlock, StreamInfo};
use keyway_acquisition::recording::header::RecordingHeader;
use keyway_acquisition::recording::writer::Recorder;
use keyway_acquisition::simulator::engine::Engine;
use keyway_acquisition::simulator::source::SampleSource;
use std::error::Error;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::{Duration, Instant};

/// All of them.
pub fn all() -> Vec<Picture> {
    vec![
        Picture {
            name: "job-empty",
            make: empty,
        },
        Picture {
            name: "job-new",
            make: new,
        },
        Picture {
            name: "job-list",
            make: list,
        },
        Picture {
            name: "job-card",
            make: card,
        },
        Picture {
            name: "job-conflict",
            make: conflict,
        },
        Picture {
            name: "job-contents",
            make: contents,
        },
        Picture {
            name: "job-notes",
            make: notes,
        },
        Picture {
            name: "job-mistake",
            make: mistake,
        },
        Picture {
            name: "job-files",
            make: files,
        },
    ]
}

type Made = Result<Application, Box<dyn Error>>;

/// Plate, vehicle, code, complaint, dates.
const JOBS: [(&str, &str, &str, &str, &str, &str); 6] = [
    (
        "KW-P 14",
        "make = \"Larkfield\"\nmodel = \"Carter\"\nyear = 2019\nengine = \"2.0 four\"",
        "P0014",
        "Hesitates pulling away, worse when hot. Oil was changed two weeks ago.",
        "2026-11-25T16:03:00+01:00",
        "",
    ),
    (
        "TR 208 B",
        "make = \"Ostrel\"\nmodel = \"Ombra\"\nyear = 2016\nengine = \"1.6 four\"",
        "P0011",
        "Rough idle after a chain was fitted elsewhere.",
        "2026-11-24T09:12:00+01:00",
        "",
    ),
    (
        "HX 77 QQ",
        "make = \"Larkfield\"\nmodel = \"Tern\"\nyear = 2021\nengine = \"1.2 three\"",
        "P0341",
        "Starts badly when cold.",
        "2026-11-19T11:30:00+01:00",
        "2026-11-20",
    ),
    (
        "",
        "title = \"Engine on the stand, 3.0 six\"\nengine = \"3.0 six\"",
        "",
        "Rebuilt; cams to be checked before it goes in.",
        "2026-11-12T08:00:00+01:00",
        "",
    ),
    (
        "KW-P 9",
        "make = \"Larkfield\"\nmodel = \"Carter\"\nyear = 2018\nengine = \"2.0 four\"",
        "P0014",
        "Lamp on, drives well.",
        "2026-10-30T14:20:00+01:00",
        "2026-11-02",
    ),
    (
        "MM 4410",
        "make = \"Marwen\"\nmodel = \"Lorry 7\"\nyear = 2014\nengine = \"4.5 six\"",
        "P0024",
        "Loss of power uphill.",
        "2026-10-08T07:45:00+02:00",
        "2026-10-09",
    ),
];

/// A folder with jobs that is made anew.
fn workshop(name: &str) -> Result<PathBuf, Box<dyn Error>> {
    let root = std::env::temp_dir().join("Keyway").join(name);
    if root.exists() {
        fs::remove_dir_all(&root)?;
    }
    fs::create_dir_all(&root)?;
    Ok(root)
}

fn filled(name: &str) -> Result<(PathBuf, JobFolder), Box<dyn Error>> {
    let root = workshop(name)?;
    for (plate, vehicle, code, complaint, opened, closed) in JOBS {
        let date = &opened[..10];
        let folder = root.join(format!("{date}-{}", plate.replace(' ', "-")));
        fs::create_dir_all(&folder)?;
        let mut text = String::from("form = 1\n");
        if !plate.is_empty() {
            text += &format!("plate = \"{plate}\"\n");
        }
        text += &format!("{vehicle}\ncomplaint = \"{complaint}\"\nopened = {opened}\n");
        if !closed.is_empty() {
            text += &format!("closed = {closed}\n");
        }
        if plate == "KW-P 14" {
            text += "engine_sheet = \"Light van 2.0, two phasers\"\nmileage = 184200\noil = \"5W-30\"\noil_celsius = 92\nreplaced = [\"exhaust control valve\", \"oil and filter\"]\ntechnician = \"Ada\"\norder = \"2026-1187\"\n";
        }
        if !code.is_empty() {
            text += &format!("\n[[codes]]\ncode = \"{code}\"\nread_by = \"hand-held reader\"\n");
        }
        fs::write(folder.join("job.toml"), text)?;
    }
    let job = JobFolder::new(root.join("2026-11-25-KW-P-14"));
    fs::write(
        job.notes(),
        "Cold: follows within a second.\nFrom 80 °C on the exhaust cam stays where it is.\n\n- connector cleaned, no change\n- next: voltage drop on the ground side of the valve\n",
    )?;
    Ok((root, job))
}

/// A second of the simulated engine.
fn record(path: &Path, note: &str) -> Result<(), Box<dyn Error>> {
    let setup = Setup::built_in()?;
    let header = RecordingHeader {
        // 2026-11-25 15:20 UTC.
        started_ns: 1_795_620_000_000_000_000,
        note: note.to_owned(),
        engine_sheet: setup.sheet_text.to_string(),
        lead_plan: setup.plan_text.to_string(),
        ..RecordingHeader::default()
    };
    let rate = 50_000.0;
    let mut engine = Engine::from_scenario(&keyway::session::choice::scenario("default")?, 7);
    engine.set_rate(rate);
    let inputs = engine.channels();
    let mut channels = vec![Vec::new(); inputs.len()];
    engine.fill(50_000, &mut channels);
    let mut recorder = Recorder::create(path, &header)?;
    recorder.stream(&StreamInfo {
        device: DeviceInfo {
            maker: "Invented".to_owned(),
            model: "Bench Eight".to_owned(),
            serial: String::new(),
            firmware: "1".to_owned(),
            channels: inputs,
            max_rate_hz: rate,
        },
        generation: 0,
        rate_hz: rate,
        enabled: (0..channels.len()).collect(),
    })?;
    recorder.block(&SampleBlock {
        generation: 0,
        first_index: 0,
        channels,
    })?;
    let _bytes = recorder.finish()?;
    Ok(())
}

fn on(root: &Path, look: Look) -> Made {
    let settings = Settings {
        look,
        recordings: Some(root.to_owned()),
        ..Settings::default()
    };
    let setup = Setup::built_in()?;
    let mut app = Application::still(setup, "", settings)?;
    drop(app.update(Message::Open(Tab::Job)));
    settle(&mut app);
    Ok(app)
}

/// Time passes until threads have told what they read.
fn settle(app: &mut Application) {
    for _ in 0..20 {
        std::thread::sleep(Duration::from_millis(10));
        drop(app.update(Message::Tick(Instant::now())));
    }
}

fn send(app: &mut Application, message: job::Message) {
    drop(app.update(Message::Job(message)));
}

fn empty(look: Look) -> Made {
    on(&workshop("empty")?, look)
}

fn new(look: Look) -> Made {
    let mut app = on(&filled("new")?.0, look)?;
    send(&mut app, job::Message::New);
    send(
        &mut app,
        job::Message::Draft(Field::Plate, "KW-P 15".to_owned()),
    );
    Ok(app)
}

fn list(look: Look) -> Made {
    let (root, last) = filled("list")?;
    let mut app = on(&root, look)?;
    send(&mut app, job::Message::Open(last));
    settle(&mut app);
    send(&mut app, job::Message::PutAway);
    settle(&mut app);
    send(
        &mut app,
        job::Message::Search("larkfield p0014 2026-11".to_owned()),
    );
    send(&mut app, job::Message::Down);
    Ok(app)
}

fn opened(name: &str, look: Look) -> Result<(Application, JobFolder), Box<dyn Error>> {
    let (root, job) = filled(name)?;
    let mut app = on(&root, look)?;
    send(&mut app, job::Message::Open(job.clone()));
    settle(&mut app);
    Ok((app, job))
}

fn card(look: Look) -> Made {
    let (mut app, _) = opened("card", look)?;
    send(
        &mut app,
        job::Message::Fill(Field::Mileage, "184.200".to_owned()),
    );
    send(&mut app, job::Message::TypeCode("P0341".to_owned()));
    Ok(app)
}

fn conflict(look: Look) -> Made {
    let (mut app, job) = opened("conflict", look)?;
    fs::write(job.card(), "plate = \"KW-P 14\"\ntechnician = \"Bo\"\n")?;
    send(
        &mut app,
        job::Message::Fill(Field::Technician, "Cay".to_owned()),
    );
    send(&mut app, job::Message::Save);
    settle(&mut app);
    Ok(app)
}

fn with_recordings(name: &str, look: Look) -> Result<(Application, PathBuf), Box<dyn Error>> {
    let (root, job) = filled(name)?;
    for folder in [job.recordings(), job.exhibits(), job.findings()] {
        fs::create_dir_all(folder)?;
    }
    let whole = job.recordings().join("2026-11-25-152000.mcap");
    record(&whole, "KW-P 14 · hesitates pulling away")?;
    let mut bytes = fs::read(&whole)?;
    bytes.truncate(bytes.len() * 2 / 3);
    fs::write(job.recordings().join("2026-11-25-154100.mcap"), bytes)?;
    record(&root.join("2026-11-24-101500.mcap"), "")?;
    for file in ["after-warm-up.png", "after-warm-up.toml"] {
        fs::write(job.exhibits().join(file), "")?;
    }
    fs::write(job.findings().join("2026-11-25-155012.json"), "{}")?;
    let mut app = on(&root, look)?;
    send(&mut app, job::Message::Open(job));
    settle(&mut app);
    Ok((app, root))
}

fn contents(look: Look) -> Made {
    let (mut app, _) = with_recordings("contents", look)?;
    send(&mut app, job::Message::Turn(job::Page::Contents));
    settle(&mut app);
    Ok(app)
}

fn notes(look: Look) -> Made {
    let (mut app, _) = opened("notes", look)?;
    send(&mut app, job::Message::Turn(job::Page::Notes));
    Ok(app)
}

fn mistake(look: Look) -> Made {
    let (root, job) = filled("mistake")?;
    let text = fs::read_to_string(job.card())?;
    fs::write(job.card(), text.replace("2019", "\"about 2019\""))?;
    let mut app = on(&root, look)?;
    send(&mut app, job::Message::Open(job));
    settle(&mut app);
    Ok(app)
}

fn files(look: Look) -> Made {
    let (mut app, root) = with_recordings("files", look)?;
    drop(app.update(Message::Open(Tab::Recordings)));
    drop(app.update(Message::Turn(Page::Files)));
    let jobs = app.pages().files.wanted_jobs();
    let shelf = shelf::read_with(&root, &jobs, &keyway::work::Progress::default());
    drop(app.update(Message::Recordings(recordings::Message::Read(
        shelf.map(Arc::new),
    ))));
    Ok(app)
}
