//! How the References page is put together: the list on the left, what is done with one on the right.

use super::{LIST, Message, Part, References};
use crate::font;
use crate::reference::library::{Entry, Library};
use crate::theme::{Look, RADIUS, STEP};
use crate::widget::button as press;
use crate::widget::mark::{self, Mark};
use iced::widget::{Column, Row, button, container, row, scrollable, text};
use iced::{Alignment, Element, Length, border};

impl References {
    /// The page.
    pub fn view(&self, look: Look) -> Element<'_, Message> {
        let p = look.palette();
        let engine = self.sheet.as_ref().map_or("", |s| s.name.as_str());
        let take = self.recording.is_some().then_some(Message::Take);
        let is_detail = matches!(self.part, Part::Detail);
        let on = |part: bool| part && !is_detail;
        let keys =
            row![
                press::action(
                    "New from this recording (N)",
                    None,
                    on(matches!(self.part, Part::Taking(_))),
                    look,
                    take
                ),
                press::action(
                    "Type in… (H)",
                    None,
                    on(matches!(self.part, Part::Typing(_))),
                    look,
                    Some(Message::TypeIn)
                ),
                press::action(
                    "Combine… (M)",
                    None,
                    on(matches!(self.part, Part::Combining(_))),
                    look,
                    Some(Message::Combine)
                ),
                press::action(
                    "Import… (B)",
                    None,
                    on(matches!(self.part, Part::Carrying(_))),
                    look,
                    Some(Message::BringIn)
                ),
            ]
            .push((!is_detail).then(|| {
                press::action("Back", Some(Mark::Cross), false, look, Some(Message::Back))
            }))
            .spacing(STEP);
        let stands = row![
            text(engine).size(font::BODY).font(font::BOLD).color(p.text),
            text(&self.against).size(font::BODY).color(p.quiet),
        ]
        .spacing(STEP * 1.5);
        let right: Element<'_, Message> = match &self.part {
            Part::Taking(taking) => taking.view(look).map(Message::Taking),
            Part::Typing(typing) => typing.view(look).map(Message::Typing),
            Part::Combining(combining) => combining.view(look).map(Message::Combining),
            Part::Carrying(carrying) => self.carrying(carrying, look),
            Part::Detail => match self.entry() {
                Some(entry) => self.detail(entry, look),
                None => text("Without a reference the angles and how well they repeat are shown, and offsets are judged only where the engine sheet's own angles are known good. Record a good engine at rest and take one from it, type one in from a handbook, or import a colleague's.")
                    .size(font::BODY)
                    .color(p.quiet)
                    .into(),
            },
        };
        let panel = container(
            scrollable(container(right).padding(iced::Padding::ZERO.right(STEP)))
                .spacing(STEP)
                .height(Length::Fill),
        )
        .padding(STEP * 1.5)
        .width(Length::FillPortion(5))
        .height(Length::Fill)
        .style(move |_| container::background(p.panel).border(border::rounded(RADIUS)));
        // What is being made has the whole width: the list would only take room from it.
        let list = matches!(self.part, Part::Detail | Part::Carrying(_))
            .then(|| container(self.list(look)).width(Length::FillPortion(2)));
        Column::new()
            .push(stands)
            .push(keys)
            .push(Row::new().push(list).push(panel).spacing(STEP * 1.5))
            .spacing(STEP)
            .into()
    }

    fn list(&self, look: Look) -> Element<'_, Message> {
        let p = look.palette();
        let note = |words: String| text(words).size(font::BODY).color(p.quiet);
        match &self.library {
            None => note("Reading the folder…".to_owned()).into(),
            Some(Err(why)) => row![
                mark::mark(Mark::Warning, 16.0, p.alarm, p.background),
                text(why.as_ref()).size(font::BODY).color(p.text),
            ]
            .spacing(STEP)
            .into(),
            Some(Ok(library)) => self.cards(library, look),
        }
    }

    fn cards<'a>(&'a self, library: &'a Library, look: Look) -> Element<'a, Message> {
        let p = look.palette();
        let mut list = Column::new().spacing(STEP);
        if library.proposed().is_none() {
            list = list.push(
                text(if library.entries.is_empty() {
                    "No references yet."
                } else {
                    "None of these is for this engine."
                })
                .size(font::BODY)
                .color(p.quiet),
            );
        }
        for (i, entry) in library.entries.iter().enumerate() {
            list = list.push(self.card(entry, i == 0 && entry.fits(), look));
        }
        for (path, why) in &library.spoiled {
            let name = path.file_name().unwrap_or_default().to_string_lossy();
            list = list.push(
                row![
                    mark::mark(Mark::Warning, 16.0, p.alarm, p.background),
                    Column::new()
                        .push(text(name.into_owned()).size(font::BODY).color(p.text))
                        .push(text(why.as_ref()).size(font::SMALL).color(p.quiet)),
                ]
                .spacing(STEP),
            );
        }
        scrollable(list)
            .id(LIST)
            .spacing(STEP)
            .height(Length::Fill)
            .into()
    }

    fn card<'a>(&'a self, entry: &'a Entry, is_proposed: bool, look: Look) -> Element<'a, Message> {
        let p = look.palette();
        let reference = &entry.filed.reference;
        let is_on = self.chosen.as_deref() == Some(entry.filed.path.as_path());
        let (symbol, word, ink) = if self.is_used(&entry.filed.path) {
            (Mark::Check, "in use", p.text)
        } else if is_proposed {
            (Mark::Ring, "proposed", p.text)
        } else if entry.fits() {
            (Mark::Ring, "fits", p.quiet)
        } else {
            (Mark::Dash, "other engine", p.quiet)
        };
        let name_ink = if entry.fits() { p.text } else { p.quiet };
        let state = row![
            mark::mark(symbol, 12.0, ink, p.panel),
            text(word).size(font::SMALL).color(ink),
        ]
        .spacing(4)
        .align_y(Alignment::Center);
        let content = Column::new()
            .push(
                text(&reference.name)
                    .size(font::BODY)
                    .font(font::BOLD)
                    .color(name_ink),
            )
            .push(
                row![
                    text(reference.words())
                        .size(font::SMALL)
                        .color(name_ink)
                        .width(Length::Fill),
                    state,
                ]
                .spacing(STEP)
                .align_y(Alignment::Center),
            )
            .push(text(&reference.made).size(font::SMALL).color(p.quiet))
            .spacing(2);
        button(content)
            .width(Length::Fill)
            .padding([8, 12])
            .style(move |_, status| press::style(look, is_on, status))
            .on_press(Message::Pick(entry.filed.path.clone()))
            .into()
    }
}
