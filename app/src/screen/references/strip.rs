//! The edges of a reference over the engine cycle: its windows, and around each edge the tolerance; below, the figures.

use crate::figure;
use crate::font;
use crate::screen::live::words;
use crate::theme::{Look, Palette, STEP};
use iced::widget::canvas::{self, Frame, Geometry, Path, Stroke};
use iced::widget::{Column, Row, Space, row, text};
use iced::{Alignment, Element, Length, Point, Rectangle, Renderer, Size, Theme, mouse};
use keyway_analysis::reference::{CamEntry, EdgeMark, Reference};

/// Height of a cam's row, logical pixels.
const HIGH: f32 = 34.0;
/// Room for the cam's name.
const NAME: f32 = 76.0;

struct Strip {
    cam: CamEntry,
    look: Look,
}

#[allow(clippy::cast_possible_truncation, reason = "an angle, to be drawn")]
fn share(degrees: f64) -> f32 {
    (degrees / 720.0) as f32
}

impl Strip {
    fn paint(&self, frame: &mut Frame, p: &Palette) {
        let (wide, high) = (frame.width(), frame.height());
        let colour = p.cam(self.cam.cam);
        frame.fill_rectangle(Point::ORIGIN, frame.size(), p.background);
        for k in 1..4_u8 {
            let x = wide * f32::from(k) / 4.0;
            frame.fill_rectangle(Point::new(x, 0.0), Size::new(1.0, high), p.hairline);
        }
        let angles = self.cam.angles();
        for pair in angles.chunks_exact(2) {
            if let [Some(rise), Some(fall)] = pair {
                let over = (fall - rise).rem_euclid(720.0);
                for turn in [0.0, -720.0] {
                    let (from, to) = (
                        share(rise + turn).max(0.0),
                        share(rise + turn + over).min(1.0),
                    );
                    if to > from {
                        let place = Point::new(from * wide, high * 0.3);
                        frame.fill_rectangle(
                            place,
                            Size::new((to - from) * wide, high * 0.4),
                            p.zone,
                        );
                    }
                }
            }
        }
        for edge in &self.cam.edges {
            let x = share(edge.angle.0) * wide;
            let half = (share(self.cam.tolerance.0) * wide).max(1.5);
            let band = iced::Color { a: 0.35, ..colour };
            let (from, to) = ((x - half).max(0.0), (x + half).min(wide));
            frame.fill_rectangle(
                Point::new(from, 2.0),
                Size::new(to - from, high - 4.0),
                band,
            );
            let line = Path::line(Point::new(x, 2.0), Point::new(x, high - 2.0));
            frame.stroke(&line, Stroke::default().with_width(2.0).with_color(colour));
        }
    }
}

impl<Message> canvas::Program<Message> for Strip {
    type State = (canvas::Cache, std::cell::RefCell<Option<(CamEntry, Look)>>);

    fn draw(
        &self,
        (cache, seen): &Self::State,
        renderer: &Renderer,
        _theme: &Theme,
        bounds: Rectangle,
        _cursor: mouse::Cursor,
    ) -> Vec<Geometry> {
        let now = Some((self.cam.clone(), self.look));
        if seen.replace(now.clone()) != now {
            cache.clear();
        }
        vec![cache.draw(renderer, bounds.size(), |frame| {
            self.paint(frame, self.look.palette());
        })]
    }
}

fn mark_word(mark: EdgeMark) -> &'static str {
    match mark {
        EdgeMark::Rising => "rising",
        EdgeMark::Falling => "falling",
        EdgeMark::Middle => "middle, high",
        EdgeMark::Low => "middle, low",
    }
}

/// Strips and figures of all its cams.
pub fn figures<'a, Message: 'a>(reference: &Reference, look: Look) -> Element<'a, Message> {
    let p = look.palette();
    let small = |words: String| text(words).size(font::SMALL).color(p.quiet);
    let mut strips = Column::new().spacing(4);
    for cam in &reference.cams {
        strips = strips.push(
            row![
                text(words::cam_capital(cam.cam))
                    .size(font::BODY)
                    .color(p.cam(cam.cam))
                    .width(NAME),
                canvas::Canvas::new(Strip {
                    cam: cam.clone(),
                    look,
                })
                .width(Length::Fill)
                .height(HIGH),
            ]
            .align_y(Alignment::Center),
        );
    }
    let scale = ["0 firing TDC", "180", "360", "540", "720°"].map(str::to_owned);
    let mut axis = Row::new().push(Space::new().width(NAME));
    for (i, word) in scale.into_iter().enumerate() {
        if i > 0 {
            axis = axis.push(Space::new().width(Length::Fill));
        }
        axis = axis.push(small(word));
    }
    let tables = reference.cams.iter().map(|cam| table(cam, look));
    Column::new()
        .push(strips)
        .push(axis)
        .push(small(
            "Lines: edges, with the tolerance around them. Grey: sensor high.".to_owned(),
        ))
        .push(Row::with_children(tables).spacing(STEP * 3.0))
        .spacing(4)
        .into()
}

/// The figures of one cam.
fn table<'a, Message: 'a>(cam: &CamEntry, look: Look) -> Element<'a, Message> {
    let p = look.palette();
    let range = if cam.uncertainty.0 > 0.0 {
        format!(", place known to ±{}°", figure::plain(cam.uncertainty.0, 2))
    } else {
        String::new()
    };
    let mut rows = Column::new()
        .push(
            text(format!(
                "{}: ±{}°{range}",
                words::cam_capital(cam.cam),
                figure::plain(cam.tolerance.0, 1)
            ))
            .size(font::BODY)
            .font(font::BOLD)
            .color(p.cam(cam.cam)),
        )
        .spacing(1)
        .width(Length::Fill);
    for edge in &cam.edges {
        let spread = edge.spread.map_or_else(String::new, |s| {
            format!("spread {}°", figure::plain(s.0, 2))
        });
        let count = edge.count.map_or_else(String::new, |n| format!("n {n}"));
        let cell = |words: String, width: f32, ink| {
            text(words)
                .size(font::SMALL)
                .color(ink)
                .width(width)
                .wrapping(text::Wrapping::None)
        };
        rows = rows.push(
            row![
                cell(
                    format!("{} {}", mark_word(edge.mark), edge.window),
                    92.0,
                    p.quiet
                ),
                cell(format!("{}°", figure::plain(edge.angle.0, 2)), 64.0, p.text),
                cell(spread, 92.0, p.quiet),
                cell(count, 44.0, p.quiet),
            ]
            .spacing(4),
        );
    }
    rows.into()
}
