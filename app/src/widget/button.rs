//! Buttons for gloved fingers: never below the least target, quiet until something is wrong.

use crate::font;
use crate::theme::{Look, RADIUS, TARGET};
use crate::widget::mark::{self, Mark};
use iced::widget::{Button, Row, button, text};
use iced::{Alignment, Border, Element, Length};

/// A button with a word and, if given, a symbol before it. Without a message it is shown as not available.
pub fn action<'a, Message: Clone + 'a>(
    word: impl text::IntoFragment<'a>,
    symbol: Option<Mark>,
    is_on: bool,
    look: Look,
    on_press: Option<Message>,
) -> Element<'a, Message> {
    let p = look.palette();
    let ink = if on_press.is_some() { p.text } else { p.quiet };
    let ground = if is_on { p.raised } else { p.panel };
    let word = text(word)
        .size(font::BODY)
        .color(ink)
        .wrapping(text::Wrapping::None);
    let content = Row::new()
        .push(symbol.map(|s| {
            let ink = if s == Mark::Disc { p.alarm } else { ink };
            mark::mark(s, 14.0, ink, ground)
        }))
        .push(word)
        .spacing(8)
        .height(Length::Fill)
        .align_y(Alignment::Center);
    button(content)
        .height(TARGET)
        .padding([0, 14])
        .style(move |_, status| style(look, is_on, status))
        .on_press_maybe(on_press)
        .into()
}

/// A button whose word stands in its middle; give it a width.
pub fn wide<'a, Message: Clone + 'a>(
    word: impl text::IntoFragment<'a>,
    is_on: bool,
    look: Look,
    on_press: Option<Message>,
) -> Button<'a, Message> {
    let p = look.palette();
    let ink = if on_press.is_some() { p.text } else { p.quiet };
    let word = text(word)
        .size(font::BODY)
        .color(ink)
        .wrapping(text::Wrapping::None);
    button(word.width(Length::Fill).height(Length::Fill).center())
        .height(TARGET)
        .padding(0)
        .style(move |_, status| style(look, is_on, status))
        .on_press_maybe(on_press)
}

/// The look of a button, for those that are built elsewhere.
pub fn style(look: Look, is_on: bool, status: button::Status) -> button::Style {
    let p = look.palette();
    let is_touched = matches!(status, button::Status::Hovered | button::Status::Pressed);
    button::Style {
        background: Some(
            if is_on || is_touched {
                p.raised
            } else {
                p.panel
            }
            .into(),
        ),
        text_color: p.text,
        border: Border {
            color: if is_on { p.text } else { p.edge },
            width: 1.0,
            radius: RADIUS.into(),
        },
        ..button::Style::default()
    }
}
