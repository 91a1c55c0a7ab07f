//! The overview as a file: whose it is, what damage costs, and that it is only a cache.

use super::*;
use crate::recording::lens::Lens;
use crate::recording::overview::page::{self, Page, Part, Run, Stretch};
use crate::recording::overview::{self, RebuildError, Watch};
use proptest::prelude::*;
use std::cell::RefCell;
use std::sync::atomic::AtomicBool;
use std::sync::atomic::Ordering as Order;

/// The lens knows the recording without reading it.
fn is_known(recording: &Recording) -> bool {
    // Not a byte of unread samples is allowed.
    !Lens::open(recording)
        .unwrap()
        .limited(0, 0)
        .wants_overview()
}

fn rebuild(recording: &Recording) -> Result<PathBuf, RebuildError> {
    let watch = Watch {
        progress: &|_| {},
        stop: &AtomicBool::new(false),
    };
    overview::rebuild(recording, watch)
}

#[test]
fn an_overview_grows_with_its_recording_and_can_be_made_again() {
    let folder = Folder::new();
    let path = folder.file("t.mcap");
    let _ = twelve(&path);
    let side = folder.file("t.overview");
    let recording = Recording::open(&path).unwrap();
    assert!(is_known(&recording));
    std::fs::remove_file(&side).unwrap();
    assert!(!is_known(&recording));

    let shares = RefCell::new(Vec::new());
    let watch = Watch {
        progress: &|share| shares.borrow_mut().push(share),
        stop: &AtomicBool::new(false),
    };
    assert_eq!(overview::rebuild(&recording, watch).unwrap(), side);
    assert!(is_known(&recording));
    let shares = shares.into_inner();
    assert!(shares.is_sorted() && shares.last() == Some(&1.0) && shares.len() > 10);
    assert_eq!(std::fs::read_dir(&folder.0).unwrap().count(), 2);
}

#[test]
fn a_rebuild_that_is_stopped_leaves_nothing() {
    let folder = Folder::new();
    let path = folder.file("t.mcap");
    let _ = twelve(&path);
    std::fs::remove_file(folder.file("t.overview")).unwrap();
    let recording = Recording::open(&path).unwrap();
    let stop = AtomicBool::new(false);
    let watch = Watch {
        progress: &|share| stop.store(share > 0.4, Order::Relaxed),
        stop: &stop,
    };
    let end = overview::rebuild(&recording, watch);
    assert!(matches!(end, Err(RebuildError::Stopped)));
    assert_eq!(std::fs::read_dir(&folder.0).unwrap().count(), 1);
}

#[test]
fn a_rebuild_where_another_is_at_it_keeps_off() {
    let folder = Folder::new();
    let path = folder.file("t.mcap");
    let _ = twelve(&path);
    let recording = Recording::open(&path).unwrap();
    let part = std::fs::File::create(folder.file("t.overview.part")).unwrap();
    part.lock().unwrap();
    assert!(matches!(rebuild(&recording), Err(RebuildError::Busy(_))));
    // What a killed one left is taken over.
    drop(part);
    let _ = rebuild(&recording).unwrap();
    assert!(!folder.file("t.overview.part").exists());
}

#[test]
fn only_the_overview_of_this_recording_is_used() {
    let folder = Folder::new();
    let path = folder.file("t.mcap");
    let side = folder.file("t.overview");
    let _ = twelve(&path);
    let recording = Recording::open(&path).unwrap();
    let own = std::fs::read(&side).unwrap();

    // Of another version.
    let mut later = own.clone();
    later[8] = 2;
    std::fs::write(&side, &later).unwrap();
    assert!(!is_known(&recording));

    // Of a recording that says the same of itself but holds other samples.
    let other = folder.file("other.mcap");
    let mut recorder = Recorder::create(&other, &header()).unwrap();
    recorder.stream(&stream(3, &[0, 4])).unwrap();
    recorder.block(&block(3, 2, 1, 600)).unwrap();
    let _ = recorder.finish().unwrap();
    let _ = std::fs::copy(folder.file("other.overview"), &side).unwrap();
    assert!(!is_known(&recording));

    // Of one that was started at another time.
    let mut later = header();
    later.started_ns += 1;
    let third = folder.file("third.mcap");
    let recorder = Recorder::create(&third, &later).unwrap();
    let _ = recorder.finish().unwrap();
    let mut mixed = std::fs::read(folder.file("third.overview")).unwrap();
    mixed.extend(&own[mixed.len().min(48)..]);
    std::fs::write(&side, &mixed).unwrap();
    assert!(!is_known(&recording));

    std::fs::write(&side, &own).unwrap();
    assert!(is_known(&recording));
}

