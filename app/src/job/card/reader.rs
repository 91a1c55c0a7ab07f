//! Reads a card. Whatever can be understood is; everything else is told with its line.

use super::{Card, CardFile, FORM, Mileage, MileageUnit, Slip, Stamp, StoredCode};
use crate::job::edition::Edition;
use std::ops::Range;
use toml_edit::{Document, Item, Table, TableLike, Value};

/// The card in a file.
pub fn read(edition: Edition) -> CardFile {
    let mut reader = Reader {
        text: edition.text(),
        slips: Vec::new(),
    };
    let (card, form) = match Document::parse(reader.text) {
        Ok(document) => (
            reader.card(document.as_table()),
            reader.form(document.as_table()),
        ),
        Err(e) => {
            let what = e.message().trim().replace('\n', "; ");
            reader.slip(e.span(), what);
            (Card::default(), FORM)
        }
    };
    // By line, so that the first one told is the first one met.
    let mut slips = reader.slips;
    slips.sort_by_key(|s| s.line);
    CardFile {
        edition,
        card,
        slips,
        form,
    }
}

struct Reader<'a> {
    text: &'a str,
    slips: Vec<Slip>,
}

impl Reader<'_> {
    fn slip(&mut self, span: Option<Range<usize>>, what: impl Into<String>) {
        let at = span.map_or(0, |s| s.start).min(self.text.len());
        let before = &self.text.as_bytes()[..at];
        self.slips.push(Slip {
            line: before.iter().filter(|b| **b == b'\n').count() + 1,
            what: what.into(),
        });
    }

    fn form(&mut self, table: &Table) -> i64 {
        match table.get("form") {
            None => FORM,
            Some(item) => item.as_integer().unwrap_or_else(|| {
                self.slip(item.span(), "form is a whole number");
                FORM
            }),
        }
    }

    fn card(&mut self, table: &Table) -> Card {
        Card {
            title: self.words(table, "title"),
            plate: self.words(table, "plate"),
            vin: self.words(table, "vin"),
            make: self.words(table, "make"),
            model: self.words(table, "model"),
            year: self.number(table, "year").map(whole),
            engine: self.words(table, "engine"),
            engine_sheet: self.words(table, "engine_sheet"),
            mileage: self.mileage(table),
            complaint: self.words(table, "complaint"),
            codes: self.codes(table),
            oil: self.words(table, "oil"),
            oil_celsius: self.number(table, "oil_celsius"),
            replaced: self.list(table, "replaced"),
            technician: self.words(table, "technician"),
            order: self.words(table, "order"),
            opened: self.stamp(table, "opened"),
            closed: self.stamp(table, "closed"),
        }
    }

    /// A text; a number without quotation marks is taken as it is written, since plates, orders and
    /// models may consist of digits.
    fn words(&mut self, table: &dyn TableLike, key: &str) -> String {
        match table.get(key) {
            None => String::new(),
            Some(Item::Value(Value::String(s))) => s.value().clone(),
            Some(Item::Value(Value::Integer(n))) => n.value().to_string(),
            Some(Item::Value(Value::Float(n))) => n.value().to_string(),
            Some(other) => {
                self.slip(other.span(), format!("{key} is a text in quotation marks"));
                String::new()
            }
        }
    }

    /// A number, also as a text of digits.
    fn number(&mut self, table: &Table, key: &str) -> Option<f64> {
        let item = table.get(key)?;
        let number = match item {
            Item::Value(Value::String(s)) => s.value().trim().parse().ok(),
            _ => item.as_float().or_else(|| item.as_integer().map(as_float)),
        };
        let number = number.filter(|n: &f64| n.is_finite());
        if number.is_none() {
            self.slip(item.span(), format!("{key} is a number"));
        }
        number
    }

    fn mileage(&mut self, table: &Table) -> Option<Mileage> {
        let value = self.number(table, "mileage");
        let unit = match self.words(table, "mileage_unit").as_str() {
            "" | "km" => MileageUnit::Kilometres,
            "mi" => MileageUnit::Miles,
            _ => {
                let span = table.get("mileage_unit").and_then(Item::span);
                self.slip(span, "mileage_unit is \"km\" or \"mi\"");
                return None;
            }
        };
        value.map(|value| Mileage { value, unit })
    }

    /// Texts, or one alone.
    fn list(&mut self, table: &Table, key: &str) -> Vec<String> {
        let Some(item) = table.get(key) else {
            return Vec::new();
        };
        let Some(array) = item.as_array() else {
            let one = self.words(table, key);
            return if one.is_empty() {
                Vec::new()
            } else {
                vec![one]
            };
        };
        let mut list = Vec::new();
        for value in array {
            match value.as_str() {
                Some(words) => list.push(words.to_owned()),
                None => self.slip(
                    value.span(),
                    format!("{key} holds texts in quotation marks"),
                ),
            }
        }
        list
    }

    /// `[[codes]]` with code and read_by, or plain texts.
    fn codes(&mut self, table: &Table) -> Vec<StoredCode> {
        const FORM: &str = "codes are tables [[codes]] with code and read_by, or a list of texts";
        let mut codes = Vec::new();
        match table.get("codes") {
            None => {}
            Some(Item::ArrayOfTables(tables)) => {
                for one in tables {
                    let code = self.one_code(one);
                    if code.code.is_empty() {
                        self.slip(one.span(), "this entry of codes has no code");
                    }
                    codes.push(code);
                }
            }
            Some(Item::Value(Value::Array(array))) => {
                for value in array {
                    match value {
                        Value::String(code) => codes.push(StoredCode {
                            code: code.value().trim().to_uppercase(),
                            read_by: String::new(),
                        }),
                        Value::InlineTable(one) => {
                            let code = self.one_code(one);
                            codes.push(code);
                        }
                        _ => self.slip(value.span(), FORM),
                    }
                }
            }
            Some(other) => self.slip(other.span(), FORM),
        }
        codes
    }

    fn one_code(&mut self, table: &dyn TableLike) -> StoredCode {
        StoredCode {
            code: self.words(table, "code").trim().to_uppercase(),
            read_by: self.words(table, "read_by"),
        }
    }

    /// A date with or without time, also in quotation marks.
    fn stamp(&mut self, table: &Table, key: &str) -> Option<Stamp> {
        let item = table.get(key)?;
        let stamp = match item {
            Item::Value(Value::String(s)) => s.value().trim().parse().ok(),
            _ => item.as_datetime().copied(),
        };
        let stamp = stamp.filter(|s| s.date.is_some());
        if stamp.is_none() {
            self.slip(
                item.span(),
                format!("{key} is a date such as 2026-11-25 or 2026-11-25T16:03:00+01:00"),
            );
        }
        stamp.map(Stamp)
    }
}

#[allow(
    clippy::cast_precision_loss,
    reason = "years and mileages, far below 2^53"
)]
fn as_float(n: i64) -> f64 {
    n as f64
}

#[allow(
    clippy::cast_possible_truncation,
    reason = "a year; whatever is beyond the range ends at its end"
)]
fn whole(n: f64) -> i64 {
    n as i64
}
