//! Journeys through the dashboard on a real session: the embedded virtual scope behind the real
//! protocol, real threads, real files. Only the window itself is missing.

#![allow(
    clippy::unwrap_used,
    reason = "a journey that cannot go on has failed, and says where"
)]

mod analysis;
mod capture;
mod commands;
mod comparison;
mod cycles;
mod desk;
mod edge_list;
mod exchange;
mod exhibits;
mod inquiry;
mod job;
mod locked;
mod recognition;
mod references;
mod rescue;
mod review;
mod workpiece;

use desk::Desk;
use iced::keyboard::key::Named;
use keyway::application::{Message, Tab};
use keyway::screen::{recordings, source};
use keyway::session::playback::Order;
use keyway::session::shelf;
use keyway::status::{LinkState, RecordingStatus};
use keyway_acquisition::recording::reader::{Completeness, Recording};
use keyway_analysis::reading::Reading;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::{Duration, Instant};

/// The recordings in the desk's folder.
fn files(desk: &Desk) -> Vec<PathBuf> {
    shelf::read(&desk.folder)
        .unwrap()
        .volumes
        .into_iter()
        .map(|v| v.path)
        .collect()
}

/// Seconds of samples in a recording, and samples missing between its blocks.
fn contents(path: &Path) -> (f64, u64) {
    let recording = Recording::open(path).unwrap();
    let mut next = None;
    let mut missing = 0;
    for block in recording.blocks().unwrap() {
        let block = block.unwrap();
        missing += block.first_index - next.unwrap_or(block.first_index);
        next = Some(block.end_index());
    }
    (recording.duration().as_secs_f64(), missing)
}

#[test]
fn it_starts_on_the_virtual_scope_and_measures() {
    let mut desk = Desk::open("start");
    desk.wait("an engine speed", |app| {
        let snapshot = app.shown().snapshot.as_ref();
        snapshot.is_some_and(|s| s.speed.valid().is_some_and(|v| v.0 > 500.0))
    });
    desk.sees("Light van 2.0, two phasers");
    desk.sees("Virtual scope");
    desk.sees("Engine speed");
    assert_eq!(desk.app.shown().link.channels, 8);
    assert_eq!(desk.app.shown().link.lost, 0);
}

#[test]
fn record_keeps_every_sample_even_while_the_screen_stalls() {
    let mut desk = Desk::open("record");
    desk.wait_for_samples();
    desk.click("Record");
    desk.wait(
        "bytes in the file",
        |app| matches!(app.shown().recording, RecordingStatus::On { bytes, .. } if bytes > 10_000),
    );
    // The screen stalls: no tick, no drawing, for some two seconds of eight channels.
    let [file] = files(&desk).try_into().unwrap();
    let until = Instant::now() + Duration::from_secs(60);
    while std::fs::metadata(&file).map_or(0, |m| m.len()) < 2_000_000 {
        assert!(Instant::now() < until, "nothing was recorded");
        std::thread::sleep(Duration::from_millis(20));
    }
    desk.tick();
    let RecordingStatus::On { seconds, .. } = desk.app.shown().recording else {
        panic!("it stopped recording");
    };
    assert!(seconds > 1.0, "{seconds} s");
    desk.key("r");
    assert_eq!(desk.app.shown().recording, RecordingStatus::Off);
    let [file] = files(&desk).try_into().unwrap();
    let (seconds, missing) = contents(&file);
    assert!(seconds > 1.0, "{seconds} s");
    assert_eq!(missing, desk.app.shown().link.lost);
    let recording = Recording::open(&file).unwrap();
    assert_eq!(recording.completeness(), Completeness::Complete);
    assert!(recording.header().note.contains("P0014"));
    assert!(recording.header().engine_sheet.contains("[[cams]]"));
}

