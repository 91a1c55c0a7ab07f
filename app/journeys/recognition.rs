//! A sheet with the wrong wheel: the signal says what it is, and the session can go by it.

use crate::desk::Desk;
use keyway::application::{Application, Message, Tab};
use keyway::session::choice::Choice;
use keyway::session::{Bench, Plan};
use keyway::settings::Settings;
use keyway::setup::Setup;

/// The dashboard on the healthy van, with a sheet that names another wheel.
fn desk(name: &str) -> Desk {
    let mut desk = Desk::open(name);
    let sheet = desk.folder.join("wrong.toml");
    let text = Setup::built_in().unwrap().sheet_text;
    std::fs::write(&sheet, text.replace("\"60-2\"", "\"36-1\"")).unwrap();
    let plan = Plan {
        sheet: Some(sheet),
        ..Plan::of(Choice::Scenario("healthy".to_owned()))
    };
    let mut bench = Bench::new().unwrap();
    bench.open(&plan).unwrap();
    let settings = Settings {
        recordings: Some(desk.folder.clone()),
        ..Settings::default()
    };
    desk.app = Application::new(bench, plan, settings, None).unwrap();
    desk.send(Message::Open(Tab::Hookup));
    desk
}

fn has_angle(app: &Application) -> bool {
    let snapshot = app.shown().snapshot.as_ref();
    snapshot.is_some_and(|s| s.angle.is_some())
}

fn is_recognised(app: &Application) -> bool {
    let snapshot = app.shown().snapshot.as_ref();
    snapshot.is_some_and(|s| {
        let seen = s.leads[0].recognition.as_ref();
        seen.is_some_and(|r| r.wheel().is_some_and(|w| w.to_string() == "60-2"))
    })
}

#[test]
fn what_was_recognised_is_used_when_a_key_is_pressed_and_never_before() {
    let mut desk = desk("recognition");
    desk.wait("a recognition", is_recognised);
    // The figures change four times a second.
    std::thread::sleep(std::time::Duration::from_millis(300));
    desk.tick();
    assert!(!has_angle(&desk.app), "no angle by the wrong wheel");
    desk.sees("Looks like 60-2, variable reluctance, falling crossing: sure.");
    desk.sees("The engine sheet says 36-1, variable reluctance, falling crossing.");
    let file = desk.folder.join("wrong.toml");
    let before = std::fs::read(&file).unwrap();
    desk.click("Use for this session");
    desk.wait("an angle", has_angle);
    desk.sees_not("Use for this session");
    assert!(desk.app.title().contains("crank as recognised"));
    assert_eq!(
        std::fs::read(&file).unwrap(),
        before,
        "the sheet is as it was"
    );
}
