//! Taking a reference from the recording that is open: who and what, then the measuring, then what was found.

use super::Action;
use super::field::{entry, number, slip};
use super::strip;
use crate::font;
use crate::reference::recorded::Taken;
use crate::reference::today;
use crate::theme::{Look, RADIUS, STEP};
use crate::widget::button as press;
use crate::widget::mark::{self, Mark};
use iced::keyboard::Key;
use iced::keyboard::key::Named;
use iced::widget::{Column, progress_bar, row, text};
use iced::{Alignment, Element, border};
use keyway_analysis::reference::handbook::Told;
use std::path::Path;
use std::sync::Arc;

/// Identities of the fields.
pub const FIELDS: [&str; 4] = ["taking-name", "taking-vehicle", "taking-oil", "taking-by"];

/// The form.
#[derive(Debug, Default)]
pub struct Taking {
    file: String,
    name: String,
    vehicle: String,
    oil: String,
    by: String,
    wrong_name: Option<&'static str>,
    wrong_oil: Option<&'static str>,
    running: Option<f64>,
    end: Option<Result<Box<Taken>, Arc<str>>>,
}

/// What is done on it.
#[derive(Debug, Clone)]
pub enum Message {
    /// A field changed.
    Name(String),
    /// A field changed.
    Vehicle(String),
    /// A field changed.
    Oil(String),
    /// A field changed.
    By(String),
    /// Begins, or keeps what was found.
    Go,
    /// Gives up.
    Cancel,
}

impl Taking {
    /// For this recording of this engine.
    pub fn new(recording: &Path, engine: &str) -> Self {
        let file = recording
            .file_name()
            .unwrap_or_default()
            .to_string_lossy()
            .into_owned();
        Self {
            file,
            name: format!("{engine}, {}", today()),
            ..Self::default()
        }
    }

    /// Whether it is being measured.
    pub fn is_running(&self) -> bool {
        self.running.is_some()
    }

    /// How far it is.
    pub fn progress(&mut self, share: f64) {
        if self.running.is_some() {
            self.running = Some(share);
        }
    }

    /// What came of it.
    pub fn taken(&mut self, end: Result<Taken, Arc<str>>) {
        self.running = None;
        self.end = Some(end.map(Box::new));
    }

    /// Does what a message asks.
    pub fn update(&mut self, message: Message) -> Action {
        match message {
            Message::Name(name) => self.name = name,
            Message::Vehicle(vehicle) => self.vehicle = vehicle,
            Message::Oil(oil) => self.oil = oil,
            Message::By(by) => self.by = by,
            Message::Go => return self.go(),
            Message::Cancel => {
                self.running = None;
                return Action::Cancel;
            }
        }
        Action::None
    }

    fn go(&mut self) -> Action {
        let oil = number(&self.oil);
        self.wrong_name = self.name.trim().is_empty().then_some("Give it a name.");
        let is_oil =
            self.oil.trim().is_empty() || oil.is_some_and(|t| (-40.0..=200.0).contains(&t));
        self.wrong_oil = (!is_oil).then_some("Degrees Celsius between −40 and 200, or nothing.");
        if self.wrong_name.is_some() || self.wrong_oil.is_some() || self.is_running() {
            return Action::None;
        }
        if let Some(Ok(taken)) = &self.end {
            // What was typed meanwhile goes into it.
            let mut reference = taken.reference.clone();
            self.name.trim().clone_into(&mut reference.name);
            self.vehicle.trim().clone_into(&mut reference.vehicle);
            self.by.trim().clone_into(&mut reference.by);
            reference.conditions.oil = oil;
            return Action::Keep(Box::new(reference));
        }
        self.running = Some(0.0);
        self.end = None;
        Action::Take(Box::new(Told {
            name: self.name.clone(),
            made: today(),
            by: self.by.clone(),
            vehicle: self.vehicle.clone(),
            oil,
            ..Told::default()
        }))
    }

    /// What a key does.
    pub fn key(&self, key: &Key) -> Option<Message> {
        match key {
            Key::Named(Named::Enter) => Some(Message::Go),
            Key::Named(Named::Escape) if self.is_running() => Some(Message::Cancel),
            Key::Named(_) | Key::Character(_) | Key::Unidentified => None,
        }
    }

    /// The form.
    pub fn view(&self, look: Look) -> Element<'_, Message> {
        let p = look.palette();
        let quiet = |words: String| text(words).size(font::SMALL).color(p.quiet);
        let [name, vehicle, oil, by] = FIELDS;
        let go = Message::Go;
        let mut form = Column::new()
            .push(
                text("New from this recording")
                    .size(16)
                    .font(font::BOLD)
                    .color(p.text),
            )
            .push(quiet(format!(
                "{}: its engine must be a good one, warm, and idle with the phasers at rest.",
                self.file
            )))
            .push(
                row![
                    entry(
                        name,
                        "Name",
                        "",
                        &self.name,
                        self.wrong_name,
                        look,
                        (Message::Name, go.clone())
                    ),
                    entry(
                        vehicle,
                        "Vehicle: plate, or another mark",
                        "measured twice, it counts once",
                        &self.vehicle,
                        None,
                        look,
                        (Message::Vehicle, go.clone())
                    ),
                ]
                .spacing(STEP * 1.5),
            )
            .push(
                row![
                    entry(
                        oil,
                        "Oil temperature, °C, as read",
                        "not read",
                        &self.oil,
                        self.wrong_oil,
                        look,
                        (Message::Oil, go.clone())
                    ),
                    entry(by, "Who", "", &self.by, None, look, (Message::By, go)),
                ]
                .spacing(STEP * 1.5),
            )
            .spacing(STEP);
        if let Some(share) = self.running {
            form = form.push(
                row![
                    progress_bar(0.0..=1.0, bar(share)).style(move |_| progress_bar::Style {
                        background: p.background.into(),
                        bar: p.text.into(),
                        border: border::rounded(RADIUS),
                    }),
                    press::action(
                        "Cancel",
                        Some(Mark::Cross),
                        false,
                        look,
                        Some(Message::Cancel)
                    ),
                ]
                .spacing(STEP)
                .align_y(Alignment::Center),
            );
            return form
                .push(quiet("Measuring the recording from end to end…".to_owned()))
                .into();
        }
        match &self.end {
            None => form.push(press::action("Take the angles at rest", None, true, look, Some(Message::Go))),
            Some(Err(why)) => form
                .push(slip(why, look))
                .push(press::action("Take the angles at rest", None, false, look, Some(Message::Go))),
            Some(Ok(taken)) => {
                form = form
                    .push(
                        row![
                            press::action("Save", None, true, look, Some(Message::Go)),
                            mark::mark(Mark::Check, 16.0, p.text, p.panel),
                            quiet("Taken; not saved yet. The tolerance is that of the engine sheet: one engine does not tell how far the next may differ.".to_owned()),
                        ]
                        .spacing(STEP)
                        .align_y(Alignment::Center),
                    );
                for refusal in &taken.refusals {
                    form = form.push(
                        row![
                            mark::mark(Mark::Warning, 14.0, p.alarm, p.panel),
                            text(format!("Not in it: {refusal}")).size(font::SMALL).color(p.text),
                        ]
                        .spacing(6),
                    );
                }
                form.push(strip::figures(&taken.reference, look))
            }
        }
        .into()
    }
}

#[allow(clippy::cast_possible_truncation, reason = "a share, to be drawn")]
fn bar(share: f64) -> f32 {
    share as f32
}
