//! The hand's work on an exhibit, without a window.

use super::edit::{Edit, Tool};
use super::{Action, Exhibits, Message, News};
use crate::exhibit::document::Document;
use crate::exhibit::mark::{Ink, Mark};
use crate::exhibit::scene::{Axis, Row, Scene};
use crate::exhibit::store::{About, Entry, Opened};
use iced::keyboard::{Key, key::Named};
use std::path::PathBuf;

fn opened() -> Opened {
    let scene = Scene {
        title: "Kept".to_owned(),
        screen: "Live".to_owned(),
        x: Axis {
            to: 1.0,
            ..Axis::default()
        },
        rows: vec![Row::default(), Row::default()],
        ..Scene::default()
    };
    Opened {
        path: PathBuf::from("/nowhere/a.exhibit.json"),
        document: Document::new(scene, "Light van", String::new()),
        draft: None,
        digest: 7,
    }
}

fn page() -> Exhibits {
    let mut page = Exhibits::default();
    let entry = Entry {
        path: opened().path,
        name: "a".to_owned(),
        about: Ok(About {
            title: "Kept".to_owned(),
            taken: String::new(),
            source: String::new(),
            marks: 0,
        }),
        has_draft: false,
    };
    let action = page.learn(Some(News::List(vec![entry])));
    assert_eq!(action, Action::Open(opened().path));
    let _none = page.learn(Some(News::Opened(Box::new(opened()))));
    let _none = page.update(Message::Edit);
    page
}

fn draw(edit: &mut Edit, tool: Tool, from: [f64; 2], to: [f64; 2]) {
    edit.take(tool);
    let _words = edit.press(from, 20.0);
    edit.drag([(from[0] + to[0]) / 2.0, (from[1] + to[1]) / 2.0], 20.0);
    edit.drag(to, 20.0);
    edit.lift();
}

#[test]
fn every_step_can_be_taken_back_and_again() {
    let mut edit = Edit::new(opened());
    assert_eq!(edit.steps(), (false, false));
    draw(&mut edit, Tool::Pen, [0.1, 0.1], [0.3, 0.1]);
    draw(&mut edit, Tool::Arrow, [0.5, 0.5], [0.6, 0.6]);
    draw(&mut edit, Tool::Highlight, [0.7, 0.7], [0.9, 0.9]);
    assert_eq!(edit.marks().len(), 3);
    // Taken hold of and moved: the arrow.
    draw(&mut edit, Tool::Move, [0.55, 0.55], [0.65, 0.55]);
    let Mark::Arrow { from, .. } = edit.marks()[1].as_ref() else {
        panic!("it was an arrow");
    };
    assert!((from[0] - 0.6).abs() < 1e-3, "{from:?}");
    edit.dip(Ink::Blue);
    edit.nudge([12.0, 0.0]);
    edit.delete();
    assert_eq!(edit.marks().len(), 2);
    let seen: Vec<_> = edit.marks().to_vec();
    let mut steps = 0;
    while edit.steps().0 {
        edit.undo();
        steps += 1;
    }
    assert_eq!(steps, 7, "three drawn, moved, inked, nudged, deleted");
    assert!(edit.marks().is_empty());
    while edit.steps().1 {
        edit.redo();
    }
    assert_eq!(edit.marks(), seen);
    // A new step after one back ends the way forward.
    edit.undo();
    draw(&mut edit, Tool::Pen, [0.1, 0.5], [0.2, 0.5]);
    assert_eq!(edit.steps(), (true, false));
}

#[test]
fn the_eraser_takes_all_it_touches_in_one_step() {
    let mut edit = Edit::new(opened());
    draw(&mut edit, Tool::Pen, [0.2, 0.1], [0.2, 0.9]);
    draw(&mut edit, Tool::Pen, [0.4, 0.1], [0.4, 0.9]);
    draw(&mut edit, Tool::Pen, [0.9, 0.1], [0.9, 0.9]);
    edit.take(Tool::Erase);
    let _words = edit.press([0.2, 0.5], 5.0);
    edit.drag([0.4, 0.5], 5.0);
    edit.lift();
    assert_eq!(edit.marks().len(), 1);
    edit.undo();
    assert_eq!(edit.marks().len(), 3);
}

#[test]
fn a_slip_of_the_pointer_leaves_nothing() {
    let mut edit = Edit::new(opened());
    draw(&mut edit, Tool::Arrow, [0.5, 0.5], [0.5, 0.5]);
    draw(&mut edit, Tool::Highlight, [0.5, 0.5], [0.501, 0.5]);
    // Words that were never written.
    edit.take(Tool::Text);
    assert!(edit.press([0.2, 0.2], 20.0), "words are to be written now");
    edit.finish();
    assert!(edit.marks().is_empty());
    // A dot of the pen is meant.
    edit.take(Tool::Pen);
    let _words = edit.press([0.2, 0.2], 20.0);
    edit.lift();
    assert_eq!(edit.marks().len(), 1);
}

