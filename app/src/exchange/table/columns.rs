//! Parquet: row groups of some thousand rows, every column optional.

use super::{Cell, Column, Kind};
use crate::exchange::samples::{SOFTWARE, fault};
use crate::fault::Fault;
use keyway_acquisition::export::error::ExportError;
use parquet::basic::{Compression, LogicalType, Repetition, TimeUnit, Type as Physical, ZstdLevel};
use parquet::data_type::{BoolType, ByteArray, ByteArrayType, DataType, DoubleType, Int64Type};
use parquet::errors::ParquetError;
use parquet::file::metadata::KeyValue;
use parquet::file::properties::{EnabledStatistics, WriterProperties};
use parquet::file::writer::{SerializedFileWriter, SerializedRowGroupWriter};
use parquet::schema::types::Type;
use std::fs::File;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// Rows that are in memory at once.
const ROWS: usize = 4096;

/// The columns of a table.
pub(super) struct Columns {
    place: PathBuf,
    kinds: Vec<Kind>,
    writer: SerializedFileWriter<File>,
    waiting: Vec<Vec<Cell>>,
}

impl std::fmt::Debug for Columns {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Columns")
            .field("place", &self.place)
            .field("waiting", &self.waiting.len())
            .finish_non_exhaustive()
    }
}

impl Columns {
    pub fn begin(file: File, place: &Path, columns: &[Column]) -> Result<Self, Fault> {
        Ok(Self {
            place: place.to_owned(),
            kinds: columns.iter().map(|c| c.kind).collect(),
            writer: writer(file, columns).map_err(|e| wrong(e, place))?,
            waiting: Vec::new(),
        })
    }

    pub fn push(&mut self, row: Vec<Cell>) -> Result<(), Fault> {
        self.waiting.push(row);
        if self.waiting.len() >= ROWS {
            self.flush()?;
        }
        Ok(())
    }

    pub fn finish(mut self, about: &[(String, String)]) -> Result<(), Fault> {
        self.flush()?;
        for (key, words) in about {
            let entry = KeyValue::new(key.clone(), words.clone());
            self.writer.append_key_value_metadata(entry);
        }
        let closed = self.writer.close();
        let _metadata = closed.map_err(|e| wrong(e, &self.place))?;
        Ok(())
    }

    fn flush(&mut self) -> Result<(), Fault> {
        if self.waiting.is_empty() {
            return Ok(());
        }
        let written = group(&mut self.writer, &self.kinds, &self.waiting);
        self.waiting.clear();
        written.map_err(|e| wrong(e, &self.place))
    }
}

fn wrong(error: ParquetError, place: &Path) -> Fault {
    let error = match error {
        ParquetError::External(cause) => match cause.downcast::<std::io::Error>() {
            Ok(error) => *error,
            Err(cause) => std::io::Error::other(cause),
        },
        other => std::io::Error::other(other),
    };
    fault(ExportError::writing(place, error))
}

fn writer(file: File, columns: &[Column]) -> Result<SerializedFileWriter<File>, ParquetError> {
    let fields = columns
        .iter()
        .map(|column| {
            let (physical, logical) = match column.kind {
                Kind::Number => (Physical::DOUBLE, None),
                Kind::Whole => (Physical::INT64, None),
                Kind::Words => (Physical::BYTE_ARRAY, Some(LogicalType::String)),
                Kind::Flag => (Physical::BOOLEAN, None),
                Kind::Instant => (
                    Physical::INT64,
                    Some(LogicalType::timestamp(true, TimeUnit::MICROS)),
                ),
            };
            Type::primitive_type_builder(&column.name, physical)
                .with_logical_type(logical)
                .with_repetition(Repetition::OPTIONAL)
                .build()
                .map(Arc::new)
        })
        .collect::<Result<Vec<_>, _>>()?;
    let schema = Type::group_type_builder("rows")
        .with_fields(fields)
        .build()?;
    let properties = WriterProperties::builder()
        .set_compression(Compression::ZSTD(ZstdLevel::try_new(3)?))
        .set_created_by(SOFTWARE.to_owned())
        .set_statistics_enabled(EnabledStatistics::Chunk)
        .build();
    SerializedFileWriter::new(file, Arc::new(schema), Arc::new(properties))
}

fn group(
    writer: &mut SerializedFileWriter<File>,
    kinds: &[Kind],
    rows: &[Vec<Cell>],
) -> Result<(), ParquetError> {
    let mut group = writer.next_row_group()?;
    for (i, kind) in kinds.iter().enumerate() {
        let cells = || {
            rows.iter()
                .map(move |row| row.get(i).unwrap_or(&Cell::Null))
        };
        match kind {
            Kind::Number => put::<DoubleType>(
                &mut group,
                cells().map(|c| match c {
                    Cell::Number(x) => Some(*x),
                    _ => None,
                }),
            ),
            Kind::Whole => put::<Int64Type>(
                &mut group,
                cells().map(|c| match c {
                    Cell::Whole(n) => Some(*n),
                    _ => None,
                }),
            ),
            Kind::Instant => put::<Int64Type>(
                &mut group,
                cells().map(|c| match c {
                    Cell::Instant(n) => Some(*n),
                    _ => None,
                }),
            ),
            Kind::Flag => put::<BoolType>(
                &mut group,
                cells().map(|c| match c {
                    Cell::Flag(flag) => Some(*flag),
                    _ => None,
                }),
            ),
            Kind::Words => put::<ByteArrayType>(
                &mut group,
                cells().map(|c| match c {
                    Cell::Words(words) => Some(ByteArray::from(words.as_str())),
                    _ => None,
                }),
            ),
        }?;
    }
    let _metadata = group.close()?;
    Ok(())
}

/// Writes the next column.
fn put<T: DataType>(
    group: &mut SerializedRowGroupWriter<'_, File>,
    cells: impl Iterator<Item = Option<T::T>>,
) -> Result<(), ParquetError> {
    let Some(mut column) = group.next_column()? else {
        return Err(ParquetError::General(
            "more columns than the schema has".to_owned(),
        ));
    };
    let (mut levels, mut values) = (Vec::new(), Vec::new());
    for cell in cells {
        levels.push(i16::from(cell.is_some()));
        values.extend(cell);
    }
    let _written = column
        .typed::<T>()
        .write_batch(&values, Some(&levels), None)?;
    column.close()
}
