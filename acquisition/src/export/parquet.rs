//! Parquet: time, stream and index, then a column per lead.
//!
//! Values are 32-bit floats at the probe's tip: a count of 16 bits times its scale is told from its
//! neighbours with 8 bits to spare, so the counts come back exactly. They are stored as a dictionary
//! of the values that occur. Counts are stored as differences of neighbours.

use super::Summary;
use super::clock::Clock;
use super::description::described;
use super::error::ExportError;
use super::layout::Line;
use super::walk::{Piece, Walk};
use parquet::basic::{Compression, Encoding, LogicalType, Repetition, Type as Physical, ZstdLevel};
use parquet::data_type::{DataType, DoubleType, FloatType, Int32Type, Int64Type};
use parquet::errors::ParquetError;
use parquet::file::metadata::KeyValue;
use parquet::file::properties::{EnabledStatistics, WriterProperties};
use parquet::file::writer::{SerializedFileWriter, SerializedRowGroupWriter};
use parquet::schema::types::{ColumnPath, Type};
use std::fs::File;
use std::io::Error;
use std::path::Path;
use std::sync::Arc;

/// Rows in a row group: what is in memory at once, 8 MB with eight leads.
const ROWS: usize = 1 << 19;
/// Rows that are made ready at once.
const BATCH: usize = 1 << 14;
/// Key of the description in the file's metadata.
pub(crate) const KEY: &str = "keyway";

/// Writes all of it.
pub(crate) fn write(walk: &Walk<'_>, file: File, out: &Path) -> Result<Summary, ExportError> {
    let wrong = |e| fault(e, out);
    let properties = properties(walk).map_err(wrong)?;
    let mut writer = SerializedFileWriter::new(
        file,
        Arc::new(schema(walk).map_err(wrong)?),
        Arc::new(properties),
    )
    .map_err(wrong)?;
    let mut group = Group::new(walk.layout.columns.len());
    let mut streams: Vec<(usize, Clock, u64)> = Vec::new();
    let summary = walk.run(|piece| {
        if streams.last().is_none_or(|(s, ..)| *s != piece.stream) {
            streams.push((piece.stream, piece.clock, piece.first));
        }
        group.take(piece);
        if group.rows >= ROWS {
            group.write(walk, &mut writer).map_err(wrong)?;
        }
        Ok(())
    })?;
    if group.rows > 0 {
        group.write(walk, &mut writer).map_err(wrong)?;
    }
    let words = described(walk.recording, walk.layout, walk.wish, &streams);
    writer.append_key_value_metadata(KeyValue::new(KEY.to_owned(), words));
    let _metadata = writer.close().map_err(wrong)?;
    Ok(summary)
}

/// What a fault of the library means.
fn fault(error: ParquetError, out: &Path) -> ExportError {
    let error = match error {
        ParquetError::External(cause) => match cause.downcast::<Error>() {
            Ok(error) => *error,
            Err(cause) => Error::other(cause),
        },
        other => Error::other(other),
    };
    ExportError::writing(out, error)
}

fn schema(walk: &Walk<'_>) -> Result<Type, ParquetError> {
    let column = |name: &str, physical, logical: Option<LogicalType>, always| {
        let repetition = if always {
            Repetition::REQUIRED
        } else {
            Repetition::OPTIONAL
        };
        Type::primitive_type_builder(name, physical)
            .with_logical_type(logical)
            .with_repetition(repetition)
            .build()
            .map(Arc::new)
    };
    let mut fields = vec![
        column("time_s", Physical::DOUBLE, None, true)?,
        column("stream", Physical::INT32, None, true)?,
        column("sample", Physical::INT64, None, true)?,
    ];
    let (physical, logical) = if walk.wish.counts {
        let sixteen = LogicalType::integer(16, true);
        (Physical::INT32, Some(sixteen))
    } else {
        (Physical::FLOAT, None)
    };
    for lead in &walk.layout.columns {
        fields.push(column(&lead.name, physical, logical.clone(), lead.always)?);
    }
    Type::group_type_builder("samples")
        .with_fields(fields)
        .build()
}

fn properties(walk: &Walk<'_>) -> Result<WriterProperties, ParquetError> {
    let path = |name: &str| ColumnPath::from(name);
    let mut builder = WriterProperties::builder()
        .set_compression(Compression::ZSTD(ZstdLevel::try_new(3)?))
        .set_created_by(walk.wish.software.clone())
        .set_statistics_enabled(EnabledStatistics::Chunk)
        // Times of a decimal rate come again in their lower bytes.
        .set_column_dictionary_enabled(path("time_s"), false)
        .set_column_encoding(path("time_s"), Encoding::BYTE_STREAM_SPLIT)
        .set_column_dictionary_enabled(path("sample"), false)
        .set_column_encoding(path("sample"), Encoding::DELTA_BINARY_PACKED);
    if walk.wish.counts {
        for lead in &walk.layout.columns {
            builder = builder
                .set_column_dictionary_enabled(path(&lead.name), false)
                .set_column_encoding(path(&lead.name), Encoding::DELTA_BINARY_PACKED);
        }
    }
    Ok(builder.build())
}

