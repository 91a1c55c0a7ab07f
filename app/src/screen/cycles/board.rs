//! The drawing, and the hand on it: a tap puts a cursor, a drag moves a cursor or the picture, the wheel zooms.

use super::density;
use super::plot::{Plot, narrow};
use super::{Cycles, Message, Show, Stock, colour};
use crate::font;
use crate::theme::{Look, Palette};
use crate::widget::envelope::envelope;
use crate::widget::label::{Anchor, Label};
use iced::widget::canvas::{self, Event, Frame, Geometry};
use iced::{Color, Point, Rectangle, Renderer, Size, Theme, mouse, touch};
use std::ops::Range;
use std::sync::Arc;

/// How near a finger must come to a cursor to take it, logical pixels.
const REACH: f32 = 22.0;
/// How far a finger moves before it is no tap any more, logical pixels.
const TAP: f32 = 5.0;

/// What the drawing depends on.
#[derive(Debug, Clone, PartialEq)]
pub struct Drawn {
    look: Look,
    size: Size,
    stock: usize,
    shown: Vec<usize>,
    show: Show,
    at: usize,
    window: Range<f64>,
    has_values: bool,
}

/// One moment of the page.
pub struct Board<'a> {
    page: &'a Cycles,
    stock: &'a Arc<Stock>,
    look: Look,
    plot: Plot,
    shown: Vec<usize>,
}

impl<'a> Board<'a> {
    pub fn new(page: &'a Cycles, stock: &'a Arc<Stock>, look: Look, size: Size) -> Self {
        let shown = page.shown(stock);
        let has_values = page.cursors.iter().any(Option::is_some);
        let plot = Plot::new(size, shown.len(), &page.window, has_values);
        let drawn = Drawn {
            look,
            size,
            stock: Arc::as_ptr(stock).addr(),
            shown: shown.clone(),
            show: page.show,
            at: page.at,
            window: page.window.clone(),
            has_values,
        };
        let mut before = page.drawn.borrow_mut();
        if before.as_ref() != Some(&drawn) {
            page.picture.clear();
            page.hands.clear();
            *before = Some(drawn);
        }
        let held = Some((page.cursors, page.hand));
        if *page.held.borrow() != held {
            page.hands.clear();
            *page.held.borrow_mut() = held;
        }
        Self {
            page,
            stock,
            look,
            plot,
            shown,
        }
    }

    fn picture(&self, frame: &mut Frame) {
        let p = self.look.palette();
        let (_, marks) = self.plot.marks();
        for (place, lead) in self.shown.iter().enumerate() {
            let lane = self.plot.lane(place);
            frame.fill_rectangle(lane.position(), lane.size(), p.panel);
            let role = self.stock.locked.leads[*lead].role;
            for (from, to) in self.stock.windows(role) {
                let (a, b) = (self.plot.x(from), self.plot.x(to));
                let (a, b) = (a.max(lane.x), b.min(lane.x + lane.width));
                if b > a {
                    let size = Size::new(b - a, lane.height);
                    frame.fill_rectangle(Point::new(a, lane.y), size, p.zone);
                }
            }
            for mark in &marks {
                self.upright(frame, *mark, lane.y, lane.height, p.hairline, 1.0);
            }
            for (angle, _) in self.stock.dead_centres() {
                self.upright(frame, angle, lane.y, lane.height, p.edge, 1.0);
            }
            self.lead(frame, *lead, lane, p);
        }
        for (angle, _) in self.stock.dead_centres() {
            self.upright(frame, angle, self.plot.area.y - 4.0, 4.0, p.quiet, 2.0);
        }
    }

    fn upright(&self, frame: &mut Frame, angle: f64, y: f32, height: f32, ink: Color, wide: f32) {
        if self.plot.shows(angle) {
            let x = self.plot.x(angle).round() - (wide / 2.0).floor();
            frame.fill_rectangle(Point::new(x, y), Size::new(wide, height), ink);
        }
    }

