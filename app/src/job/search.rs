//! Finding a job again: one field, words that must all be found, and why a job was found.

use super::cabinet::Entry;
use super::card::Card;
use std::fmt;

/// Letters that are shown on each side of a word found in a longer text.
const AROUND: usize = 24;

/// What is looked for.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Query {
    words: Vec<Word>,
}

#[derive(Debug, Clone, PartialEq, Eq)]
struct Word {
    /// In small letters.
    small: String,
    /// Letters and digits alone, in capitals: as plates and codes are compared.
    bare: String,
    /// Whether it is a year and month, or a whole date.
    is_date: bool,
}

/// Where a word was found.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Place {
    /// The plate.
    Plate,
    /// A stored code.
    Code,
    /// The date on which the job was opened.
    Opened,
    /// The date on which it was closed.
    Closed,
    /// Make, model, year or engine.
    Engine,
    /// Title.
    Title,
    /// Order number.
    Order,
    /// Vehicle identification number.
    Vin,
    /// Who does the work.
    Technician,
    /// The complaint.
    Complaint,
    /// What was replaced.
    Replaced,
    /// The notes.
    Notes,
    /// The name of the folder: of a job whose card cannot be read nothing else is known.
    Folder,
}

impl Place {
    /// In words.
    pub fn words(self) -> &'static str {
        match self {
            Self::Plate => "plate",
            Self::Code => "code",
            Self::Opened => "opened",
            Self::Closed => "closed",
            Self::Engine => "engine",
            Self::Title => "title",
            Self::Order => "order",
            Self::Vin => "VIN",
            Self::Technician => "technician",
            Self::Complaint => "complaint",
            Self::Replaced => "replaced",
            Self::Notes => "notes",
            Self::Folder => "folder",
        }
    }
}

/// Why a job was found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Reason {
    /// Where.
    pub place: Place,
    /// What stands there.
    pub text: String,
}

impl fmt::Display for Reason {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {}", self.place.words(), self.text)
    }
}

impl Query {
    /// What was typed.
    pub fn new(typed: &str) -> Self {
        let words = typed.split_whitespace().map(|word| Word {
            small: word.to_lowercase(),
            bare: bare(word),
            is_date: is_date(word),
        });
        Self {
            words: words.collect(),
        }
    }

    /// Whether nothing is looked for, so that every job is found.
    pub fn is_empty(&self) -> bool {
        self.words.is_empty()
    }

    /// Why a job is found, each place once; none if a word is nowhere in it.
    pub fn find(&self, entry: &Entry) -> Option<Vec<Reason>> {
        let mut reasons: Vec<Reason> = Vec::new();
        for word in &self.words {
            let reason = match &entry.card {
                Ok(file) => word.on_card(file.card()),
                Err(_) => None,
            };
            let reason = reason
                .or_else(|| {
                    let notes = entry.notes_with(&word.small)?;
                    word.within(Place::Notes, notes)
                })
                .or_else(|| {
                    let is_unread = entry.card.as_ref().map_or(true, |f| !f.slips().is_empty());
                    word.within(Place::Folder, &entry.folder.name())
                        .filter(|_| is_unread)
                })?;
            if !reasons.contains(&reason) {
                reasons.push(reason);
            }
        }
        reasons.sort_by_key(|r| r.place);
        Some(reasons)
    }
}

impl Word {
    fn on_card(&self, card: &Card) -> Option<Reason> {
        let whole = |place, text: &str| {
            Some(Reason {
                place,
                text: text.trim().to_owned(),
            })
        };
        // A date is never part of a plate or of a code.
        if self.is_date {
            for (place, stamp) in [(Place::Opened, card.opened), (Place::Closed, card.closed)] {
                let date = stamp.map(|s| s.date()).unwrap_or_default();
                if date.starts_with(&self.small) {
                    return whole(place, &date);
                }
            }
        } else if !self.bare.is_empty() {
            if bare(&card.plate).contains(&self.bare) {
                return whole(Place::Plate, &card.plate);
            }
            if let Some(code) = card
                .codes
                .iter()
                .find(|c| bare(&c.code).contains(&self.bare))
            {
                return whole(Place::Code, &code.code);
            }
        }
        let engine = card.vehicle();
        if engine.to_lowercase().contains(&self.small) {
            return whole(Place::Engine, &engine);
        }
        if bare(&card.vin).contains(&self.bare) && !self.bare.is_empty() {
            return whole(Place::Vin, &card.vin);
        }
        self.within(Place::Title, &card.title)
            .or_else(|| self.within(Place::Order, &card.order))
            .or_else(|| self.within(Place::Technician, &card.technician))
            .or_else(|| self.within(Place::Complaint, &card.complaint))
            .or_else(|| {
                let mut parts = card.replaced.iter();
                parts.find_map(|part| self.within(Place::Replaced, part))
            })
            .or_else(|| self.within(Place::Engine, &card.engine_sheet))
    }

