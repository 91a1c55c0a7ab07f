//! WAV, read by the library's reader, and its comment by hand.

use super::{Folder, Form, Wish, count, export, record, stream, wish};
use crate::export::error::ExportError;

#[test]
fn channels_hold_the_counts_and_a_comment_their_scale() {
    let folder = Folder::new();
    let info = stream(1, 44_100.0, &[0, 1, 2]);
    let recording = record(&folder.file("a.mcap"), &[(info, &[(30, 50_001)])]);
    let mut three = wish(Form::Wav);
    three.leads.push(super::lead(2, "", 1.0));
    let out = folder.file("out.wav");
    let summary = export(&recording, &three, &out).unwrap();
    let mut reader = hound::WavReader::open(&out).unwrap();
    let spec = reader.spec();
    assert_eq!(
        (spec.channels, spec.sample_rate, spec.bits_per_sample),
        (3, 44_100, 16)
    );
    let samples: Vec<i16> = reader.samples().map(Result::unwrap).collect();
    assert_eq!(samples.len(), 3 * (50_001 - 30));
    for (row, index) in samples.chunks(3).zip(30..) {
        assert_eq!(row, [count(0, index), count(2, index), count(1, index)]);
    }
    let bytes = std::fs::read(&out).unwrap();
    assert_eq!(bytes.len() as u64, summary.bytes);
    let word = |at: usize| u32::from_le_bytes(bytes[at..at + 4].try_into().unwrap()) as usize;
    assert_eq!(word(4), bytes.len() - 8);
    let list = bytes.windows(4).rposition(|w| w == b"LIST").unwrap();
    assert_eq!(&bytes[list + 8..list + 16], b"INFOICMT");
    assert_eq!(list + 8 + word(list + 4), bytes.len());
    let text = &bytes[list + 20..list + 20 + word(list + 16) - 1];
    let words: serde_json::Value = serde_json::from_slice(text).unwrap();
    let leads = &words["streams"][0]["leads"];
    assert_eq!(leads[0]["scale"], 0.001);
    assert_eq!(leads[2]["column"], "input_2_v");
    assert_eq!(words["values"], "counts");
}

#[test]
fn what_does_not_fit_is_told_with_what_does() {
    let folder = Folder::new();
    let out = folder.file("out.wav");
    let gappy = record(
        &folder.file("gappy.mcap"),
        &[(stream(1, 10_000.0, &[0, 2]), &[(0, 5_000), (5_010, 9_000)])],
    );
    let Err(ExportError::Gap { before, after, .. }) = export(&gappy, &wish(Form::Wav), &out) else {
        panic!("a gap went into a WAV");
    };
    for (span, samples) in [(0.0..before, 5_000), (after..9.0, 3_990)] {
        let part = Wish {
            span,
            replace: true,
            ..wish(Form::Wav)
        };
        assert_eq!(export(&gappy, &part, &out).unwrap().samples, samples);
    }
    let odd = record(
        &folder.file("odd.mcap"),
        &[(stream(1, 10_000.5, &[0, 2]), &[(0, 100)])],
    );
    let error = export(&odd, &wish(Form::Wav), &folder.file("b.wav")).unwrap_err();
    assert!(matches!(error, ExportError::Rate(_)), "{error}");
    let poor = record(
        &folder.file("poor.mcap"),
        &[
            (stream(1, 10_000.0, &[0]), &[(0, 100)]),
            (stream(2, 10_000.0, &[0, 2]), &[(0, 100)]),
        ],
    );
    let error = export(&poor, &wish(Form::Wav), &folder.file("b.wav")).unwrap_err();
    assert!(matches!(error, ExportError::NotRecorded(3)), "{error}");
    assert!(!folder.names().iter().any(|n| n.contains("b.wav")));
}
