//! Recordings compared: one with itself, sound ones with each other, before and after a repair.

use crate::desk::Desk;
use crate::workpiece::{File, Workpiece, recorded};
use iced::keyboard::key::Named;
use jsonschema::Validator;
use keyway::application::Message;
use keyway::application::pages::Page;
use keyway::compare::side::Side;
use keyway::compare::{Comparison, banks, sentence, with_first};
use keyway::exhibit::scene::{CurveShape, Scene};
use keyway::screen::{compare, recordings};
use keyway::session::shelf;
use keyway::work::Progress;
use keyway_analysis::comparison::{Compared, Difference, Verdict};
use serde_json::Value;
use std::path::Path;
use std::process::{Command, Output};
use std::sync::Arc;

fn side(file: &File, name: &str) -> Side {
    let path = Path::new(file.path());
    Side::measure(path, name.to_owned(), &Progress::default()).unwrap()
}

fn made(workpiece: &Workpiece, name: &str) -> Side {
    side(&recorded(workpiece), name)
}

fn seeded(scenario: &'static str, seconds: f64, seed: u64) -> Workpiece {
    Workpiece {
        seed,
        ..Workpiece::of(scenario, seconds)
    }
}

fn one(sides: &[Side]) -> Comparison {
    with_first(sides, true).remove(0)
}

fn row<'a>(comparison: &'a Comparison, key: &str) -> &'a Compared {
    let found = comparison.rows.iter().find(|r| r.base.key == key);
    found.unwrap_or_else(|| panic!("no measure {key}"))
}

fn difference(comparison: &Comparison, key: &str) -> Difference {
    let row = row(comparison, key);
    row.difference
        .unwrap_or_else(|| panic!("{key}: {:?}", row.verdict))
}

/// The measures of a comparison that came out so.
fn keys(comparison: &Comparison, is_so: impl Fn(&Verdict) -> bool) -> Vec<&str> {
    let rows = comparison.rows.iter().filter(|r| is_so(&r.verdict));
    rows.map(|r| r.base.key.as_str()).collect()
}

fn exceeding(comparison: &Comparison) -> Vec<&str> {
    keys(comparison, |v| {
        matches!(v, Verdict::Exceeds | Verdict::Differs)
    })
}

#[test]
fn a_recording_does_not_differ_from_itself() {
    let side = made(&Workpiece::of("healthy", 24.0), "A");
    let comparison = one(&[side.clone(), side]);
    assert!(comparison.rows.len() > 40);
    for row in &comparison.rows {
        let is_same = matches!(
            row.verdict,
            Verdict::Within | Verdict::Alike | Verdict::NotShown(_) | Verdict::NotComparable(_)
        );
        assert!(is_same, "{}: {:?}", row.base.key, row.verdict);
        assert!(
            row.difference.is_none_or(|d| d.by == 0.0),
            "{}",
            row.base.key
        );
    }
    let shown = comparison.rows.iter().filter(|r| r.difference.is_some());
    assert!(shown.count() > 40);
}

/// Six pairs of sound recordings, which share no seed: of the single measures about one in twenty is
/// outside its own range, and hardly a table shows a difference.
#[test]
fn sound_recordings_seldom_differ() {
    let (mut tested, mut alone, mut tables) = (0, 0, 0);
    for pair in 0..6 {
        let side = |seed| made(&seeded("healthy", 24.0, seed), "healthy");
        let comparison = one(&[side(100 + 2 * pair), side(101 + 2 * pair)]);
        let differences = comparison.rows.iter().filter(|r| r.difference.is_some());
        tested += differences.count();
        let outside = keys(&comparison, |v| {
            matches!(v, Verdict::ExceedsAlone | Verdict::Exceeds)
        });
        alone += outside.len();
        let beyond = exceeding(&comparison);
        println!("pair {pair}: outside {outside:?}, beyond {beyond:?}");
        tables += usize::from(!beyond.is_empty());
    }
    println!("{alone} of {tested} outside their own range; {tables} of 6 tables show a difference");
    assert!(tested > 250);
    assert!((alone as f64) < 0.08 * tested as f64, "{alone} of {tested}");
    assert_eq!(tables, 0);
}

