//! The values beneath the rows: name, figure, quality, in three columns; nothing is cut, long words wrap.

use super::{BODY, LEADING, MARGIN, SMALL, WIDTH, line, lines};
use crate::exhibit::lettering::{clean, width, wrap};
use crate::exhibit::scene::Value;
use crate::exhibit::shape::{Anchor, Place, Shape, Text, Tone};

/// Columns, and the room between two.
const COLUMNS: usize = 3;
const GAP: f32 = 26.0;

/// Room at the right of a figure for the word that it is valid.
const VALID: f32 = 54.0;

/// Begins of a quality with which nothing is wrong: the figure is not known, or old.
const OPEN: [&str; 3] = ["missing", "stale", "not judged"];

/// Figures whose quality only says more.
const PLAIN: [&str; 4] = ["proven", "not ruled out", "contradicted", "against"];

/// Room between two entries.
const BETWEEN: f32 = 2.0;

/// Most lines of one part of an entry.
const LINES: usize = 24;

/// An entry with its lines broken.
struct Entry {
    name: Vec<String>,
    figure: Vec<String>,
    /// Whether name and figure share their first line.
    is_beside: bool,
    is_valid: bool,
    /// Colour of the mark before what is said of it, if it has one.
    mark: Option<Tone>,
    /// What speaks against it.
    why: Vec<String>,
}

impl Entry {
    fn new(value: &Value, wide: f32) -> Self {
        let is_valid = value.quality == "valid";
        let beside = wide - width(&clean(&value.figure), BODY, true) - VALID - 12.0;
        // Beside a short figure the name has room; a long one stands below it.
        let is_beside = beside >= wide * 0.3;
        let (name, figure) = if is_beside {
            (beside, wide)
        } else {
            (wide, wide)
        };
        let mark = if PLAIN.contains(&value.figure.as_str()) {
            None
        } else if OPEN.contains(&value.figure.as_str())
            || OPEN.iter().any(|word| value.quality.starts_with(word))
        {
            Some(Tone::Quiet)
        } else {
            Some(Tone::Alarm)
        };
        let why = if is_valid || value.quality.is_empty() {
            Vec::new()
        } else {
            wrap(&value.quality, SMALL, false, wide - 26.0, LINES)
        };
        Self {
            name: wrap(&value.name, SMALL, false, name, LINES),
            figure: wrap(&value.figure, BODY, true, figure - VALID, LINES),
            is_beside,
            is_valid,
            mark,
            why,
        }
    }

    /// Height that it takes.
    fn high(&self) -> f32 {
        #[allow(clippy::cast_precision_loss, reason = "a few lines")]
        let of = |lines: &Vec<String>, size: f32| lines.len() as f32 * size * LEADING;
        let (name, figure) = (of(&self.name, SMALL), of(&self.figure, BODY));
        let head = if self.is_beside {
            name.max(figure)
        } else {
            name + figure
        };
        head + of(&self.why, SMALL) + BETWEEN
    }

    /// Adds it from its first foot line on; the foot line after it.
    fn draw(self, [x, y]: Place, wide: f32, shapes: &mut Vec<Shape>) -> f32 {
        let quiet = line(String::new(), [0.0, 0.0], SMALL, Tone::Quiet);
        let bold = Text {
            is_bold: true,
            ..line(String::new(), [0.0, 0.0], BODY, Tone::Text)
        };
        let right = Text {
            anchor: Anchor::Right,
            ..bold.clone()
        };
        let after_name = lines(shapes, self.name, [x, y], &quiet);
        let (figure_at, end) = if self.is_beside {
            let at = [x + wide - VALID, y];
            (y, lines(shapes, self.figure, at, &right).max(after_name))
        } else {
            let end = lines(shapes, self.figure, [x, after_name], &bold);
            (after_name, end)
        };
        if self.is_valid {
            shapes.push(Shape::Text(Text {
                anchor: Anchor::Right,
                at: [x + wide, figure_at],
                words: "valid".to_owned(),
                ..quiet
            }));
        }
        if self.why.is_empty() {
            return end;
        }
        if let Some(tone) = self.mark {
            shapes.push(warning([x + 9.0, end - 7.0], tone));
        }
        let plain = line(String::new(), [0.0, 0.0], SMALL, Tone::Text);
        lines(shapes, self.why, [x + 26.0, end], &plain)
    }
}

/// Adds the table from here on; where it ends.
pub fn table(values: &[Value], top: f32, shapes: &mut Vec<Shape>) -> f32 {
    if values.is_empty() {
        return top;
    }
    #[allow(clippy::cast_precision_loss, reason = "three columns")]
    let columns = COLUMNS as f32;
    let wide = (WIDTH - 2.0 * MARGIN - GAP * (columns - 1.0)) / columns;
    let top = top + 8.0;
    shapes.push(Shape::Rectangle(
        [MARGIN, top],
        [WIDTH - MARGIN, top + 1.5],
        Tone::Edge.into(),
    ));
    let entries: Vec<Entry> = values.iter().map(|v| Entry::new(v, wide)).collect();
    let whole: f32 = entries.iter().map(Entry::high).sum();
    // Each column is filled for itself, so that a long reason leaves no hole beside it; the next begins
    // where the middle of an entry passes its share of the whole.
    let mut deepest = top;
    let (mut x, mut foot, mut before) = (MARGIN, top + 8.0 + BODY, 0.0);
    let mut ends = whole / columns;
    for entry in entries {
        let high = entry.high();
        if before + high / 2.0 > ends + 0.01 && x + 2.0 * wide < WIDTH {
            x += wide + GAP;
            foot = top + 8.0 + BODY;
            ends += whole / columns;
        }
        before += high;
        foot = entry.draw([x, foot], wide, shapes) + BETWEEN;
        deepest = deepest.max(foot - BODY);
    }
    deepest
}

/// A triangle around a place: something is to be said of the figure above it.
fn warning([x, y]: Place, tone: Tone) -> Shape {
    let corners = vec![[x, y - 8.0], [x + 9.0, y + 7.0], [x - 9.0, y + 7.0]];
    Shape::Area(corners, tone.into())
}
