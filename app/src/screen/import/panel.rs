//! How the Import panel looks.

use super::{Clock, Import, Message, Role, UNITS};
use crate::screen::live::words::capital;
use crate::screen::source::field;
use crate::theme::{Look, Palette, RADIUS, STEP};
use crate::widget::button as key;
use crate::widget::mark::{self, Mark};
use crate::{figure, font};
use iced::widget::{
    Column, Space, column, container, pick_list, progress_bar, row, scrollable, text, text_input,
};
use iced::{Alignment, Element, Length, border};
use keyway_acquisition::import::plan::{Kind, TimeUnit};
use keyway_acquisition::import::preview::Preview;

/// Identity of the field for the capture's path, for focus and tests.
pub const CAPTURE_FIELD: &str = "import-capture";

/// First cells of a column that are shown.
const SHOWN_CELLS: usize = 5;

impl Import {
    /// The panel.
    pub fn view(&self, look: Look) -> Element<'_, Message> {
        let p = look.palette();
        let close = if self.is_running() { "Stop" } else { "Close" };
        let top = row![
            text("Import a capture")
                .size(font::HEADING)
                .font(font::BOLD)
                .color(p.text)
                .width(Length::Fill),
            key::action(close, Some(Mark::Cross), false, look, Some(Message::Close)),
        ]
        .align_y(Alignment::Center);
        let is_named = !self.capture.trim().is_empty() && !self.is_running();
        let capture = row![
            entry("capture.csv", &self.capture, Message::Capture, look)
                .id(CAPTURE_FIELD)
                .on_submit(Message::Look),
            key::action("Look", None, false, look, is_named.then_some(Message::Look)),
        ]
        .spacing(STEP);
        let wrong = self.wrong.as_ref().map(|why| {
            row![
                mark::mark(Mark::Warning, 18.0, p.alarm, p.panel),
                text(why.as_ref()).size(font::BODY).color(p.text),
            ]
            .spacing(STEP)
            .align_y(Alignment::Center)
        });
        let body: Element<'_, Message> = match &self.found {
            Some(found) => self.found(found, look),
            None => {
                let words = if self.is_looking {
                    "Looking at its first rows…"
                } else {
                    "A text file with columns: samples of each lead, or edges with a row per change. \
                     Type its path, or drop the file onto the window."
                };
                container(text(words).size(font::BODY).color(p.quiet))
                    .height(Length::Fill)
                    .into()
            }
        };
        let foot = match (self.running, &self.found) {
            (Some(share), _) => Some(progress(share, p)),
            (None, Some(found)) => Some(self.foot(found, look)),
            (None, None) => None,
        };
        container(
            column![top, capture]
                .push(wrong)
                .push(body)
                .push(foot)
                .spacing(STEP * 1.5)
                .padding(STEP * 2.0),
        )
        .max_width(1000)
        .max_height(680)
        .style(move |_| {
            container::background(p.panel).border(border::rounded(RADIUS).color(p.edge).width(1))
        })
        .into()
    }

    /// What was found: the text, the columns, and what has to be known of them.
    fn found<'a>(&'a self, found: &'a Preview, look: Look) -> Element<'a, Message> {
        let p = look.palette();
        let mut list = Column::new().push(text(text_words(found)).size(font::SMALL).color(p.quiet));
        for words in &found.lacking {
            list = list.push(
                row![
                    mark::mark(Mark::Question, 16.0, p.alarm, p.panel),
                    text(capital(words)).size(font::SMALL).color(p.text),
                ]
                .padding([4.0, 0.0])
                .spacing(STEP),
            );
        }
        list = list.push(Space::new().height(STEP));
        for position in 0..width(found) {
            list = list.push(self.column(found, position, look));
        }
        list = list.push(Space::new().height(STEP));
        for words in &found.assumed {
            list = list.push(
                text(format!("{}.", capital(words)))
                    .size(font::SMALL)
                    .color(p.quiet),
            );
        }
        scrollable(list.padding(iced::Padding::ZERO.right(STEP)))
            .spacing(STEP)
            .height(Length::Fill)
            .into()
    }

    fn column<'a>(
        &'a self,
        found: &'a Preview,
        position: usize,
        look: Look,
    ) -> Element<'a, Message> {
        let p = look.palette();
        let number = position + 1;
        let name = match found.names.get(position).map(String::as_str) {
            None | Some("") => format!("column {number}"),
            Some(name) => name.to_owned(),
        };
        let cells: Vec<&str> = found
            .rows
            .iter()
            .take(SHOWN_CELLS)
            .filter_map(|row| Some(row.get(position)?.as_str()))
            .collect();
        let is_time = found.time.column == Some(number);
        let imported = found.columns.iter().find(|c| c.number == number);
        let quiet = |words: &'a str| text(words).size(font::BODY).color(p.quiet);
        let unit: Element<'a, Message> = match imported {
            _ if is_time => pick_list(Clock::ALL, Some(Clock(found.time.unit)), Message::Clock)
                .text_size(font::BODY)
                .padding([8, 12])
                .width(Length::Fill)
                .style(move |_, _| picked(p))
                .menu_style(move |_| menu(p))
                .into(),
            None => quiet("").into(),
            Some(column) => match column.unit {
                None => quiet("levels").into(),
                Some(unit) => pick_list(UNITS, Some(unit), move |u| Message::Unit(number, u))
                    .text_size(font::BODY)
                    .padding([8, 12])
                    .width(Length::Fill)
                    .style(move |_, _| picked(p))
                    .menu_style(move |_| menu(p))
                    .into(),
            },
        };
        let role: Element<'a, Message> = if is_time {
            quiet("time").into()
        } else {
            let role = imported.map_or(Role::LeftOut, |c| Role::As(c.role.clone()));
            pick_list(self.roles.as_slice(), Some(role), move |r| {
                Message::Role(number, r)
            })
            .text_size(font::BODY)
            .padding([8, 12])
            .width(Length::Fill)
            .style(move |_, _| picked(p))
            .menu_style(move |_| menu(p))
            .into()
        };
        row![
            text(name)
                .size(font::BODY)
                .font(font::BOLD)
                .color(if is_time || imported.is_some() {
                    p.text
                } else {
                    p.quiet
                })
                .wrapping(text::Wrapping::None)
                .width(Length::FillPortion(4)),
            container(unit).width(Length::FillPortion(2)),
            container(
                text(cells.join("   "))
                    .size(font::SMALL)
                    .font(font::MONO)
                    .color(p.quiet)
                    .wrapping(text::Wrapping::None)
            )
            .clip(true)
            .width(Length::FillPortion(6)),
            container(role).width(Length::FillPortion(4)),
        ]
        .height(44)
        .spacing(STEP * 1.5)
        .align_y(Alignment::Center)
        .into()
    }

    /// Rate where it is not known, engine, file, and the key that begins.
    fn foot<'a>(&'a self, found: &'a Preview, look: Look) -> Element<'a, Message> {
        let p = look.palette();
        let label = |words: &'static str| text(words).size(font::SMALL).color(p.quiet).width(120);
        let is_timed = found.time.column.is_some() && found.time.unit != TimeUnit::Sample;
        let rate = (!is_timed).then(|| {
            row![
                label("Samples a second"),
                entry("200000", &self.rate, Message::Rate, look).on_submit(Message::UseRate),
                key::action(
                    "Use",
                    None,
                    false,
                    look,
                    (!self.rate.trim().is_empty()).then_some(Message::UseRate)
                ),
            ]
            .spacing(STEP)
            .align_y(Alignment::Center)
        });
        let engine = row![
            label("Engine sheet"),
            pick_list(self.sheets.as_slice(), Some(&self.sheet), Message::Sheet)
                .text_size(font::BODY)
                .padding([12, 12])
                .width(Length::FillPortion(2))
                .style(move |_, _| picked(p))
                .menu_style(move |_| menu(p)),
            entry("or the path of a sheet", &self.typed, Message::Typed, look)
                .width(Length::FillPortion(3)),
        ]
        .spacing(STEP)
        .align_y(Alignment::Center);
        let begin = self.request().is_some().then_some(Message::Begin);
        let file = row![
            label("Recording"),
            entry("recording.mcap", &self.recording, Message::Recording, look),
            key::action("Import", None, false, look, begin),
        ]
        .spacing(STEP)
        .align_y(Alignment::Center);
        Column::new()
            .push(rate)
            .push(engine)
            .push(file)
            .spacing(STEP)
            .into()
    }
}

