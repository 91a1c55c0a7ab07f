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

/// Identity of the list of scenarios, for scrolling.
pub const SCENARIO_LIST: &str = "source-scenarios";

/// The panel.
#[derive(Debug, Clone, Default)]
pub struct Source {
    offer: Offer,
    path: String,
    /// Which entry the arrow keys have come to, ports first.
    cursor: Option<usize>,
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
    /// The arrow keys go to the entry before.
    Up,
    /// The arrow keys go to the entry after.
    Down,
    /// Opens the entry the arrow keys have come to.
    Take,
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
    /// Bring this share of the list of scenarios into view, 0 to 1.
    Scroll(f32),
    /// Close the panel.
    Close,
}

impl Source {
    /// The panel with what can be chosen now; `path` was typed last time.
    pub fn new(offer: Offer, path: String) -> Self {
        Self {
            offer,
            path,
            cursor: None,
        }
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
            Message::Up => self.move_to(self.cursor.map_or(0, |c| c.saturating_sub(1))),
            Message::Down => self.move_to(self.cursor.map_or(0, |c| c + 1)),
            Message::Take => match self.cursor.and_then(|c| self.entry(c)) {
                Some(choice) => Action::Open(choice),
                None => Action::None,
            },
            Message::Close => Action::Close,
        }
    }

    fn move_to(&mut self, cursor: usize) -> Action {
        let last = (self.offer.ports.len() + self.offer.scenarios.len()).saturating_sub(1);
        let cursor = cursor.min(last);
        self.cursor = Some(cursor);
        match cursor.checked_sub(self.offer.ports.len()) {
            Some(place) => Action::Scroll(share(place, self.offer.scenarios.len())),
            None => Action::None,
        }
    }

    /// The entry at this place, ports first.
    fn entry(&self, place: usize) -> Option<Choice> {
        match place.checked_sub(self.offer.ports.len()) {
            None => {
                let port = self.offer.ports.get(place)?;
                Some(Choice::Port(port.path.clone()))
            }
            Some(place) => {
                let scenario = self.offer.scenarios.get(place)?;
                Some(Choice::Scenario(scenario.name.clone()))
            }
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
        for (i, port) in self.offer.ports.iter().enumerate() {
            ports = ports.push(entry(
                &port.path,
                &port.about,
                self.cursor == Some(i),
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
        for (i, scenario) in self.offer.scenarios.iter().enumerate() {
            scenarios = scenarios.push(entry(
                &scenario.title,
                &scenario.story,
                self.cursor == Some(self.offer.ports.len() + i),
                look,
                Message::Choose(Choice::Scenario(scenario.name.clone())),
            ));
        }
        let right = column![
            container(heading("Virtual scope")).center_y(TARGET),
            scrollable(scenarios)
                .id(SCENARIO_LIST)
                .spacing(STEP)
                .height(Length::Fill),
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
fn entry<'a>(
    title: &'a str,
    about: &'a str,
    is_on: bool,
    look: Look,
    message: Message,
) -> Element<'a, Message> {
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
    .style(move |_, status| key::style(look, is_on, status))
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

/// How far down a list of so many entries lies one of them, 0 to 1.
#[allow(clippy::cast_precision_loss, reason = "lists of a few dozen entries")]
pub fn share(place: usize, entries: usize) -> f32 {
    place as f32 / entries.saturating_sub(1).max(1) as f32
}