    fn lead(&self, frame: &mut Frame, lead: usize, lane: Rectangle, p: &Palette) {
        let locked = &self.stock.locked.leads[lead];
        let Some([low, high]) = self.stock.scales[lead] else {
            return;
        };
        let ink = colour(locked.role, p);
        let y = |v: f32| {
            lane.y + 2.0 + (lane.height - 4.0) * (1.0 - (v - low) / (high - low)).clamp(0.0, 1.0)
        };
        let course = &self.stock.courses[lead];
        let mut shape = |least: &[f32], most: &[f32], ink: Color| {
            let (least, most) = (self.plot.pixels(least), self.plot.pixels(most));
            let columns: Vec<_> = (least.into_iter().zip(most))
                .map(|(l, m)| Some([y(m?[1]), y(l?[0])]))
                .collect();
            frame.fill(&envelope(&columns, lane.x, 1.0), ink);
        };
        match self.page.show {
            Show::One => {
                let line = self.page.line(self.stock, lead);
                shape(line, line, ink);
            }
            Show::Mean => {
                let least: Vec<f32> = course.extent.iter().map(|e| e.least).collect();
                let most: Vec<f32> = course.extent.iter().map(|e| e.greatest).collect();
                shape(&least, &most, Color { a: 0.22, ..ink });
                let spread = course.mean.iter().zip(&course.spread);
                let (below, above): (Vec<f32>, Vec<f32>) =
                    spread.map(|(m, s)| (m - s, m + s)).unzip();
                shape(&below, &above, Color { a: 0.45, ..ink });
                shape(&course.mean, &course.mean, p.text);
            }
            Show::All => {
                let scale = [low, high];
                let whole = Rectangle {
                    width: lane.width.floor(),
                    height: lane.height.floor(),
                    x: lane.x.round(),
                    y: lane.y.round(),
                };
                if let Some(handle) =
                    density::picture(&self.plot, whole, &locked.cycles, scale, ink)
                {
                    frame.draw_image(whole, canvas::Image::new(handle).snap(true));
                }
            }
        }
    }

    fn hands(&self, frame: &mut Frame) {
        let p = self.look.palette();
        let area = self.plot.area;
        for (index, cursor) in self.page.cursors.iter().enumerate() {
            let Some(angle) = cursor.filter(|a| self.plot.shows(*a)) else {
                continue;
            };
            let wide = if index == self.page.hand { 2.0 } else { 1.0 };
            self.upright(frame, angle, area.y, area.height, p.text, wide);
            // The flag at the foot tells the cursor that the keys move.
            let x = self.plot.x(angle);
            let y = area.y + area.height;
            let size = Size::new(18.0, 18.0);
            let corner = Point::new(x - 9.0, y + 2.0);
            frame.fill_rectangle(corner, size, p.text);
        }
    }

    /// The words of the drawing.
    pub fn words(&self) -> Vec<Label> {
        let p = self.look.palette();
        let mut labels = Vec::new();
        let (above, below) = self.plot.strips();
        let area = self.plot.area;
        let mut free = f32::NEG_INFINITY;
        for (angle, name) in self.stock.dead_centres() {
            let label = Label::new(
                name,
                Point::new(self.plot.x(angle), above),
                Anchor::Middle,
                p.text,
            );
            let bounds = label.bounds();
            let label = if bounds.x < area.x {
                Label {
                    anchor: Anchor::Left,
                    at: Point::new(self.plot.x(angle), above),
                    ..label
                }
            } else {
                label
            };
            if self.plot.shows(angle) && label.bounds().x > free {
                free = label.bounds().x + label.bounds().width + 8.0;
                labels.push(label);
            }
        }
        let (step, marks) = self.plot.marks();
        let decimals = usize::from(step < 1.0);
        let flags: Vec<f32> = (self.page.cursors.iter().flatten())
            .filter(|a| self.plot.shows(**a))
            .map(|a| self.plot.x(*a))
            .collect();
        for mark in marks {
            let words = format!("{}°", crate::figure::plain(mark, decimals));
            let x = self.plot.x(mark);
            let is_free = flags.iter().all(|f| (f - x).abs() > 34.0);
            if is_free && x < area.x + area.width + 8.0 {
                labels.push(Label::new(
                    words,
                    Point::new(x, below),
                    Anchor::Middle,
                    p.quiet,
                ));
            }
        }
        let unit = Label::new("crank angle", Point::new(0.0, below), Anchor::Left, p.quiet);
        labels.push(unit);
        for (name, cursor) in ["A", "B"].into_iter().zip(self.page.cursors) {
            if let Some(angle) = cursor.filter(|a| self.plot.shows(*a)) {
                let at = Point::new(self.plot.x(angle), area.y + area.height + 11.0);
                labels.push(Label::new(name, at, Anchor::Middle, p.background).bold());
            }
        }
        for (place, lead) in self.shown.iter().enumerate() {
            self.lane_words(&mut labels, self.plot.lane(place), *lead, p);
        }
        self.value_words(&mut labels, above, p);
        labels
    }

