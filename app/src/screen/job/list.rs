//! The jobs that are found, the latest first, each with why it was found.

use super::{JOB_LIST, Job, Message, SEARCH_FIELD};
use crate::font;
use crate::job::cabinet::Entry;
use crate::job::card::CardFile;
use crate::job::search::Reason;
use crate::screen::source::field;
use crate::theme::{Look, STEP};
use crate::widget::button as key;
use crate::widget::label;
use crate::widget::mark::{self, Mark};
use iced::widget::{Column, button, column, container, row, scrollable, text, text_input};
use iced::{Alignment, Element, Font, Length};

/// Jobs that are shown at once; a longer list is found by its words, not by scrolling.
pub const SHOWN: usize = 60;

/// Letters of a text that are looked at before it is cut to the width.
const LETTERS: usize = 120;

/// Search field and list.
pub fn view(screen: &Job, width: f32, look: Look) -> Element<'_, Message> {
    let p = look.palette();
    let search = text_input("plate, engine, code, date…", &screen.search)
        .id(SEARCH_FIELD)
        .on_input(Message::Search)
        .on_submit(Message::Take)
        .size(font::BODY)
        .padding([12, 12])
        .style(move |_, status| field(look, status));
    let top = row![
        text("Jobs")
            .size(font::HEADING)
            .font(font::BOLD)
            .color(p.text)
            .width(Length::Fill),
        key::action(
            "New job",
            None,
            screen.draft.is_some(),
            look,
            Some(Message::New)
        ),
    ]
    .align_y(Alignment::Center);
    let mut list = Column::new().spacing(STEP);
    if let Some(listing) = &screen.listing {
        let open = screen.folder();
        for (place, (at, why)) in screen.hits.iter().take(SHOWN).enumerate() {
            if let Some(entry) = listing.entries().get(*at) {
                let is_open = open == Some(&entry.folder);
                let is_on = screen.cursor == Some(place);
                list = list.push(line(entry, why, is_open, is_on, width, look));
            }
        }
    }
    column![
        top,
        search,
        container(text(summary(screen)).size(font::SMALL).color(p.quiet)),
        scrollable(list)
            .id(JOB_LIST)
            .spacing(STEP)
            .height(Length::Fill),
        text("N new · F find · Tab next field")
            .size(font::SMALL)
            .color(p.quiet),
    ]
    .spacing(STEP)
    .padding(iced::Padding::ZERO.bottom(STEP))
    .into()
}

/// How many there are, and how far the reading is.
fn summary(screen: &Job) -> String {
    let Some(listing) = &screen.listing else {
        return "The jobs have not been read yet".to_owned();
    };
    if let Some(fault) = listing.fault() {
        return fault.to_string();
    }
    let (found, all) = (screen.hits.len(), listing.entries().len());
    let mut words = if let Some(share) = listing.share() {
        format!("Reading… {:.0} %, {found} found so far", share * 100.0)
    } else if all == 0 {
        format!("None yet in {}", listing.root().display())
    } else if screen.search.trim().is_empty() {
        match all {
            1 => "1 job".to_owned(),
            n => format!("{n} jobs, the latest first"),
        }
    } else {
        format!("{found} of {all} hold all of these words")
    };
    if found > SHOWN {
        words += &format!("; the first {SHOWN} are shown");
    }
    words
}

fn line<'a>(
    entry: &'a Entry,
    why: &[Reason],
    is_open: bool,
    is_on: bool,
    width: f32,
    look: Look,
) -> Element<'a, Message> {
    let p = look.palette();
    let room = width - STEP * 5.0;
    let cut = |words: &str, size: f32, font: Font, room: f32| {
        let short: String = words.chars().take(LETTERS).collect();
        label::cut(short, size, font, room)
    };
    let small = |words: &str, ink| {
        text(cut(words, font::SMALL, font::REGULAR, room))
            .size(font::SMALL)
            .color(ink)
            .wrapping(text::Wrapping::None)
    };
    let mut content = Column::new().spacing(3);
    let card = entry.card.as_ref().ok().map(CardFile::card);
    let date = card
        .and_then(|c| c.opened)
        .map(|o| o.date())
        .unwrap_or_default();
    let mut head = row![
        text(cut(
            &entry.name(),
            font::BODY,
            font::BOLD,
            room - if is_open { 160.0 } else { 100.0 }
        ))
        .size(font::BODY)
        .font(font::BOLD)
        .color(p.text)
        .width(Length::Fill)
        .wrapping(text::Wrapping::None),
    ]
    .spacing(STEP)
    .align_y(Alignment::Center);
    if is_open {
        head = head.push(text("open here").size(font::SMALL).color(p.text));
    } else if card.is_some_and(|c| c.closed.is_some()) {
        head = head.push(mark::mark(Mark::Check, 12.0, p.quiet, p.panel));
    }
    content = content.push(head.push(text(date).size(font::SMALL).color(p.quiet)));
    let trouble = match &entry.card {
        Err(fault) => Some(fault.to_string()),
        Ok(file) => file.slips().first().map(|slip| format!("job.toml, {slip}")),
    };
    if let Some(trouble) = trouble {
        content = content.push(
            row![
                mark::mark(Mark::Warning, 14.0, p.alarm, p.panel),
                text(cut(&trouble, font::SMALL, font::REGULAR, room - 20.0))
                    .size(font::SMALL)
                    .color(p.alarm)
                    .wrapping(text::Wrapping::None),
            ]
            .spacing(6),
        );
    }
    if let Some(card) = card {
        let vehicle = card.vehicle();
        if !vehicle.is_empty() {
            content = content.push(small(&vehicle, p.quiet));
        }
        let complaint = card
            .complaint
            .split_whitespace()
            .collect::<Vec<_>>()
            .join(" ");
        let parts = [card.code_names().join(" "), complaint];
        let parts: Vec<&str> = parts
            .iter()
            .map(String::as_str)
            .filter(|s| !s.is_empty())
            .collect();
        if why.is_empty() && !parts.is_empty() {
            content = content.push(small(&parts.join(" · "), p.text));
        }
    }
    for reason in why {
        content = content.push(small(&reason.to_string(), p.text));
    }
    button(content)
        .width(Length::Fill)
        .padding([8.0, STEP * 1.5])
        .style(move |_, status| {
            let mut style = key::style(look, is_open, status);
            if !is_open {
                style.border.color = if is_on { p.text } else { p.hairline };
            }
            style
        })
        .on_press(Message::Open(entry.folder.clone()))
        .into()
}
