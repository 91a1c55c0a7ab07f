//! Pictures of the Exhibits page.

use super::Picture;
use crate::sample;
use keyway::application::pages::Page;
use keyway::application::{Application, Message, Tab};
use keyway::exhibit::document::Document;
use keyway::exhibit::mark::{Ink, Mark, Nib};
use keyway::exhibit::store;
use keyway::screen::exhibits;
use keyway::screen::findings::Findings;
use keyway::screen::hookup::Hookup;
use keyway::screen::live::{self, Live};
use keyway::settings::Settings;
use keyway::setup::Setup;
use keyway::theme::Look;
use std::error::Error;
use std::path::PathBuf;
use std::sync::Arc;
use std::time::{Duration, Instant};

/// All of them.
pub fn all() -> Vec<Picture> {
    vec![
        Picture {
            name: "exhibits-list",
            make: |look| page(look, false, &[]),
        },
        Picture {
            name: "exhibits-marks",
            make: |look| page(look, true, &[]),
        },
        Picture {
            name: "exhibits-large",
            make: |look| page(look, true, &[exhibits::Message::Large]),
        },
        Picture {
            name: "exhibits-words",
            make: |look| {
                let at = [0.46, 0.30];
                let messages = [
                    exhibits::Message::Take(exhibits::edit::Tool::Text),
                    exhibits::Message::Dip(Ink::Blue),
                    exhibits::Message::Press(at, 20.0),
                    exhibits::Message::Lift,
                    exhibits::Message::Words("due here, 8° or more".to_owned()),
                ];
                page(look, true, &messages)
            },
        },
        Picture {
            name: "exhibits-none",
            make: |look| dashboard(look, std::env::temp_dir().join("keyway-no-exhibits")),
        },
    ]
}

/// The dashboard with the Exhibits page of this folder of recordings.
fn dashboard(look: Look, folder: PathBuf) -> Result<Application, Box<dyn Error>> {
    let settings = Settings {
        look,
        recordings: Some(folder),
        ..Settings::default()
    };
    let story = "P0014 · hesitates pulling away, worse when hot";
    let mut app = Application::still(Setup::built_in()?, story, settings)?;
    let _task = app.update(Message::Open(Tab::Recordings));
    let _task = app.update(Message::Turn(Page::Exhibits));
    wait(&mut app, |app| !app.pages().exhibits.entries().is_empty());
    Ok(app)
}

/// Ticks until something is the case, or for a second.
fn wait(app: &mut Application, is_so: impl Fn(&Application) -> bool) {
    for _ in 0..50 {
        let _task = app.update(Message::Tick(Instant::now()));
        if is_so(app) {
            return;
        }
        std::thread::sleep(Duration::from_millis(20));
    }
}

/// The page with some exhibits, the newest of them with marks.
fn page(
    look: Look,
    is_open: bool,
    messages: &[exhibits::Message],
) -> Result<Application, Box<dyn Error>> {
    let folder = std::env::temp_dir().join(format!("keyway-pictures-{}", std::process::id()));
    // Each picture begins with the same files; what an earlier one left as a draft is not in it.
    drop(std::fs::remove_dir_all(&folder));
    keep(&folder.join("exhibits"))?;
    let mut app = dashboard(look, folder)?;
    wait(&mut app, |app| app.pages().exhibits.open().is_some());
    if is_open {
        let _task = app.update(Message::Exhibits(exhibits::Message::Edit));
    }
    for message in messages {
        let _task = app.update(Message::Exhibits(message.clone()));
    }
    Ok(app)
}

/// Keeps exhibits of the Live screen.
fn keep(folder: &std::path::Path) -> Result<(), Box<dyn Error>> {
    let moments = sample::moments();
    let moment = |name: &str| {
        moments
            .iter()
            .find(|m| m.name == name)
            .ok_or("no such moment")
    };
    for (stamp, name, message) in [
        ("2026-11-25-155210", "four-cams", live::Message::ShowTraces),
        ("2026-11-25-155801", "healthy", live::Message::ShowCylinders),
        (
            "2026-11-25-160112",
            "not-following",
            live::Message::ShowTraces,
        ),
        (
            "2026-11-25-160312",
            "not-following",
            live::Message::ShowStrip,
        ),
    ] {
        let moment = moment(name)?;
        let mut live = Live::new();
        let _action = live.update(message);
        live.refresh(
            Arc::clone(&moment.snapshot),
            Arc::clone(&moment.traces),
            Instant::now(),
        );
        let scene = live.scene(&moment.sheet).ok_or("nothing measured")?;
        let minute = format!("2026-11-25 {}:{} UTC", &stamp[11..13], &stamp[13..15]);
        let mut document = Document::new(scene, "Light van 2.0, two phasers", minute);
        if message == live::Message::ShowStrip {
            document.note = "Warm, oil at 96 °C, third time it pulled away. From the onset the exhaust cam stays where it is while the duty rises.\nCustomer was shown this.".to_owned();
            document.marks = marks();
        }
        let _kept = store::keep(folder, stamp, &document)?;
    }
    let inquiry = sample::inquiry::all();
    let supported = inquiry
        .iter()
        .find(|m| m.name == "supported")
        .ok_or("no such moment")?;
    let mut findings = Findings::default();
    findings.refresh(Some(&supported.snapshot), None);
    let mut hookup = Hookup::default();
    hookup.refresh(
        Arc::clone(&moment("cam-lost")?.snapshot),
        Arc::default(),
        Instant::now(),
    );
    for (stamp, scene) in [
        ("2026-11-25-154001", findings.scene()),
        ("2026-11-25-153105", hookup.scene()),
    ] {
        let scene = scene.ok_or("nothing measured")?;
        let minute = format!("2026-11-25 {}:{} UTC", &stamp[11..13], &stamp[13..15]);
        let document = Document::new(scene, "Light van 2.0, two phasers", minute);
        let _kept = store::keep(folder, stamp, &document)?;
    }
    std::fs::write(
        folder.join("2026-11-20-101500.exhibit.json"),
        "{\"form\": 9}",
    )?;
    Ok(())
}

/// What a technician would draw on it.
fn marks() -> Vec<Mark> {
    let round = |x: f64, y: f64| {
        let points = (0..=40).map(|k| {
            let (sin, cos) = (f64::from(k) / 40.0 * 6.5 - 2.0).sin_cos();
            [x + 0.055 * cos, y + 0.05 * sin]
        });
        points.collect()
    };
    vec![
        Mark::Highlight {
            from: [0.685, 0.285],
            to: [0.965, 0.455],
            ink: Ink::Blue,
        },
        Mark::Stroke {
            points: round(0.91, 0.67),
            ink: Ink::Vermillion,
            nib: Nib::Broad,
        },
        Mark::Arrow {
            from: [0.60, 0.60],
            to: [0.84, 0.655],
            ink: Ink::Vermillion,
            nib: Nib::Broad,
        },
        Mark::Text {
            at: [0.35, 0.56],
            words: "does not move here".to_owned(),
            ink: Ink::Vermillion,
        },
    ]
}
