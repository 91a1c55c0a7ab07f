//! Tables, read again.

use super::*;
use parquet::file::reader::{FileReader, SerializedFileReader};
use parquet::record::Field;
use std::path::PathBuf;

struct Folder(PathBuf);

impl Folder {
    fn new(name: &str) -> Self {
        let path = std::env::temp_dir().join(format!("keyway-table-{name}-{}", std::process::id()));
        std::fs::create_dir_all(&path).unwrap();
        Self(path)
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

fn columns() -> Vec<Column> {
    vec![
        Column::new("speed_rpm", Kind::Number),
        Column::new("cycles", Kind::Whole),
        Column::new("why", Kind::Words),
        Column::new("is_known", Kind::Flag),
        Column::new("started", Kind::Instant),
    ]
}

fn row(n: i64) -> Vec<Cell> {
    vec![
        Cell::from(800.1 + n as f64 / 3.0),
        Cell::Whole(n),
        Cell::from("no \"edges\", from the sensor"),
        Cell::from(n % 2 == 0),
        Cell::Instant(1_790_000_000_250_000 + n),
    ]
}

fn write(place: &Path, form: Form, rows: i64) -> u64 {
    let about = [("keyway", "{}".to_owned())];
    let mut table = Table::begin(place, form, false, columns(), &about).unwrap();
    table.push(vec![Cell::Null; 5]).unwrap();
    for n in 1..rows {
        table.push(row(n)).unwrap();
    }
    assert_eq!(table.rows(), rows.unsigned_abs());
    table.finish().unwrap()
}

#[test]
fn columns_come_back_with_their_nulls() {
    let folder = Folder::new("columns");
    let place = folder.0.join("a.parquet");
    // More than one row group.
    let rows = 10_000;
    let bytes = write(&place, Form::Parquet, rows);
    let reader = SerializedFileReader::new(File::open(&place).unwrap()).unwrap();
    assert_eq!(std::fs::metadata(&place).unwrap().len(), bytes);
    assert!(reader.metadata().num_row_groups() > 1);
    let read: Vec<Vec<Field>> = reader
        .get_row_iter(None)
        .unwrap()
        .map(|row| {
            row.unwrap()
                .get_column_iter()
                .map(|(_, f)| f.clone())
                .collect()
        })
        .collect();
    assert_eq!(read.len() as u64, rows.unsigned_abs());
    assert!(read[0].iter().all(|f| *f == Field::Null));
    for (fields, n) in read[1..].iter().zip(1i64..) {
        assert_eq!(
            fields[..],
            [
                Field::Double(800.1 + n as f64 / 3.0),
                Field::Long(n),
                Field::Str("no \"edges\", from the sensor".to_owned()),
                Field::Bool(n % 2 == 0),
                Field::TimestampMicros(1_790_000_000_250_000 + n),
            ]
        );
    }
}

#[test]
fn text_is_quoted_where_it_must_be() {
    let folder = Folder::new("text");
    let place = folder.0.join("a.csv");
    let _bytes = write(&place, Form::Csv, 2);
    assert_eq!(
        std::fs::read_to_string(&place).unwrap(),
        "speed_rpm,cycles,why,is_known,started\n,,,,\n800.4333333333334,1,\"no \"\"edges\"\", from the sensor\",false,2026-09-21T14:13:20.250001Z\n"
    );
}

#[test]
fn a_table_that_is_given_up_leaves_nothing() {
    let folder = Folder::new("given-up");
    let place = folder.0.join("a.parquet");
    let mut table = Table::begin(&place, Form::Parquet, false, columns(), &[]).unwrap();
    table.push(row(1)).unwrap();
    drop(table);
    assert_eq!(std::fs::read_dir(&folder.0).unwrap().count(), 0);
    let error = Table::begin(&folder.0.join("a.wav"), Form::Wav, false, columns(), &[]);
    assert!(error.unwrap_err().to_string().contains("Parquet or CSV"));
    assert_eq!(std::fs::read_dir(&folder.0).unwrap().count(), 0);
}
