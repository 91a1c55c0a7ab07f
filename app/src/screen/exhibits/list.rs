//! The list of exhibits, and a look at the chosen one beside it.

use super::paper::paper;
use super::{EXPORT_FIELD, Exhibits, LIST, Message};
use crate::exhibit::layout::WIDTH;
use crate::exhibit::store::Entry;
use crate::font;
use crate::screen::source::field;
use crate::theme::{Look, STEP};
use crate::widget::button as keys;
use crate::widget::mark::{self, Mark};
use iced::widget::{
    Column, button, column, container, responsive, row, scrollable, text, text_input,
};
use iced::{Alignment, Element, Length};

/// Width of the list, logical pixels.
const LIST_WIDTH: f32 = 330.0;

/// The page when no exhibit is open.
pub fn list(page: &Exhibits, look: Look) -> Element<'_, Message> {
    let p = look.palette();
    let quiet = |words: String| text(words).size(font::BODY).color(p.quiet);
    let Some(entries) = page.entries.as_ref().filter(|e| !e.is_empty()) else {
        let words = if page.entries.is_none() {
            "Looking for exhibits…".to_owned()
        } else {
            format!(
                "No exhibits in {}. Press X, or Keep in the top bar, to keep what is on screen.",
                page.folder.display()
            )
        };
        return container(quiet(words)).padding(STEP * 2.0).into();
    };
    let cards = entries
        .iter()
        .enumerate()
        .fold(Column::new().spacing(STEP * 0.75), |all, (k, entry)| {
            all.push(card(entry, k, k == page.chosen, look))
        });
    let left = column![
        scrollable(cards)
            .id(LIST)
            .spacing(STEP)
            .height(Length::Fill),
        text(format!("in {}", page.folder.display()))
            .size(font::SMALL)
            .color(p.quiet),
    ]
    .spacing(STEP)
    .width(LIST_WIDTH);
    row![left, beside(page, look)]
        .spacing(STEP * 2.0)
        .height(Length::Fill)
        .into()
}

fn card(entry: &Entry, index: usize, is_on: bool, look: Look) -> Element<'_, Message> {
    let p = look.palette();
    let small = |words: String| text(words).size(font::SMALL).color(p.quiet);
    let content = match &entry.about {
        Ok(about) => {
            let marks = match about.marks {
                0 => String::new(),
                1 => " · 1 mark".to_owned(),
                many => format!(" · {many} marks"),
            };
            let mut words = column![
                text(&about.title)
                    .size(font::BODY)
                    .font(font::BOLD)
                    .color(p.text),
                small(format!("{} · {}{marks}", about.taken, about.source)),
            ]
            .spacing(4);
            if entry.has_draft {
                words = words.push(
                    row![
                        mark::mark(Mark::Ring, 12.0, p.text, p.panel),
                        text("has changes that were not saved")
                            .size(font::SMALL)
                            .color(p.text),
                    ]
                    .spacing(6)
                    .align_y(Alignment::Center),
                );
            }
            words
        }
        Err(why) => column![
            row![
                mark::mark(Mark::Warning, 14.0, p.alarm, p.panel),
                text(&entry.name).size(font::BODY).color(p.text),
            ]
            .spacing(6)
            .align_y(Alignment::Center),
            small(why.to_string()),
        ]
        .spacing(4),
    };
    button(content.width(Length::Fill))
        .padding([10, 12])
        .style(move |_, status| keys::style(look, is_on, status))
        .on_press(Message::Pick(index))
        .into()
}

/// The chosen exhibit as it is printed, and what can be done with it.
fn beside(page: &Exhibits, look: Look) -> Element<'_, Message> {
    let p = look.palette();
    let Some(edit) = &page.open else {
        let is_sound = page.chosen().is_some_and(|e| e.about.is_ok());
        let words = if is_sound {
            "Opening…"
        } else {
            "This one cannot be read."
        };
        return container(text(words).size(font::BODY).color(p.quiet))
            .center(Length::Fill)
            .into();
    };
    let picture = responsive(move |room| {
        let [wide, high] = edit.page.size;
        let scale = (room.width / wide).min(room.height / high).clamp(0.1, 1.2);
        container(paper(edit, look, scale, false))
            .center_x(Length::Fill)
            .into()
    });
    let ready = !page.export.trim().is_empty();
    let export = row![
        keys::action("Open", None, true, look, Some(Message::Edit)),
        text_input("file to draw it into, ending in .png or .svg", &page.export)
            .id(EXPORT_FIELD)
            .on_input(Message::ExportTo)
            .on_submit(Message::Export)
            .font(font::MONO)
            .size(font::BODY)
            .padding([12, 10])
            .style(move |_, status| field(look, status)),
        keys::action(
            "Export",
            None,
            false,
            look,
            ready.then_some(Message::Export)
        ),
    ]
    .spacing(STEP)
    .align_y(Alignment::Center);
    column![picture, export]
        .spacing(STEP)
        .width(Length::Fill)
        .height(Length::Fill)
        .max_width(WIDTH)
        .into()
}