    fn lane_words(&self, labels: &mut Vec<Label>, lane: Rectangle, lead: usize, p: &Palette) {
        let locked = &self.stock.locked.leads[lead];
        let is_tall = lane.height >= 36.0;
        let middle = lane.center_y() - if is_tall { 9.0 } else { 0.0 };
        let name =
            crate::screen::live::words::capital(&crate::screen::live::words::lead(locked.role));
        let room = lane.x - 10.0;
        labels.push(
            Label::new(
                name,
                Point::new(0.0, middle),
                Anchor::Left,
                colour(locked.role, p),
            )
            .within(room),
        );
        if is_tall {
            let range = self.stock.scales[lead].map_or_else(
                || "no samples".to_owned(),
                |[low, high]| {
                    let decimals = usize::from(high - low < 4.0);
                    let end = |v: f32| crate::figure::plain(f64::from(v), decimals);
                    format!("{} to {} {}", end(low), end(high), locked.unit)
                },
            );
            let at = Point::new(0.0, middle + 18.0);
            labels.push(Label::new(range, at, Anchor::Left, p.quiet).within(room));
        }
    }

    fn value_words(&self, labels: &mut Vec<Label>, above: f32, p: &Palette) {
        if self.page.cursors.iter().all(Option::is_none) {
            return;
        }
        let right = self.plot.area.x + self.plot.area.width;
        let ends = [
            right + 62.0,
            right + 122.0,
            right + super::plot::VALUES - 4.0,
        ];
        let of = if self.page.show == Show::One {
            ""
        } else {
            "mean "
        };
        for (words, x) in [format!("{of}A"), format!("{of}B"), "B − A".to_owned()]
            .into_iter()
            .zip(ends)
        {
            labels.push(Label::new(
                words,
                Point::new(x, above),
                Anchor::Right,
                p.quiet,
            ));
        }
        for (place, values) in self.page.at_cursors(self.stock).into_iter().enumerate() {
            let y = self.plot.lane(place).center_y();
            let unit = &self.stock.locked.leads[values.lead].unit;
            let written = |v: Option<f32>| {
                v.map_or(crate::figure::NONE.to_owned(), |v| {
                    crate::figure::plain(f64::from(v), 2)
                })
            };
            let difference = values.difference().map_or_else(
                || format!("{} {unit}", crate::figure::NONE),
                |d| format!("{} {unit}", crate::figure::signed(f64::from(d), 2)),
            );
            let texts = [written(values.at[0]), written(values.at[1]), difference];
            for (words, x) in texts.into_iter().zip(ends) {
                labels.push(
                    Label::new(words, Point::new(x, y), Anchor::Right, p.text).size(font::SMALL),
                );
            }
        }
    }
}

/// What the hand holds.
#[derive(Debug, Clone, Default)]
pub struct Hand {
    held: Option<Held>,
}

#[derive(Debug, Clone)]
struct Held {
    from: Point,
    has_moved: bool,
    cursor: Option<usize>,
    window: Range<f64>,
}