#[test]
fn closing_the_window_finishes_the_recording() {
    let mut desk = Desk::open("close");
    desk.wait_for_samples();
    desk.key("r");
    desk.wait(
        "a recording",
        |app| matches!(app.shown().recording, RecordingStatus::On { seconds, .. } if seconds > 0.3),
    );
    let folder = desk.close();
    let volumes = shelf::read(&folder).unwrap().volumes;
    assert_eq!(volumes.len(), 1);
    let recording = Recording::open(&volumes[0].path).unwrap();
    assert_eq!(recording.completeness(), Completeness::Complete);
    std::fs::remove_dir_all(folder).unwrap();
}

#[test]
fn hold_stops_the_picture_and_nothing_else() {
    let mut desk = Desk::open("hold");
    desk.wait_for_samples();
    desk.click("Hold");
    desk.sees("Resume");
    let before = desk.seconds();
    assert!(desk.looks_as_before("held"), "the first look is kept");
    desk.wait("more samples", |app| {
        let snapshot = app.shown().snapshot.as_ref();
        snapshot.is_some_and(|s| s.elapsed.0 > before + 0.3)
    });
    assert!(desk.looks_as_before("held"), "the picture moved");
    desk.named_key(Named::Space);
    desk.sees("Hold");
    desk.tick();
    assert!(!desk.looks_as_before("held"), "the picture still stands");
}

#[test]
fn the_look_changes_and_is_kept() {
    let mut desk = Desk::open("look");
    desk.click("Daylight");
    desk.sees("Workshop");
    desk.key("l");
    desk.sees("Daylight");
    let kept = std::fs::read_to_string(desk.settings_file()).unwrap();
    assert!(kept.contains("workshop"), "{kept}");
}

#[test]
fn a_path_that_is_no_port_is_told_and_the_way_back_is_one_press() {
    let mut desk = Desk::open("source");
    desk.wait_for_samples();
    desk.click("Virtual scope");
    desk.sees("Where samples come from");
    desk.type_into(source::PATH_FIELD, "/dev/keyway-not-there");
    desk.click("Open");
    desk.wait("the failure", |app| {
        matches!(app.shown().link.state, LinkState::Failed(_))
    });
    let LinkState::Failed(why) = desk.app.shown().link.state.clone() else {
        panic!("it did not fail");
    };
    assert!(
        why.contains("There is no port /dev/keyway-not-there"),
        "{why}"
    );
    desk.sees(&why);
    desk.click("Choose a source");
    desk.click("Light van: healthy");
    desk.wait_for_samples();
    desk.sees_not("Where samples come from");
}

#[test]
fn escape_closes_the_panel() {
    let mut desk = Desk::open("escape");
    desk.key("s");
    desk.sees("Where samples come from");
    desk.named_key(Named::Escape);
    desk.sees_not("Where samples come from");
}

#[cfg(unix)]
#[test]
fn a_typed_pseudo_terminal_streams() {
    let scope = desk::Scope::start();
    let mut desk = Desk::open("pty");
    desk.key("s");
    desk.type_into(source::PATH_FIELD, &scope.path);
    desk.click("Open");
    desk.wait_for_samples();
    assert_eq!(desk.app.shown().link.source, scope.path);
    desk.sees(&scope.path);
    desk.wait("an engine speed", |app| {
        let snapshot = app.shown().snapshot.as_ref();
        snapshot.is_some_and(|s| s.speed.valid().is_some())
    });
    // The scope goes: its figures are not shown as if they were of now.
    drop(scope);
    desk.wait("old figures", |app| {
        let snapshot = app.shown().snapshot.as_ref();
        matches!(app.shown().link.state, LinkState::Lost(_))
            && snapshot.is_some_and(|s| matches!(s.speed, Reading::Stale(..)))
    });
    desk.sees("Choose a source");
}

