//! The values beneath the rows: name, figure, quality, in two columns; nothing is cut, long words wrap.

use super::{BODY, LEADING, MARGIN, SMALL, WIDTH, line, lines};
use crate::exhibit::lettering::wrap;
use crate::exhibit::scene::Value;
use crate::exhibit::shape::{Shape, Text, Tone};

/// Room between the two columns.
const GAP: f32 = 28.0;

/// Begin of figure and of quality in a column, and their widths.
const NAME: f32 = 196.0;
const FIGURE: f32 = 172.0;

/// Most lines of one entry.
const LINES: usize = 6;

/// Adds the table from here on; where it ends.
pub fn table(values: &[Value], top: f32, shapes: &mut Vec<Shape>) -> f32 {
    if values.is_empty() {
        return top;
    }
    let column = (WIDTH - 2.0 * MARGIN - GAP) / 2.0;
    let quality = column - NAME - FIGURE;
    let top = top + 10.0;
    shapes.push(Shape::Rectangle(
        [MARGIN, top],
        [WIDTH - MARGIN, top + 1.5],
        Tone::Edge.into(),
    ));
    let entries: Vec<_> = values
        .iter()
        .map(|value| {
            [
                wrap(&value.name, SMALL, false, NAME - 12.0, LINES),
                wrap(&value.figure, BODY, true, FIGURE - 12.0, LINES),
                wrap(&value.quality, SMALL, false, quality - 26.0, LINES),
            ]
        })
        .collect();
    let rows = entries.len().div_ceil(2);
    let mut foot = top + 8.0;
    for row in 0..rows {
        let mut deepest = foot;
        for (side, index) in [row, row + rows].into_iter().enumerate() {
            let (Some(words), Some(value)) = (entries.get(index), values.get(index)) else {
                continue;
            };
            let x = if side == 0 {
                MARGIN
            } else {
                MARGIN + column + GAP
            };
            let y = foot + BODY;
            let [name, figure, why] = words.clone();
            let quiet = line(String::new(), [0.0, 0.0], SMALL, Tone::Quiet);
            let bold = Text {
                is_bold: true,
                ..line(String::new(), [0.0, 0.0], BODY, Tone::Text)
            };
            let is_good = value.quality == "valid" || value.quality.is_empty();
            let mut at = x + NAME + FIGURE;
            let words_tone = if is_good { Tone::Quiet } else { Tone::Text };
            if !is_good {
                shapes.push(warning([at + 8.0, y - 7.0]));
                at += 24.0;
            }
            let of = Text {
                tone: words_tone,
                ..quiet.clone()
            };
            let ends = [
                lines(shapes, name, [x, y], &quiet),
                lines(shapes, figure, [x + NAME, y], &bold),
                lines(shapes, why, [at, y], &of),
            ];
            let end = ends.into_iter().fold(y, f32::max);
            deepest = deepest.max(end - BODY * LEADING + 8.0);
        }
        foot = deepest;
    }
    foot
}

/// A triangle around a place: something speaks against the figure beside it.
fn warning([x, y]: [f32; 2]) -> Shape {
    let corners = vec![[x, y - 8.0], [x + 9.0, y + 7.0], [x - 9.0, y + 7.0]];
    Shape::Area(corners, Tone::Alarm.into())
}
