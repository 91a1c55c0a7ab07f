//! Making one reference of several engines: which, what they come to, and which of them lie far from the others.

use super::Action;
use super::field::{entry, slip};
use super::strip;
use crate::figure;
use crate::font;
use crate::reference::Filed;
use crate::reference::library::Library;
use crate::reference::today;
use crate::screen::live::words;
use crate::theme::{Look, STEP};
use crate::widget::button as press;
use crate::widget::mark::{self, Mark};
use iced::keyboard::Key;
use iced::keyboard::key::Named;
use iced::widget::{Column, row, text};
use iced::{Alignment, Element, Length};
use keyway_analysis::reference::combine::{Candidate, combine};
use keyway_analysis::reference::handbook::Told;
use keyway_analysis::reference::{Origin, Part, Reference};

/// Identities of the fields.
pub const FIELDS: [&str; 2] = ["combining-name", "combining-by"];

/// What becomes of a candidate.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Share {
    Taken,
    LeftOut,
    Absent,
}

/// The choice.
#[derive(Debug)]
pub struct Combining {
    candidates: Vec<(Filed, Share)>,
    cursor: usize,
    name: String,
    by: String,
    made: Result<Box<Reference>, String>,
    wrong: Option<String>,
}

/// What is done on it.
#[derive(Debug, Clone)]
pub enum Message {
    /// A candidate is taken, left out but shown, or not in it: the next of these.
    Turn(usize),
    /// The arrow keys go up.
    Up,
    /// Or down.
    Down,
    /// A field changed.
    Name(String),
    /// A field changed.
    By(String),
    /// Keeps what they come to.
    Save,
}

impl Combining {
    /// All that were measured on this engine type, each taken at first.
    pub fn new(library: &Library, engine: &str) -> Self {
        let measured = |f: &Filed| f.reference.origin == Origin::Measured;
        let candidates = (library.entries.iter())
            .filter(|e| e.fits() && measured(&e.filed))
            .map(|e| (e.filed.clone(), Share::Taken))
            .collect();
        let mut own = Self {
            candidates,
            cursor: 0,
            name: engine.to_owned(),
            by: String::new(),
            made: Err(String::new()),
            wrong: None,
        };
        own.make();
        own
    }

    /// It could not be kept.
    pub fn failed(&mut self, why: &str) {
        self.wrong = Some(why.to_owned());
    }

    fn make(&mut self) {
        let candidates: Vec<Candidate<'_>> = (self.candidates.iter())
            .filter(|c| c.1 != Share::Absent)
            .map(|(filed, share)| Candidate {
                reference: &filed.reference,
                left_out: *share == Share::LeftOut,
            })
            .collect();
        let told = Told {
            name: self.name.clone(),
            made: today(),
            by: self.by.clone(),
            ..Told::default()
        };
        self.made = combine(&candidates, &told).map(Box::new);
    }

    /// Does what a message asks.
    pub fn update(&mut self, message: Message) -> Action {
        self.wrong = None;
        match message {
            Message::Turn(at) => {
                if let Some((_, share)) = self.candidates.get_mut(at) {
                    *share = match share {
                        Share::Taken => Share::LeftOut,
                        Share::LeftOut => Share::Absent,
                        Share::Absent => Share::Taken,
                    };
                }
                self.cursor = at;
            }
            Message::Up => self.cursor = self.cursor.saturating_sub(1),
            Message::Down => {
                self.cursor = (self.cursor + 1).min(self.candidates.len().saturating_sub(1));
            }
            Message::Name(name) => self.name = name,
            Message::By(by) => self.by = by,
            Message::Save => {
                self.make();
                if let Ok(made) = &self.made {
                    return Action::Keep(made.clone());
                }
            }
        }
        self.make();
        Action::None
    }

    /// What a key does.
    pub fn key(&self, key: &Key) -> Option<Message> {
        match key {
            Key::Named(Named::ArrowUp) => Some(Message::Up),
            Key::Named(Named::ArrowDown) => Some(Message::Down),
            Key::Named(Named::Enter) => Some(Message::Turn(self.cursor)),
            Key::Character(c) if c.eq_ignore_ascii_case("v") => Some(Message::Save),
            Key::Character(_) | Key::Named(_) | Key::Unidentified => None,
        }
    }

