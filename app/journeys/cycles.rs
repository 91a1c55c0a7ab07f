//! From a recording in the list to its engine cycles, locked to the crank.

use crate::desk::Desk;
use crate::workpiece::{self, Workpiece};
use iced::keyboard::key::Named;
use keyway::application::pages::Page;
use keyway::application::{Application, Message, Tab};
use keyway::screen::cycles::{self, Stock, TO_FIELD};
use keyway::screen::recordings;
use keyway_analysis::lead::{CamId, Role};
use std::sync::Arc;

fn stock(app: &Application) -> Option<&Arc<Stock>> {
    app.pages().cycles.stock()
}

fn is_cut(app: &Application) -> bool {
    !app.pages().cycles.is_working() && stock(app).is_some_and(|s| !s.cycles().is_empty())
}

#[test]
fn a_recording_is_opened_and_its_cycles_are_stepped_through_overlaid_and_averaged() {
    let file = workpiece::recorded(&Workpiece::of("healthy", 6.0));
    let mut desk = Desk::open("cycles");
    // Without a recording the page says what to do.
    desk.key("4");
    desk.send(Message::Turn(Page::Cycles));
    desk.tick();
    assert!(stock(&desk.app).is_none());
    desk.send(Message::Turn(Page::Files));
    desk.send(Message::Recordings(recordings::Message::Review(
        file.path().into(),
    )));
    assert_eq!(
        (desk.app.tab(), desk.app.pages().open),
        (Tab::Recordings, Page::Review)
    );
    desk.named_key(Named::PageDown);
    assert_eq!(desk.app.pages().open, Page::Cycles);
    desk.wait("the cycles", is_cut);
    desk.sees("One cycle");
    desk.sees("TDC 3");
    desk.sees("Exhaust cam");
    let count = stock(&desk.app).unwrap().cycles().len();
    assert!(count > 20, "{count} cycles");
    let facts = |desk: &Desk| {
        let page = &desk.app.pages().cycles;
        page.facts(page.stock().unwrap())
    };
    assert!(
        facts(&desk).starts_with(&format!("Cycle 1 of {count}")),
        "{}",
        facts(&desk)
    );
    desk.named_key(Named::ArrowDown);
    desk.click("Next");
    assert!(
        facts(&desk).starts_with(&format!("Cycle 3 of {count}")),
        "{}",
        facts(&desk)
    );
    desk.sees(&facts(&desk));
    desk.named_key(Named::ArrowUp);
    assert!(
        facts(&desk).starts_with(&format!("Cycle 2 of {count}")),
        "{}",
        facts(&desk)
    );
    desk.click("Overlaid");
    assert!(
        facts(&desk).starts_with(&format!("{count} cycles")),
        "{}",
        facts(&desk)
    );
    desk.key("m");
    desk.key("a");
    desk.send(Message::Cycles(cycles::Message::PutCursor(1, 396.0)));
    let words = |desk: &Desk| {
        let page = &desk.app.pages().cycles;
        page.cursor_words(page.stock().unwrap()).unwrap()
    };
    assert!(
        words(&desk).contains("+36.0 °crank = +18.00 °cam"),
        "{}",
        words(&desk)
    );
    desk.sees(&words(&desk));
    desk.named_key(Named::Delete);
    // Zoomed in by keys, and kept as data.
    for _ in 0..6 {
        desk.key("+");
    }
    let scene = desk.app.pages().cycles.scene().unwrap();
    assert!(
        (scene.x.to - scene.x.from - 11.25).abs() < 1e-9,
        "{:?}",
        scene.x
    );
    let cam = scene
        .rows
        .iter()
        .find(|r| r.curves[0].role == Some(Role::Cam(CamId::INTAKE)));
    assert_eq!(cam.unwrap().curves.len(), 3);
    assert_eq!(scene.recordings.len(), 1);
    desk.named_key(Named::Home);
    // A shorter stretch, typed.
    let before = count;
    for _ in 0..6 {
        desk.send(Message::Cycles(cycles::Message::To(String::new())));
    }
    desk.type_into(TO_FIELD, "4.5");
    desk.click("Cut");
    desk.wait("the shorter stretch", |app| {
        is_cut(app) && stock(app).is_some_and(|s| s.cycles().len() < before)
    });
    let (from, to) = stock(&desk.app).unwrap().locked.span;
    assert!(from < 1e-9 && (to - 4.5).abs() < 1e-9, "{from} to {to}");
    // What cannot be is told, and what was chosen on Review comes back at a press.
    desk.send(Message::Cycles(cycles::Message::To("0".to_owned())));
    desk.click("Cut");
    desk.sees("Type begin and end in seconds, the begin first, between 0 and 6.000.");
    desk.click("Stretch of Review");
    desk.wait("the stretch of Review", |app| {
        is_cut(app) && stock(app).is_some_and(|s| s.cycles().len() == before)
    });
    // Another source leaves nothing of it behind.
    desk.named_key(Named::Escape);
    desk.tick();
    assert!(stock(&desk.app).is_none());
}