/// Rows that wait for their row group.
struct Group {
    rows: usize,
    /// Clock, place of the stream, first index, rows.
    runs: Vec<(Clock, usize, u64, usize)>,
    /// Per column; a lead that a stream does not carry has zeros there.
    columns: Vec<Vec<i16>>,
}

impl Group {
    fn new(columns: usize) -> Self {
        Self {
            rows: 0,
            runs: Vec::new(),
            columns: vec![Vec::new(); columns],
        }
    }

    fn take(&mut self, piece: &Piece<'_>) {
        self.runs
            .push((piece.clock, piece.stream, piece.first, piece.length));
        for (kept, samples) in self.columns.iter_mut().zip(&piece.columns) {
            match samples {
                Some(samples) => kept.extend_from_slice(samples),
                None => kept.resize(kept.len() + piece.length, 0),
            }
        }
        self.rows += piece.length;
    }

    fn write(
        &mut self,
        walk: &Walk<'_>,
        writer: &mut SerializedFileWriter<File>,
    ) -> Result<(), ParquetError> {
        let mut group = writer.next_row_group()?;
        let times = self.each(|clock, _, index| clock.seconds(index));
        put::<DoubleType>(&mut group, times, None)?;
        let streams = self.each(|_, stream, _| i32::try_from(stream + 1).unwrap_or(i32::MAX));
        put::<Int32Type>(&mut group, streams, None)?;
        let indices = self.each(|_, _, index| index.cast_signed());
        put::<Int64Type>(&mut group, indices, None)?;
        for (i, column) in walk.layout.columns.iter().enumerate() {
            let lines: Vec<(Option<Line>, usize)> = self
                .runs
                .iter()
                .map(|(_, stream, _, length)| {
                    let line = walk.layout.streams[*stream].columns[i];
                    (line.map(|(_, line)| line), *length)
                })
                .collect();
            let mut carried = lines
                .iter()
                .flat_map(|(line, n)| std::iter::repeat_n(i16::from(line.is_some()), *n));
            let levels = (!column.always).then_some(&mut carried as &mut dyn Iterator<Item = i16>);
            let known = lines
                .iter()
                .flat_map(|(line, n)| std::iter::repeat_n(*line, *n))
                .zip(&self.columns[i])
                .filter_map(|(line, &count)| line.map(|line| (line, count)));
            if walk.wish.counts {
                let counts = known.map(|(_, count)| i32::from(count));
                put::<Int32Type>(&mut group, counts, levels)?;
            } else {
                let values = known.map(|(line, count)| single(line.value(count)));
                put::<FloatType>(&mut group, values, levels)?;
            }
        }
        let _metadata = group.close()?;
        self.rows = 0;
        self.runs.clear();
        self.columns.iter_mut().for_each(Vec::clear);
        Ok(())
    }

    fn each<T>(&self, of: impl Fn(&Clock, usize, u64) -> T) -> impl Iterator<Item = T> {
        self.runs
            .iter()
            .flat_map(move |(clock, stream, first, length)| {
                let of = &of;
                (0..*length as u64)
                    .map(|i| of(clock, *stream, first + i))
                    .collect::<Vec<T>>()
            })
    }
}

#[allow(
    clippy::cast_possible_truncation,
    reason = "the exactness of a float is documented, and enough for 16 bits"
)]
fn single(x: f64) -> f32 {
    x as f32
}

/// Writes the next column; `levels` say which rows have a value, none that all have.
fn put<T: DataType>(
    group: &mut SerializedRowGroupWriter<'_, File>,
    mut values: impl Iterator<Item = T::T>,
    mut levels: Option<&mut dyn Iterator<Item = i16>>,
) -> Result<(), ParquetError> {
    let Some(mut column) = group.next_column()? else {
        return Err(ParquetError::General(
            "more columns than the schema has".to_owned(),
        ));
    };
    loop {
        let rows: Option<Vec<i16>> = levels.as_mut().map(|l| l.by_ref().take(BATCH).collect());
        let wanted = match &rows {
            Some(rows) => rows.iter().filter(|l| **l > 0).count(),
            None => BATCH,
        };
        let batch: Vec<T::T> = values.by_ref().take(wanted).collect();
        if rows.as_ref().map_or(batch.is_empty(), Vec::is_empty) {
            return column.close();
        }
        let _written = column
            .typed::<T>()
            .write_batch(&batch, rows.as_deref(), None)?;
    }
}
