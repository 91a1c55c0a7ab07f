//! `keyway jobs`: the jobs there are, and those in which all words are found.

use super::Outcome;
use crate::fault::Fault;
use crate::job::cabinet::{self, Entry};
use crate::job::card::Card;
use crate::job::search::{Query, Reason};
use crate::output::{self, Reader};
use crate::settings::Settings;
use clap::Args;
use serde::Serialize;
use std::path::PathBuf;

/// List jobs, or find them again by plate, engine, code, date, complaint and notes.
///
/// All words must be found in a job. A plate is found without its spaces and hyphens, a date is
/// written 2026-11-25 or 2026-11.
#[derive(Debug, Args)]
pub struct Jobs {
    /// Words to look for; without any, all jobs are listed, the latest first.
    #[arg(value_name = "WORDS")]
    pub words: Vec<String>,
    /// One JSON array instead of lines.
    #[arg(long)]
    pub json: bool,
    /// Folder in which the jobs are; without it, the folder of recordings of the dashboard.
    #[arg(long, value_name = "FOLDER")]
    pub folder: Option<PathBuf>,
}

/// A job in the JSON array; what is not on the card is null.
#[derive(Serialize)]
struct Row {
    folder: String,
    name: String,
    plate: Option<String>,
    title: Option<String>,
    vin: Option<String>,
    make: Option<String>,
    model: Option<String>,
    year: Option<i64>,
    engine: Option<String>,
    engine_sheet: Option<String>,
    mileage: Option<f64>,
    mileage_unit: Option<&'static str>,
    complaint: Option<String>,
    codes: Vec<Code>,
    oil: Option<String>,
    oil_celsius: Option<f64>,
    replaced: Vec<String>,
    technician: Option<String>,
    order: Option<String>,
    opened: Option<String>,
    closed: Option<String>,
    found_by: Vec<FoundBy>,
    /// What is wrong with the card, in sentences.
    mistakes: Vec<String>,
}

#[derive(Serialize)]
struct Code {
    code: String,
    read_by: Option<String>,
}

#[derive(Serialize)]
struct FoundBy {
    place: &'static str,
    text: String,
}

impl Jobs {
    /// Prints them.
    pub fn run(self) -> Result<Outcome, Fault> {
        let root = match self.folder {
            Some(folder) => folder,
            None => match Settings::place() {
                Some(place) => Settings::load(&place)?.recordings_folder(),
                None => Settings::default().recordings_folder(),
            },
        };
        let query = Query::new(&self.words.join(" "));
        let entries = cabinet::all(&root)?;
        let found = entries.iter().filter_map(|e| Some((e, query.find(e)?)));
        if self.json {
            let rows: Vec<Row> = found.map(|(e, why)| row(e, why)).collect();
            let _reader = output::json(&rows)?;
            return Ok(Outcome::Done);
        }
        let mut count = 0;
        for (entry, why) in found {
            count += 1;
            if output::line(&lines(entry, &why))? == Reader::Gone {
                return Ok(Outcome::Done);
            }
        }
        if count == 0 {
            output::complain(&if query.is_empty() {
                format!("No job below {} yet.", root.display())
            } else {
                format!(
                    "No job below {} holds all of these words; {} were looked through.",
                    root.display(),
                    entries.len()
                )
            });
        }
        Ok(Outcome::Done)
    }
}

/// A job for people: what it is, why it was found, where it is.
fn lines(entry: &Entry, why: &[Reason]) -> String {
    const INDENT: &str = "            ";
    let mut lines = match &entry.card {
        Ok(file) => {
            let card = file.card();
            let date = card.opened.map(|o| o.date()).unwrap_or_default();
            let state = if card.closed.is_some() {
                "closed"
            } else {
                "open"
            };
            let complaint = card.complaint.split_whitespace().collect::<Vec<_>>();
            let about = [
                card.vehicle(),
                card.code_names().join(" "),
                complaint.join(" "),
            ];
            let about: Vec<&str> = (about.iter())
                .map(String::as_str)
                .filter(|s| !s.is_empty())
                .collect();
            format!(
                "{date:<10}  {:<12}  {state:<6}  {}",
                entry.name(),
                about.join("; ")
            )
        }
        Err(fault) => format!("{:<10}  {:<12}  {fault}", "", entry.name()),
    };
    for mistake in mistakes(entry) {
        lines += &format!("\n{INDENT}{mistake}");
    }
    if !why.is_empty() {
        let why: Vec<String> = why.iter().map(ToString::to_string).collect();
        lines += &format!("\n{INDENT}found by {}", why.join(", "));
    }
    lines + &format!("\n{INDENT}{}", entry.folder.path().display())
}

fn mistakes(entry: &Entry) -> Vec<String> {
    let slips = entry.card.as_ref().map_or(&[][..], |file| file.slips());
    slips.iter().map(|s| format!("job.toml, {s}")).collect()
}

fn row(entry: &Entry, why: Vec<Reason>) -> Row {
    let given = |text: &str| Some(text.trim().to_owned()).filter(|t| !t.is_empty());
    let empty = Card::default();
    let card = entry.card.as_ref().map_or(&empty, |file| file.card());
    let mut mistakes = mistakes(entry);
    if let Err(fault) = &entry.card {
        mistakes.push(fault.to_string());
    }
    Row {
        folder: entry.folder.path().display().to_string(),
        name: entry.name(),
        plate: given(&card.plate),
        title: given(&card.title),
        vin: given(&card.vin),
        make: given(&card.make),
        model: given(&card.model),
        year: card.year,
        engine: given(&card.engine),
        engine_sheet: given(&card.engine_sheet),
        mileage: card.mileage.map(|m| m.value),
        mileage_unit: card.mileage.map(|m| m.unit.symbol()),
        complaint: given(&card.complaint),
        codes: (card.codes.iter())
            .map(|c| Code {
                code: c.code.clone(),
                read_by: given(&c.read_by),
            })
            .collect(),
        oil: given(&card.oil),
        oil_celsius: card.oil_celsius,
        replaced: card.replaced.clone(),
        technician: given(&card.technician),
        order: given(&card.order),
        opened: card.opened.map(|o| o.to_string()),
        closed: card.closed.map(|c| c.to_string()),
        found_by: (why.into_iter())
            .map(|r| FoundBy {
                place: r.place.words(),
                text: r.text,
            })
            .collect(),
        mistakes,
    }
}