#[test]
fn hook_up_says_what_each_lead_shows() {
    let mut desk = Desk::open("hookup");
    desk.click("Hook-up");
    desk.wait("living leads", |app| {
        let snapshot = app.shown().snapshot.as_ref();
        snapshot.is_some_and(|s| keyway::screen::hookup::is_proven(s))
    });
    for _ in 0..20 {
        desk.tick();
        std::thread::sleep(Duration::from_millis(30));
    }
    desk.sees("Exhaust command");
    desk.sees("proven");
    desk.sees("not fitted");
    let traces = &desk.app.shown().traces;
    assert!(
        traces
            .leads
            .iter()
            .all(|t| t.columns.iter().flatten().count() > 100)
    );
}

#[test]
fn a_recording_plays_scrubs_and_gives_the_scope_back() {
    let mut desk = Desk::open("play");
    desk.wait_for_samples();
    desk.key("r");
    desk.wait(
        "three seconds",
        |app| matches!(app.shown().recording, RecordingStatus::On { seconds, .. } if seconds > 3.0),
    );
    desk.key("r");
    std::fs::write(desk.folder.join("notes.mcap"), "not a recording").unwrap();
    desk.click("Recordings");
    // The toolkit would read the folder on a thread and send this.
    let shelf = shelf::read(&desk.folder).map(Arc::new);
    desk.send(Message::Recordings(recordings::Message::Read(shelf)));
    desk.sees("notes.mcap");
    desk.click("Play");
    desk.wait("a figure from the recording", |app| {
        let is_playing = app.shown().playback.is_some();
        let snapshot = app.shown().snapshot.as_ref();
        is_playing && snapshot.is_some_and(|s| s.speed.valid().is_some())
    });
    let position = |desk: &Desk| desk.app.shown().playback.as_ref().unwrap().position;
    let (from, start) = (position(&desk), Instant::now());
    std::thread::sleep(Duration::from_millis(700));
    desk.tick();
    let (played, passed) = (position(&desk) - from, start.elapsed().as_secs_f64());
    // A busy machine may make it late, but never early.
    assert!(
        played > 0.2 && played < passed + 0.1,
        "{played} s in {passed} s"
    );
    desk.click("Pause");
    desk.wait("it stands", |app| {
        app.shown().playback.as_ref().is_some_and(|p| !p.is_playing)
    });
    for to in [2.5, 0.5, 2.0] {
        desk.send(Message::Player(Order::Seek(to)));
        desk.wait("it is there", |app| {
            let play = app.shown().playback.as_ref();
            play.is_some_and(|p| (p.position - to).abs() < 0.05)
                && app
                    .shown()
                    .snapshot
                    .as_ref()
                    .is_some_and(|s| s.speed.valid().is_some())
        });
    }
    desk.click("Leave");
    desk.wait_for_samples();
    assert!(desk.app.shown().playback.is_none());
    desk.sees("Virtual scope");
}

#[test]
fn a_scenario_is_chosen_with_the_keys_alone() {
    let mut desk = Desk::open("keys");
    desk.wait_for_samples();
    let session = desk.app.generation();
    desk.key("s");
    let ports = keyway::session::choice::Offer::now().ports.len();
    // Past the ports, past the first scenario, to the second.
    for _ in 0..ports + 2 {
        desk.named_key(Named::ArrowDown);
    }
    desk.named_key(Named::Enter);
    desk.sees_not("Where samples come from");
    assert_eq!(desk.app.generation(), session + 1);
    desk.wait_for_samples();
    desk.sees("none; brought in for service");
}

#[test]
fn the_digits_open_the_screens() {
    let mut desk = Desk::open("digits");
    for (key, tab, words) in [
        ("1", Tab::Job, "Job"),
        ("2", Tab::Hookup, "Where to connect"),
        ("4", Tab::Recordings, "Use folder"),
        ("5", Tab::Findings, "Codes"),
        ("3", Tab::Live, "Agreement"),
    ] {
        desk.key(key);
        assert_eq!(desk.app.tab(), tab);
        desk.sees(words);
    }
}
