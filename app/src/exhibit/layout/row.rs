//! The rows of a scene above each other on one horizontal axis, with cursors through all of them.

mod curve;
mod stretch;

use super::{GUTTER, MARGIN, ROWS, SMALL, WIDTH, axis, line, lines};
use crate::exhibit::lettering::{cut, width, wrap};
use crate::exhibit::scene::{Axis, Curve, CurveShape, Row, Scene};
use crate::exhibit::shape::{Anchor, Paint, Place, Shape, Text, Tone};
use curve::Dash;

/// Lines of words above a row, each so high.
const LANE: f32 = 25.0;

/// Room between two rows.
const GAP: f32 = 12.0;

/// Least and greatest height of a row's plot.
const PLOT: [f32; 2] = [44.0, 300.0];

/// Where a row's curves lie.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Plot {
    upper: Place,
    lower: Place,
}

impl Plot {
    fn wide(&self) -> f32 {
        self.lower[0] - self.upper[0]
    }

    fn high(&self) -> f32 {
        self.lower[1] - self.upper[1]
    }

    /// Place along the horizontal axis; none for what is not on any axis.
    fn x(&self, axis: &Axis, value: f64) -> Option<f32> {
        along(axis, value).map(|share| self.upper[0] + self.wide() * share)
    }

    /// Place along the vertical axis, kept on it.
    fn y(&self, axis: &Axis, value: f64) -> Option<f32> {
        along(axis, value).map(|share| self.lower[1] - self.high() * share.clamp(0.0, 1.0))
    }
}

/// A share of an axis as it is drawn; far outside is as good as any further.
#[allow(clippy::cast_possible_truncation, reason = "a share of the picture")]
fn along(axis: &Axis, value: f64) -> Option<f32> {
    axis::share(axis, value).map(|share| share.clamp(-100.0, 100.0) as f32)
}

/// Adds the rows from here on; where they end.
pub fn rows(scene: &Scene, top: f32, shapes: &mut Vec<Shape>) -> f32 {
    if scene.rows.is_empty() {
        return top;
    }
    let (left, right) = (MARGIN + GUTTER, WIDTH - MARGIN);
    let mut top = top + 8.0;
    if !scene.cursors.is_empty() {
        top += LANE;
    }
    let cursors_top = top;
    #[allow(clippy::cast_precision_loss, reason = "a few rows")]
    let share = ROWS / scene.rows.len() as f32 - GAP;
    let mut bottom = top;
    let mut before: Option<&Row> = None;
    for row in &scene.rows {
        let is_named = needs_legend(row);
        // The words of a stretch that goes through several rows stand over the first.
        let is_new = before.is_none_or(|b| b.stretches != row.stretches);
        let words = if is_new {
            row.stretches.as_slice()
        } else {
            &[]
        };
        let lanes = stretch::arranged(words, &scene.x, [left, right]);
        let head = if is_named { LANE } else { 0.0 } + lanes.height;
        let high = (share - head).clamp(PLOT[0], PLOT[1]);
        let plot = Plot {
            upper: [left, top + head],
            lower: [right, top + head + high],
        };
        if is_named {
            legend(row, [left, top + 17.0], right, shapes);
        }
        ground(row, &scene.x, &plot, shapes);
        stretch::tints(&row.stretches, &scene.x, &plot, shapes);
        let names_top = plot.upper[1] - lanes.height;
        lanes.draw(names_top, [left, right], shapes);
        curve::curves(row, &scene.x, &plot, shapes);
        figures(row, &plot, shapes);
        bottom = plot.lower[1];
        top = bottom + GAP;
        before = Some(row);
    }
    let foot = time(&scene.x, [left, right], bottom, shapes);
    cursors(scene, [cursors_top, bottom], [left, right], shapes);
    foot
}

/// Whether the curves have to be told apart, or say more than the axis does.
fn needs_legend(row: &Row) -> bool {
    match row.curves.as_slice() {
        [] => false,
        [one] => !one.name.is_empty() && one.name != row.y.label,
        _ => true,
    }
}

