//! The job card: what is known of the vehicle, the complaint and the work, as `job.toml` has it.
//! [JOBS.md](../../JOBS.md) describes the file for those who read or write it by hand.

mod reader;
mod writer;

use crate::fault::Fault;
use crate::job::edition::{Edition, Written};
use crate::job::folder::JobFolder;
use std::fmt;
use std::path::PathBuf;
use std::sync::Arc;
use toml_edit::Datetime;

/// Number of the written form. It changes when an entry goes away or changes its meaning; new entries
/// leave it, and entries that this version does not know are kept.
pub const FORM: i64 = 1;

/// What the card says. A text that is not given is empty.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Card {
    /// Short name of the job, where there is no plate.
    pub title: String,
    /// Registration plate.
    pub plate: String,
    /// Vehicle identification number.
    pub vin: String,
    /// Make of the vehicle.
    pub make: String,
    /// Model.
    pub model: String,
    /// Year of the model.
    pub year: Option<i64>,
    /// Engine, as people call it.
    pub engine: String,
    /// Engine sheet: its name or its file.
    pub engine_sheet: String,
    /// Reading of the odometer.
    pub mileage: Option<Mileage>,
    /// What the customer complains of.
    pub complaint: String,
    /// Stored codes.
    pub codes: Vec<StoredCode>,
    /// Oil that is in the engine.
    pub oil: String,
    /// Its temperature, degrees Celsius.
    pub oil_celsius: Option<f64>,
    /// What has been replaced already.
    pub replaced: Vec<String>,
    /// Who does the work.
    pub technician: String,
    /// Number of the order.
    pub order: String,
    /// When the job was opened.
    pub opened: Option<Stamp>,
    /// When it was closed; none while it is open.
    pub closed: Option<Stamp>,
}

/// Reading of the odometer.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Mileage {
    /// Number.
    pub value: f64,
    /// In what.
    pub unit: MileageUnit,
}

/// Units of an odometer.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum MileageUnit {
    /// Kilometres.
    #[default]
    Kilometres,
    /// Miles of 1609.344 m.
    Miles,
}

impl MileageUnit {
    /// As the card and the screen write it.
    pub fn symbol(self) -> &'static str {
        match self {
            Self::Kilometres => "km",
            Self::Miles => "mi",
        }
    }
}

/// A code that a controller has stored.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct StoredCode {
    /// The code, "P0014".
    pub code: String,
    /// Who or what read it.
    pub read_by: String,
}

/// A date, or a date with time and offset, as it is written.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stamp(pub Datetime);

impl Stamp {
    /// The date, "2026-11-25", in the time zone in which it was written.
    pub fn date(&self) -> String {
        self.0.date.map(|d| d.to_string()).unwrap_or_default()
    }

    /// Date and time to the minute, "2026-11-25 16:03"; the date alone where no time is given.
    pub fn minute(&self) -> String {
        match self.0.time {
            Some(t) => format!("{} {:02}:{:02}", self.date(), t.hour, t.minute),
            None => self.date(),
        }
    }
}

/// As in the file, so that it sorts by time.
impl fmt::Display for Stamp {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
    }
}

impl Card {
    /// What the job is called: its plate, else its title.
    pub fn name(&self) -> &str {
        if self.plate.trim().is_empty() {
            self.title.trim()
        } else {
            self.plate.trim()
        }
    }

    /// Make, model, year and engine in one line, as far as they are known.
    pub fn vehicle(&self) -> String {
        let year = self.year.map(|y| y.to_string()).unwrap_or_default();
        let parts = [&self.make, &self.model, &year, &self.engine];
        let known: Vec<&str> = (parts.iter())
            .map(|s| s.trim())
            .filter(|s| !s.is_empty())
            .collect();
        known.join(" ")
    }

    /// The codes alone.
    pub fn code_names(&self) -> Vec<String> {
        self.codes.iter().map(|c| c.code.clone()).collect()
    }
}

/// Something in the file that cannot be taken as it stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Slip {
    /// Line, from 1.
    pub line: usize,
    /// What is wrong there.
    pub what: String,
}

impl fmt::Display for Slip {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "line {}: {}", self.line, self.what)
    }
}

/// The card with the file it was read from.
#[derive(Debug, Clone, PartialEq)]
pub struct CardFile {
    edition: Edition,
    card: Card,
    slips: Vec<Slip>,
    form: i64,
}

impl CardFile {
    /// Reads the card of a job. What is wrong in it is told in [`Self::slips`], and all that can be
    /// understood is there; an error is only what keeps the file from being read at all.
    pub fn read(folder: &JobFolder) -> Result<Self, Fault> {
        let edition = Edition::read(folder.card())?;
        Ok(reader::read(edition))
    }

    /// The card of a job that is made now.
    pub fn none_yet(folder: &JobFolder) -> Self {
        Self {
            edition: Edition::none_yet(folder.card()),
            card: Card::default(),
            slips: Vec::new(),
            form: FORM,
        }
    }

    /// Whether there is no such file yet.
    pub fn is_new(&self) -> bool {
        !self.edition.is_there()
    }

    /// What it says.
    pub fn card(&self) -> &Card {
        &self.card
    }

    /// What is wrong in the file.
    pub fn slips(&self) -> &[Slip] {
        &self.slips
    }

    /// Why the file is left as it is, if it is: a mistake in it, or a later form. Writing what was
    /// understood would lose what was not.
    pub fn refusal(&self) -> Option<String> {
        if self.form > FORM {
            return Some(format!(
                "the card has form {}, which is newer than this version of Keyway; it is shown and left as it is",
                self.form
            ));
        }
        let slip = self.slips.first()?;
        Some(format!(
            "job.toml, {slip}. Mend it with an editor and read it again; until then the file is left as it is"
        ))
    }

    /// Writes what is different into the file; comments, order and unknown entries stay.
    pub fn write(&mut self, card: &Card) -> Result<Written, Fault> {
        let text = self.text_of(card)?;
        if text == self.edition.text() {
            self.card = card.clone();
            return Ok(Written::Yes);
        }
        let written = self.edition.write(&text)?;
        if written == Written::Yes {
            self.card = card.clone();
        }
        Ok(written)
    }

    /// Writes it beside the file under a name of its own; that file.
    pub fn write_copy(&self, card: &Card) -> Result<PathBuf, Fault> {
        self.edition.write_copy(&self.text_of(card)?)
    }

    fn text_of(&self, card: &Card) -> Result<String, Fault> {
        if let Some(why) = self.refusal() {
            return Err(Fault::Job(Arc::from(why)));
        }
        if card.name().is_empty() {
            return Err(Fault::Job(Arc::from(
                "a job needs a plate or a title; fill in one of them",
            )));
        }
        writer::amended(self.edition.text(), &self.card, card)
            .map_err(|what| Fault::Job(Arc::from(what)))
    }
}

#[cfg(test)]
mod tests;