#[test]
fn a_chain_one_tooth_out_shows_in_the_phase_and_not_in_the_command() {
    let sides = [
        made(&seeded("healthy", 45.0, 11), "good"),
        made(&seeded("intake-chain-one-tooth", 45.0, 12), "this"),
    ];
    let comparison = one(&sides);
    // A sprocket of 42 teeth, one tooth late.
    let tooth = -720.0 / 42.0;
    let phase = difference(&comparison, "intake.phase-at-rest");
    assert!((phase.by - tooth).abs() < phase.half_width, "{phase:?}");
    assert!(phase.half_width < 0.2, "{phase:?}");
    let beyond = exceeding(&comparison);
    println!("{beyond:?}");
    for key in &beyond {
        let is_position = key.contains("phase-at-rest") || key.contains("base");
        assert!(is_position, "{key} {:?}", row(&comparison, key));
    }
    // The mean, the offset, eight edges, and what is concluded.
    assert_eq!(beyond.len(), 11, "{beyond:?}");
    let said = sentence::summary(&sides, &comparison);
    println!("{said}");
    assert!(said.starts_with("From good to this intake cam phase at rest changed by −17.1"));
    assert!(
        said.contains("base timing was “good” and is “one out by teeth”")
            || said.contains("Base timing was")
    );
}

#[test]
fn a_phaser_set_free_moves_and_its_rest_stays() {
    let sides = [
        made(&seeded("stuck-at-rest", 45.0, 21), "before"),
        made(&seeded("healthy", 45.0, 22), "after"),
    ];
    let comparison = one(&sides);
    let beyond = exceeding(&comparison);
    println!("{beyond:?}");
    println!("{}", sentence::summary(&sides, &comparison));
    for key in ["intake.phase-driven", "intake.duty-driven"] {
        assert!(beyond.contains(&key), "{key}");
    }
    assert!(difference(&comparison, "intake.phase-driven").by > 20.0);
    let rest = row(&comparison, "intake.phase-at-rest");
    assert_eq!(rest.verdict, Verdict::Within);
    assert!(
        beyond.iter().all(|key| key.starts_with("intake")),
        "{beyond:?}"
    );
}

#[test]
fn other_speeds_are_not_compared() {
    let at = |driver| Workpiece {
        driver,
        ..Workpiece::of("healthy", 16.0)
    };
    let slow = "[{ kind = \"idle\", seconds = 3 }, { kind = \"speed\", rpm = 1600, seconds = 20 }]";
    let fast = "[{ kind = \"idle\", seconds = 3 }, { kind = \"speed\", rpm = 3200, seconds = 20 }]";
    let comparison = one(&[made(&at(slow), "slow"), made(&at(fast), "fast")]);
    for key in ["intake.phase-driven", "exhaust.duty-driven"] {
        match &row(&comparison, key).verdict {
            Verdict::NotComparable(why) => {
                assert!(
                    why.starts_with("slow at 1") && why.contains("fast at 3"),
                    "{why}"
                );
            }
            other => panic!("{key}: {other:?}"),
        }
    }
}

#[test]
fn a_lead_that_is_off_shows_nothing() {
    let sides = [
        made(&Workpiece::of("healthy", 20.0), "good"),
        made(&Workpiece::of("lead-off", 20.0), "this"),
    ];
    let comparison = one(&sides);
    let hidden = keys(&comparison, |v| matches!(v, Verdict::NotShown(_)));
    println!("{hidden:?}");
    for key in hidden {
        assert!(row(&comparison, key).difference.is_none());
    }
}

