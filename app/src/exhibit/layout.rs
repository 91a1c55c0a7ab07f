//! What lies where on the picture of an exhibit, in units of which 1,200 make its width. Printed over the
//! width of an A5 sheet lying across (194 mm between margins), a unit is 0.162 mm, and the smallest type of
//! 18 units is 8.2 points high.
//!
//! The *field* is all that the scene and the title make: its height depends on the scene alone, and the
//! marks are shares of it. Note and origin stand below it, so that a longer note moves no mark.

mod axis;
pub mod marks;
mod row;
mod table;

use super::document::Document;
use super::lettering::{cut, width, wrap};
use super::shape::{Anchor, Place, Shape, Text, Tone};

/// Width of the picture.
pub const WIDTH: f32 = 1200.0;

/// Room at its sides.
pub const MARGIN: f32 = 28.0;

/// Smallest type.
pub const SMALL: f32 = 18.0;

/// Type of the note and of figures.
const BODY: f32 = 20.0;

/// Type of the title when it fits one line.
const TITLE: f32 = 30.0;

/// Distance of two lines in times the type size.
const LEADING: f32 = 1.35;

/// Room for the words of the vertical axis and its figures, at the left of the rows.
const GUTTER: f32 = 196.0;

/// Height that the rows share when there are few.
const ROWS: f32 = 400.0;

/// Most lines of a note that are drawn; the document holds all of it.
const NOTE_LINES: usize = 60;

/// A picture without its marks.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Page {
    /// Its size.
    pub size: Place,
    /// Size of the field at its top, which the marks are shares of.
    pub field: Place,
    /// What is drawn, later things over earlier ones.
    pub shapes: Vec<Shape>,
}

impl Page {
    /// The picture of a document, without its marks.
    pub fn new(document: &Document) -> Self {
        let mut shapes = Vec::new();
        let foot = head(document, &mut shapes);
        let foot = row::rows(&document.scene, foot, &mut shapes);
        let foot = table::table(&document.scene.values, foot, &mut shapes);
        let field = [WIDTH, foot + 12.0];
        let foot = below(document, field[1], &mut shapes);
        Self {
            size: [WIDTH, foot + 16.0],
            field,
            shapes,
        }
    }
}

/// The whole picture of a document: what is drawn, and its size.
pub fn whole(document: &Document) -> Page {
    let mut page = Page::new(document);
    for mark in &document.marks {
        page.shapes.extend(marks::shapes(mark, page.field));
    }
    page
}

/// A line of text at its foot line.
fn line(words: String, at: Place, size: f32, tone: Tone) -> Text {
    Text {
        at,
        words,
        size,
        is_bold: false,
        tone,
        anchor: Anchor::Left,
    }
}

/// Adds lines below each other from the foot line of the first; the foot line after the last.
fn lines(shapes: &mut Vec<Shape>, words: Vec<String>, [x, mut y]: Place, like: &Text) -> f32 {
    for words in words {
        shapes.push(Shape::Text(Text {
            words,
            at: [x, y],
            ..like.clone()
        }));
        y += like.size * LEADING;
    }
    y
}

/// Title, engine, time and sentence; where the rows may begin.
fn head(document: &Document, shapes: &mut Vec<Shape>) -> f32 {
    let room = WIDTH - 2.0 * MARGIN;
    let title = |size| Text {
        is_bold: true,
        ..line(String::new(), [MARGIN, 0.0], size, Tone::Text)
    };
    // One line if it fits; the same room holds two smaller ones.
    if width(&document.title, TITLE, true) <= room && !document.title.contains('\n') {
        let words = vec![cut(&document.title, TITLE, true, room)];
        let _foot = lines(shapes, words, [MARGIN, 56.0], &title(TITLE));
    } else {
        let words = wrap(&document.title, BODY, true, room, 2);
        let _foot = lines(shapes, words, [MARGIN, 38.0], &title(BODY));
    }
    let origin = [
        document.engine.as_str(),
        document.scene.screen.as_str(),
        document.taken.as_str(),
    ];
    let origin: Vec<_> = origin.into_iter().filter(|w| !w.is_empty()).collect();
    let words = vec![cut(&origin.join(" · "), SMALL, false, room)];
    let like = line(String::new(), [MARGIN, 0.0], SMALL, Tone::Quiet);
    let foot = lines(shapes, words, [MARGIN, 90.0], &like);
    if document.scene.sentence.is_empty() {
        return foot - 6.0;
    }
    let words = wrap(&document.scene.sentence, SMALL, false, room, 4);
    let like = line(String::new(), [MARGIN, 0.0], SMALL, Tone::Text);
    lines(shapes, words, [MARGIN, foot + 4.0], &like) - 4.0
}

/// Note and origin below the field; where the picture ends.
fn below(document: &Document, field: f32, shapes: &mut Vec<Shape>) -> f32 {
    let room = WIDTH - 2.0 * MARGIN;
    let mut foot = field + 20.0;
    if !document.note.trim().is_empty() {
        let like = line(String::new(), [MARGIN, 0.0], BODY, Tone::Text);
        let heading = Text {
            is_bold: true,
            ..line("Note".to_owned(), [MARGIN, foot], SMALL, Tone::Quiet)
        };
        shapes.push(Shape::Text(heading));
        let words = wrap(
            document.note.trim_end(),
            BODY,
            false,
            room - 90.0,
            NOTE_LINES,
        );
        foot = lines(shapes, words, [MARGIN + 90.0, foot], &like) + 8.0;
    }
    let recordings = match document.scene.recordings.as_slice() {
        [] => "Taken live".to_owned(),
        [one] => format!("Recording {one}"),
        several => format!("Recordings {}", several.join(", ")),
    };
    let words = wrap(
        &format!("{recordings} · {}", document.software),
        SMALL,
        false,
        room,
        4,
    );
    let like = line(String::new(), [MARGIN, 0.0], SMALL, Tone::Quiet);
    lines(shapes, words, [MARGIN, foot], &like) - SMALL * LEADING + 6.0
}
