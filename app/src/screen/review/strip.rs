//! The whole recording at a glance: speed, duty, phase, agreement, and what happened.

use super::Opened;
use super::axis;
use super::curve::{Lane, scale};
use super::items::Kind;
use super::plan::{GUTTER, LINE, Plan};
use crate::figure;
use crate::review::course::Course;
use crate::screen::live::words;
use crate::theme::Palette;
use crate::widget::label::{self, Anchor, Label};
use crate::{font, theme};
use iced::widget::canvas::{Frame, Path, Stroke};
use iced::{Color, Point, Rectangle, Size};
use keyway_analysis::snapshot::AgreementState;
use std::ops::Range;

/// Least room, logical pixels, between two marks of time.
pub const TICK_ROOM: f32 = 84.0;

/// The three curves of a course in a row each.
pub fn lanes(course: &Course, areas: [Rectangle; 3], x: &Range<f64>) -> [Lane; 3] {
    let ends = |values: &mut dyn Iterator<Item = f32>| {
        values
            .map(f64::from)
            .fold(None, |ends: Option<[f64; 2]>, v| {
                Some(ends.map_or([v, v], |[l, h]| [l.min(v), h.max(v)]))
            })
    };
    let speed = ends(&mut course.speed.iter().flatten().copied()).unwrap_or([0.0, 1000.0]);
    let phases = (course.cams.iter()).flat_map(|c| {
        let due = c.due.iter().flatten().flatten();
        c.phase.iter().flatten().chain(due).copied()
    });
    let phase = ends(&mut phases.into_iter()).unwrap_or([-5.0, 5.0]);
    let scales = [
        scale([0.0, speed[1]], 500.0),
        [0.0, 100.0],
        scale([phase[0].min(0.0), phase[1].max(0.0)], 10.0),
    ];
    let mut scales = scales.into_iter();
    areas.map(|area| Lane {
        area,
        x: x.clone(),
        y: scales.next().unwrap_or([0.0, 1.0]),
    })
}

/// Draws the three curves of a course, with disagreement tinted.
pub fn curves(frame: &mut Frame, course: &Course, lanes: &[Lane; 3], p: &Palette) {
    let [speed, duty, phase] = lanes;
    for lane in lanes {
        frame.fill_rectangle(lane.area.position(), lane.area.size(), p.background);
    }
    for (i, cam) in course.cams.iter().enumerate() {
        for stay in disagreements(course, i, &phase.x) {
            for lane in [duty, phase] {
                tint(frame, lane, [stay.0, stay.1], p);
            }
        }
        phase.due(frame, course, &cam.due, p.cam(cam.id));
    }
    speed.course(frame, course, &course.speed, p.text);
    for cam in &course.cams {
        duty.course(frame, course, &cam.duty, p.cam(cam.id));
        phase.course(frame, course, &cam.phase, p.cam(cam.id));
    }
}

/// Stretches of disagreement of a cam that reach into a window.
fn disagreements(course: &Course, cam: usize, x: &Range<f64>) -> Vec<(f64, f64, AgreementState)> {
    (course.stays(cam).into_iter())
        .filter(|s| s.state.is_disagreement() && s.to > x.start && s.from < x.end)
        .map(|s| (s.from, s.to, s.state))
        .collect()
}

fn tint(frame: &mut Frame, lane: &Lane, [from, to]: [f64; 2], p: &Palette) {
    let left = lane.at(from).max(lane.area.x);
    let right = lane.at(to).min(lane.area.x + lane.area.width);
    if right > left {
        let size = Size::new((right - left).max(1.0), lane.area.height);
        frame.fill_rectangle(Point::new(left, lane.area.y), size, p.tint());
    }
}

/// The bars of the states of each cam.
fn states(frame: &mut Frame, course: &Course, rows: &[Rectangle], x: &Range<f64>, p: &Palette) {
    for (i, row) in rows.iter().enumerate() {
        let lane = Lane {
            area: *row,
            x: x.clone(),
            y: [0.0, 1.0],
        };
        for stay in course.stays(i) {
            let left = lane.at(stay.from).max(row.x);
            let right = lane.at(stay.to).min(row.x + row.width);
            if right <= left {
                continue;
            }
            let is_bad = stay.state.is_disagreement();
            let ground = match stay.state {
                AgreementState::Following => p.zone,
                AgreementState::NotJudged => p.background,
                AgreementState::Lagging
                | AgreementState::NotFollowing
                | AgreementState::AgainstCommand
                | AgreementState::OffRest
                | AgreementState::Hunting
                | AgreementState::NoCommand
                | AgreementState::NoPosition => p.alarm_ground,
            };
            let wide = (right - left).max(if is_bad { 2.0 } else { 0.5 });
            let place = Point::new(left, row.y);
            frame.fill_rectangle(place, Size::new(wide, row.height), ground);
            if is_bad {
                frame.fill_rectangle(place, Size::new(2.0_f32.min(wide), row.height), p.alarm);
                let line = Point::new(left, row.y + row.height - 2.0);
                frame.fill_rectangle(line, Size::new(wide, 2.0), p.alarm);
            }
        }
    }
}

