//! The panel beside an open exhibit: tools, inks, title, words, note.

use super::edit::{Edit, Tool};
use super::{Message, NOTE_FIELD, TITLE_FIELD, WORDS_FIELD};
use crate::exhibit::mark::{Ink, Nib};
use crate::font;
use crate::screen::source::field;
use crate::theme::{Look, RADIUS, STEP, TARGET};
use crate::widget::button as keys;
use iced::widget::{Column, Row, button, column, container, row, text, text_editor, text_input};
use iced::{Alignment, Border, Element, Length, border};

/// Width of the panel, logical pixels.
pub const WIDTH: f32 = 244.0;

/// The panel.
pub fn panel<'a>(edit: &'a Edit, is_large: bool, look: Look) -> Element<'a, Message> {
    let p = look.palette();
    let wide = |word: &'static str, is_on: bool, message: Option<Message>| {
        keys::wide(word, is_on, look, message).width(Length::Fill)
    };
    let tools = Tool::ALL
        .chunks(3)
        .fold(Column::new().spacing(4), |all, three| {
            all.push(
                three
                    .iter()
                    .fold(Row::new().spacing(4), |row, (tool, name, _)| {
                        row.push(wide(name, edit.tool == *tool, Some(Message::Take(*tool))))
                    }),
            )
        });
    let inks = Ink::ALL
        .into_iter()
        .fold(Row::new().spacing(4), |row, ink| {
            row.push(swatch(ink, edit.ink == ink, look))
        });
    let (back, again) = edit.steps();
    let nib = match edit.nib {
        Nib::Fine => "Fine",
        Nib::Broad => "Broad",
    };
    let steps = row![
        wide(nib, false, Some(Message::Nib)),
        wide("Undo", false, back.then_some(Message::Undo)),
        wide("Redo", false, again.then_some(Message::Redo)),
    ]
    .spacing(4);
    let size = if is_large { "Fit" } else { "Larger" };
    let chosen = row![
        wide("Delete", false, edit.chosen().map(|_| Message::Delete)),
        wide(size, is_large, Some(Message::Large)),
    ]
    .spacing(4);
    // Where words are written, there is the field for them; the title else.
    let words: Element<'a, Message> = match edit.words() {
        Some(words) => text_input("words on the picture", words)
            .id(WORDS_FIELD)
            .on_input(Message::Words)
            .on_submit(Message::Done)
            .size(font::BODY)
            .padding([12, 10])
            .style(move |_, status| field(look, status))
            .into(),
        None => text_input("title", edit.title())
            .id(TITLE_FIELD)
            .on_input(Message::Title)
            .size(font::BODY)
            .padding([12, 10])
            .style(move |_, status| field(look, status))
            .into(),
    };
    let note = text_editor(&edit.note)
        .id(NOTE_FIELD)
        .placeholder("note")
        .on_action(Message::Note)
        .size(font::BODY)
        .padding(10)
        .height(Length::Fill)
        .style(move |_, status| written(look, status));
    let state = if edit.is_saving() {
        "saving…"
    } else if !edit.is_changed() {
        "all saved"
    } else if edit.was_draft {
        "unsaved, found again"
    } else {
        "not saved, but not lost"
    };
    let throw = edit.is_changed().then_some(Message::Discard);
    let save = (edit.is_changed() && !edit.is_saving()).then_some(Message::Save);
    let ends = row![
        wide("Save", edit.is_changed(), save),
        wide("Revert", false, throw),
        wide("Close", false, Some(Message::Back)),
    ]
    .spacing(4);
    column![
        tools,
        inks,
        steps,
        chosen,
        words,
        note,
        container(text(state).size(font::SMALL).color(p.quiet)).center_x(Length::Fill),
        ends,
    ]
    .spacing(STEP * 0.75)
    .width(WIDTH)
    .height(Length::Fill)
    .align_x(Alignment::Center)
    .into()
}

/// An ink to dip the pen into: its colour, and its first letter.
fn swatch<'a>(ink: Ink, is_on: bool, look: Look) -> Element<'a, Message> {
    let p = look.palette();
    let colour = ink.colour(p);
    let letter = &ink.name()[..1];
    let dot = container(
        text(letter)
            .size(font::SMALL)
            .font(font::BOLD)
            .color(p.background),
    )
    .center(28.0)
    .style(move |_| container::background(colour).border(border::rounded(14)));
    button(container(dot).center(Length::Fill))
        .width(Length::Fill)
        .height(TARGET)
        .padding(0)
        .style(move |_, status| {
            let mut style = keys::style(look, is_on, status);
            if is_on {
                style.border.width = 2.0;
            }
            style
        })
        .on_press(Message::Dip(ink))
        .into()
}

/// The look of the note.
fn written(look: Look, status: text_editor::Status) -> text_editor::Style {
    let p = look.palette();
    let is_focused = matches!(status, text_editor::Status::Focused { .. });
    text_editor::Style {
        background: p.background.into(),
        border: Border {
            color: if is_focused { p.text } else { p.edge },
            width: 1.0,
            radius: RADIUS.into(),
        },
        placeholder: p.quiet,
        value: p.text,
        selection: p.zone,
    }
}
