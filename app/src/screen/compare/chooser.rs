//! Choosing what is compared: the recordings with their names, and how they belong together.

use super::chart::{line_word, sample};
use super::{Compare, MOST, Message};
use crate::font;
use crate::screen::source::field;
use crate::theme::{Look, RADIUS, STEP};
use crate::widget::button;
use iced::widget::{Column, Row, column, container, row, text, text_input};
use iced::{Alignment, Element, Length, border};

/// Identity of the field for a path, for focus and tests.
pub const PATH_FIELD: &str = "compare-path";

/// Identities of the fields for names.
pub const NAME_FIELDS: [&str; MOST] = [
    "compare-name-1",
    "compare-name-2",
    "compare-name-3",
    "compare-name-4",
];

impl Compare {
    /// The recordings that are chosen.
    pub(super) fn chooser(&self, look: Look) -> Element<'_, Message> {
        let p = look.palette();
        let mut list = Column::new().spacing(STEP);
        for (place, entry) in self.entries.iter().enumerate() {
            let file = entry.path.file_name().unwrap_or(entry.path.as_os_str());
            let base = if place == 0 {
                "the base"
            } else {
                "compared with the base"
            };
            let content = row![
                sample(place, look),
                text_input("name", &entry.name)
                    .id(NAME_FIELDS[place.min(MOST - 1)])
                    .on_input(move |name| Message::Name(place, name))
                    .size(font::BODY)
                    .padding([12, 12])
                    .width(220)
                    .style(move |_, status| field(look, status)),
                column![
                    text(file.to_string_lossy().into_owned())
                        .size(font::BODY)
                        .color(p.text),
                    text(format!("{base}; {}", line_word(place)))
                        .size(font::SMALL)
                        .color(p.quiet),
                ]
                .width(Length::Fill),
                button::action("Take out", None, false, look, Some(Message::Remove(place))),
            ];
            list = list.push(
                container(content.spacing(STEP * 2.0).align_y(Alignment::Center))
                    .padding([STEP * 0.75, STEP * 1.5])
                    .width(Length::Fill)
                    .style(move |_| container::background(p.panel).border(border::rounded(RADIUS))),
            );
        }
        let hint = match self.entries.len() {
            0 => {
                "Choose two recordings or more: Compare (C) in the list of files adds one, or type a path here."
            }
            1 => "One more at least: the first is the base, the others are compared with it.",
            _ => "The first is the base, the others are compared with it.",
        };
        let typed = row![
            text_input("path of a recording", &self.typed)
                .id(PATH_FIELD)
                .on_input(Message::Typed)
                .on_submit(Message::AddTyped)
                .font(font::MONO)
                .size(font::BODY)
                .padding([12, 12])
                .style(move |_, status| field(look, status)),
            button::action("Add", None, false, look, Some(Message::AddTyped)),
        ]
        .spacing(STEP);
        column![
            text(hint).size(font::BODY).color(p.quiet),
            list,
            typed,
            self.orders(look),
        ]
        .spacing(STEP * 1.5)
        .into()
    }

    /// How they belong together, and beginning.
    fn orders(&self, look: Look) -> Element<'_, Message> {
        let p = look.palette();
        let (word, says) = if self.same_engine {
            (
                "One engine",
                "what its wheels and sensors add is the same in all and cancels",
            )
        } else {
            (
                "Engines of a type",
                "the tolerance of wheels and sensors in the engine sheet counts for each",
            )
        };
        let mut orders = Row::new().spacing(STEP).align_y(Alignment::Center);
        if let Some(share) = self.running {
            orders = orders
                .push(button::action(
                    "Cancel",
                    None,
                    false,
                    look,
                    Some(Message::Cancel),
                ))
                .push(
                    text(format!("Measuring: {:.0} %", 100.0 * share))
                        .size(font::BODY)
                        .color(p.text),
                );
            return orders.into();
        }
        let can = (self.entries.len() > 1).then_some(Message::Start);
        orders = orders
            .push(button::action("Compare", None, false, look, can))
            .push(
                self.outcome
                    .is_some()
                    .then(|| button::action("Back", None, false, look, Some(Message::Choose))),
            )
            .push(button::action(
                word,
                None,
                !self.same_engine,
                look,
                Some(Message::SameEngine),
            ))
            .push(text(says).size(font::SMALL).color(p.quiet));
        orders.into()
    }
}