    /// The word in a longer text, with what stands around it.
    fn within(&self, place: Place, text: &str) -> Option<Reason> {
        if !text.to_lowercase().contains(&self.small) {
            return None;
        }
        // Small letters may take more or fewer bytes than the capitals they come from, so that the
        // place is counted in letters.
        let small: Vec<char> = text.chars().flat_map(char::to_lowercase).collect();
        let word: Vec<char> = self.small.chars().collect();
        let at = small.windows(word.len()).position(|w| w == word)?;
        let from = at.saturating_sub(AROUND);
        let to = (at + word.len() + AROUND).min(small.len());
        let letters: Vec<char> = text.chars().collect();
        let letters = if letters.len() == small.len() {
            letters
        } else {
            small
        };
        let mut shown: String = letters[from..to].iter().collect();
        shown = shown.split_whitespace().collect::<Vec<_>>().join(" ");
        if from > 0 {
            shown.insert(0, '…');
        }
        if to < letters.len() {
            shown.push('…');
        }
        Some(Reason { place, text: shown })
    }
}

/// Letters and digits alone, in capitals.
fn bare(text: &str) -> String {
    text.chars()
        .filter(|c| c.is_alphanumeric())
        .flat_map(char::to_uppercase)
        .collect()
}

/// "2026-11" or "2026-11-25".
fn is_date(word: &str) -> bool {
    let parts: Vec<&str> = word.split('-').collect();
    let has = |n: usize, digits: usize| {
        let part = parts.get(n);
        part.is_some_and(|p| p.len() == digits && p.bytes().all(|b| b.is_ascii_digit()))
    };
    match parts.len() {
        2 => has(0, 4) && has(1, 2),
        3 => has(0, 4) && has(1, 2) && has(2, 2),
        _ => false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::job::card::{Stamp, StoredCode};
    use crate::job::name;
    use crate::job::workbench::Bench;

    /// A job with everything on its card, and which typed words find it where.
    fn check(typed: &str, places: Option<&[Place]>) {
        static MADE: std::sync::atomic::AtomicU32 = std::sync::atomic::AtomicU32::new(0);
        let number = MADE.fetch_add(1, std::sync::atomic::Ordering::Relaxed);
        let bench = Bench::new(&format!("search-{number}"));
        let card = Card {
            make: "Larkfield".to_owned(),
            model: "Carter".to_owned(),
            engine: "2.0 four".to_owned(),
            complaint: "Hesitates pulling away,\nworse when hot".to_owned(),
            codes: vec![StoredCode {
                code: "P0014".to_owned(),
                read_by: String::new(),
            }],
            replaced: vec!["exhaust valve".to_owned()],
            technician: "Ada".to_owned(),
            closed: Some(Stamp("2026-12-02".parse().unwrap())),
            ..bench.card("KW-P 14 Ä")
        };
        let (folder, _) = name::make(bench.root(), &card).unwrap();
        std::fs::write(folder.notes(), "Oil looks BLACK and smells of fuel.").unwrap();
        let found = Query::new(typed).find(&Entry::read(folder));
        let found = found.map(|r| r.iter().map(|r| r.place).collect::<Vec<_>>());
        assert_eq!(found.as_deref(), places, "{typed}");
    }

    #[test]
    fn words_find_a_job_where_they_stand() {
        use Place::*;
        check("", Some(&[]));
        for plate in ["kwp14", "KW-P 14", "kw p14ä", "P1 4"] {
            check(plate, Some(&[Plate]));
        }
        check("p0014", Some(&[Code]));
        check("P0015", None);
        check("2026-11", Some(&[Opened]));
        check("2026-11-25", Some(&[Opened]));
        check("2026-11-26", None);
        check("2026-12", Some(&[Closed]));
        check("larkfield 2.0", Some(&[Engine]));
        check("hot black", Some(&[Complaint, Notes]));
        check(
            "kwp hot larkfield 2026-11 p0014",
            Some(&[Plate, Code, Opened, Engine, Complaint]),
        );
        check("kwp cold", None);
        check("valve ada", Some(&[Technician, Replaced]));
    }

    #[test]
    fn the_reason_shows_the_word_and_what_stands_around_it() {
        let word = &Query::new("SMELLS").words[0];
        let text = "The oil that came out of it was quite black, and it smells of fuel, even when it is cold.";
        let reason = word.within(Place::Notes, text).unwrap();
        assert_eq!(
            reason.to_string(),
            "notes …was quite black, and it smells of fuel, even when it i…"
        );
        assert_eq!(word.within(Place::Notes, "smell"), None);
    }

    #[test]
    fn a_job_with_a_mistake_on_its_card_is_found_by_its_folder() {
        let bench = Bench::new("search-mistake");
        let folder = bench.job("KW-P 14");
        std::fs::write(folder.card(), "plate = KW-P 14").unwrap();
        let entry = Entry::read(folder);
        let found = Query::new("kw-p 2026-11-25").find(&entry).unwrap();
        assert!(found.iter().all(|r| r.place == Place::Folder));
    }
}