impl Board<'_> {
    fn press(&self, hand: &mut Hand, at: Point) -> bool {
        let area = self.plot.area;
        let is_inside = at.x >= area.x - REACH && at.x <= area.x + area.width + REACH;
        if !is_inside {
            return false;
        }
        let near =
            |cursor: &Option<f64>| cursor.map_or(f32::INFINITY, |a| (self.plot.x(a) - at.x).abs());
        let cursor = (0..2)
            .map(|i| (i, near(&self.page.cursors[i])))
            .filter(|(_, far)| *far <= REACH)
            .min_by(|a, b| a.1.total_cmp(&b.1))
            .map(|(i, _)| i);
        hand.held = Some(Held {
            from: at,
            has_moved: false,
            cursor,
            window: self.page.window.clone(),
        });
        true
    }

    fn drag(&self, hand: &mut Hand, at: Point) -> Option<Message> {
        let held = hand.held.as_mut()?;
        held.has_moved |= (at.x - held.from.x).abs() > TAP;
        if !held.has_moved {
            return None;
        }
        if let Some(cursor) = held.cursor {
            return Some(Message::PutCursor(cursor, self.plot.angle(at.x)));
        }
        let width = held.window.end - held.window.start;
        let by = f64::from((held.from.x - at.x) / self.plot.area.width) * width;
        Some(Message::Window(
            held.window.start + by,
            held.window.end + by,
        ))
    }

    fn release(&self, hand: &mut Hand, at: Point) -> Option<Message> {
        let held = hand.held.take()?;
        (!held.has_moved).then(|| Message::Tap(self.plot.angle(at.x)))
    }
}

impl canvas::Program<Message> for Board<'_> {
    type State = Hand;

    fn update(
        &self,
        hand: &mut Hand,
        event: &Event,
        bounds: Rectangle,
        cursor: mouse::Cursor,
    ) -> Option<canvas::Action<Message>> {
        let inside = |at: Point| Point::new(at.x - bounds.x, at.y - bounds.y);
        let done = |message: Option<Message>| Some(canvas::Action::publish(message?).and_capture());
        match event {
            Event::Mouse(mouse::Event::ButtonPressed(mouse::Button::Left)) => {
                let at = cursor.position_in(bounds)?;
                self.press(hand, at).then(canvas::Action::capture)
            }
            Event::Mouse(mouse::Event::CursorMoved { position }) => {
                done(self.drag(hand, inside(*position)))
            }
            Event::Mouse(mouse::Event::ButtonReleased(mouse::Button::Left)) => {
                let at = cursor.position()?;
                done(self.release(hand, inside(at)))
            }
            Event::Mouse(mouse::Event::WheelScrolled { delta }) => {
                let at = cursor.position_in(bounds)?;
                let lines = match delta {
                    mouse::ScrollDelta::Lines { y, .. } => f64::from(*y),
                    mouse::ScrollDelta::Pixels { y, .. } => f64::from(*y) / 40.0,
                };
                let about = self.plot.angle(at.x);
                done(Some(Message::Zoom(0.8f64.powf(lines), Some(about))))
            }
            Event::Touch(touch::Event::FingerPressed { position, .. }) => {
                let is_here = bounds.contains(*position) && self.press(hand, inside(*position));
                is_here.then(canvas::Action::capture)
            }
            Event::Touch(touch::Event::FingerMoved { position, .. }) => {
                done(self.drag(hand, inside(*position)))
            }
            Event::Touch(touch::Event::FingerLifted { position, .. }) => {
                done(self.release(hand, inside(*position)))
            }
            Event::Touch(touch::Event::FingerLost { .. }) => {
                hand.held = None;
                None
            }
            _ => None,
        }
    }

    fn draw(
        &self,
        _hand: &Hand,
        renderer: &Renderer,
        _theme: &Theme,
        bounds: Rectangle,
        _cursor: mouse::Cursor,
    ) -> Vec<Geometry> {
        let size = bounds.size();
        vec![
            self.page.picture.draw(renderer, size, |f| self.picture(f)),
            self.page.hands.draw(renderer, size, |f| self.hands(f)),
        ]
    }
}

/// Half a pixel is as fine as a cursor can be put; at least a tenth of a column.
pub fn nudge(window: &Range<f64>) -> f64 {
    ((window.end - window.start) / 720.0)
        .max(0.1 * f64::from(narrow(720.0 / super::stock::COLUMNS as f64)))
}
