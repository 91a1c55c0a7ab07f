//! The picture of an exhibit on the screen, from the same layout as the files, and the pointer over it: mouse,
//! finger and pen take the same way.

use super::edit::Edit;
use super::{Message, edit};
use crate::exhibit::lettering::{ASCENT, BITMAP_EM};
use crate::exhibit::mark::Share;
use crate::exhibit::picture::MIDDLE;
use crate::exhibit::shape::{Anchor, Shape};
use crate::theme::{Look, Palette};
use crate::widget::label::{self, Label, Labels};
use iced::widget::canvas::{
    self, Event, Frame, Geometry, LineCap, LineDash, LineJoin, Path, Stroke,
};
use iced::widget::{container, stack};
use iced::{Color, Element, Length, Point, Rectangle, Renderer, Size, Theme, mouse, touch};

/// Half of what a finger covers, logical pixels: so far beside a mark it is taken.
const REACH: f32 = 22.0;

/// The paper at this scale; with a pointer that draws, or only to be looked at.
pub fn paper<'a>(edit: &'a Edit, look: Look, scale: f32, is_open: bool) -> Element<'a, Message> {
    let p = look.palette();
    if edit.drawn_for.replace(Some(look)) != Some(look) {
        edit.ground.clear();
        edit.over.clear();
    }
    let [wide, high] = edit.page.size.map(|v| v * scale);
    let (over, _) = edit.over();
    let ground = Layer {
        edit,
        look,
        scale,
        is_over: false,
        is_open: false,
    };
    let marks = Layer {
        is_over: true,
        is_open,
        ..ground
    };
    let sheet = stack![
        canvas::Canvas::new(ground)
            .width(Length::Fixed(wide))
            .height(Length::Fixed(high)),
        Element::from(Labels(labels(&edit.page.shapes, scale, p))),
        canvas::Canvas::new(marks)
            .width(Length::Fixed(wide))
            .height(Length::Fixed(high)),
        Element::from(Labels(labels(&over, scale, p))),
    ]
    .width(Length::Fixed(wide))
    .height(Length::Fixed(high));
    container(sheet)
        .style(move |_| {
            container::background(p.background).border(iced::border::width(1.0).color(p.edge))
        })
        .into()
}

/// The words of shapes as labels.
fn labels(shapes: &[Shape], scale: f32, p: &Palette) -> Vec<Label> {
    shapes
        .iter()
        .filter_map(|shape| match shape {
            Shape::Text(text) => {
                let at = Point::new(text.at[0], text.at[1] - text.size * MIDDLE);
                let anchor = match text.anchor {
                    Anchor::Left => label::Anchor::Left,
                    Anchor::Middle => label::Anchor::Middle,
                    Anchor::Right => label::Anchor::Right,
                };
                let at = Point::new(at.x * scale, at.y * scale);
                let label = Label::new(text.words.clone(), at, anchor, text.tone.colour(p))
                    .size(text.size * scale);
                Some(if text.is_bold { label.bold() } else { label })
            }
            Shape::Rectangle(..) | Shape::Area(..) | Shape::Line(..) => None,
        })
        .collect()
}

/// Draws shapes without their words.
fn paint(frame: &mut Frame, shapes: &[Shape], p: &Palette) {
    for shape in shapes {
        match shape {
            Shape::Rectangle(upper, lower, paint) => {
                let size = Size::new(lower[0] - upper[0], lower[1] - upper[1]);
                if size.width > 0.0 && size.height > 0.0 {
                    frame.fill_rectangle(Point::from(*upper), size, paint.colour(p));
                }
            }
            Shape::Area(corners, paint) => frame.fill(&polyline(corners, true), paint.colour(p)),
            Shape::Line(places, wide, paint) => {
                frame.stroke(&polyline(places, false), stroke(paint.colour(p), *wide));
            }
            Shape::Text(_) => {}
        }
    }
}

fn stroke(colour: Color, wide: f32) -> Stroke<'static> {
    Stroke {
        line_cap: LineCap::Round,
        line_join: LineJoin::Round,
        ..Stroke::default().with_color(colour).with_width(wide)
    }
}

fn polyline(places: &[[f32; 2]], is_closed: bool) -> Path {
    Path::new(|b| {
        for (k, place) in places.iter().enumerate() {
            if k == 0 {
                b.move_to(Point::from(*place));
            } else {
                b.line_to(Point::from(*place));
            }
        }
        if is_closed {
            b.close();
        }
    })
}

#[derive(Clone, Copy)]
struct Layer<'a> {
    edit: &'a Edit,
    look: Look,
    scale: f32,
    /// The marks, or what lies below them.
    is_over: bool,
    /// Whether the pointer draws.
    is_open: bool,
}