/// Ground, grid lines of both axes.
fn ground(row: &Row, x: &Axis, plot: &Plot, shapes: &mut Vec<Shape>) {
    shapes.push(Shape::Rectangle(plot.upper, plot.lower, Tone::Panel.into()));
    for (value, _) in axis::ticks(x, 12) {
        if let Some(x) = plot.x(x, value) {
            shapes.push(Shape::Rectangle(
                [x - 0.5, plot.upper[1]],
                [x + 0.5, plot.lower[1]],
                Tone::Hairline.into(),
            ));
        }
    }
    for (value, _) in axis::ticks(&row.y, ticks(plot)) {
        if let Some(y) = plot.y(&row.y, value) {
            shapes.push(Shape::Rectangle(
                [plot.upper[0], y - 0.5],
                [plot.lower[0], y + 0.5],
                Tone::Hairline.into(),
            ));
        }
    }
}

/// How many figures a row's axis has room for.
fn ticks(plot: &Plot) -> usize {
    #[allow(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "a few ticks"
    )]
    let room = (plot.high() / 30.0) as usize;
    room.clamp(1, 6)
}

/// The words of the vertical axis and its figures.
fn figures(row: &Row, plot: &Plot, shapes: &mut Vec<Shape>) {
    let mut widest = 0.0_f32;
    let mut found = axis::ticks(&row.y, ticks(plot));
    if found.len() < 2 {
        // A low row says where it begins and ends.
        found = axis::ends(&row.y).into();
    }
    for (value, words) in &found {
        let Some(y) = plot.y(&row.y, *value) else {
            continue;
        };
        let words = cut(words, SMALL, false, GUTTER / 2.0);
        widest = widest.max(width(&words, SMALL, false));
        // Figures at the ends stay within the row.
        let y = (y + 6.0).clamp(plot.upper[1] + 14.0, plot.lower[1]);
        shapes.push(Shape::Text(Text {
            anchor: Anchor::Right,
            ..line(words, [plot.upper[0] - 8.0, y], SMALL, Tone::Quiet)
        }));
    }
    let tone = match row.curves.as_slice() {
        [one] => Tone::of(one.role),
        _ => Tone::Text,
    };
    let like = Text {
        is_bold: true,
        ..line(String::new(), [0.0, 0.0], SMALL, tone)
    };
    let room = GUTTER - widest - 22.0;
    let most = if plot.high() > 66.0 { 3 } else { 2 };
    let words = wrap(&axis::words(&row.y), SMALL, true, room, most);
    #[allow(clippy::cast_precision_loss, reason = "up to three lines")]
    let high = words.len() as f32 * SMALL * super::LEADING;
    let middle = (plot.upper[1] + plot.lower[1]) / 2.0;
    let _foot = lines(shapes, words, [MARGIN, middle - high / 2.0 + SMALL], &like);
}

/// Names of the curves with a piece of each.
fn legend(row: &Row, [mut x, y]: Place, right: f32, shapes: &mut Vec<Shape>) {
    let bands = curve::bands(row);
    for (index, curve) in row.curves.iter().enumerate() {
        let piece = 34.0;
        let room = right - x - piece - 8.0;
        if room < 40.0 {
            let more = format!("and {} more", row.curves.len() - index);
            shapes.push(Shape::Text(Text {
                anchor: Anchor::Right,
                ..line(more, [right, y], SMALL, Tone::Quiet)
            }));
            return;
        }
        // The words after it need room too.
        let room = if index + 1 < row.curves.len() {
            (room - 110.0).max(30.0)
        } else {
            room
        };
        let words = cut(&curve.name, SMALL, false, room);
        key(
            curve,
            bands[index],
            Dash::of(row, index),
            [x, y - 6.0],
            piece,
            shapes,
        );
        let wide = width(&words, SMALL, false);
        shapes.push(Shape::Text(line(
            words,
            [x + piece + 8.0, y],
            SMALL,
            Tone::Text,
        )));
        x += piece + 8.0 + wide + 24.0;
    }
}

