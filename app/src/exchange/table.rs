//! Tables with named columns, of which every cell may be unknown, as Parquet or CSV.

mod columns;
mod text;

use crate::fault::Fault;
use keyway_acquisition::export::Form;
use keyway_acquisition::export::draft::Draft;
use std::fs::File;
use std::path::Path;
use std::sync::Arc;

use super::samples::fault;

/// What stands in a column.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// A number: DOUBLE.
    Number,
    /// A whole number: INT64.
    Whole,
    /// Words: BYTE_ARRAY, UTF-8.
    Words,
    /// Yes or no: BOOLEAN.
    Flag,
    /// An instant, UTC: INT64, TIMESTAMP in microseconds.
    Instant,
}

/// A column.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Column {
    /// Small letters, digits and underscores; the unit at the end.
    pub name: String,
    /// What stands in it.
    pub kind: Kind,
}

impl Column {
    /// A column.
    pub fn new(name: impl Into<String>, kind: Kind) -> Self {
        Self {
            name: name.into(),
            kind,
        }
    }
}

/// One cell.
#[derive(Debug, Clone, PartialEq)]
pub enum Cell {
    /// Not known.
    Null,
    /// A number; one that is not finite is not known.
    Number(f64),
    /// A whole number.
    Whole(i64),
    /// Words.
    Words(String),
    /// Yes or no.
    Flag(bool),
    /// Microseconds since 1970-01-01 UTC.
    Instant(i64),
}

impl From<f64> for Cell {
    fn from(x: f64) -> Self {
        if x.is_finite() {
            Self::Number(x)
        } else {
            Self::Null
        }
    }
}

impl From<u64> for Cell {
    fn from(n: u64) -> Self {
        i64::try_from(n).map_or(Self::Null, Self::Whole)
    }
}

impl From<usize> for Cell {
    fn from(n: usize) -> Self {
        Self::from(n as u64)
    }
}

impl From<bool> for Cell {
    fn from(flag: bool) -> Self {
        Self::Flag(flag)
    }
}

impl From<String> for Cell {
    fn from(words: String) -> Self {
        Self::Words(words)
    }
}

impl From<&str> for Cell {
    fn from(words: &str) -> Self {
        Self::Words(words.to_owned())
    }
}

impl<T: Into<Cell>> From<Option<T>> for Cell {
    fn from(known: Option<T>) -> Self {
        known.map_or(Self::Null, Into::into)
    }
}

/// A table being written beside its place. Dropping it leaves nothing.
#[derive(Debug)]
pub struct Table {
    draft: Draft,
    columns: Vec<Column>,
    /// Values that are the same for the whole table.
    about: Vec<(String, String)>,
    rows: u64,
    form: Writer,
}

#[derive(Debug)]
enum Writer {
    Columns(Box<columns::Columns>),
    Text(text::Text),
}

impl Table {
    /// Begins. `about` says what holds for the whole table; a CSV has no place for it.
    pub fn begin(
        place: &Path,
        form: Form,
        replace: bool,
        columns: Vec<Column>,
        about: &[(&str, String)],
    ) -> Result<Self, Fault> {
        let (draft, file): (Draft, File) = Draft::begin(place, replace).map_err(fault)?;
        let about: Vec<(String, String)> = about
            .iter()
            .map(|(key, words)| ((*key).to_owned(), words.clone()))
            .collect();
        let form = match form {
            Form::Parquet => {
                Writer::Columns(Box::new(columns::Columns::begin(file, place, &columns)?))
            }
            Form::Csv => Writer::Text(text::Text::begin(file, place, &columns)?),
            Form::Wav => {
                return Err(Fault::Export(Arc::from(
                    "a WAV holds samples, not results: export them as Parquet or CSV",
                )));
            }
        };
        Ok(Self {
            draft,
            columns,
            about,
            rows: 0,
            form,
        })
    }

    /// The columns.
    pub fn columns(&self) -> &[Column] {
        &self.columns
    }

    /// Rows so far.
    pub fn rows(&self) -> u64 {
        self.rows
    }

    /// Adds a row: a cell per column.
    pub fn push(&mut self, row: Vec<Cell>) -> Result<(), Fault> {
        debug_assert_eq!(row.len(), self.columns.len());
        self.rows += 1;
        match &mut self.form {
            Writer::Columns(columns) => columns.push(row),
            Writer::Text(text) => text.push(&row),
        }
    }

    /// The table is whole and takes its place. Gives the size of the file.
    pub fn finish(self) -> Result<u64, Fault> {
        match self.form {
            Writer::Columns(columns) => columns.finish(&self.about)?,
            Writer::Text(text) => text.finish()?,
        }
        self.draft.keep().map_err(fault)
    }
}

#[cfg(test)]
mod tests;
