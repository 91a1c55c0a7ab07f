//! Marks on the field.

use super::{LEADING, WIDTH};
use crate::exhibit::lettering::{width, wrap};
use crate::exhibit::mark::{Mark, Share};
use crate::exhibit::shape::{Anchor, Paint, Place, Shape, Text, Tone};

/// Type of words put on the field.
const SIZE: f32 = 24.0;

/// Widest that words on the field become before they wrap.
const WIDEST: f32 = 460.0;

/// Air around them.
const AIR: f32 = 6.0;

/// Most lines of them.
const LINES: usize = 12;

/// The place of a share; what is not a number or far outside is brought onto the field.
pub fn place(share: Share, field: Place) -> Place {
    [0, 1].map(|axis| {
        let share = if share[axis].is_nan() {
            0.5
        } else {
            share[axis].clamp(0.0, 1.0)
        };
        #[allow(clippy::cast_possible_truncation, reason = "a share, 0 to 1")]
        let share = share as f32;
        share * field[axis]
    })
}

/// The upper left and the lower right corner of words on the field, and their lines.
pub fn words_box(at: Share, words: &str, field: Place) -> (Place, Place, Vec<String>) {
    let lines = wrap(words, SIZE, true, WIDEST, LINES);
    let wide = lines
        .iter()
        .map(|l| width(l, SIZE, true))
        .fold(SIZE, f32::max)
        + 2.0 * AIR;
    let high = lines
        .iter()
        .map(|_| SIZE * LEADING)
        .sum::<f32>()
        .max(SIZE * LEADING)
        + AIR;
    let [x, y] = place(at, field);
    // Words put at the edge stay on the picture.
    let (x, y) = (
        x.min(WIDTH - wide).max(0.0),
        y.min(field[1] - high).max(0.0),
    );
    ([x, y], [x + wide, y + high], lines)
}

/// What is drawn of a mark.
pub fn shapes(mark: &Mark, field: Place) -> Vec<Shape> {
    match mark {
        Mark::Stroke { points, ink, nib } => {
            let paint = Tone::Ink(*ink).into();
            let places: Vec<Place> = points.iter().map(|p| place(*p, field)).collect();
            match places.as_slice() {
                [] => Vec::new(),
                [dot] => vec![Shape::Area(disc(*dot, nib.width()), paint)],
                _ => vec![Shape::Line(places, nib.width(), paint)],
            }
        }
        Mark::Arrow { from, to, ink, nib } => {
            let paint = Tone::Ink(*ink).into();
            let (tail, tip) = (place(*from, field), place(*to, field));
            let (dx, dy) = (tip[0] - tail[0], tip[1] - tail[1]);
            let length = dx.hypot(dy);
            if length < 1.0 {
                return vec![Shape::Area(disc(tip, nib.width()), paint)];
            }
            let (ux, uy) = (dx / length, dy / length);
            let head = (nib.width() * 3.0 + 12.0).min(length);
            let half = head * 0.42;
            // The line ends inside the head, so that the tip stays sharp.
            let neck = [tip[0] - ux * head, tip[1] - uy * head];
            let inside = [tip[0] - ux * head * 0.8, tip[1] - uy * head * 0.8];
            let corners = vec![
                tip,
                [neck[0] - uy * half, neck[1] + ux * half],
                [neck[0] + uy * half, neck[1] - ux * half],
            ];
            vec![
                Shape::Line(vec![tail, inside], nib.width(), paint),
                Shape::Area(corners, paint),
            ]
        }
        Mark::Text { at, words, ink } => {
            let (upper, lower, lines) = words_box(*at, words, field);
            let ground = Paint {
                tone: Tone::Paper,
                cover: 0.85,
            };
            let mut shapes = vec![Shape::Rectangle(upper, lower, ground)];
            let mut y = upper[1] + SIZE + AIR / 2.0;
            for words in lines {
                shapes.push(Shape::Text(Text {
                    at: [upper[0] + AIR, y],
                    words,
                    size: SIZE,
                    is_bold: true,
                    tone: Tone::Ink(*ink),
                    anchor: Anchor::Left,
                }));
                y += SIZE * LEADING;
            }
            shapes
        }
        Mark::Highlight { from, to, ink } => {
            let (a, b) = (place(*from, field), place(*to, field));
            let upper = [a[0].min(b[0]), a[1].min(b[1])];
            let lower = [a[0].max(b[0]), a[1].max(b[1])];
            let fill = Paint {
                tone: Tone::Ink(*ink),
                cover: 0.16,
            };
            vec![
                Shape::Rectangle(upper, lower, fill),
                Shape::Line(
                    vec![
                        upper,
                        [lower[0], upper[1]],
                        lower,
                        [upper[0], lower[1]],
                        upper,
                    ],
                    3.0,
                    Tone::Ink(*ink).into(),
                ),
            ]
        }
    }
}

/// A disc as an outline, so that both painters draw the same.
fn disc([x, y]: Place, wide: f32) -> Vec<Place> {
    (0..16_u8)
        .map(|k| {
            let (sin, cos) = (f32::from(k) * std::f32::consts::TAU / 16.0).sin_cos();
            [x + cos * wide * 0.75, y + sin * wide * 0.75]
        })
        .collect()
}
