//! Drawn symbols. Drawn, because the typeface lacks several of them and a missing letter shows as a box.

use iced::widget::canvas::{self, Frame, Geometry, LineCap, LineJoin, Path, Stroke, path};
use iced::{Color, Element, Length, Point, Rectangle, Renderer, Size, Theme, Vector, mouse};

/// A symbol. It always stands beside a word.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Mark {
    /// Good, proven, done.
    Check,
    /// A stage that is done.
    CheckDisc,
    /// Silent, refused.
    Cross,
    /// Something is wrong.
    Warning,
    /// Doubtful.
    Question,
    /// Not fitted, not known.
    Dash,
    /// A stage not yet done; recording is off.
    Ring,
    /// Recording is on.
    Disc,
    /// Hold.
    Pause,
    /// Resume.
    Play,
    /// The light look.
    Sun,
    /// The dark look.
    Moon,
}

/// A symbol as a widget, `side` logical pixels square.
pub fn mark<'a, Message: 'a>(
    mark: Mark,
    side: f32,
    ink: Color,
    ground: Color,
) -> Element<'a, Message> {
    canvas::Canvas::new(Drawn { mark, ink, ground })
        .width(Length::Fixed(side))
        .height(Length::Fixed(side))
        .into()
}

struct Drawn {
    mark: Mark,
    ink: Color,
    ground: Color,
}

impl<Message> canvas::Program<Message> for Drawn {
    type State = (canvas::Cache, std::cell::Cell<Option<(Mark, Color, Color)>>);

    fn draw(
        &self,
        (cache, drawn): &Self::State,
        renderer: &Renderer,
        _theme: &Theme,
        bounds: Rectangle,
        _cursor: mouse::Cursor,
    ) -> Vec<Geometry> {
        let now = Some((self.mark, self.ink, self.ground));
        if drawn.replace(now) != now {
            cache.clear();
        }
        vec![cache.draw(renderer, bounds.size(), |frame| {
            draw(
                frame,
                self.mark,
                frame.center(),
                bounds.width,
                self.ink,
                self.ground,
            );
        })]
    }
}

/// Draws a symbol of `side` around `centre`; `ground` is the colour of what is cut out of it.
pub fn draw(frame: &mut Frame, mark: Mark, centre: Point, side: f32, ink: Color, ground: Color) {
    let at = |x: f32, y: f32| centre + Vector::new(x, y) * side;
    let line = |colour: Color, share: f32| Stroke {
        line_cap: LineCap::Round,
        line_join: LineJoin::Round,
        ..Stroke::default()
            .with_color(colour)
            .with_width(side * share)
    };
    let polyline = |points: &[Point], closed: bool| {
        Path::new(|b| {
            for (i, p) in points.iter().enumerate() {
                if i == 0 {
                    b.move_to(*p);
                } else {
                    b.line_to(*p);
                }
            }
            if closed {
                b.close();
            }
        })
    };
    match mark {
        Mark::Check => {
            let tick = polyline(&[at(-0.36, 0.04), at(-0.12, 0.28), at(0.36, -0.28)], false);
            frame.stroke(&tick, line(ink, 0.14));
        }
        Mark::CheckDisc => {
            frame.fill(&Path::circle(centre, side * 0.48), ink);
            let tick = polyline(&[at(-0.22, 0.02), at(-0.06, 0.18), at(0.22, -0.16)], false);
            frame.stroke(&tick, line(ground, 0.12));
        }
        Mark::Cross => {
            frame.stroke(&Path::line(at(-0.3, -0.3), at(0.3, 0.3)), line(ink, 0.14));
            frame.stroke(&Path::line(at(0.3, -0.3), at(-0.3, 0.3)), line(ink, 0.14));
        }
        Mark::Warning => {
            let triangle = polyline(&[at(0.0, -0.44), at(0.48, 0.42), at(-0.48, 0.42)], true);
            frame.fill(&triangle, ink);
            frame.stroke(&triangle, line(ink, 0.06));
            frame.stroke(
                &Path::line(at(0.0, -0.12), at(0.0, 0.12)),
                line(ground, 0.1),
            );
            frame.fill(&Path::circle(at(0.0, 0.28), side * 0.06), ground);
        }
        Mark::Question => {
            let hook = Path::new(|b| {
                b.arc(path::Arc {
                    center: at(0.0, -0.16),
                    radius: side * 0.22,
                    start_angle: iced::Radians(-std::f32::consts::PI),
                    end_angle: iced::Radians(std::f32::consts::FRAC_PI_2),
                });
                b.line_to(at(0.0, 0.18));
            });
            frame.stroke(&hook, line(ink, 0.13));
            frame.fill(&Path::circle(at(0.0, 0.38), side * 0.08), ink);
        }
        Mark::Dash => {
            frame.fill_rectangle(at(-0.36, -0.07), Size::new(side * 0.72, side * 0.14), ink);
        }
        Mark::Ring => frame.stroke(&Path::circle(centre, side * 0.42), line(ink, 0.1)),
        Mark::Disc => frame.fill(&Path::circle(centre, side * 0.48), ink),
        Mark::Pause => {
            for x in [-0.3, 0.08] {
                frame.fill_rectangle(at(x, -0.36), Size::new(side * 0.22, side * 0.72), ink);
            }
        }
        Mark::Play => {
            let arrow = polyline(&[at(-0.28, -0.4), at(0.42, 0.0), at(-0.28, 0.4)], true);
            frame.fill(&arrow, ink);
        }
        Mark::Sun => {
            frame.fill(&Path::circle(centre, side * 0.22), ink);
            for k in 0..8_u8 {
                let (y, x) = (f32::from(k) * std::f32::consts::FRAC_PI_4).sin_cos();
                let ray = Path::line(at(x * 0.34, y * 0.34), at(x * 0.46, y * 0.46));
                frame.stroke(&ray, line(ink, 0.09));
            }
        }
        Mark::Moon => {
            frame.fill(&Path::circle(centre, side * 0.42), ink);
            frame.fill(&Path::circle(at(0.2, -0.14), side * 0.34), ground);
        }
    }
}