/// The strip with its time axis.
fn along(opened: &Opened, plan: &Plan) -> Lane {
    let corner = Point::new(plan.x[0], 0.0);
    Lane {
        area: Rectangle::new(corner, Size::new(plan.wide(), plan.strip.height)),
        x: 0.0..opened.window.length(),
        y: [0.0, 1.0],
    }
}

/// The part of the strip that is not measured yet: its ends.
fn unmeasured(opened: &Opened, along: &Lane, plan: &Plan) -> Option<[f32; 2]> {
    match &opened.course {
        Some(course) if course.is_complete => None,
        Some(course) => {
            let left = along.at(course.measured.min(along.x.end));
            (left < plan.x[1]).then_some([left, plan.x[1]])
        }
        None => Some(plan.x),
    }
}

/// Draws the strip.
pub fn draw(frame: &mut Frame, opened: &Opened, plan: &Plan, p: &Palette) {
    let along = along(opened, plan);
    for area in plan.curves.iter().chain([&plan.marks]) {
        frame.fill_rectangle(area.position(), area.size(), p.background);
    }
    if let Some(course) = &opened.course {
        let lanes = lanes(course, plan.curves, &along.x);
        curves(frame, course, &lanes, p);
        states(frame, course, &plan.states, &along.x, p);
    }
    if let Some([left, right]) = unmeasured(opened, &along, plan) {
        let top = plan.curves[0].y;
        let bottom = plan.marks.y - 2.0;
        let size = Size::new(right - left, bottom - top);
        frame.fill_rectangle(Point::new(left, top), size, p.panel);
    }
    let ticks = axis::ticks(0.0, along.x.end, floor(plan.wide() / TICK_ROOM));
    grid(frame, &ticks, &along, &plan.curves, p);
    marks(frame, opened, plan, &along, p);
}

/// The words of the strip.
pub fn words(labels: &mut Vec<Label>, opened: &Opened, plan: &Plan, p: &Palette) {
    let along = along(opened, plan);
    heading(labels, opened, plan, p);
    let ticks = axis::ticks(0.0, along.x.end, floor(plan.wide() / TICK_ROOM));
    let y = plan.strip.y + plan.strip.height - LINE / 2.0;
    tick_words(labels, &ticks, &along, y, &[], p);
    if let Some(course) = &opened.course {
        state_words(labels, course, plan, &along.x, p);
        scale_words(labels, &lanes(course, plan.curves, &along.x), p);
    }
    if let Some([left, right]) = unmeasured(opened, &along, plan) {
        let words = ["not measured yet", "not yet", "…"];
        let wide = |w: &str| label::width(w, font::SMALL, font::REGULAR);
        if let Some(words) = words.into_iter().find(|w| wide(w) + 8.0 < right - left) {
            let at = Point::new((left + right) / 2.0, plan.curves[1].center_y());
            labels.push(Label::new(words, at, Anchor::Middle, p.quiet));
        }
    }
}

fn heading(labels: &mut Vec<Label>, opened: &Opened, plan: &Plan, p: &Palette) {
    let y = plan.strip.y + LINE / 2.0 - 1.0;
    let mut at = Point::new(plan.x[0], y);
    let title = "Whole recording";
    labels.push(Label::new(title, at, Anchor::Left, p.text));
    at.x += label::width(title, font::SMALL, font::REGULAR) + 16.0;
    for cam in &opened.setup.sheet.cams {
        let name = words::cam(cam.cam);
        let wide = label::width(&name, font::SMALL, font::REGULAR);
        labels.push(Label::new(name, at, Anchor::Left, p.cam(cam.cam)));
        at.x += wide + 14.0;
    }
    for (kind, right, _) in legend(opened, plan) {
        let at = Point::new(right, y);
        labels.push(Label::new(kind.word(), at, Anchor::Right, p.quiet));
    }
}