/// What holds the paper down.
#[derive(Debug, Default, Clone, Copy, PartialEq, Eq)]
pub enum Held {
    /// Nothing.
    #[default]
    Not,
    /// The mouse's button, or the pen's tip.
    Button,
    /// This finger; others do nothing.
    Finger(touch::Finger),
}

impl Layer<'_> {
    /// A place on the window as a share of the field.
    fn share(&self, at: Point, bounds: Rectangle) -> Share {
        let [wide, high] = self.edit.page.field.map(|v| v * self.scale);
        let share = |v: f32, of: f32| f64::from(v / of.max(1.0)).clamp(0.0, 1.0);
        [share(at.x - bounds.x, wide), share(at.y - bounds.y, high)]
    }
}

impl canvas::Program<Message> for Layer<'_> {
    type State = Held;

    fn update(
        &self,
        held: &mut Held,
        event: &Event,
        bounds: Rectangle,
        cursor: mouse::Cursor,
    ) -> Option<canvas::Action<Message>> {
        if !self.is_open {
            return None;
        }
        let reach = f64::from(REACH / self.scale.max(0.01));
        // A finger's own place does not know of scrolling; the cursor that follows it does.
        let place = |own: Option<Point>| cursor.position().or(own);
        let down = |held: &mut Held, by: Held, own: Option<Point>| {
            let at = place(own).filter(|at| bounds.contains(*at))?;
            *held = by;
            let message = Message::Press(self.share(at, bounds), reach);
            Some(canvas::Action::publish(message).and_capture())
        };
        let along = |own: Option<Point>| {
            let message = Message::Drag(self.share(place(own)?, bounds), reach);
            Some(canvas::Action::publish(message).and_capture())
        };
        let up = |held: &mut Held| {
            *held = Held::Not;
            Some(canvas::Action::publish(Message::Lift).and_capture())
        };
        match (event, *held) {
            (Event::Mouse(mouse::Event::ButtonPressed(mouse::Button::Left)), Held::Not) => {
                down(held, Held::Button, None)
            }
            (Event::Mouse(mouse::Event::CursorMoved { position }), Held::Button) => {
                along(Some(*position))
            }
            (Event::Mouse(mouse::Event::ButtonReleased(mouse::Button::Left)), Held::Button) => {
                up(held)
            }
            (Event::Touch(touch::Event::FingerPressed { id, position }), Held::Not) => {
                down(held, Held::Finger(*id), Some(*position))
            }
            (Event::Touch(touch::Event::FingerMoved { id, position }), Held::Finger(own))
                if *id == own =>
            {
                along(Some(*position))
            }
            (
                Event::Touch(
                    touch::Event::FingerLifted { id, .. } | touch::Event::FingerLost { id, .. },
                ),
                Held::Finger(own),
            ) if *id == own => up(held),
            _ => None,
        }
    }

    fn draw(
        &self,
        _: &Held,
        renderer: &Renderer,
        _: &Theme,
        bounds: Rectangle,
        _: mouse::Cursor,
    ) -> Vec<Geometry> {
        let p = self.look.palette();
        let cache = if self.is_over {
            &self.edit.over
        } else {
            &self.edit.ground
        };
        vec![cache.draw(renderer, bounds.size(), |frame| {
            frame.scale(self.scale);
            if !self.is_over {
                paint(frame, &self.edit.page.shapes, p);
                return;
            }
            let (shapes, chosen) = self.edit.over();
            paint(frame, &shapes, p);
            if let Some([upper, lower]) = chosen.filter(|_| self.is_open) {
                let corners = [
                    upper,
                    [lower[0], upper[1]],
                    lower,
                    [upper[0], lower[1]],
                    upper,
                ];
                let dashed = Stroke {
                    line_dash: LineDash {
                        segments: &[8.0, 6.0],
                        offset: 0,
                    },
                    ..stroke(p.text, 2.0)
                };
                frame.stroke(&polyline(&corners, false), dashed);
            }
        })]
    }

    fn mouse_interaction(
        &self,
        held: &Held,
        bounds: Rectangle,
        cursor: mouse::Cursor,
    ) -> mouse::Interaction {
        if !self.is_open || !cursor.is_over(bounds) {
            return mouse::Interaction::default();
        }
        match (self.edit.tool, held) {
            (edit::Tool::Move, Held::Not) => mouse::Interaction::Grab,
            (edit::Tool::Move, Held::Button | Held::Finger(_)) => mouse::Interaction::Grabbing,
            (edit::Tool::Text, _) => mouse::Interaction::Text,
            (
                edit::Tool::Pen | edit::Tool::Arrow | edit::Tool::Highlight | edit::Tool::Erase,
                _,
            ) => mouse::Interaction::Crosshair,
        }
    }
}

/// The toolkit centres a line between ascender and descender, as the files' painter is told.
const _: () = assert!(ASCENT < BITMAP_EM);
