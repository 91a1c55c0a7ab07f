//! CSV: a line of names, then a line per row; what is not known is empty.

use super::{Cell, Column};
use crate::exchange::samples::fault;
use crate::fault::Fault;
use crate::session::calendar;
use keyway_acquisition::export::error::ExportError;
use std::fs::File;
use std::io::{BufWriter, Write};
use std::path::{Path, PathBuf};

/// The text of a table.
#[derive(Debug)]
pub(super) struct Text {
    place: PathBuf,
    file: BufWriter<File>,
}

impl Text {
    pub fn begin(file: File, place: &Path, columns: &[Column]) -> Result<Self, Fault> {
        let mut text = Self {
            place: place.to_owned(),
            file: BufWriter::new(file),
        };
        let names: Vec<&str> = columns.iter().map(|c| c.name.as_str()).collect();
        text.line(&names.join(","))?;
        Ok(text)
    }

    pub fn push(&mut self, row: &[Cell]) -> Result<(), Fault> {
        let cells: Vec<String> = row.iter().map(written).collect();
        self.line(&cells.join(","))
    }

    pub fn finish(mut self) -> Result<(), Fault> {
        let flushed = self.file.flush();
        flushed.map_err(|e| fault(ExportError::writing(&self.place, e)))
    }

    fn line(&mut self, line: &str) -> Result<(), Fault> {
        writeln!(self.file, "{line}").map_err(|e| fault(ExportError::writing(&self.place, e)))
    }
}

/// A cell as RFC 4180 writes it. Numbers have the digits that tell them from their neighbours.
fn written(cell: &Cell) -> String {
    match cell {
        Cell::Null => String::new(),
        Cell::Number(x) => x.to_string(),
        Cell::Whole(n) => n.to_string(),
        Cell::Flag(flag) => flag.to_string(),
        Cell::Instant(microseconds) => calendar::instant(*microseconds),
        Cell::Words(words) if words.contains([',', '"', '\n', '\r']) => {
            format!("\"{}\"", words.replace('"', "\"\""))
        }
        Cell::Words(words) => words.clone(),
    }
}
