//! What is on the Live screen becomes an exhibit, is drawn upon, saved, and opened again.

use crate::desk::Desk;
use iced::keyboard::key::Named;
use iced::{Point, mouse};
use keyway::application::pages::Page;
use keyway::application::{Application, Message, Tab};
use keyway::exhibit::mark::Mark;
use keyway::exhibit::store;
use keyway::screen::exhibits::WORDS_FIELD;
use std::path::PathBuf;

/// The documents in the desk's folder.
fn documents(desk: &Desk) -> Vec<PathBuf> {
    let list = store::list(&desk.folder.join("exhibits")).unwrap();
    list.into_iter().map(|e| e.path).collect()
}

fn marks(app: &Application) -> usize {
    let open = app.pages().exhibits.open();
    open.map_or(0, |edit| edit.marks().len())
}

fn turn_to_exhibits(desk: &mut Desk) {
    desk.send(Message::Open(Tab::Recordings));
    desk.send(Message::Turn(Page::Exhibits));
    desk.wait("the exhibit", |app| app.pages().exhibits.open().is_some());
}

#[test]
fn what_is_kept_can_be_drawn_upon_and_opened_again() {
    let mut desk = Desk::open("exhibit");
    desk.wait("an engine speed", |app| {
        let snapshot = app.shown().snapshot.as_ref();
        snapshot.is_some_and(|s| s.speed.valid().is_some())
    });
    desk.settle();
    desk.key("x");
    let folder = desk.folder.clone();
    desk.wait("the exhibit's pictures", |_| {
        let list = store::list(&folder.join("exhibits")).unwrap();
        list.first()
            .is_some_and(|e| store::picture_of(&e.path, keyway::chart::Format::Svg).exists())
    });
    let [document] = documents(&desk).try_into().unwrap();
    let kept = store::open(&document).unwrap().document;
    assert_eq!(kept.engine, "Light van 2.0, two phasers");
    assert_eq!(kept.scene.rows.len(), 2, "duty and phase");
    let speed = &kept.scene.values[0];
    assert_eq!(
        (speed.name.as_str(), speed.quality.as_str()),
        ("Engine speed", "valid")
    );

    // The other screens of the job give theirs.
    for (tab, title) in [(Tab::Hookup, "leads are proven"), (Tab::Findings, ": ")] {
        desk.send(Message::Open(tab));
        desk.settle();
        let before = documents(&desk).len();
        desk.key("x");
        let folder = desk.folder.clone();
        desk.wait("another exhibit", |_| {
            let list = store::list(&folder.join("exhibits")).unwrap();
            let is_drawn = |format| {
                list.iter()
                    .all(|e| store::picture_of(&e.path, format).exists())
            };
            list.len() > before
                && is_drawn(keyway::chart::Format::Svg)
                && is_drawn(keyway::chart::Format::Png)
                && list.iter().any(|e| {
                    let about = e.about.as_ref();
                    about.is_ok_and(|about| about.title.contains(title))
                })
        });
    }
    for other in documents(&desk) {
        if other != document {
            std::fs::remove_file(other).unwrap();
        }
    }

    turn_to_exhibits(&mut desk);
    desk.sees(&kept.title);
    // The message of keeping lies over the foot of the page until it is closed; it comes a moment
    // after the pictures.
    desk.settle();
    desk.named_key(Named::Escape);
    desk.click("Open");
    assert!(desk.app.pages().exhibits.is_at_work());
    // A stroke across the picture.
    desk.key("p");
    desk.stroke(&[
        Point::new(400.0, 300.0),
        Point::new(450.0, 330.0),
        Point::new(520.0, 310.0),
    ]);
    assert_eq!(marks(&desk.app), 1);
    // Words beside it.
    desk.key("t");
    desk.stroke(&[Point::new(540.0, 320.0)]);
    desk.type_into(WORDS_FIELD, "late here");
    desk.sees("late here");
    desk.named_key(Named::Escape);
    assert_eq!(marks(&desk.app), 2);
    // Before it is saved, a crash would lose nothing.
    desk.wait("the draft", |_| {
        store::open(&document).unwrap().draft.is_some()
    });
    assert!(store::open(&document).unwrap().document.marks.is_empty());
    desk.click("Save");
    desk.wait("all saved", |app| {
        let open = app.pages().exhibits.open();
        open.is_some_and(|edit| !edit.is_changed() && !edit.is_saving())
    });
    let saved = store::open(&document).unwrap();
    assert_eq!(saved.draft, None);
    let [Mark::Stroke { points, .. }, Mark::Text { words, .. }] = saved.document.marks.as_slice()
    else {
        panic!("{:?}", saved.document.marks);
    };
    assert_eq!(points.len(), 3);
    assert_eq!(words, "late here");
    // As text, because what is not a number is unlike itself.
    let mut bare = saved.document.clone();
    bare.marks.clear();
    assert_eq!(bare.text(), kept.text(), "what was on screen stays");
    let svg = store::picture_of(&document, keyway::chart::Format::Svg);
    assert!(std::fs::read_to_string(svg).unwrap().contains("late here"));

    // Opened again, and edited once more; what is not saved is there after the window is closed.
    desk.named_key(Named::Escape);
    desk.wait("the list", |app| !app.pages().exhibits.is_at_work());
    desk.named_key(Named::Enter);
    assert_eq!(marks(&desk.app), 2);
    desk.key("z");
    assert_eq!(
        marks(&desk.app),
        1,
        "the steps of before can still be taken back"
    );
    desk.key("y");
    assert_eq!(marks(&desk.app), 2);
    desk.key("a");
    desk.stroke(&[Point::new(300.0, 400.0), Point::new(380.0, 360.0)]);
    assert_eq!(marks(&desk.app), 3);
    let folder = desk.close();
    let again = store::open(&document).unwrap();
    assert_eq!(again.document.marks.len(), 2);
    assert_eq!(again.draft.map(|d| d.marks.len()), Some(3));
    std::fs::remove_dir_all(folder).unwrap();
}

#[test]
fn where_there_is_nothing_to_keep_it_is_said() {
    let mut desk = Desk::open("keep-nothing");
    desk.send(Message::Open(Tab::Job));
    desk.key("x");
    assert!(documents(&desk).is_empty());
    desk.sees(
        "There is nothing to keep here: exhibits are made of the Hook-up, Live and Findings screens once samples arrive, and of the Review, Cycles and Compare pages with a recording open",
    );
}

impl Desk {
    /// Draws with the pointer over these places of the window.
    fn stroke(&mut self, places: &[Point]) {
        let [first, rest @ ..] = places else { return };
        let button = mouse::Button::Left;
        self.hand(|ui| {
            // One window has to see all of it: what is held down is the window's own.
            ui.point_at(*first);
            let press = iced::Event::Mouse(mouse::Event::ButtonPressed(button));
            let status = ui.simulate([press]);
            assert_eq!(
                status,
                [iced::event::Status::Captured],
                "the paper is not there"
            );
            for place in rest {
                ui.point_at(*place);
                let moved = iced::Event::Mouse(mouse::Event::CursorMoved { position: *place });
                let _status = ui.simulate([moved]);
            }
            let lift = iced::Event::Mouse(mouse::Event::ButtonReleased(button));
            let _status = ui.simulate([lift]);
        });
    }
}