/// What the marks stand for, as far as there is room: kind, right and left end of its word.
fn legend(opened: &Opened, plan: &Plan) -> Vec<(Kind, f32, f32)> {
    let cams = (opened.setup.sheet.cams.iter())
        .map(|c| label::width(&words::cam(c.cam), font::SMALL, font::REGULAR) + 14.0)
        .sum::<f32>();
    let taken = plan.x[0] + 130.0 + cams;
    let mut places = Vec::new();
    let mut right = plan.x[1];
    for kind in KINDS.iter().rev().filter(|k| has(opened, **k)) {
        let left = right - label::width(kind.word(), font::SMALL, font::REGULAR);
        if left - 20.0 < taken {
            break;
        }
        places.push((*kind, right, left));
        right = left - 32.0;
    }
    places
}

const KINDS: [Kind; 5] = [
    Kind::Disagreement,
    Kind::Event,
    Kind::Loss,
    Kind::Note,
    Kind::Lead,
];

fn has(opened: &Opened, kind: Kind) -> bool {
    opened.items.iter().any(|i| i.kind == kind)
}

fn state_words(
    labels: &mut Vec<Label>,
    course: &Course,
    plan: &Plan,
    whole: &Range<f64>,
    p: &Palette,
) {
    for (cam, row) in course.cams.iter().zip(&plan.states) {
        let at = Point::new(row.x - GUTTER + 4.0, row.center_y());
        labels.push(Label::new(
            words::cam(cam.id),
            at,
            Anchor::Left,
            p.cam(cam.id),
        ));
    }
    for (i, row) in plan.states.iter().enumerate() {
        let lane = Lane {
            area: *row,
            x: whole.clone(),
            y: [0.0, 1.0],
        };
        for stay in course.stays(i) {
            let (left, right) = (lane.at(stay.from), lane.at(stay.to));
            let words = stay.state.words();
            if label::width(words, font::SMALL, font::REGULAR) + 10.0 < right - left {
                let ink = if stay.state.is_disagreement() {
                    p.alarm_text
                } else {
                    p.quiet
                };
                let at = Point::new(left + 6.0, row.center_y());
                labels.push(Label::new(words, at, Anchor::Left, ink));
            }
        }
    }
    let at = Point::new(plan.marks.x - GUTTER + 4.0, plan.marks.center_y());
    labels.push(Label::new("what happened", at, Anchor::Left, p.quiet).within(GUTTER - 8.0));
}

/// Names and scales of speed, duty and phase.
pub fn scale_words(labels: &mut Vec<Label>, lanes: &[Lane; 3], p: &Palette) {
    for (lane, (name, unit)) in lanes
        .iter()
        .zip([("speed", "rpm"), ("duty", "%"), ("phase", "°")])
    {
        let x = lane.area.x - GUTTER + 4.0;
        let is_tall = lane.area.height >= 30.0;
        let shift = if is_tall { 8.0 } else { 0.0 };
        let at = Point::new(x, lane.area.center_y() - shift);
        let [low, high] = lane.y.map(|v| figure::plain(v, 0));
        let range = format!("{low} to {high} {unit}");
        if is_tall {
            labels.push(Label::new(name, at, Anchor::Left, p.text));
            let at = Point::new(x, at.y + 17.0);
            labels.push(Label::new(range, at, Anchor::Left, p.quiet).within(GUTTER - 8.0));
        } else {
            let words = format!("{name}, {unit}");
            labels.push(Label::new(words, at, Anchor::Left, p.text));
        }
    }
}

/// Words of a time axis; they stay within it, and away from what is taken.
pub fn tick_words(
    labels: &mut Vec<Label>,
    ticks: &axis::Ticks,
    along: &Lane,
    y: f32,
    taken: &[f32],
    p: &Palette,
) {
    let right = along.area.x + along.area.width;
    for tick in &ticks.ticks {
        let half = label::width(&tick.words, font::SMALL, font::REGULAR) / 2.0;
        let x = along.at(tick.at);
        let is_free = taken.iter().all(|t| (t - x).abs() > half + 14.0);
        if is_free && x + half <= right + 12.0 {
            let at = Point::new(x, y);
            labels.push(Label::new(tick.words.clone(), at, Anchor::Middle, p.quiet));
        }
    }
}

/// Lines at the marks of time.
pub fn grid(
    frame: &mut Frame,
    ticks: &axis::Ticks,
    along: &Lane,
    areas: &[Rectangle],
    p: &Palette,
) {
    for tick in &ticks.ticks {
        let x = along.at(tick.at).round();
        if x <= along.area.x + 1.0 || x >= along.area.x + along.area.width - 1.0 {
            continue;
        }
        for area in areas {
            let size = Size::new(1.0, area.height);
            frame.fill_rectangle(Point::new(x, area.y), size, p.hairline);
        }
    }
}