#[test]
fn where_no_overview_can_be_made_the_recording_is_whole() {
    let folder = Folder::new();
    let path = folder.file("t.mcap");
    let side = folder.file("t.overview");
    // Something else of that name stays what it is.
    std::fs::write(&side, "notes of somebody").unwrap();
    let blocks = twelve(&path);
    assert_eq!(std::fs::read(&side).unwrap(), b"notes of somebody");
    let recording = Recording::open(&path).unwrap();
    assert_eq!(readable(&recording), blocks);
    assert!(matches!(rebuild(&recording), Err(RebuildError::Write(..))));
    overview::remove(&path);
    assert_eq!(std::fs::read(&side).unwrap(), b"notes of somebody");

    let path = folder.file("u.mcap");
    std::fs::create_dir(folder.file("u.overview")).unwrap();
    let blocks = twelve(&path);
    let recording = Recording::open(&path).unwrap();
    assert_eq!(readable(&recording), blocks);
    let end = rebuild(&recording);
    let Err(RebuildError::Write(..)) = &end else {
        panic!("{end:?}");
    };
    assert!(!folder.file("u.overview.part").exists());
    // In another place it can be.
    let place = folder.file("cache.overview");
    let watch = Watch {
        progress: &|_| {},
        stop: &AtomicBool::new(false),
    };
    overview::rebuild_as(&recording, &place, watch).unwrap();
    let lens = Lens::open_with(&recording, &place).unwrap().limited(0, 0);
    assert!(!lens.wants_overview());
}

#[test]
fn a_new_recording_has_a_new_overview() {
    let folder = Folder::new();
    let path = folder.file("t.mcap");
    let _ = twelve(&path);
    std::fs::remove_file(&path).unwrap();
    let mut recorder = Recorder::create(&path, &header()).unwrap();
    recorder.stream(&stream(3, &[0, 4])).unwrap();
    recorder.block(&block(3, 2, 77, 100)).unwrap();
    let _ = recorder.finish().unwrap();
    let recording = Recording::open(&path).unwrap();
    assert!(is_known(&recording));
    let sight = Lens::open(&recording).unwrap().look(0.0, 1.0, 500).unwrap();
    assert_eq!(sight.inputs.len(), 2);
}

fn example() -> (Page, page::Bins) {
    let run = |first, end, lost| Run { first, end, lost };
    let part = Part {
        generation: 3,
        at_ns: 1_000,
        channels: 1,
        runs: vec![run(250, 260, 0), run(500, 520, 2)],
    };
    let damage = Stretch::Damage {
        from_ns: 9,
        to_ns: 10,
    };
    let page = Page {
        covers: 64..4_711,
        stretches: vec![Stretch::Part(part), damage],
    };
    let bins = [
        vec![[-7, 300]],
        vec![[-7, 300]],
        vec![[-7, 5], page::EMPTY, [-1, 300]],
    ];
    // The second bin holds the samples 256 to 259 and 500 to 511.
    let mut bins: page::Bins = bins;
    bins[2][1] = [-2, 9];
    (page, bins)
}

/// The worked example in `acquisition/README.md`.
#[test]
fn a_page_has_the_bytes_that_are_written_down() {
    let (page, bins) = example();
    let bytes = page::to_bytes(&page, &bins, 0x0102_0304);
    let hex: Vec<String> = bytes.iter().map(|b| format!("{b:02X}")).collect();
    let document = include_str!("../../../README.md");
    let written: Vec<&str> = document
        .split("```text\n4B 57 4F 50")
        .nth(1)
        .and_then(|rest| rest.split("```").next())
        .map(|rest| rest.split_ascii_whitespace().collect())
        .unwrap_or_default();
    assert_eq!(hex[4..], written, "{}", hex.join(" "));
    let length = page::head_length(bytes.first_chunk().unwrap()).unwrap();
    let (found, sections) = page::from_head(&bytes[..length]).unwrap();
    assert_eq!(found, page);
    assert_eq!(sections.page, bytes.len() as u64);
}

proptest! {
    #[test]
    fn a_flipped_byte_of_a_page_is_noticed(at in 0usize..200, flip in 1u8..) {
        let (page, bins) = example();
        let mut bytes = page::to_bytes(&page, &bins, 5);
        let at = at % bytes.len();
        let whole = page::head_length(bytes.first_chunk().unwrap()).unwrap();
        bytes[at] ^= flip;
        let length = page::head_length(bytes.first_chunk().unwrap()).filter(|&n| n <= bytes.len());
        let head = length.and_then(|length| page::from_head(&bytes[..length]));
        if at < whole {
            prop_assert!(head.is_none());
        } else {
            let (_, sections) = head.unwrap();
            let mut rest = &bytes[whole..];
            let sound = (0..3).filter(|&level| {
                let (section, others) = rest.split_at(4 * bins[level].len());
                rest = others;
                page::from_section(section, sections.checksums[level]).is_some()
            });
            prop_assert_eq!(sound.count(), 2);
        }
    }

    #[test]
    fn any_bytes_are_a_head_or_not(bytes: Vec<u8>) {
        let _ = page::from_head(&bytes);
    }
}
