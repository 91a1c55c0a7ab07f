//! How it looks when a reference is typed in.

use super::dial::{self, Hand};
use super::field::{bordered, entry, slip};
use super::typing::{FIELDS, Field, Message, Typing};
use crate::font;
use crate::screen::live::words;
use crate::theme::{Look, STEP, TARGET};
use crate::widget::button as press;
use iced::widget::{Column, Row, row, text, text_input};
use iced::{Alignment, Element, Length};
use keyway_analysis::reference::EdgeMark;
use keyway_analysis::reference::handbook::{Datum, Shaft, Side};

/// Side of the dial, logical pixels.
const DIAL: f32 = 236.0;

impl Typing {
    /// The form with its dial.
    pub fn view(&self, look: Look) -> Element<'_, Message> {
        let p = look.palette();
        let [degrees, tolerance, name, source, by] = FIELDS;
        let cams = self.sheet.cams.iter().enumerate().map(|(i, cam)| {
            let count = self.edges.get(i).map_or(0, Vec::len);
            let word = match count {
                0 => words::cam_capital(cam.cam),
                n => format!("{} ({n})", words::cam_capital(cam.cam)),
            };
            press::action(word, None, i == self.cam, look, Some(Message::Cam(i)))
        });
        let windows = (0..self.windows()).map(|w| {
            let key = press::wide(
                (w + 1).to_string(),
                w == self.window,
                look,
                Some(Message::Window(w)),
            );
            key.width(TARGET).into()
        });
        let which = EdgeMark::ALL.map(|m| {
            let word = match m {
                EdgeMark::Rising => "Rising edge",
                EdgeMark::Falling => "Falling edge",
                EdgeMark::Middle => "Middle, high",
                EdgeMark::Low => "Middle, low",
            };
            press::action(word, None, m == self.mark, look, Some(Message::Mark(m)))
        });
        let pair = |words: [&'static str; 2], first: bool, messages: [Message; 2]| {
            let [a, b] = words;
            let [to_a, to_b] = messages;
            row![
                press::action(a, None, first, look, Some(to_a)),
                press::action(b, None, !first, look, Some(to_b)),
            ]
            .spacing(4)
        };
        let label = |words: &'static str| text(words).size(font::SMALL).color(p.quiet).width(64);
        let line = |name: &'static str, content: Row<'static, Message>| {
            row![label(name), content.spacing(4).wrap()]
                .spacing(STEP)
                .align_y(Alignment::Center)
        };
        let is_wrong = self.slip(Field::Degrees).is_some();
        let angle = row![
            label("Angle"),
            text_input("such as 54.5", &self.degrees)
                .id(degrees)
                .on_input(Message::Degrees)
                .on_submit(Message::Add)
                .size(font::BODY)
                .padding([11, 12])
                .width(120)
                .style(move |_, status| bordered(look, status, is_wrong)),
            pair(
                ["° of crank", "° of cam"],
                self.shaft == Shaft::Crank,
                [Message::Shaft(Shaft::Crank), Message::Shaft(Shaft::Cam)]
            ),
            press::action("Add", None, true, look, Some(Message::Add)),
        ]
        .spacing(STEP)
        .align_y(Alignment::Center);
        let slip_degrees =
            (self.slip(Field::Degrees)).map(|why| row![label(""), slip(why, look)].spacing(STEP));
        let sides = row![
            label(""),
            pair(
                ["before", "after"],
                self.side == Side::Before,
                [Message::Side(Side::Before), Message::Side(Side::After)]
            ),
            pair(
                ["firing TDC 1", "exchange TDC 1"],
                self.datum == Datum::Firing,
                [
                    Message::Datum(Datum::Firing),
                    Message::Datum(Datum::Exchange)
                ]
            ),
        ]
        .spacing(STEP)
        .align_y(Alignment::Center);
        let meaning = self.meaning().map(|m| format!("= {m}"));
        let left = Column::new()
            .push(
                row![
                    label("Cam"),
                    Row::with_children(cams).spacing(4),
                    text("Window").size(font::SMALL).color(p.quiet),
                    Row::with_children(windows).spacing(4),
                ]
                .spacing(STEP)
                .align_y(Alignment::Center),
            )
            .push(line("Of it", Row::with_children(which)))
            .push(angle)
            .push(slip_degrees)
            .push(sides)
            .push(
                row![
                    label(""),
                    text(meaning.unwrap_or_default())
                        .size(font::BODY)
                        .font(font::BOLD)
                        .color(p.text)
                ]
                .spacing(STEP),
            )
            .spacing(STEP)
            .width(Length::Fill);
        let tolerance_typed = self.tolerances.get(self.cam).map_or("", String::as_str);
        let right = Column::new()
            .push(self.dial(look))
            .push(entry(
                tolerance,
                "Tolerance of this cam, ± °crank",
                "such as 2.0",
                tolerance_typed,
                self.slip(Field::Tolerance),
                look,
                (Message::Tolerance, Message::Save),
            ))
            .spacing(STEP)
            .width(DIAL);
        Column::new()
            .push(row![left, right].spacing(STEP * 2.0))
            .push(self.added(look))
            .push(row![
                entry(name, "Name", "", &self.name, self.slip(Field::Name), look, (Message::Name, Message::Save)),
                entry(source, "Handbook: title and page", "", &self.source, self.slip(Field::Source), look, (Message::Source, Message::Save)),
                entry(by, "Who", "", &self.by, None, look, (Message::By, Message::Save)),
            ].spacing(STEP))
            .push(self.slip(Field::Whole).map(|why| slip(why, look)))
            .push(
                row![
                    press::action("Save (V)", None, true, look, Some(Message::Save)),
                    text("Keys: C cam, W window, E edge, D crank or cam, A before or after, T dead centre, Enter adds").size(font::SMALL).color(p.quiet),
                ]
                .spacing(STEP * 1.5)
                .align_y(Alignment::Center),
            )
            .spacing(STEP)
            .into()
    }

    fn dial(&self, look: Look) -> Element<'_, Message> {
        let windows = self.own().map_or_else(Vec::new, |c| c.windows.clone());
        let colour = self
            .own()
            .map_or(look.palette().text, |c| look.palette().cam(c.cam));
        let mut hands: Vec<Hand> = (self.edges.get(self.cam).into_iter().flatten())
            .map(|e| Hand {
                angle: e.angle.0,
                is_new: false,
            })
            .collect();
        if let Ok(printed) = self.printed() {
            hands.push(Hand {
                angle: printed.angle().degrees(),
                is_new: true,
            });
        }
        dial::dial(windows, hands, colour, DIAL, look)
    }

    /// The angles of this cam so far, each with a key that takes it away.
    fn added(&self, look: Look) -> Element<'_, Message> {
        let p = look.palette();
        let edges = self.edges.get(self.cam).map_or(&[][..], Vec::as_slice);
        let all = 2 * self.windows();
        if edges.is_empty() {
            return text("One angle is enough to tell where the cam stands as a whole.")
                .size(font::SMALL)
                .color(p.quiet)
                .into();
        }
        let chips = edges.iter().enumerate().map(|(i, e)| {
            let word = format!(
                "{} {}: {}°  ×",
                e.mark.word(),
                e.window,
                crate::figure::plain(e.angle.0, 1)
            );
            press::action(word, None, false, look, Some(Message::Remove(i)))
        });
        let judged = if edges.len() < all {
            format!(
                "{} of {all} edges: it will judge where the cam stands as a whole, by these.",
                edges.len()
            )
        } else {
            "All edges.".to_owned()
        };
        Column::new()
            .push(Row::with_children(chips).spacing(4).wrap())
            .push(text(judged).size(font::SMALL).color(p.quiet))
            .spacing(4)
            .into()
    }
}
