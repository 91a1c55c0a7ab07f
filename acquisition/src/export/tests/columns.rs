//! Parquet, read by the library's reader.

use super::{Folder, Form, RATE, Summary, Wish, count, export, record, stream, wish};
use crate::recording::reader::Recording;
use parquet::file::reader::{FileReader, SerializedFileReader};
use parquet::record::{Field, Row};
use std::fs::File;
use std::path::Path;

struct Table {
    names: Vec<String>,
    rows: Vec<Row>,
    description: serde_json::Value,
}

fn read(path: &Path) -> Table {
    let reader = SerializedFileReader::new(File::open(path).unwrap()).unwrap();
    let metadata = reader.metadata().file_metadata();
    let words = metadata.key_value_metadata().unwrap();
    let words = words.iter().find(|w| w.key == "keyway").unwrap();
    Table {
        names: metadata
            .schema_descr()
            .columns()
            .iter()
            .map(|c| c.name().to_owned())
            .collect(),
        description: serde_json::from_str(words.value.as_ref().unwrap()).unwrap(),
        rows: reader
            .get_row_iter(None)
            .unwrap()
            .map(Result::unwrap)
            .collect(),
    }
}

fn table(recording: &Recording, wish: &Wish, folder: &Folder) -> (Table, Summary) {
    let out = folder.file("out.parquet");
    let summary = export(recording, wish, &out).unwrap();
    let table = read(&out);
    assert_eq!(table.rows.len() as u64, summary.samples);
    std::fs::remove_file(out).unwrap();
    (table, summary)
}

fn field(row: &Row, column: usize) -> Field {
    row.get_column_iter().nth(column).unwrap().1.clone()
}

#[test]
fn every_sample_comes_back() {
    let folder = Folder::new();
    // A recording may begin in the middle of a stream.
    let info = stream(4, RATE, &[0, 1, 2]);
    let recording = record(
        &folder.file("a.mcap"),
        &[(info, &[(5_000, 12_000), (12_345, 70_000)])],
    );
    let (table, summary) = table(&recording, &wish(Form::Parquet), &folder);
    assert_eq!(
        table.names,
        ["time_s", "stream", "sample", "crank_v", "cam_intake_v"]
    );
    assert_eq!((summary.gaps, summary.missing), (1, 345));
    let indices = (5_000..12_000u64).chain(12_345..70_000);
    for (row, index) in table.rows.iter().zip(indices) {
        assert_eq!(field(row, 0), Field::Double((index - 5_000) as f64 / RATE));
        assert_eq!(field(row, 1), Field::Int(1));
        assert_eq!(field(row, 2), Field::Long(index.cast_signed()));
        let crank = f64::from(count(0, index)) * 0.001 - 0.5;
        let Field::Float(single) = field(row, 3) else {
            panic!("no float");
        };
        // As near as 32 bits come to it.
        assert!((f64::from(single) - crank).abs() <= 0.5 * f64::from(f32::EPSILON) * crank.abs());
        // The count comes back from the value with the scale and offset that the file states.
        let lead = &table.description["streams"][0]["leads"][1];
        let (scale, offset) = (lead["scale"].as_f64(), lead["offset"].as_f64());
        let Field::Float(cam) = field(row, 4) else {
            panic!("no float");
        };
        let back = (f64::from(cam) - offset.unwrap()) / scale.unwrap();
        assert!((back - f64::from(count(2, index))).abs() < 0.01, "{back}");
    }
    let described = &table.description["streams"][0];
    assert_eq!(described["first_sample"], 5_000);
    assert_eq!(described["generation"], 4);
    assert_eq!(described["leads"][1]["factor"], 10.0);
}

#[test]
fn counts_are_as_recorded() {
    let folder = Folder::new();
    let info = stream(1, RATE, &[0, 2]);
    let recording = record(&folder.file("a.mcap"), &[(info, &[(0, 66_000)])]);
    let counts = Wish {
        counts: true,
        ..wish(Form::Parquet)
    };
    let (table, _) = table(&recording, &counts, &folder);
    assert_eq!(table.names[3..], ["crank_counts", "cam_intake_counts"]);
    for (row, index) in table.rows.iter().zip(0..) {
        assert_eq!(field(row, 3), Field::Short(count(0, index)));
        assert_eq!(field(row, 4), Field::Short(count(2, index)));
    }
}

#[test]
fn streams_stand_below_each_other_and_what_one_lacks_is_null() {
    let folder = Folder::new();
    let (first, second) = (stream(1, RATE, &[0, 2]), stream(2, 2.0 * RATE, &[0]));
    let recording = record(
        &folder.file("a.mcap"),
        &[(first, &[(0, 3_000)]), (second, &[(100, 2_100)])],
    );
    let (all, summary) = table(&recording, &wish(Form::Parquet), &folder);
    assert_eq!((summary.streams, summary.gaps), (2, 0));
    let begin = all.description["streams"][1]["first_s"].as_f64().unwrap();
    assert!(begin >= 0.3, "{begin}");
    for (row, i) in all.rows[3_000..].iter().zip(0u64..) {
        assert_eq!(
            field(row, 0),
            Field::Double(begin + i as f64 / (2.0 * RATE))
        );
        assert_eq!(field(row, 1), Field::Int(2));
        assert_eq!(field(row, 2), Field::Long((100 + i).cast_signed()));
        assert_eq!(field(row, 4), Field::Null);
    }
    // A later begin, within the second stream, gives the very same times.
    let late = Wish {
        span: begin + 0.05..f64::INFINITY,
        ..wish(Form::Parquet)
    };
    let (late, _) = table(&recording, &late, &folder);
    assert_eq!(late.rows, all.rows[all.rows.len() - late.rows.len()..]);
    assert_eq!(late.rows.len(), 1_000);
    // One stream alone has no lead that it lacks.
    let alone = Wish {
        stream: Some(1),
        ..wish(Form::Parquet)
    };
    let (alone, _) = table(&recording, &alone, &folder);
    assert_eq!(alone.rows, all.rows[..3_000]);
}

#[test]
fn a_span_has_its_begin_and_not_its_end() {
    let folder = Folder::new();
    let info = stream(1, RATE, &[0, 2]);
    let recording = record(&folder.file("a.mcap"), &[(info, &[(0, 20_000)])]);
    for (span, samples) in [
        (0.5..1.0, 5_000..10_000),
        (0.500_01..0.999_99, 5_001..10_000),
        (0.499_99..1.000_01, 5_000..10_001),
        (-3.0..0.1, 0..1_000),
        (1.9999..9.0, 19_999..20_000),
    ] {
        let part = Wish {
            span: span.clone(),
            ..wish(Form::Parquet)
        };
        let (table, _) = table(&recording, &part, &folder);
        let first = field(&table.rows[0], 2);
        assert_eq!(first, Field::Long(samples.start), "{span:?}");
        let rows = (samples.end - samples.start).unsigned_abs();
        assert_eq!(table.rows.len() as u64, rows, "{span:?}");
    }
}