#[test]
fn a_change_is_drafted_once_and_saving_settles_it() {
    let mut page = page();
    assert!(page.take_draft().is_none());
    let _focus = page.update(Message::Title("New".to_owned()));
    let (path, draft) = page.take_draft().unwrap();
    assert_eq!((path, draft.title.as_str()), (opened().path, "New"));
    assert!(page.take_draft().is_none(), "it is on the disk already");
    let Action::Save(_, 7, document) = page.update(Message::Save) else {
        panic!("it was to be saved");
    };
    assert_eq!(document.title, "New");
    assert_eq!(page.update(Message::Save), Action::None, "one at a time");
    // A save that failed leaves it unsaved.
    let _none = page.learn(None);
    assert!(page.open().unwrap().is_changed());
}

#[test]
fn all_is_reached_by_keys() {
    let mut page = page();
    let named = |page: &Exhibits, named| page.key(&Key::Named(named));
    let letter = |page: &Exhibits, c: &str| page.key(&Key::Character(c.into()));
    for (tool, _, key) in Tool::ALL {
        let Some(Message::Take(taken)) = letter(&page, key) else {
            panic!("{key} takes no tool");
        };
        assert_eq!(taken, tool);
    }
    let press = Message::Press([0.5, 0.5], 9.0);
    for message in [Message::Take(Tool::Text), press] {
        let _focus = page.update(message);
    }
    let _none = page.update(Message::Words("late".to_owned()));
    let before = page.open().unwrap().marks()[0].places();
    let right = named(&page, Named::ArrowRight).unwrap();
    let _none = page.update(right);
    let after = page.open().unwrap().marks()[0].places();
    assert!(after[0][0] > before[0][0]);
    // Escape first lets go, then closes.
    let escape = named(&page, Named::Escape).unwrap();
    assert!(matches!(escape, Message::Done));
    let _none = page.update(escape);
    let escape = named(&page, Named::Escape).unwrap();
    assert!(matches!(escape, Message::Back));
    assert_eq!(page.update(escape), Action::Read);
    assert!(matches!(named(&page, Named::Enter), Some(Message::Edit)));
}

#[test]
fn a_finger_draws_where_it_is_and_others_do_nothing() {
    use crate::theme::Look;
    use iced::touch::{Event::*, Finger};
    use iced::{Event, Point, Size};
    let page = page();
    let room = Size::new(1000.0, 600.0);
    let mut ui =
        iced_test::Simulator::with_size(crate::font::settings(), room, page.view(Look::Daylight));
    let finger = |k, x, y| (Finger(k), Point::new(x, y));
    let ((id, first), (other, elsewhere), (_, then)) = (
        finger(1, 200.0, 100.0),
        finger(2, 300.0, 300.0),
        finger(1, 260.0, 130.0),
    );
    let _statuses = ui.simulate([
        Event::Touch(FingerPressed {
            id,
            position: first,
        }),
        Event::Touch(FingerPressed {
            id: other,
            position: elsewhere,
        }),
        Event::Touch(FingerMoved {
            id: other,
            position: first,
        }),
        Event::Touch(FingerMoved { id, position: then }),
        Event::Touch(FingerLifted {
            id: other,
            position: elsewhere,
        }),
        Event::Touch(FingerLifted { id, position: then }),
    ]);
    let messages: Vec<Message> = ui.into_messages().collect();
    let [Message::Press(from, _), Message::Drag(to, _), Message::Lift] = messages.as_slice() else {
        panic!("{messages:?}");
    };
    // What the painter draws at these shares lies as far apart as the finger went.
    let layout = &page.open().unwrap().page;
    let wide = room.width - super::panel::WIDTH - crate::theme::STEP;
    let scale = (wide / layout.size[0]).min(room.height / layout.size[1]);
    let drawn =
        |share| crate::exhibit::layout::marks::place(share, layout.field).map(|v| v * scale);
    let (a, b) = (drawn(*from), drawn(*to));
    assert!(
        (b[0] - a[0] - 60.0).abs() < 0.1 && (b[1] - a[1] - 30.0).abs() < 0.1,
        "{a:?} {b:?}"
    );
    // And the first one lies where it was put: the paper is centred across.
    let left = (wide - layout.size[0] * scale) / 2.0;
    assert!(
        (a[0] + left - first.x).abs() < 0.5 && (a[1] - first.y).abs() < 0.5,
        "{a:?}"
    );
}
