//! A recording is looked through: from the list to single samples, with cursors, events and search.

use super::desk::Desk;
use super::workpiece::{Workpiece, recorded};
use keyway::application::Tab;
use keyway::application::pages::Page;
use keyway::review::between::Turned;
use keyway::review::course::Course;
use keyway::review::course::side_file;
use keyway::screen::review;
use keyway::session::analyser::Analyser;
use keyway::session::orders::Script;
use keyway::session::playback;
use keyway::survey::{self, Survey};
use std::path::Path;
use std::sync::Arc;

fn copied(desk: &Desk, workpiece: &Workpiece) -> std::path::PathBuf {
    let file = recorded(workpiece);
    let path = desk.folder.join("van.mcap");
    let _bytes = std::fs::copy(file.path(), &path).unwrap();
    path
}

fn surveys(path: &Path) -> Vec<Survey> {
    let (recording, setup) = playback::open(path).unwrap();
    let script = Script::of(&recording);
    survey::of(&recording, Analyser::new(setup), script, "", false).unwrap()
}

/// The same figures as `analyse`: f32 keeps seven digits, and the file three decimals.
fn compare(course: &Course, surveys: &[Survey], error: f64) {
    let mut i = 0;
    let near = |a: Option<f32>, b: Option<f64>, scale: f64| match (a, b) {
        (Some(a), Some(b)) => (f64::from(a) - b).abs() <= error * scale,
        (None, None) => true,
        _ => false,
    };
    for survey in surveys {
        for point in &survey.points {
            assert!(
                near(course.speed[i], point.speed.map(|v| v.0), 100.0),
                "{i}"
            );
            assert!(
                near(course.supply[i], point.supply.map(|v| v.0), 1.0),
                "{i}"
            );
            for (mine, cam) in course.cams.iter().zip(point.cams.iter()) {
                assert!(near(mine.duty[i], cam.duty.map(|v| v.0), 10.0), "{i}");
                assert!(near(mine.phase[i], cam.phase.map(|v| v.0), 1.0), "{i}");
                assert_eq!(mine.state[i], cam.state, "{i}");
            }
            i += 1;
        }
    }
    assert_eq!(course.len(), i);
    let events: Vec<_> = surveys
        .iter()
        .flat_map(|s| &s.events)
        .map(|e| &e.text)
        .collect();
    assert_eq!(
        course.events.iter().map(|e| &e.text).collect::<Vec<_>>(),
        events
    );
}

#[test]
fn the_course_is_what_analyse_measures_and_is_kept_beside_the_recording() {
    let mut desk = Desk::open("course");
    let path = copied(
        &desk,
        &Workpiece {
            gap: Some(3.0),
            streams: 2,
            ..Workpiece::of("stuck-at-rest", 8.0)
        },
    );
    let surveys = surveys(&path);
    desk.review(&path);
    desk.wait("the course", |app| app.pages().review.is_settled());
    let course = Arc::clone(desk.app.pages().review.course().unwrap());
    compare(&course, &surveys, 1e-5);
    assert_eq!(
        course.absent.len(),
        3,
        "a gap in each stream, and one between: {:?}",
        course.absent
    );
    assert!(side_file::place(&path).exists());

    // Opened again, it is there before anything is measured, and the same but for rounding.
    let (recording, setup) = playback::open(&path).unwrap();
    let owner = side_file::Owner::of(&recording, &setup);
    compare(&side_file::read(&path, &owner).unwrap(), &surveys, 1.1e-3);
}

#[test]
fn a_recording_is_looked_through_down_to_its_samples() {
    let mut desk = Desk::open("review");
    let path = copied(&desk, &Workpiece::of("stuck-at-rest", 16.0));
    desk.review(&path);
    assert_eq!(
        (desk.app.tab(), desk.app.pages().open),
        (Tab::Recordings, Page::Review)
    );
    desk.wait("the player to stand", |app| {
        app.shown().playback.as_ref().is_some_and(|p| !p.is_playing)
    });
    let play = desk.app.shown().playback.clone().unwrap();
    assert!(play.position < 0.5, "{} is not the start", play.position);
    desk.wait("the whole recording", |app| app.pages().review.is_settled());
    desk.sees("Whole recording");
    desk.sees("not following");
    desk.sees("exhaust command");

    for _ in 0..60 {
        desk.key("+");
    }
    desk.wait("samples", |app| app.pages().review.is_settled());
    let scene = desk.app.pages().review.scene().unwrap();
    let span = scene.x.to - scene.x.from;
    assert!(
        (span - 12.0 / 100_000.0).abs() < 1e-9,
        "{span} s are twelve samples"
    );
    desk.key("w");

    // A whole number of revolutions apart at the idle of the engine, by the crank alone.
    desk.page(review::Message::Show(6.0, 7.0));
    desk.page(review::Message::PutCursor(6.2));
    desk.page(review::Message::PutCursor(6.7));
    desk.wait("the cursors", |app| app.pages().review.is_settled());
    let between = desk.app.pages().review.between().unwrap().clone();
    let Turned::By(by, _) = between.turned else {
        panic!("{:?}", between.turned);
    };
    let course = desk.app.pages().review.course().unwrap();
    let points = course.within(&(6.2..6.7));
    let mean = course.speed[points.clone()]
        .iter()
        .flatten()
        .map(|v| f64::from(*v))
        .sum::<f64>()
        / points.len() as f64;
    let due = mean * 6.0 * 0.5;
    assert!((by.0 - due).abs() < 0.02 * due, "{} against {due}", by.0);
    desk.sees("500.0 ms");
    desk.sees("2.000 Hz");
    assert_eq!(desk.app.pages().review.span(), Some(6.2..6.7));
    assert_eq!(desk.app.pages().review.scene().unwrap().cursors.len(), 2);

    desk.key("n");
    desk.key("v");
    desk.sees("Next (N)");
    desk.key("f");
    desk.type_into(review::FIND_FIELD, "not following");
    desk.click("Search");
    assert!(!desk.app.pages().review.hits().is_empty());
    desk.key("g");
    assert_eq!(desk.app.tab(), Tab::Live);
}

#[test]
fn stretches_are_found_without_a_window() {
    let file = recorded(&Workpiece::of("stuck-at-rest", 16.0));
    let find = |wish: &str, more: &[&str]| {
        std::process::Command::new(env!("CARGO_BIN_EXE_keyway"))
            .args(["analyse", file.path(), "--find", wish])
            .args(more)
            .output()
            .unwrap()
    };
    let output = find("intake not following", &["--json"]);
    let found: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    let survey = &surveys(Path::new(file.path()))[0];
    let seconds = survey.cams[0].states["not following"];
    let long: f64 = (found["stretches"].as_array().unwrap().iter())
        .map(|s| s["to"].as_f64().unwrap() - s["from"].as_f64().unwrap())
        .sum();
    assert!(
        seconds > 1.0 && (long - seconds).abs() < 1e-6,
        "{long} {seconds}"
    );
    let words = find("speed > 20000", &[]).stdout;
    assert_eq!(String::from_utf8(words).unwrap(), "nowhere\n");
    let mistake = find("duty > lots", &[]);
    assert_eq!(mistake.status.code(), Some(2));
    let words = String::from_utf8(mistake.stderr).unwrap();
    assert!(words.contains("expected a number such as 60"), "{words}");
}
