//! An earlier table, from which rows of recordings that have not changed are taken.

use super::SOFTWARE;
use super::columns::{FORM, measured};
use crate::exchange::table::{Cell, Kind};
use crate::fault::Fault;
use parquet::file::reader::{FileReader, SerializedFileReader};
use parquet::record::{Field, Row};
use std::collections::HashMap;
use std::fs::File;
use std::path::Path;
use std::sync::Arc;

/// Rows by the recording they are of.
#[derive(Debug, Default)]
pub(super) struct Earlier(HashMap<String, Vec<Vec<Cell>>>);

impl Earlier {
    /// Reads a table. Rows that another version measured, and those of recordings that could not be
    /// read then, are left: they are measured again.
    pub fn read(path: &Path) -> Result<Self, Fault> {
        let odd = |what: String| {
            Fault::Export(Arc::from(format!(
                "{} cannot be kept from: {what}; name a Parquet table that `keyway collect` made, or leave --keep out",
                path.display()
            )))
        };
        let file = File::open(path).map_err(|e| Fault::unreadable(path, &e))?;
        let reader = SerializedFileReader::new(file).map_err(|e| odd(e.to_string()))?;
        let names: Vec<String> = reader
            .metadata()
            .file_metadata()
            .schema_descr()
            .columns()
            .iter()
            .map(|c| c.name().to_owned())
            .collect();
        let place = |name: &str| {
            let place = names.iter().position(|n| n == name);
            place.ok_or_else(|| odd(format!("it has no column '{name}'")))
        };
        let columns = measured();
        let (recording, reason) = (place("recording")?, place("reason")?);
        let (form, software) = (place("form")?, place("software")?);
        // A table of an earlier version may lack a column: then nothing of it is kept.
        let places: Option<Vec<(usize, Kind)>> = columns
            .iter()
            .map(|c| Some((names.iter().position(|n| *n == c.name)?, c.kind)))
            .collect();
        let mut rows: HashMap<String, Vec<Vec<Cell>>> = HashMap::new();
        let Some(places) = places else {
            return Ok(Self(rows));
        };
        for row in reader.get_row_iter(None).map_err(|e| odd(e.to_string()))? {
            let row = row.map_err(|e| odd(e.to_string()))?;
            let fields = fields(&row);
            let is_ours = matches!(fields[form], Field::Long(FORM))
                && matches!(fields[software], Field::Str(made_by) if made_by == SOFTWARE)
                && matches!(fields[reason], Field::Null);
            let Field::Str(id) = fields[recording] else {
                continue;
            };
            if is_ours {
                let cells: Vec<Cell> = (places.iter())
                    .map(|(i, kind)| cell(fields[*i], *kind))
                    .collect();
                // A recording that was found twice stands there twice; its rows are the same.
                let known = rows.entry(id.clone()).or_default();
                if !known.contains(&cells) {
                    known.push(cells);
                }
            }
        }
        Ok(Self(rows))
    }

    /// The rows of a recording; they stay, for the same recording in another folder.
    pub fn take(&mut self, id: &str) -> Option<Vec<Vec<Cell>>> {
        self.0.get(id).cloned()
    }
}

fn fields(row: &Row) -> Vec<&Field> {
    row.get_column_iter().map(|(_, field)| field).collect()
}

fn cell(field: &Field, kind: Kind) -> Cell {
    match (field, kind) {
        (Field::Double(x), Kind::Number) => Cell::Number(*x),
        (Field::Long(n), Kind::Whole) => Cell::Whole(*n),
        (Field::Str(words), Kind::Words) => Cell::Words(words.clone()),
        (Field::Bool(flag), Kind::Flag) => Cell::Flag(*flag),
        (Field::TimestampMicros(n), Kind::Instant) => Cell::Instant(*n),
        _ => Cell::Null,
    }
}