    /// Where the engine of a candidate stands, if it is in what was made.
    fn part(&self, filed: &Filed) -> Option<&Part> {
        let parts = &self.made.as_ref().ok()?.parts;
        parts
            .iter()
            .find(|p| p.name.split(" + ").any(|n| n == filed.reference.name))
    }

    /// The choice and what it comes to.
    pub fn view(&self, look: Look) -> Element<'_, Message> {
        let p = look.palette();
        let quiet = |words: &'static str| text(words).size(font::SMALL).color(p.quiet);
        let [name, by] = FIELDS;
        let mut form = Column::new()
            .push(text("Combine engines").size(16).font(font::BOLD).color(p.text))
            .push(quiet("Press one to take it, to leave it out of the mean and still show it, or not to use it at all. A vehicle that was measured twice counts once."))
            .spacing(STEP);
        for (i, (filed, share)) in self.candidates.iter().enumerate() {
            form = form.push(self.candidate(i, filed, *share, look));
        }
        if self.candidates.len() < 2 {
            form = form.push(quiet(
                "Two measured references of this engine and more are needed.",
            ));
        }
        form = form.push(
            row![
                entry(
                    name,
                    "Name",
                    "",
                    &self.name,
                    None,
                    look,
                    (Message::Name, Message::Save)
                ),
                entry(
                    by,
                    "Who",
                    "",
                    &self.by,
                    None,
                    look,
                    (Message::By, Message::Save)
                ),
            ]
            .spacing(STEP * 1.5),
        );
        form = form.push(self.wrong.as_deref().map(|why| slip(why, look)));
        match &self.made {
            Err(why) => form
                .push(slip(why, look))
                .push(press::action("Save (V)", None, false, look, None)),
            Ok(made) => form
                .push(
                    row![
                        press::action("Save (V)", None, true, look, Some(Message::Save)),
                        text(made.words()).size(16).font(font::BOLD).color(p.text),
                        quiet("holds 95 % of such engines with 95 % confidence (ISO 16269-6), the fewer the wider"),
                    ]
                    .spacing(STEP * 1.5)
                    .align_y(Alignment::Center),
                )
                .push(strip::figures(made, look)),
        }
        .into()
    }

    fn candidate(
        &self,
        at: usize,
        filed: &Filed,
        share: Share,
        look: Look,
    ) -> Element<'_, Message> {
        let p = look.palette();
        let (symbol, word) = match share {
            Share::Taken => (Mark::Check, "taken"),
            Share::LeftOut => (Mark::Cross, "left out"),
            Share::Absent => (Mark::Dash, "not used"),
        };
        let part = self.part(filed).filter(|_| share != Share::Absent);
        let cams = self.made.as_ref().map_or(&[][..], |m| &m.cams);
        let mut line = row![
            press::action(
                word,
                Some(symbol),
                at == self.cursor,
                look,
                Some(Message::Turn(at))
            ),
            iced::widget::column![
                text(filed.reference.name.clone())
                    .size(font::BODY)
                    .color(p.text),
                text(format!(
                    "{} · {}",
                    filed.reference.vehicle, filed.reference.made
                ))
                .size(font::SMALL)
                .color(p.quiet),
            ]
            .width(Length::Fill),
        ]
        .spacing(STEP)
        .align_y(Alignment::Center);
        if let Some(part) = part {
            if part.outlier {
                line = line
                    .push(mark::mark(Mark::Warning, 14.0, p.alarm, p.panel))
                    .push(text("far from the others").size(font::SMALL).color(p.alarm));
            }
            for (cam, offset) in cams.iter().zip(&part.offsets) {
                line = line.push(
                    text(format!(
                        "{} {}°",
                        words::cam(cam.cam),
                        // A later edge is a retarded cam.
                        figure::signed(-offset.0, 2)
                    ))
                    .size(font::BODY)
                    .color(p.cam(cam.cam))
                    .width(118),
                );
            }
        }
        line.into()
    }
}
