//! A field with its name above and, below it, what is wrong with it.

use crate::font;
use crate::screen::source::field;
use crate::theme::Look;
use crate::widget::mark::{self, Mark};
use iced::widget::{Column, row, text, text_input};
use iced::{Alignment, Element, Length};

/// The border of a field says that something is wrong with it.
pub fn bordered(look: Look, status: text_input::Status, is_wrong: bool) -> text_input::Style {
    let mut style = field(look, status);
    if is_wrong {
        style.border.color = look.palette().alarm;
        style.border.width = 2.0;
    }
    style
}

/// A text field; Enter sends the same as its button does.
pub fn entry<'a, Message: Clone + 'a>(
    id: &'static str,
    name: &'a str,
    hint: &'a str,
    typed: &'a str,
    wrong: Option<&'a str>,
    look: Look,
    (on_input, on_submit): (impl Fn(String) -> Message + 'a, Message),
) -> Element<'a, Message> {
    let p = look.palette();
    let input = text_input(hint, typed)
        .id(id)
        .on_input(on_input)
        .on_submit(on_submit)
        .size(font::BODY)
        .padding([11, 12])
        .style(move |_, status| bordered(look, status, wrong.is_some()));
    Column::new()
        .push(text(name).size(font::SMALL).color(p.quiet))
        .push(input)
        .push(wrong.map(|why| slip(why, look)))
        .spacing(3)
        .width(Length::Fill)
        .into()
}

/// What is wrong, beside its mark.
pub fn slip<'a, Message: 'a>(why: &'a str, look: Look) -> Element<'a, Message> {
    let p = look.palette();
    row![
        mark::mark(Mark::Warning, 14.0, p.alarm, p.panel),
        text(why).size(font::SMALL).color(p.alarm),
    ]
    .spacing(6)
    .align_y(Alignment::Center)
    .into()
}

/// What is typed of a number, with a decimal point or comma.
pub fn number(typed: &str) -> Option<f64> {
    let plain = typed
        .trim()
        .trim_end_matches('°')
        .trim()
        .replace(',', ".")
        .replace('−', "-");
    plain.parse().ok().filter(|x: &f64| x.is_finite())
}
