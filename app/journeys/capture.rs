//! A capture of another instrument becomes a recording in the window.

use crate::desk::Desk;
use iced::keyboard::key::Named;
use keyway::application::Message;
use keyway::screen::import;
use keyway_acquisition::import::inspect;
use keyway_acquisition::import::plan::Plan;
use keyway_acquisition::simulator::engine::Engine;
use keyway_acquisition::simulator::scenario::Scenario;
use keyway_acquisition::simulator::source::SampleSource;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// Samples a second of the capture: enough for teeth at idle, and a small file.
const RATE: f64 = 20_000.0;

/// The healthy engine at idle as text, with semicolons and decimal commas.
fn capture(folder: &Path, samples: usize) -> PathBuf {
    let mut engine = Engine::from_scenario(&Scenario::named("healthy").unwrap(), 7);
    engine.set_rate(RATE);
    let channels = engine.channels();
    let mut block = vec![Vec::new(); channels.len()];
    engine.fill(samples, &mut block);
    let mut text = "Time (ms);Crank (V);Cam intake (V);Cam exhaust (V)\n".to_owned();
    for k in 0..samples {
        write!(text, "{:.3}", k as f64 * 1000.0 / RATE).unwrap();
        for (channel, raw) in channels.iter().zip(&block).take(3) {
            let volts = f64::from(raw[k]) * channel.scale + channel.offset;
            write!(text, ";{volts:.4}").unwrap();
        }
        text.push('\n');
    }
    let path = folder.join("idle.csv");
    std::fs::write(&path, text.replace('.', ",").replace(",csv", ".csv")).unwrap();
    path
}

/// What the toolkit does with the wish to look at a capture.
fn look(desk: &mut Desk, path: &Path) {
    let found = inspect(path, &Plan::default()).map(Arc::new);
    let found = found.map_err(|e| Arc::from(e.to_string()));
    desk.send(Message::Import(import::Message::Looked(found)));
}

#[test]
fn a_capture_that_is_dropped_onto_the_window_is_imported_and_plays() {
    let mut desk = Desk::open("capture");
    let path = capture(&desk.folder, 60_000);
    desk.send(Message::Dropped(path.clone()));
    look(&mut desk, &path);
    desk.sees("Import a capture");
    desk.sees("Cam exhaust");
    desk.click("Import");
    desk.wait("the recording", |app| app.shown().playback.is_some());
    desk.sees_not("Import a capture");
    assert!(desk.folder.join("idle.mcap").exists());
    desk.wait("an engine speed", |app| {
        let snapshot = app.shown().snapshot.as_ref();
        snapshot.is_some_and(|s| s.speed.valid().is_some_and(|v| (v.0 - 800.0).abs() < 40.0))
    });
}

#[test]
fn an_import_that_is_stopped_leaves_nothing() {
    let mut desk = Desk::open("stopped-import");
    let path = capture(&desk.folder, 200_000);
    desk.key("i");
    desk.sees("Import a capture");
    desk.send(Message::Dropped(path.clone()));
    look(&mut desk, &path);
    desk.click("Import");
    desk.named_key(Named::Escape);
    // Either it was stopped and says so, or it was quicker than the key.
    desk.wait("the end", |app| {
        app.shown().playback.is_some() || !app.is_importing()
    });
    let made = desk.folder.join("idle.mcap").exists();
    assert_eq!(made, desk.app.shown().playback.is_some());
    if !made {
        desk.sees("the import was stopped; nothing was kept");
    }
}

#[test]
fn what_is_no_capture_gets_a_sentence_and_nothing_begins() {
    let mut desk = Desk::open("no-capture");
    let path = desk.folder.join("letter.txt");
    std::fs::write(&path, "Dear customer,\nyour van is ready.\n").unwrap();
    desk.send(Message::Dropped(path.clone()));
    look(&mut desk, &path);
    desk.sees("Import a capture");
    desk.sees_not("Engine sheet");
    desk.named_key(Named::Escape);
    desk.sees_not("Import a capture");
}
