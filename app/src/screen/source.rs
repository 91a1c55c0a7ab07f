//! The Source panel: choose a serial port, type a path, or run a scenario on the virtual scope.

use crate::font;
use crate::session::choice::{Choice, Offer};
use crate::theme::{Look, RADIUS, STEP, TARGET};
use crate::widget::button as key;
use crate::widget::mark::Mark;
use iced::widget::{Column, button, column, container, row, scrollable, text, text_input};
use iced::{Alignment, Border, Element, Length, border};

/// Identity of the typed path, for focus and tests.
pub const PATH_FIELD: &str = "source-path";

/// The panel.
#[derive(Debug, Clone, Default)]
pub struct Source {
    offer: Offer,
    path: String,
}

/// What is done on it.
#[derive(Debug, Clone)]
pub enum Message {
    /// Lists the ports again.
    Refresh,
    /// The typed path changed.
    Path(String),
    /// Opens the typed path.
    OpenPath,
    /// Opens what was pressed.
    Choose(Choice),
    /// Closes the panel.
    Close,
}

/// What the parent has to do.
#[derive(Debug, Clone)]
pub enum Action {
    /// Nothing.
    None,
    /// Open this source.
    Open(Choice),
    /// Close the panel.
    Close,
}

impl Source {
    /// The panel with what can be chosen now; `path` was typed last time.
    pub fn new(offer: Offer, path: String) -> Self {
        Self { offer, path }
    }

    /// Does what a message asks.
    pub fn update(&mut self, message: Message) -> Action {
        match message {
            Message::Refresh => {
                self.offer.look_again();
                Action::None
            }
            Message::Path(path) => {
                self.path = path;
                Action::None
            }
            Message::OpenPath if self.path.trim().is_empty() => Action::None,
            Message::OpenPath => Action::Open(Choice::Port(self.path.trim().to_owned())),
            Message::Choose(choice) => Action::Open(choice),
            Message::Close => Action::Close,
        }
    }

    /// The panel.
    pub fn view(&self, look: Look) -> Element<'_, Message> {
        let p = look.palette();
        let heading =
            |words: &'static str| text(words).size(font::BODY).font(font::BOLD).color(p.text);
        let top = row![
            text("Where samples come from")
                .size(font::HEADING)
                .font(font::BOLD)
                .color(p.text)
                .width(Length::Fill),
            key::action(
                "Close",
                Some(Mark::Cross),
                false,
                look,
                Some(Message::Close)
            ),
        ]
        .align_y(Alignment::Center);

        let mut ports = Column::new().spacing(STEP);
        if self.offer.ports.is_empty() {
            ports = ports.push(
                text("No serial port found. Plug the scope in and look again.")
                    .size(font::SMALL)
                    .color(p.quiet),
            );
        }
        for port in &self.offer.ports {
            ports = ports.push(entry(
                &port.path,
                &port.about,
                look,
                Message::Choose(Choice::Port(port.path.clone())),
            ));
        }
        let typed = row![
            text_input("/dev/pts/3", &self.path)
                .id(PATH_FIELD)
                .on_input(Message::Path)
                .on_submit(Message::OpenPath)
                .font(font::MONO)
                .size(font::BODY)
                .padding([12, 12])
                .style(move |_, status| field(look, status)),
            key::action(
                "Open",
                None,
                false,
                look,
                (!self.path.trim().is_empty()).then_some(Message::OpenPath)
            ),
        ]
        .spacing(STEP);
        let left = column![
            row![
                heading("Serial port").width(Length::Fill),
                key::action("Look again", None, false, look, Some(Message::Refresh)),
            ]
            .align_y(Alignment::Center),
            scrollable(ports).spacing(STEP).height(Length::Fill),
            text("A path typed here is opened as it is, a pseudo-terminal too.")
                .size(font::SMALL)
                .color(p.quiet),
            typed,
        ]
        .spacing(STEP)
        .width(Length::FillPortion(1));

        let mut scenarios = Column::new().spacing(STEP);
        for scenario in &self.offer.scenarios {
            scenarios = scenarios.push(entry(
                &scenario.title,
                &scenario.story,
                look,
                Message::Choose(Choice::Scenario(scenario.name.clone())),
            ));
        }
        let right = column![
            container(heading("Virtual scope")).center_y(TARGET),
            scrollable(scenarios).spacing(STEP).height(Length::Fill),
        ]
        .spacing(STEP)
        .width(Length::FillPortion(1));

        container(
            column![top, row![left, right].spacing(STEP * 3.0)]
                .spacing(STEP)
                .padding(STEP * 2.0),
        )
        .max_width(960)
        .max_height(620)
        .style(move |_| {
            container::background(p.panel).border(border::rounded(RADIUS).color(p.edge).width(1))
        })
        .into()
    }
}

/// A wide key with two lines.
fn entry<'a>(title: &'a str, about: &'a str, look: Look, message: Message) -> Element<'a, Message> {
    let p = look.palette();
    button(
        column![
            text(title).size(font::BODY).color(p.text),
            text(about).size(font::SMALL).color(p.quiet),
        ]
        .spacing(2),
    )
    .width(Length::Fill)
    .padding([8, 12])
    .style(move |_, status| key::style(look, false, status))
    .on_press(message)
    .into()
}

/// The look of a text field.
pub fn field(look: Look, status: text_input::Status) -> text_input::Style {
    let p = look.palette();
    let is_focused = matches!(status, text_input::Status::Focused { .. });
    text_input::Style {
        background: p.background.into(),
        border: Border {
            color: if is_focused { p.text } else { p.edge },
            width: 1.0,
            radius: RADIUS.into(),
        },
        icon: p.quiet,
        placeholder: p.quiet,
        value: p.text,
        selection: p.zone,
    }
}