/// A piece of a curve, for the legend.
fn key(
    curve: &Curve,
    is_band: bool,
    dash: Dash,
    [x, y]: Place,
    wide: f32,
    shapes: &mut Vec<Shape>,
) {
    let tone = Tone::of(curve.role);
    match &curve.shape {
        CurveShape::Line(_) => {
            for piece in dash.cut(&[[x, y], [x + wide, y]]) {
                shapes.push(Shape::Line(piece, curve::WIDTH, tone.into()));
            }
        }
        CurveShape::Envelope(_) => shapes.push(Shape::Rectangle(
            [x, y - 6.0],
            [x + wide, y + 6.0],
            curve::cover(tone, is_band),
        )),
    }
}

/// Figures of the horizontal axis; where they end.
fn time(x: &Axis, [left, right]: [f32; 2], bottom: f32, shapes: &mut Vec<Shape>) -> f32 {
    let plot = Plot {
        upper: [left, bottom],
        lower: [right, bottom],
    };
    let foot = bottom + 23.0;
    let mut taken = 0.0_f32;
    for (value, words) in axis::ticks(x, 12) {
        let Some(at) = plot.x(x, value) else { continue };
        let half = width(&words, SMALL, false) / 2.0;
        let at = at.min(right - half);
        if at - half < taken {
            continue;
        }
        taken = at + half + 10.0;
        shapes.push(Shape::Text(Text {
            anchor: Anchor::Middle,
            ..line(words, [at, foot], SMALL, Tone::Quiet)
        }));
    }
    let words = cut(&axis::words(x), SMALL, true, GUTTER - 40.0);
    shapes.push(Shape::Text(Text {
        is_bold: true,
        ..line(words, [MARGIN, foot], SMALL, Tone::Text)
    }));
    foot + 10.0
}

/// Cursors through all rows, with their names and places in the line above.
fn cursors(
    scene: &Scene,
    [top, bottom]: [f32; 2],
    [left, right]: [f32; 2],
    shapes: &mut Vec<Shape>,
) {
    let plot = Plot {
        upper: [left, top],
        lower: [right, bottom],
    };
    let span = (scene.x.to - scene.x.from).abs();
    let mut found: Vec<(f32, String, String)> = scene
        .cursors
        .iter()
        .filter_map(|(name, at)| {
            let x = plot.x(&scene.x, *at)?;
            let is_on = (left - 1.0..=right + 1.0).contains(&x);
            let figure = axis::written(*at, (span / 10_000.0).max(1e-5));
            is_on.then(|| (x, name.clone(), format!("{name} {figure}")))
        })
        .collect();
    found.sort_by(|a, b| a.0.total_cmp(&b.0));
    let all: f32 = found
        .iter()
        .map(|(_, _, long)| width(long, SMALL, true) + 24.0)
        .sum();
    let is_tight = all > right - left;
    let mut taken = left;
    for (x, short, long) in found {
        for piece in (Dash::Long).cut(&[[x, top], [x, bottom]]) {
            shapes.push(Shape::Line(piece, 2.0, Tone::Text.into()));
        }
        let room = right - taken - 12.0;
        let words = cut(if is_tight { &short } else { &long }, SMALL, true, room);
        let wide = width(&words, SMALL, true) + 12.0;
        if words.is_empty() || wide > right - taken {
            continue;
        }
        let from = (x - wide / 2.0).min(right - wide).max(taken);
        let paint = Paint::from(Tone::Text);
        shapes.push(Shape::Rectangle(
            [from, top - LANE + 1.0],
            [from + wide, top - 2.0],
            paint,
        ));
        shapes.push(Shape::Text(Text {
            is_bold: true,
            ..line(words, [from + 6.0, top - 7.0], SMALL, Tone::Paper)
        }));
        taken = from + wide + 6.0;
    }
}
