//! The left rail: the screens in the order of the job.

use crate::font;
use crate::theme::{Look, RADIUS};
use crate::widget::mark::{self, Mark};
use iced::widget::{Column, Space, button, column, container, row, text};
use iced::{Alignment, Border, Element, Length};

/// Width of the rail, logical pixels.
pub const WIDTH: f32 = 104.0;

/// One screen on the rail.
#[derive(Debug, Clone)]
pub struct Entry<'a, Message> {
    /// Its name.
    pub name: &'a str,
    /// The key that opens it, shown small beside the name: "F3".
    pub key: &'a str,
    /// Whether it is the screen shown.
    pub is_open: bool,
    /// Whether its part of the job is done.
    pub is_done: bool,
    /// What opening it sends.
    pub on_press: Message,
}

/// The rail, with the entries from the top and `foot` (such as a legend of keys) at the bottom.
pub fn rail<'a, Message: Clone + 'a>(
    entries: impl IntoIterator<Item = Entry<'a, Message>>,
    foot: Option<Element<'a, Message>>,
    look: Look,
) -> Element<'a, Message> {
    let p = look.palette();
    let name = text("Keyway").size(17).font(font::BOLD).color(p.text);
    let mut list = Column::new().spacing(8);
    for e in entries {
        list = list.push(entry(e, look));
    }
    let rail = column![
        container(name).center_x(Length::Fill).center_y(56),
        list,
        Space::new().height(Length::Fill),
    ]
    .push(foot);
    container(rail)
        .width(WIDTH)
        .height(Length::Fill)
        .padding(iced::Padding::from([4, 0]).bottom(8.0))
        .style(move |_| container::background(p.panel))
        .into()
}

/// Keys and what they do, one pair a line, for the foot of the rail.
pub fn legend<'a, Message: 'a>(keys: &[(&'a str, &'a str)], look: Look) -> Element<'a, Message> {
    let p = look.palette();
    let mut lines = Column::new().spacing(4).padding([0, 10]);
    for (key, does) in keys {
        // The long ones take the room they need; the others stand in a column.
        let room = if key.len() > 2 {
            Length::Shrink
        } else {
            Length::Fixed(34.0)
        };
        lines = lines.push(
            row![
                text(*key)
                    .size(font::SMALL)
                    .font(font::BOLD)
                    .color(p.quiet)
                    .width(room),
                text(*does).size(font::SMALL).color(p.quiet),
            ]
            .spacing(6),
        );
    }
    lines.into()
}

fn entry<'a, Message: Clone + 'a>(e: Entry<'a, Message>, look: Look) -> Element<'a, Message> {
    let p = look.palette();
    let (ink, ground) = if e.is_open {
        (p.text, p.background)
    } else {
        (p.quiet, p.panel)
    };
    let symbol = if e.is_done {
        Mark::CheckDisc
    } else {
        Mark::Ring
    };
    let words = column![
        mark::mark(symbol, 20.0, ink, ground),
        text(e.name).size(font::BODY).color(ink),
        text(e.key).size(font::SMALL).color(p.quiet),
    ]
    .spacing(2)
    .width(Length::Fill)
    .align_x(Alignment::Center);
    let is_open = e.is_open;
    let key = button(words)
        .width(Length::Fill)
        .padding([8, 0])
        .style(move |_, status| {
            let touched = matches!(status, button::Status::Hovered | button::Status::Pressed);
            let ground = if touched && !is_open {
                p.raised
            } else {
                ground
            };
            button::Style {
                background: Some(ground.into()),
                text_color: ink,
                border: Border {
                    radius: RADIUS.into(),
                    ..Border::default()
                },
                ..button::Style::default()
            }
        })
        .on_press(e.on_press);
    // The open screen is told by its ground and by a bar at the edge, not by colour.
    let bar = container(Space::new())
        .width(4)
        .height(52)
        .style(move |_| container::background(if is_open { p.text } else { p.panel }));
    row![bar, key]
        .spacing(4)
        .padding(iced::Padding::ZERO.right(8.0))
        .align_y(Alignment::Center)
        .into()
}
