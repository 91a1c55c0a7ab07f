//! What lies in the folder of the open job: recordings, exhibits, findings.

use super::view::panel;
use super::{Desk, Message};
use crate::job::open::Part;
use crate::session::shelf::Volume;
use crate::theme::{Look, STEP};
use crate::widget::button as key;
use crate::widget::mark::{self, Mark};
use crate::{figure, font};
use iced::widget::{Column, column, row, scrollable, text};
use iced::{Alignment, Element, Length};
use std::path::PathBuf;

/// Names of exhibits and findings that are shown; all of them lie in the folder.
const NAMES: usize = 6;

/// The lists.
pub fn view(desk: &Desk, look: Look) -> Element<'_, Message> {
    let p = look.palette();
    let Some(contents) = &desk.contents else {
        return text("Reading the folder…")
            .size(font::BODY)
            .color(p.quiet)
            .into();
    };
    let can_write = desk.job.refusal(Part::Notes).is_none();
    let mut all = Column::new().spacing(STEP * 1.5);
    for why in &contents.faults {
        all = all.push(
            row![
                mark::mark(Mark::Warning, 18.0, p.alarm, p.background),
                text(why.as_ref()).size(font::BODY).color(p.alarm),
            ]
            .spacing(STEP),
        );
    }
    let mut recordings = Column::new().spacing(STEP).push(
        row![
            heading("Recordings", look),
            key::action("Move some in…", None, false, look, Some(Message::ShowFiles)),
            key::action("Look again", None, false, look, Some(Message::LookAgain)),
        ]
        .spacing(STEP)
        .align_y(Alignment::Center),
    );
    if contents.recordings.is_empty() {
        recordings = recordings.push(quiet(
            "None yet. Press Record (R) while samples arrive: with this job open it goes here."
                .to_owned(),
            look,
        ));
    }
    for volume in &contents.recordings {
        recordings = recordings.push(recording(volume, look));
    }
    let exhibits = row![
        heading("Exhibits", look),
        key::action("Show", None, false, look, Some(Message::ShowExhibits)),
    ];
    let findings = row![
        heading("Findings", look),
        key::action(
            "Keep present findings",
            None,
            false,
            look,
            can_write.then_some(Message::KeepFindings)
        ),
    ];
    let none = "None yet. X keeps what is on screen as an exhibit.";
    let kept = "None yet. Causes and evidence are kept as they stand at that moment.";
    all = all
        .push(panel(recordings, look))
        .push(panel(
            names(
                exhibits.spacing(STEP).align_y(Alignment::Center).into(),
                &contents.exhibits,
                none,
                look,
            ),
            look,
        ))
        .push(panel(
            names(
                findings.spacing(STEP).align_y(Alignment::Center).into(),
                &contents.findings,
                kept,
                look,
            ),
            look,
        ))
        .push(quiet(
            format!("Folder: {}", desk.job.folder().path().display()),
            look,
        ));
    scrollable(all.padding(iced::Padding::ZERO.bottom(STEP)))
        .spacing(STEP)
        .height(Length::Fill)
        .into()
}

fn heading<'a>(words: &'static str, look: Look) -> text::Text<'a> {
    text(words)
        .size(16)
        .font(font::BOLD)
        .color(look.palette().text)
        .width(Length::Fill)
}

fn quiet<'a>(words: String, look: Look) -> text::Text<'a> {
    text(words).size(font::SMALL).color(look.palette().quiet)
}

fn names<'a>(
    head: Element<'a, Message>,
    files: &[PathBuf],
    none: &'static str,
    look: Look,
) -> Element<'a, Message> {
    let p = look.palette();
    let mut list = column![head].spacing(6);
    if files.is_empty() {
        list = list.push(quiet(none.to_owned(), look));
    }
    for file in files.iter().take(NAMES) {
        let name = file.file_name().unwrap_or_default().to_string_lossy();
        list = list.push(text(name.into_owned()).size(font::SMALL).color(p.text));
    }
    if files.len() > NAMES {
        list = list.push(quiet(format!("and {} more", files.len() - NAMES), look));
    }
    list.into()
}

fn recording(volume: &Volume, look: Look) -> Element<'_, Message> {
    let p = look.palette();
    let c = match &volume.contents {
        Ok(contents) => contents,
        Err(why) => {
            return row![
                mark::mark(Mark::Warning, 18.0, p.alarm, p.panel),
                column![
                    text(&volume.name).size(font::BODY).color(p.text),
                    text(why.as_ref()).size(font::SMALL).color(p.text),
                ]
                .spacing(2),
            ]
            .spacing(STEP)
            .into();
        }
    };
    let mut words = column![
        text(format!("{} · {}", c.started, figure::clock(c.seconds)))
            .size(font::BODY)
            .color(p.text),
        quiet(format!("{} · {}", volume.name, figure::size(c.bytes)), look),
    ]
    .spacing(2)
    .width(Length::Fill);
    if let Some(shortfall) = &c.shortfall {
        words = words.push(
            row![
                mark::mark(Mark::Warning, 14.0, p.alarm, p.panel),
                text(shortfall).size(font::SMALL).color(p.text),
            ]
            .spacing(6),
        );
    }
    row![
        words,
        key::action(
            "Review",
            None,
            false,
            look,
            Some(Message::Review(volume.path.clone()))
        ),
        key::action(
            "Play",
            Some(Mark::Play),
            false,
            look,
            Some(Message::Play(volume.path.clone()))
        ),
    ]
    .spacing(STEP)
    .align_y(Alignment::Center)
    .into()
}
