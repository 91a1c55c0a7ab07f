//! What goes in comes out.

use super::*;
use crate::recording::catalogue;
use crate::recording::cursor::Item;
use crate::recording::error::RecordError;
use crate::recording::header::{LeadEvent, Note};
use crate::recording::reader::Completeness;
use crate::recording::samples;
use proptest::prelude::*;
use std::time::Duration;

proptest! {
    #[test]
    fn samples_survive_their_encoding(first: u64, samples: Vec<i16>) {
        let mut bytes = Vec::new();
        samples::encode(first, &samples, &mut bytes);
        prop_assert_eq!(samples::decode(&bytes), Some((first, samples)));
    }

    #[test]
    fn any_bytes_are_samples_or_refused(bytes: Vec<u8>) {
        if let Some((_, samples)) = samples::decode(&bytes) {
            prop_assert_eq!(bytes.len(), samples::PREFIX + 2 * samples.len());
        }
    }
}

#[test]
fn the_encoding_is_as_documented() {
    // 5, then −1 (difference −6, zigzag 11 = 0x000B), then 1000 (difference 1001, zigzag 2002 = 0x07D2).
    let mut bytes = Vec::new();
    samples::encode(7, &[5, -1, 1000], &mut bytes);
    let (prefix, rest) = bytes.split_at(samples::PREFIX);
    assert_eq!(prefix, [7, 0, 0, 0, 0, 0, 0, 0, 3, 0, 0, 0]);
    assert_eq!(rest, [0x0A, 0x0B, 0xD2, 0x00, 0x00, 0x07]);
}

#[test]
fn everything_comes_back_in_order() {
    let folder = Folder::new();
    let path = folder.file("a.mcap");
    let mut recorder = Recorder::create(&path, &header()).unwrap();
    let first = stream(5, &[2, 0, 7]);
    let second = stream(6, &[1]);
    recorder.stream(&first).unwrap();
    // Begun in mid-stream, with a gap of 300 samples, then a reconnection.
    let blocks = [
        block(5, 3, 9_000, 512),
        block(5, 3, 9_512, 512),
        block(5, 3, 10_324, 100),
        block(6, 1, 0, 700),
    ];
    for b in &blocks[..3] {
        recorder.block(b).unwrap();
    }
    let note = Note {
        text: "revved twice".to_owned(),
        order: Some(serde_json::json!({"form": 1, "index": 7, "do": "stop-trial"})),
    };
    recorder.note(&note).unwrap();
    recorder.stream(&second).unwrap();
    let event = LeadEvent {
        input: 2,
        role: "cam intake".into(),
        life: "silent".into(),
        text: "fell off".into(),
    };
    recorder.lead_event(&event).unwrap();
    recorder.block(&blocks[3]).unwrap();
    let seconds = recorder.seconds();
    let bytes = recorder.finish().unwrap();

    let recording = Recording::open(&path).unwrap();
    assert_eq!(recording.header(), &header());
    assert_eq!(
        recording.streams().cloned().collect::<Vec<_>>(),
        [first, second]
    );
    assert_eq!(recording.completeness(), Completeness::Complete);
    assert_eq!(recording.shortfall(), None);
    assert_eq!(recording.size(), bytes);
    assert_eq!(recording.size(), std::fs::metadata(&path).unwrap().len());
    assert!((recording.duration().as_secs_f64() - seconds).abs() < 1e-6);
    let read: Result<Vec<_>, _> = recording.blocks().unwrap().collect();
    assert_eq!(read.unwrap(), blocks);
    let entries: Vec<_> = recording.entries().unwrap().map(Result::unwrap).collect();
    // 9,000 is the begin; 10,324 stands 132.4 ms after it at 10 kS/s.
    assert_eq!(entries[0].at, Duration::ZERO);
    assert_eq!(entries[2].at, Duration::from_micros(132_400));
    let words = recording.words().unwrap();
    assert_eq!(words.len(), 2);
    assert!(matches!(&words[0].item, Item::Note(n) if *n == note));
    assert_eq!(words[0].at, Duration::from_micros(142_400));
    assert_eq!(words[1].item, Item::LeadEvent(event));
}

#[test]
fn seeking_gives_the_block_that_reaches_beyond() {
    let folder = Folder::new();
    let path = folder.file("s.mcap");
    let blocks = twelve(&path);
    let recording = Recording::open(&path).unwrap();
    // Blocks of 5 ms; 600 samples, 60 ms.
    assert_eq!(recording.duration(), Duration::from_millis(60));
    let mut cursor = recording.blocks().unwrap();
    for (ms, expected) in [(0, 0), (4, 0), (5, 1), (31, 6), (59, 11), (12, 2)] {
        cursor.seek(Duration::from_millis(ms)).unwrap();
        let block = cursor.next().unwrap().unwrap();
        assert_eq!(block, blocks[expected], "{ms} ms");
        assert_eq!(
            cursor.position(),
            Duration::from_millis(5 * (expected as u64 + 1))
        );
    }
    cursor.seek(Duration::from_millis(60)).unwrap();
    assert!(cursor.next().is_none());
}

#[test]
fn nothing_is_overwritten() {
    let folder = Folder::new();
    let path = folder.file("a.mcap");
    std::fs::write(&path, "precious").unwrap();
    let error = Recorder::create(&path, &header()).err().unwrap();
    assert!(matches!(error, RecordError::Exists(_)), "{error}");
    assert_eq!(std::fs::read(&path).unwrap(), b"precious");
}

#[test]
fn a_block_that_does_not_fit_is_refused_and_the_rest_recorded() {
    let folder = Folder::new();
    let path = folder.file("a.mcap");
    let mut recorder = Recorder::create(&path, &header()).unwrap();
    recorder.stream(&stream(1, &[0, 1])).unwrap();
    let refused = recorder.block(&block(2, 2, 0, 10));
    assert!(matches!(
        refused,
        Err(RecordError::UnknownStream { generation: 2 })
    ));
    let refused = recorder.block(&block(1, 3, 0, 10));
    assert!(matches!(
        refused,
        Err(RecordError::Shape {
            found: 3,
            expected: 2
        })
    ));
    let good = block(1, 2, 0, 10);
    recorder.block(&good).unwrap();
    // Dropped, not finished: the end is written all the same.
    drop(recorder);
    let recording = Recording::open(&path).unwrap();
    assert_eq!(recording.completeness(), Completeness::Complete);
    assert_eq!(readable(&recording), [good]);
}

#[test]
fn a_folder_is_listed_latest_first_with_what_cannot_be_read() {
    let folder = Folder::new();
    for (name, started_ns) in [("old.mcap", 1_000), ("new.mcap", 2_000)] {
        let header = RecordingHeader {
            started_ns,
            ..header()
        };
        let recorder = Recorder::create(&folder.file(name), &header).unwrap();
        let _ = recorder.finish().unwrap();
    }
    std::fs::write(folder.file("holiday.mcap"), "not a recording").unwrap();
    std::fs::write(folder.file("notes.txt"), "no").unwrap();
    let list = catalogue::list(&folder.0).unwrap();
    let names: Vec<_> = list
        .iter()
        .map(|e| {
            (
                e.path.file_name().unwrap().to_str().unwrap(),
                e.recording.is_ok(),
            )
        })
        .collect();
    assert_eq!(
        names,
        [
            ("new.mcap", true),
            ("old.mcap", true),
            ("holiday.mcap", false)
        ]
    );
    assert!(catalogue::list(&folder.file("absent")).unwrap().is_empty());
}
