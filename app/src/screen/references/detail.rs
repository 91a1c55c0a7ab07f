//! One reference in full: how good it is, what it cannot do, its edges, and the keys that use and copy it.

use super::{Carrying, Message, PATH_FIELD, References, field, strip};
use crate::figure;
use crate::font;
use crate::reference::library::Entry;
use crate::screen::live::words;
use crate::theme::{Look, STEP};
use crate::widget::button as press;
use crate::widget::mark::{self, Mark};
use iced::widget::{Column, Row, row, text};
use iced::{Alignment, Element};
use keyway_analysis::reference::{Origin, Part, Reference, Rest};

/// Where it comes from and under what, in one line.
fn from(reference: &Reference) -> String {
    let mut parts = vec![match reference.origin {
        Origin::Measured => format!("measured {}", reference.made),
        Origin::Handbook => format!("handbook, typed in {}", reference.made),
        Origin::Combined => format!("combined {}", reference.made),
    }];
    for (name, told) in [
        ("", &reference.source),
        ("vehicle ", &reference.vehicle),
        ("by ", &reference.by),
    ] {
        if !told.is_empty() {
            parts.push(format!("{name}{told}"));
        }
    }
    if let Some(speed) = reference.conditions.speed {
        parts.push(format!(
            "{} to {} rpm",
            figure::plain(speed.low.0, 0),
            figure::plain(speed.high.0, 0)
        ));
    }
    parts.push(match reference.conditions.oil {
        Some(oil) => format!("oil {} °C", figure::plain(oil, 0)),
        None => "oil temperature not told".to_owned(),
    });
    let rest = reference.cams.iter().map(|c| match c.rest {
        Rest::Command => "at rest by proven command",
        Rest::Fixed => "no phaser",
        Rest::Told => "rest not measured",
    });
    let mut ways: Vec<&str> = rest.collect();
    ways.dedup();
    parts.push(ways.join(" and "));
    parts.join(" · ")
}

impl References {
    /// The chosen reference.
    pub(super) fn detail<'a>(&'a self, entry: &'a Entry, look: Look) -> Element<'a, Message> {
        let p = look.palette();
        let reference = &entry.filed.reference;
        let is_used = self.is_used(&entry.filed.path);
        let mut keys = Row::new().spacing(STEP);
        keys = if is_used {
            keys.push(press::action(
                "Stop using (U)",
                Some(Mark::Cross),
                true,
                look,
                Some(Message::Stop),
            ))
        } else {
            let to = entry.fits().then_some(Message::Use);
            keys.push(press::action(
                "Use (U)",
                Some(Mark::Check),
                entry.fits(),
                look,
                to,
            ))
        };
        keys = keys.push(press::action(
            "Export… (O)",
            None,
            false,
            look,
            Some(Message::CopyOut),
        ));
        let head = Column::new()
            .push(
                text(&reference.name)
                    .size(16)
                    .font(font::BOLD)
                    .color(p.text),
            )
            .push(text(reference.words()).size(16).color(p.text))
            .push(text(from(reference)).size(font::SMALL).color(p.quiet))
            .push(
                (!reference.note.is_empty())
                    .then(|| text(&reference.note).size(font::SMALL).color(p.text)),
            )
            .spacing(4);
        let mut content = Column::new().push(head).push(keys).spacing(STEP);
        let told = |words: String, is_wrong: bool| {
            let (symbol, ink) = if is_wrong {
                (Mark::Cross, p.alarm)
            } else {
                (Mark::Question, p.text)
            };
            row![
                mark::mark(symbol, 13.0, ink, p.panel),
                text(words).size(font::SMALL).color(p.text),
            ]
            .spacing(6)
        };
        for why in &entry.misfits {
            content = content.push(told(format!("Not for this engine: {why}."), true));
        }
        for words in &entry.shortcomings {
            content = content.push(told(words.clone(), false));
        }
        content = content.push(strip::figures(reference, look));
        if !reference.parts.is_empty() {
            content = content.push(parts(reference, look));
        }
        content.into()
    }

    /// Copying one in or out.
    pub(super) fn carrying<'a>(
        &'a self,
        carrying: &'a Carrying,
        look: Look,
    ) -> Element<'a, Message> {
        let p = look.palette();
        let (title, name, word) = match &carrying.out {
            None => ("Import a reference", "Its file", "Import"),
            Some(_) => (
                "Export this reference",
                "New file, or a folder for it",
                "Export",
            ),
        };
        Column::new()
            .push(text(title).size(16).font(font::BOLD).color(p.text))
            .push(field::entry(
                PATH_FIELD,
                name,
                "/media/stick/light-van.toml",
                &carrying.path,
                carrying.wrong.as_deref(),
                look,
                (Message::Path, Message::Carry),
            ))
            .push(press::action(word, None, true, look, Some(Message::Carry)))
            .push(
                text("It is read and checked first, then copied as it is. A file that exists is never written over.")
                    .size(font::SMALL)
                    .color(p.quiet),
            )
            .spacing(STEP)
            .into()
    }
}

/// The engines of a combination.
fn parts<'a>(reference: &'a Reference, look: Look) -> Element<'a, Message> {
    let p = look.palette();
    let mut rows = Column::new()
        .push(
            text("Engines, and where their cams stand against the mean, advance positive")
                .size(font::SMALL)
                .color(p.quiet),
        )
        .spacing(2);
    for part in &reference.parts {
        rows = rows.push(one(part, reference, look));
    }
    rows.into()
}

fn one<'a>(part: &'a Part, reference: &'a Reference, look: Look) -> Element<'a, Message> {
    let p = look.palette();
    let mut line = row![
        text(if part.vehicle.is_empty() {
            part.name.as_str()
        } else {
            part.vehicle.as_str()
        })
        .size(font::BODY)
        .color(p.text)
        .width(110),
        text(&part.made).size(font::SMALL).color(p.quiet).width(84),
    ]
    .spacing(STEP)
    .align_y(Alignment::Center);
    for (cam, offset) in reference.cams.iter().zip(&part.offsets) {
        let words = format!("{} {}°", words::cam(cam.cam), figure::signed(-offset.0, 2));
        line = line.push(
            text(words)
                .size(font::BODY)
                .color(p.cam(cam.cam))
                .width(118),
        );
    }
    let mut said = Vec::new();
    if part.outlier {
        said.push("far from the others");
    }
    if part.left_out {
        said.push("left out of the mean");
    }
    if !said.is_empty() {
        line = line
            .push(mark::mark(Mark::Warning, 13.0, p.alarm, p.panel))
            .push(text(said.join(", ")).size(font::SMALL).color(p.alarm));
    }
    line.into()
}
