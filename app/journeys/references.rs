//! A reference from a good engine, through the page, to the judgement of a bad one.

use crate::desk::Desk;
use crate::workpiece::{File, Workpiece, recorded};
use iced::keyboard::key::Named;
use keyway::application::pages::Page;
use keyway::application::{Application, Message, Tab};
use keyway::reference;
use keyway::screen::recordings;
use keyway::screen::references::{PATH_FIELD, taking, typing};
use keyway::status::RecordingStatus;
use keyway_acquisition::recording::reader::Recording;
use keyway_analysis::base_timing::Conclusion;
use keyway_analysis::lead::CamId;
use std::path::PathBuf;

/// Twelve seconds of idle of the light van, with a sheet whose angles nobody has called known good.
fn idling(faults: &'static str) -> File {
    recorded(&Workpiece {
        faults,
        driver: "[{ kind = \"idle\", seconds = 1000 }]",
        renamed: ["known_good = true", "known_good = false"],
        ..Workpiece::of("healthy", 12.0)
    })
}

fn play(desk: &mut Desk, path: &str) {
    desk.send(Message::Recordings(recordings::Message::Play(
        PathBuf::from(path),
    )));
    desk.wait("the recording", |app| app.shown().playback.is_some());
}

fn to_page(desk: &mut Desk) {
    desk.send(Message::Open(Tab::Recordings));
    desk.send(Message::Turn(Page::References));
    desk.wait_to_see("Type in… (H)");
}

/// The references in the desk's folder.
fn kept(desk: &Desk) -> Vec<PathBuf> {
    let folder = desk.folder.join("references");
    let files = std::fs::read_dir(folder).map_or_else(|_| Vec::new(), |f| f.flatten().collect());
    files.into_iter().map(|f| f.path()).collect()
}

fn concluded(app: &Application) -> Option<Conclusion> {
    let whole = app.shown().whole.as_ref()?;
    let found = whole.found.as_ref().filter(|_| whole.share >= 1.0)?;
    Some(found.snapshot.base_timing.conclusion)
}

#[test]
fn a_good_engine_judges_a_bad_one() {
    let good = idling("");
    let bad = idling("\n[[faults]]\nkind = \"chain-jump\"\ncam = \"intake\"\nteeth = -1\n");
    let mut desk = Desk::open("references");
    to_page(&mut desk);
    desk.wait_to_see("No references yet.");
    play(&mut desk, good.path());
    to_page(&mut desk);
    desk.sees("no reference: offsets are not judged");
    desk.key("n");
    desk.type_into(taking::FIELDS[1], "KW 347");
    desk.type_into(taking::FIELDS[2], "8o");
    desk.click("Take the angles at rest");
    desk.sees("Degrees Celsius between −40 and 200, or nothing.");
    desk.hand_clears(taking::FIELDS[2], 2);
    desk.click("Take the angles at rest");
    desk.wait_to_see("Save");
    desk.click("Save");
    let [file] = kept(&desk).try_into().unwrap();
    let made = reference::read(&file).unwrap().reference;
    assert_eq!(made.vehicle, "KW 347");
    assert_eq!(made.cams.len(), 2);
    desk.wait_to_see("proposed");
    // The other engine alone tells nothing of itself.
    play(&mut desk, bad.path());
    desk.wait("the whole", |app| concluded(app).is_some());
    assert_eq!(concluded(&desk.app), Some(Conclusion::NotJudged));
    to_page(&mut desk);
    desk.wait_to_see("Use (U)");
    desk.key("u");
    desk.wait_to_see("in use");
    desk.wait("the whole again", |app| {
        concluded(app) == Some(Conclusion::OneOutByTeeth(CamId::INTAKE, -1))
    });
    let words = format!("against: {}, one engine, ±3.0°", made.name);
    desk.sees(&words);
    desk.key("u");
    desk.wait_to_see("no reference: offsets are not judged");
    // The recording itself is as it was.
    let own = Recording::open(&PathBuf::from(bad.path())).unwrap();
    assert!(!own.header().engine_sheet.contains("reference ="));
}

#[test]
fn a_handbook_is_typed_in_and_a_recording_carries_it() {
    let mut desk = Desk::open("handbook");
    desk.wait_for_samples();
    to_page(&mut desk);
    desk.key("h");
    desk.type_into(typing::FIELDS[0], "21.0");
    desk.click("° of cam");
    desk.sees("= 42.0° of the crank after firing TDC 1, 2.0° later than in the engine sheet");
    desk.key("a");
    desk.sees("= 678.0° of the crank after firing TDC 1, 82.0° earlier than in the engine sheet");
    desk.key("a");
    desk.click("Add");
    desk.type_into(typing::FIELDS[3], "Engine book, page 14-7");
    desk.click("Save (V)");
    desk.sees("How far may a good engine be? Degrees of the crank, from 0.05.");
    desk.type_into(typing::FIELDS[1], "2");
    desk.click("Save (V)");
    let [file] = kept(&desk).try_into().unwrap();
    desk.wait_to_see("proposed");
    desk.named_key(Named::Enter);
    desk.wait_to_see("in use");
    desk.wait_for_samples();
    desk.key("r");
    desk.wait(
        "a recording",
        |app| matches!(app.shown().recording, RecordingStatus::On { seconds, .. } if seconds > 0.3),
    );
    desk.key("r");
    let mut files = std::fs::read_dir(&desk.folder)
        .unwrap()
        .flatten()
        .map(|f| f.path());
    let mcap = files
        .find(|p| p.extension().is_some_and(|e| e == "mcap"))
        .unwrap();
    let sheet = Recording::open(&mcap)
        .unwrap()
        .header()
        .engine_sheet
        .clone();
    assert!(
        sheet.contains("quality = \"handbook, ±2.0°, 1 angle for 8 edges\""),
        "{sheet}"
    );
    // Out to a stick, and not over what is there.
    to_page(&mut desk);
    desk.key("o");
    let stick = desk.folder.join("stick.toml").display().to_string();
    desk.type_into(PATH_FIELD, &stick);
    desk.click("Export");
    assert_eq!(
        std::fs::read(&stick).unwrap(),
        std::fs::read(&file).unwrap()
    );
    desk.key("b");
    desk.type_into(PATH_FIELD, &stick);
    desk.named_key(Named::Enter);
    desk.sees(&format!("it is there already, as {}", file.display()));
}