fn marks(frame: &mut Frame, opened: &Opened, plan: &Plan, along: &Lane, p: &Palette) {
    let row = plan.marks;
    // What was found lies under the marks.
    if let Some(Ok(found)) = &opened.find.result {
        for hit in &found.hits {
            let left = along.at(hit.from);
            let wide = (along.at(hit.to) - left).max(3.0);
            let size = Size::new(wide, 5.0);
            let at = Point::new(left, row.y + row.height - 5.0);
            frame.fill_rectangle(at, size, p.text);
        }
    }
    // Of many on one pixel one is drawn, the wrong ones over the others.
    let mut taken: Vec<(i32, Kind)> = Vec::new();
    let mut items: Vec<_> = opened.items.iter().collect();
    items.sort_by_key(|i| i.is_wrong);
    for item in items {
        let x = along.at(item.at);
        #[allow(clippy::cast_possible_truncation, reason = "a pixel of the screen")]
        let pixel = (x / 3.0) as i32;
        if !taken.contains(&(pixel, item.kind)) {
            taken.push((pixel, item.kind));
            let ink = if item.is_wrong { p.alarm } else { p.text };
            mark(frame, item.kind, Point::new(x, row.y + 5.5), ink);
        }
    }
    // The same shapes beside their words in the heading.
    let y = plan.strip.y + LINE / 2.0 - 1.0;
    for (kind, _, left) in legend(opened, plan) {
        let is_wrong = matches!(kind, Kind::Disagreement | Kind::Loss);
        let ink = if is_wrong { p.alarm } else { p.text };
        mark(frame, kind, Point::new(left - 11.0, y), ink);
    }
}

/// The sign of what happened: told apart by its shape, not by its colour.
pub fn mark(frame: &mut Frame, kind: Kind, at: Point, ink: Color) {
    let (x, y) = (at.x, at.y);
    let polygon = |points: &[(f32, f32)]| {
        Path::new(|b| {
            for (i, (dx, dy)) in points.iter().enumerate() {
                let at = Point::new(x + dx, y + dy);
                if i == 0 {
                    b.move_to(at);
                } else {
                    b.line_to(at);
                }
            }
            b.close();
        })
    };
    match kind {
        Kind::Disagreement => {
            frame.fill(&polygon(&[(-5.0, -4.5), (5.0, -4.5), (0.0, 5.0)]), ink);
        }
        Kind::Event => {
            let path = polygon(&[(-4.5, -4.0), (4.5, -4.0), (0.0, 4.5)]);
            frame.stroke(&path, Stroke::default().with_color(ink).with_width(1.5));
        }
        Kind::Loss => {
            for (a, b) in [((-4.0, -4.0), (4.0, 4.0)), ((-4.0, 4.0), (4.0, -4.0))] {
                let at = |(dx, dy): (f32, f32)| Point::new(x + dx, y + dy);
                let path = Path::line(at(a), at(b));
                frame.stroke(&path, Stroke::default().with_color(ink).with_width(2.0));
            }
        }
        Kind::Note => {
            frame.fill_rectangle(Point::new(x - 4.0, y - 4.0), Size::new(8.0, 8.0), ink);
        }
        Kind::Lead => {
            let path = Path::circle(at, 3.6);
            frame.stroke(&path, Stroke::default().with_color(ink).with_width(1.5));
        }
    }
}

/// Where the detail window lies in the strip: a frame with a grip that a finger finds.
pub fn frame_of_window(frame: &mut Frame, opened: &Opened, plan: &Plan, p: &Palette) {
    let along = Lane {
        area: plan.strip,
        x: 0.0..opened.window.length(),
        y: [0.0, 1.0],
    };
    let left = along.at(opened.window.from);
    let right = along.at(opened.window.to).max(left + 3.0);
    let top = plan.curves[0].y - 1.0;
    let bottom = plan.marks.y + plan.marks.height + 1.0;
    let high = bottom - top;
    let veil = Color { a: 0.45, ..p.panel };
    for (from, to) in [(plan.x[0], left), (right, plan.x[1])] {
        if to > from {
            let size = Size::new(to - from, high);
            frame.fill_rectangle(Point::new(from, top), size, veil);
        }
    }
    let path = Path::rounded_rectangle(
        Point::new(left, top),
        Size::new(right - left, high),
        (theme::RADIUS / 2.0).into(),
    );
    frame.stroke(&path, Stroke::default().with_color(p.text).with_width(2.0));
}

/// How many marks of time have room.
pub fn floor(x: f32) -> usize {
    #[allow(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "a few marks, at least one"
    )]
    let n = x.max(1.0) as usize;
    n
}

/// Where a place on the screen lies on the time axis of the strip.
pub fn seconds_at(opened: &Opened, plan: &Plan, x: f32) -> f64 {
    let share = f64::from((x - plan.x[0]) / plan.wide()).clamp(0.0, 1.0);
    share * opened.window.length()
}