#[test]
fn banks_of_one_recording_are_compared_with_each_other() {
    // The exhaust cam of the van, called the intake cam of a second bank.
    let file = recorded(&Workpiece {
        renamed: ["exhaust", "intake-2"],
        ..Workpiece::of("healthy", 24.0)
    });
    let sides = banks::sides(&side(&file, "A")).unwrap();
    let comparison = banks::compare(&sides);
    assert!(
        comparison
            .rows
            .iter()
            .all(|r| r.base.key.starts_with("intake."))
    );
    let rest = row(&comparison, "intake.phase-at-rest");
    assert_eq!(rest.verdict, Verdict::Within, "{rest:?}");
    // Another wheel and sensor: the tolerance of the sheet, 3° either side, counts for each.
    assert!(difference(&comparison, "intake.phase-at-rest").half_width > 4.0);
    // That cam is driven the other way.
    let driven = row(&comparison, "intake.phase-driven");
    assert_eq!(driven.verdict, Verdict::Exceeds, "{driven:?}");
    let one = side(&recorded(&Workpiece::of("healthy", 2.0)), "A");
    let refused = banks::sides(&one).unwrap_err().to_string();
    assert!(refused.contains("one bank only"), "{refused}");
}

fn run(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_keyway"))
        .arg("compare")
        .args(arguments)
        .output()
        .unwrap()
}

fn json(arguments: &[&str]) -> Value {
    let output = run(arguments);
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    serde_json::from_slice(&output.stdout).unwrap()
}

/// Every field of every object in the schema says what it is.
fn undescribed(schema: &Value, place: &str, found: &mut Vec<String>) {
    for (name, field) in schema["properties"].as_object().into_iter().flatten() {
        if field["description"].as_str().is_none_or(str::is_empty) {
            found.push(format!("{place}.{name}"));
        }
    }
    for (name, child) in schema["$defs"].as_object().into_iter().flatten() {
        undescribed(child, name, found);
    }
}

#[test]
fn what_is_printed_keeps_the_schema() {
    let schema = json(&["--schema"]);
    let mut found = Vec::new();
    undescribed(&schema, "", &mut found);
    assert!(found.is_empty(), "{found:?}");
    let validator: Validator = jsonschema::validator_for(&schema).unwrap();
    let a = recorded(&Workpiece::of("healthy", 14.0));
    let b = recorded(&Workpiece::of("leads-swapped", 6.0));
    let c = recorded(&Workpiece::of("small-hatch-healthy", 0.2));
    let names = ["--json", "--name", "before", "--name", "after"];
    let files = [a.path(), b.path(), c.path()];
    let document = json(&[&files[..], &names].concat());
    let slips: Vec<String> = (validator.iter_errors(&document))
        .map(|e| format!("{}: {e}", e.instance_path()))
        .collect();
    assert!(slips.is_empty(), "{slips:#?}");
    assert_eq!(document["recordings"][0]["name"], "before");
    assert_eq!(document["recordings"][2]["name"], "C");
    assert_eq!(document["comparisons"].as_array().unwrap().len(), 2);
    for pair in document["comparisons"].as_array().unwrap() {
        for row in pair["measures"].as_array().unwrap() {
            // No number without a difference to stand for it, no missing one without a reason.
            let verdict = row["verdict"].as_str().unwrap();
            let is_judged = ["exceeds", "exceeds alone", "within"].contains(&verdict);
            assert_eq!(is_judged, row["difference"].is_object(), "{row}");
            let is_open = verdict.starts_with("not ");
            assert_eq!(is_open, row["reason"].is_string(), "{row}");
        }
    }
}

#[test]
fn what_cannot_be_compared_is_refused_with_a_reason() {
    let a = recorded(&Workpiece::of("healthy", 1.0));
    let alone = run(&[a.path()]);
    assert_eq!(alone.status.code(), Some(2), "{alone:?}");
    let missing = run(&[a.path(), "/nowhere/b.mcap"]);
    assert_eq!(missing.status.code(), Some(1));
    let said = String::from_utf8(missing.stderr).unwrap();
    assert!(said.contains("/nowhere/b.mcap"), "{said}");
    let banks = run(&["--banks", a.path()]);
    assert_eq!(banks.status.code(), Some(1));
    let text = run(&[a.path(), a.path(), "--name", "before"]);
    assert_eq!(text.status.code(), Some(0));
    let said = String::from_utf8(text.stdout).unwrap();
    assert!(said.contains("before: ") && said.contains("Holm"), "{said}");
}

