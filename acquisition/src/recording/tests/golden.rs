//! A file of each version of the format, written by the program of that time, and what is in it. The
//! files are never made again: that old ones open is what is tested.

use super::*;
use crate::recording::cursor::Item;
use crate::recording::header::{FORMAT, LeadEvent, Note};
use crate::recording::reader::Completeness;
use std::time::Duration;

/// One file of each format up to the present one.
const FILES: [(u32, &[u8]); 1] = [(1, include_bytes!("golden/format-1.mcap"))];

#[test]
fn there_is_a_file_of_every_format() {
    let formats: Vec<u32> = FILES.iter().map(|f| f.0).collect();
    let all: Vec<u32> = (1..=FORMAT).collect();
    assert_eq!(formats, all);
}

#[test]
fn every_format_opens_with_all_that_is_in_it() {
    for (format, bytes) in FILES {
        // Finished, and cut before its summary.
        let summary = mcap::Summary::read(bytes).unwrap().unwrap();
        let end = (summary.chunk_indexes.iter())
            .map(|c| c.message_index_offsets.values().max().copied().unwrap_or(0))
            .max()
            .unwrap();
        let cut = usize::try_from(end).unwrap();
        for (bytes, is_whole) in [(bytes, true), (&bytes[..cut + 40], false)] {
            let folder = Folder::new();
            let path = folder.file("old.mcap");
            std::fs::write(&path, bytes).unwrap();
            let recording = Recording::open(&path).unwrap();
            assert_eq!(recording.header(), &header(), "format {format}");
            assert_eq!(
                recording.completeness() == Completeness::Complete,
                is_whole,
                "format {format}"
            );
            assert_eq!(
                recording.streams().cloned().collect::<Vec<_>>(),
                [stream(5, &[2, 0, 7]), stream(6, &[1])]
            );
            let items: Vec<Item> = (recording.entries().unwrap())
                .map(|entry| entry.unwrap().item)
                .collect();
            assert_eq!(items, content(), "format {format}");
            // 9,000 is the begin, 9,478 the end of the first stream at 10 kS/s.
            assert!(recording.duration() >= Duration::from_micros(47_800 + 7_000));
        }
    }
}

/// What was written into all of them.
fn content() -> Vec<Item> {
    let note = |text: &str, order| {
        Item::Note(Note {
            text: text.to_owned(),
            order,
        })
    };
    let order = serde_json::json!({"form": 1, "generation": 5, "index": 9100, "do": "stop-trial"});
    vec![
        Item::Block(block(5, 3, 9_000, 64)),
        note("idle, hot", None),
        Item::Block(block(5, 3, 9_064, 64)),
        note("Trial stopped.", Some(order)),
        Item::Block(block(5, 3, 9_428, 50)),
        Item::LeadEvent(LeadEvent {
            input: 3,
            role: "cam intake".into(),
            life: "silent".into(),
            text: "fell off".into(),
        }),
        Item::Block(block(6, 1, 0, 70)),
    ]
}
