//! What is not done, and that nothing is left of it.

use super::{Folder, Form, RATE, Watch, Wish, export, record, run, stream, wish};
use crate::export::error::ExportError;
use crate::recording::reader::Recording;
use std::sync::atomic::{AtomicBool, Ordering};

#[test]
fn a_stopped_export_leaves_nothing() {
    let folder = Folder::new();
    let info = stream(1, RATE, &[0, 2]);
    let recording = record(&folder.file("a.mcap"), &[(info, &[(0, 50_000)])]);
    for form in [Form::Csv, Form::Parquet, Form::Wav] {
        let stop = AtomicBool::new(false);
        let watch = Watch {
            progress: &|share| stop.store(share > 0.5, Ordering::Relaxed),
            stop: &stop,
        };
        let out = folder.file(&format!("out.{}", form.ending()));
        let error = run(&recording, &wish(form), &out, watch).unwrap_err();
        assert!(matches!(error, ExportError::Stopped), "{error}");
        assert_eq!(folder.names(), ["a.mcap", "a.overview"]);
    }
}

#[test]
fn a_file_that_is_there_stays() {
    let folder = Folder::new();
    let info = stream(1, RATE, &[0, 2]);
    let recording = record(&folder.file("a.mcap"), &[(info, &[(0, 1_000)])]);
    let out = folder.file("out.csv");
    std::fs::write(&out, "mine").unwrap();
    let error = export(&recording, &wish(Form::Csv), &out).unwrap_err();
    assert!(matches!(error, ExportError::Exists(_)), "{error}");
    assert_eq!(std::fs::read(&out).unwrap(), b"mine");
    let replace = Wish {
        replace: true,
        ..wish(Form::Csv)
    };
    let _summary = export(&recording, &replace, &out).unwrap();
    assert!(std::fs::read(&out).unwrap().starts_with(b"time_s,"));
    // One that cannot be made again stays too.
    let beyond = Wish {
        span: 5.0..6.0,
        ..replace
    };
    let error = export(&recording, &beyond, &out).unwrap_err();
    assert!(error.to_string().contains("from 0 to 0.100 s"), "{error}");
    assert!(std::fs::read(&out).unwrap().starts_with(b"time_s,"));
    assert_eq!(folder.names(), ["a.mcap", "a.overview", "out.csv"]);
}

#[test]
fn a_damaged_stretch_is_told_and_left_out() {
    let folder = Folder::new();
    let path = folder.file("a.mcap");
    let whole = {
        let info = stream(1, RATE, &[0, 2]);
        let recording = record(&path, &[(info, &[(0, 1_500_000)])]);
        export(
            &recording,
            &wish(Form::Parquet),
            &folder.file("whole.parquet"),
        )
        .unwrap()
    };
    let sound = std::fs::read(&path).unwrap();
    // Not every byte of a file belongs to samples.
    let recording = (sound.len() / 4..sound.len())
        .step_by(997)
        .find_map(|at| {
            let mut bytes = sound.clone();
            bytes[at] ^= 0x55;
            std::fs::write(&path, bytes).unwrap();
            let recording = Recording::open(&path).ok()?;
            let is_damaged = recording.blocks().unwrap().any(|b| b.is_err());
            is_damaged.then_some(recording)
        })
        .unwrap();
    let rest = export(
        &recording,
        &wish(Form::Parquet),
        &folder.file("rest.parquet"),
    )
    .unwrap();
    assert_eq!(rest.remarks.len(), 1, "{:?}", rest.remarks);
    assert_eq!((rest.gaps, rest.samples + rest.missing), (1, whole.samples));
}

#[test]
fn what_is_not_there_is_told() {
    let folder = Folder::new();
    let info = stream(1, RATE, &[0, 2]);
    let recording = record(&folder.file("a.mcap"), &[(info, &[(0, 1_000)])]);
    let mut other = wish(Form::Csv);
    other.leads[0].input = 2;
    let error = export(&recording, &other, &folder.file("b.csv")).unwrap_err();
    assert!(matches!(error, ExportError::NotRecorded(2)), "{error}");
    let second = Wish {
        stream: Some(2),
        ..wish(Form::Csv)
    };
    let error = export(&recording, &second, &folder.file("b.csv")).unwrap_err();
    assert!(error.to_string().contains("the recording has 1"), "{error}");
    let none = Wish {
        leads: Vec::new(),
        ..wish(Form::Csv)
    };
    let error = export(&recording, &none, &folder.file("b.csv")).unwrap_err();
    assert!(matches!(error, ExportError::NoLead), "{error}");
}
