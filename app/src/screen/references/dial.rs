//! A small cycle dial: the windows of one cam in the engine sheet, and the angles that were typed.

use crate::font;
use crate::theme::{Look, Palette};
use crate::widget::label::{Anchor, Label, Labels};
use iced::widget::canvas::{self, Frame, Geometry, Path, Stroke};
use iced::widget::stack;
use iced::{Color, Element, Length, Point, Rectangle, Renderer, Theme, Vector, mouse};
use std::f32::consts::TAU;

/// An angle on the dial.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Hand {
    /// Crank degrees after firing TDC 1.
    pub angle: f64,
    /// Whether it is being typed.
    pub is_new: bool,
}

/// Room around the ring for words.
const RIM: f32 = 42.0;

#[allow(clippy::cast_possible_truncation, reason = "an angle, to be drawn")]
fn drawn(degrees: f64) -> f32 {
    degrees as f32
}

struct Dial {
    windows: Vec<[f64; 2]>,
    hands: Vec<Hand>,
    colour: Color,
    look: Look,
}

type Key = (Vec<[f64; 2]>, Vec<Hand>, Look);

fn at(centre: Point, degrees: f32, radius: f32) -> Point {
    let (s, c) = (degrees / 720.0 * TAU).sin_cos();
    centre + Vector::new(s, -c) * radius
}

fn sector(centre: Point, from: f32, over: f32, [inside, outside]: [f32; 2]) -> Path {
    let steps = 24.0;
    Path::new(|b| {
        b.move_to(at(centre, from, outside));
        let mut k = 1.0;
        while k <= steps {
            b.line_to(at(centre, from + over * k / steps, outside));
            k += 1.0;
        }
        while k >= 0.0 {
            b.line_to(at(centre, from + over * k.min(steps) / steps, inside));
            k -= 1.0;
        }
        b.close();
    })
}

impl Dial {
    fn paint(&self, frame: &mut Frame, p: &Palette) {
        let centre = frame.center();
        let outer = frame.width() / 2.0 - RIM;
        let line =
            |width: f32, colour: Color| Stroke::default().with_width(width).with_color(colour);
        frame.stroke(&Path::circle(centre, outer - 12.0), line(1.0, p.hairline));
        for k in 0..24_u8 {
            let degrees = f32::from(k) * 30.0;
            let length = if k % 6 == 0 { 8.0 } else { 4.0 };
            let tick = Path::line(
                at(centre, degrees, outer + 2.0),
                at(centre, degrees, outer + 2.0 + length),
            );
            frame.stroke(&tick, line(1.0, p.edge));
        }
        for [rise, fall] in &self.windows {
            let over = (fall - rise).rem_euclid(720.0);
            let window = sector(centre, drawn(*rise), drawn(over), [outer - 24.0, outer]);
            frame.fill(&window, p.zone);
            frame.stroke(&window, line(1.0, p.edge));
        }
        for hand in &self.hands {
            let degrees = drawn(hand.angle);
            let (from, colour, width) = if hand.is_new {
                (0.0, p.text, 2.5)
            } else {
                (outer - 34.0, self.colour, 3.0)
            };
            let path = Path::line(at(centre, degrees, from), at(centre, degrees, outer + 4.0));
            frame.stroke(&path, line(width, colour));
            if hand.is_new {
                frame.fill(&Path::circle(at(centre, degrees, outer + 4.0), 4.0), colour);
            }
        }
    }
}

impl<Message> canvas::Program<Message> for Dial {
    type State = (canvas::Cache, std::cell::RefCell<Option<Key>>);

    fn draw(
        &self,
        (cache, seen): &Self::State,
        renderer: &Renderer,
        _theme: &Theme,
        bounds: Rectangle,
        _cursor: mouse::Cursor,
    ) -> Vec<Geometry> {
        let now = Some((self.windows.clone(), self.hands.clone(), self.look));
        if seen.replace(now.clone()) != now {
            cache.clear();
        }
        let p = self.look.palette();
        vec![cache.draw(renderer, bounds.size(), |frame| self.paint(frame, p))]
    }
}

/// The dial, so many logical pixels wide and high.
pub fn dial<'a, Message: 'a>(
    windows: Vec<[f64; 2]>,
    hands: Vec<Hand>,
    colour: Color,
    side: f32,
    look: Look,
) -> Element<'a, Message> {
    let p = look.palette();
    let middle = side / 2.0;
    let put = |words: &str, x: f32, y: f32, anchor| {
        Label::new(words, Point::new(x, y), anchor, p.quiet).size(12.0)
    };
    let labels = vec![
        put("0 firing TDC", middle, 9.0, Anchor::Middle),
        put("360 exchange TDC", middle, side - 9.0, Anchor::Middle),
        put("180", side, middle, Anchor::Right),
        put("540", 0.0, middle, Anchor::Left),
        Label::new(
            "grey: sheet",
            Point::new(middle, middle + 24.0),
            Anchor::Middle,
            p.quiet,
        )
        .size(font::SMALL),
    ];
    let picture = canvas::Canvas::new(Dial {
        windows,
        hands,
        colour,
        look,
    })
    .width(Length::Fixed(side))
    .height(Length::Fixed(side));
    stack![picture, Element::from(Labels(labels))]
        .width(side)
        .height(side)
        .into()
}
