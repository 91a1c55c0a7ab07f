//! From a lead that is proven by hand over a trial and a stored code to the evidence in a recording.

use crate::desk::Desk;
use crate::workpiece::{Workpiece, recorded};
use iced::keyboard::key::Named;
use keyway::application::{Application, Message, Tab};
use keyway::screen::{findings, live, recordings};
use keyway::session::playback::{Order, PlayStatus};
use keyway::status::RecordingStatus;
use keyway_analysis::lead::{CamId, Role};
use keyway_analysis::snapshot::{LeadSnapshot, ProofState, Touch};
use keyway_analysis::trial::TrialsView;
use serde_json::Value;
use std::path::PathBuf;
use std::process::Command;

fn command_lead(app: &Application) -> Option<LeadSnapshot> {
    let snapshot = app.shown().snapshot.as_ref()?;
    let role = Role::Command(CamId::EXHAUST);
    snapshot.leads.iter().find(|l| l.role == role).cloned()
}

fn trials(app: &Application) -> TrialsView {
    let snapshot = app.shown().snapshot.as_ref();
    snapshot.map_or_else(TrialsView::default, |s| TrialsView::clone(&s.trials))
}

/// The scenario touches the lead to ground after 10 s. It is asked for in a recording of it, which
/// waits for a busy machine.
#[test]
fn a_command_that_stands_still_is_proven_by_the_touch_test() {
    let file = recorded(&Workpiece::of("touch-test", 18.0));
    let mut desk = Desk::open("touch");
    let path = PathBuf::from(file.path());
    desk.send(Message::Recordings(recordings::Message::Play(path)));
    desk.key("2");
    desk.send(Message::Player(Order::Pause));
    desk.send(Message::Player(Order::Seek(5.0)));
    desk.wait("a lead that stands still", |app| {
        let is_there = |p: &PlayStatus| !p.is_playing && (p.position - 5.0).abs() < 0.2;
        app.shown().playback.as_deref().is_some_and(is_there)
            && command_lead(app).is_some_and(|l| l.proof != ProofState::Proven)
    });
    desk.settle();
    desk.click("Exhaust command");
    desk.click("Touch test");
    desk.settle();
    desk.send(Message::Player(Order::Seek(9.0)));
    desk.wait("the first step", |app| {
        command_lead(app).is_some_and(|l| l.touch == Some(Touch::ToGround))
    });
    desk.settle();
    desk.sees("1  Touch its tip to ground");
    // The pin itself stands at the supply, so ground was all that had not been seen.
    desk.send(Message::Player(Order::Seek(12.0)));
    desk.wait("both levels, and a level that is believed", |app| {
        command_lead(app)
            .is_some_and(|l| l.touch == Some(Touch::Done) && l.proof == ProofState::Proven)
    });
    desk.settle();
    desk.sees("3  Put it back on its pin");
    desk.click("Done, close");
}

#[test]
fn a_trial_runs_to_its_result_and_the_recording_gives_it_again() {
    let mut desk = Desk::open_on("trial", "healthy");
    desk.wait("figures", |app| {
        let snapshot = app.shown().snapshot.as_ref();
        snapshot.is_some_and(|s| s.elapsed.0 > 2.0)
    });
    desk.key("r");
    desk.click("Trials");
    desk.click("Exhaust");
    desk.click("+");
    desk.sees("80 °C");
    desk.click("Snap rev");
    desk.wait("a trial under way", |app| trials(app).running.is_some());
    desk.settle();
    desk.sees("Snap rev, exhaust cam, oil 80 °C");
    let until = desk.seconds() + 12.0;
    desk.wait("a result, or time enough", |app| {
        let seconds = app.shown().snapshot.as_ref().map(|s| s.elapsed.0);
        !trials(app).results.is_empty() || seconds.is_some_and(|s| s > until)
    });
    if trials(&desk.app).results.is_empty() {
        desk.send(Message::Live(live::Message::StopTrial));
    }
    desk.wait("the result", |app| !trials(app).results.is_empty());
    desk.settle();
    let result = trials(&desk.app).results.remove(0);
    desk.sees(&result.sentence);
    desk.click("Next trial");
    desk.sees("Rest at idle");
    let RecordingStatus::On { path, .. } = desk.app.shown().recording.clone() else {
        panic!("it does not record");
    };
    desk.key("r");
    let again = analysed(&path, &[]);
    let trial = &again["streams"][0]["trials"][0];
    assert_eq!(trial["trial"], "snap-rev");
    assert_eq!(trial["cam"], "exhaust");
    assert_eq!(trial["oil_celsius"], 80.0);
    assert_eq!(trial["sentence"], result.sentence.as_str());
}

fn analysed(path: &PathBuf, more: &[&str]) -> Value {
    let output = Command::new(env!("CARGO_BIN_EXE_keyway"))
        .args(["analyse", "--json", "--no-series"])
        .args(more)
        .arg(path)
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    serde_json::from_slice(&output.stdout).unwrap()
}

#[test]
fn a_typed_code_is_explained() {
    let mut desk = Desk::open("code");
    desk.wait_for_samples();
    desk.key("5");
    desk.click("Codes");
    desk.type_into(findings::CODE_FIELD, "p0014");
    desk.click("Add");
    desk.wait("the code", |app| {
        let snapshot = app.shown().snapshot.as_ref();
        snapshot.is_some_and(|s| s.findings.codes.iter().any(|c| c.code == "P0014"))
    });
    let snapshot = desk.app.shown().snapshot.clone().unwrap();
    let code = &snapshot.findings.codes[0];
    assert!(!code.meaning.is_empty() && !code.measured.is_empty());
    desk.sees("P0014");
    desk.sees(&code.meaning);
}

#[test]
fn evidence_leads_to_its_place_in_the_recording() {
    let file = recorded(&Workpiece::of("stuck-at-rest", 16.0));
    let mut desk = Desk::open("evidence");
    let path = PathBuf::from(file.path());
    desk.send(Message::Recordings(recordings::Message::Play(path.clone())));
    desk.key("5");
    desk.wait("the whole recording", |app| {
        (app.shown().whole.as_ref()).is_some_and(|w| w.share >= 1.0 && w.found.is_some())
    });
    desk.sees("The phaser is stuck");
    let whole = desk.app.shown().whole.clone().unwrap();
    let found = whole.found.clone().unwrap();
    let first = &found.snapshot.findings.causes[0];
    let piece = first
        .evidence
        .iter()
        .filter(|e| e.bearing == keyway_analysis::findings::Bearing::Supports)
        .find_map(|e| e.at)
        .unwrap();
    let seconds = found.seconds(piece);
    desk.named_key(Named::Enter);
    assert_eq!(desk.app.tab(), Tab::Live);
    desk.wait("that place", |app| {
        let play = app.shown().playback.as_ref();
        play.is_some_and(|p| !p.is_playing && (p.position - seconds).abs() < 0.1)
    });
    // The same from the command line, with a code.
    let document = analysed(&path, &["--code", "P0014"]);
    let findings = &document["streams"][0]["findings"];
    assert_eq!(findings["codes"][0]["code"], "P0014");
    assert_eq!(findings["causes"][0]["cause"], first.cause.words());
}