fn progress<'a>(share: f32, p: &'a Palette) -> Element<'a, Message> {
    row![
        text(format!("{:.0} %", share * 100.0))
            .size(font::BODY)
            .color(p.text)
            .width(56),
        progress_bar(0.0..=1.0, share).style(move |_| progress_bar::Style {
            background: p.background.into(),
            bar: p.text.into(),
            border: border::rounded(RADIUS),
        }),
    ]
    .spacing(STEP)
    .align_y(Alignment::Center)
    .into()
}

/// How the text is divided and timed, in a sentence.
fn text_words(found: &Preview) -> String {
    let between = match found.delimiter.as_str() {
        "tab" => "tabs between cells".to_owned(),
        "space" => "spaces between cells".to_owned(),
        sign => format!("“{sign}” between cells"),
    };
    let decimal = found
        .decimal
        .map_or_else(String::new, |d| format!(", decimal “{}”", d.sign()));
    let rows = match found.kind {
        Kind::Samples => "rows are samples",
        Kind::Edges => "rows are changes of level",
    };
    let rate = found.time.rate_hz.map_or_else(String::new, |rate| {
        format!(", {} a second", figure::plain(rate, 0))
    });
    format!(
        "{}, {between}{decimal}; numbers from line {}; {rows}{rate}.",
        figure::size(found.bytes),
        found.first_line
    )
}

/// Columns of the file, named or not.
fn width(found: &Preview) -> usize {
    let cells = found.rows.iter().map(Vec::len).max().unwrap_or(0);
    cells.max(found.names.len())
}

fn entry<'a>(
    hint: &'a str,
    typed: &'a str,
    message: fn(String) -> Message,
    look: Look,
) -> text_input::TextInput<'a, Message> {
    text_input(hint, typed)
        .on_input(message)
        .font(font::MONO)
        .size(font::BODY)
        .padding([12, 12])
        .style(move |_, status| field(look, status))
}

fn picked(p: &Palette) -> pick_list::Style {
    pick_list::Style {
        text_color: p.text,
        placeholder_color: p.quiet,
        handle_color: p.quiet,
        background: p.background.into(),
        border: border::rounded(RADIUS).color(p.edge).width(1),
    }
}

fn menu(p: &Palette) -> iced::overlay::menu::Style {
    iced::overlay::menu::Style {
        background: p.panel.into(),
        border: border::rounded(RADIUS).color(p.edge).width(1),
        text_color: p.text,
        selected_text_color: p.text,
        selected_background: p.raised.into(),
        shadow: iced::Shadow::default(),
    }
}