/// From the list of files over choosing, measuring and the table to what is kept of it.
#[test]
fn two_recordings_are_compared_in_the_window() {
    let mut desk = Desk::open("comparing");
    for (name, scenario, seed) in [("a-before", "stuck-at-rest", 1), ("b-after", "healthy", 2)] {
        let made = recorded(&seeded(scenario, 24.0, seed));
        let to = desk.folder.join(format!("{name}.mcap"));
        let _bytes = std::fs::copy(made.path(), to).unwrap();
    }
    desk.key("4");
    let shelf = shelf::read(&desk.folder).map(Arc::new);
    desk.send(Message::Recordings(recordings::Message::Read(shelf)));
    // The arrow keys and the letter mark one, a typed path adds the other.
    desk.named_key(Named::ArrowDown);
    desk.key("c");
    assert_eq!(desk.app.pages().compare.page.chosen(), 1);
    desk.send(Message::Turn(Page::Compare));
    desk.sees("One more at least: the first is the base, the others are compared with it.");
    let files = shelf::read(&desk.folder).unwrap().volumes;
    let chosen = desk.app.pages().compare.page.files();
    let other = files
        .iter()
        .find(|f| !chosen.contains(&f.path.as_path()))
        .unwrap();
    desk.type_into(compare::PATH_FIELD, other.path.to_str().unwrap());
    desk.click("Add");
    assert_eq!(desk.app.pages().compare.page.chosen(), 2);
    // It begins, is stopped, and begins again.
    desk.key("g");
    desk.wait("the work", |app| app.pages().compare.page.is_running());
    desk.sees("Cancel");
    desk.named_key(Named::Escape);
    desk.wait("its end", |app| !app.pages().compare.page.is_running());
    desk.sees("stopped; nothing half done is left");
    desk.key("g");
    desk.wait("the comparison", |app| {
        app.pages().compare.page.outcome().is_some()
    });
    let page = &desk.app.pages().compare.page;
    let outcome = page.outcome().unwrap();
    assert_eq!(outcome.laid.len(), 2);
    for laid in &outcome.laid {
        for side in &laid.sides {
            let cycle = side.as_ref().unwrap();
            assert!(cycle.cycles > 5, "{}: {}", laid.words, cycle.cycles);
        }
    }
    let scene = page.scene().unwrap();
    assert!(
        scene.sentence.contains("intake cam phase while driven"),
        "{}",
        scene.sentence
    );
    assert!(
        scene
            .values
            .iter()
            .any(|v| v.name.contains("phase while driven"))
    );
    assert_eq!(scene.recordings.len(), 2);
    desk.sees("Changed only");
    desk.key("a");
    desk.sees("All measures");
    desk.key("k");
    desk.sees("At idle, commands at rest");
    let scene = desk.app.pages().compare.page.scene().unwrap();
    let cam = scene
        .rows
        .iter()
        .find(|r| r.y.label == "Intake cam")
        .unwrap();
    assert_eq!(cam.curves.len(), 2);
    // A sensor that is high from 40° to 130°, in both.
    for curve in &cam.curves {
        let CurveShape::Line(points) = &curve.shape else {
            panic!("a line");
        };
        let at = |angle: usize| points[angle][1];
        assert!(
            at(85) > at(20) + 2.0 && at(85) > at(175) + 2.0,
            "{}",
            curve.name
        );
    }
    desk.key("e");
    let is_aligned = |scene: &Scene| scene.title.contains("command leaves rest");
    assert!(is_aligned(&desk.app.pages().compare.page.scene().unwrap()));
    let before = desk.app.pages().compare.page.scene().unwrap();
    desk.named_key(Named::ArrowRight);
    assert_ne!(
        before.rows,
        desk.app.pages().compare.page.scene().unwrap().rows
    );
    desk.sees("B after, shifted +0.05 s");
    // Names that the technician types are in the sentence at once.
    desk.key("m");
    desk.type_into("compare-name-2", "!");
    desk.click("Back");
    assert!(
        desk.app
            .pages()
            .compare
            .page
            .scene()
            .unwrap()
            .sentence
            .contains("to B after!")
    );
}
