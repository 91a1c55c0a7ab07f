//! What may happen while a recording runs: a power cut, another program that reads, sleep, a clock
//! that is set, a second program that wants the same file.

use super::*;
use crate::recording::clock::{Clock, Moment};
use crate::recording::cursor::Item;
use crate::recording::error::RecordError;
use crate::recording::reader::Completeness;
use crate::recording::store::Store;
use proptest::prelude::*;
use std::fs::File;
use std::io::{self, Write};
use std::sync::{Arc, Mutex};
use std::time::Duration;

/// A medium that remembers only what was synced when the power goes.
#[derive(Clone, Default)]
struct Medium(Arc<Mutex<(Vec<u8>, usize)>>);

impl Medium {
    /// What a power cut leaves: all that was synced, and of the rest as much as had got through.
    fn after_power_cut(&self, share: f64) -> Vec<u8> {
        let inner = self.0.lock().unwrap();
        let (bytes, synced) = (&inner.0, inner.1);
        let rest = (bytes.len() - synced) as f64 * share;
        #[allow(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "a share of a length"
        )]
        bytes[..synced + rest as usize].to_vec()
    }
}

impl Write for Medium {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.0.lock().unwrap().0.extend_from_slice(bytes);
        Ok(bytes.len())
    }
    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

impl Store for Medium {
    fn sync(&mut self) -> io::Result<()> {
        let mut inner = self.0.lock().unwrap();
        inner.1 = inner.0.len();
        Ok(())
    }
    fn cut(&mut self, length: u64) -> io::Result<()> {
        let length = usize::try_from(length).unwrap();
        self.0.lock().unwrap().0.truncate(length);
        Ok(())
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(60))]

    /// Every sample that was there at the last flush is there after the cut, wherever the cut falls.
    #[test]
    fn a_power_cut_loses_nothing_that_was_flushed(
        lengths in prop::collection::vec((1u64..400, any::<bool>()), 1..30),
        share in 0.0f64..=1.0,
    ) {
        let medium = Medium::default();
        let mut recorder = Recorder::with_store(medium.clone(), &header()).unwrap();
        recorder.stream(&stream(1, &[0, 3])).unwrap();
        let (mut first, mut flushed, mut blocks) = (0, 0, Vec::new());
        for (length, is_flushed) in lengths {
            let b = block(1, 2, first, length);
            recorder.block(&b).unwrap();
            first += length;
            blocks.push(b);
            if is_flushed {
                recorder.flush().unwrap();
                flushed = blocks.len();
            }
        }
        let left = medium.after_power_cut(share);
        std::mem::forget(recorder);
        let folder = Folder::new();
        let path = folder.file("cut.mcap");
        std::fs::write(&path, left).unwrap();
        let recording = Recording::open(&path).unwrap();
        let read = readable(&recording);
        prop_assert!(read.len() >= flushed);
        prop_assert_eq!(&read[..], &blocks[..read.len()]);
        prop_assert!(recording.shortfall().unwrap().contains("never finished"));
    }
}

#[test]
fn a_flush_comes_by_itself_within_a_quarter_of_a_second() {
    assert!(crate::recording::writer::FLUSH_EVERY <= Duration::from_millis(250));
    let medium = Medium::default();
    let mut recorder = Recorder::with_store(medium.clone(), &header()).unwrap();
    recorder.stream(&stream(1, &[0])).unwrap();
    recorder.block(&block(1, 1, 0, 100)).unwrap();
    std::thread::sleep(crate::recording::writer::FLUSH_EVERY);
    // The next block, or the tick of the recorder's thread when none comes.
    recorder.tick().unwrap();
    let folder = Folder::new();
    let path = folder.file("flushed.mcap");
    std::fs::write(&path, medium.after_power_cut(0.0)).unwrap();
    std::mem::forget(recorder);
    let recording = Recording::open(&path).unwrap();
    assert_eq!(readable(&recording), [block(1, 1, 0, 100)]);
}

#[test]
fn another_program_reads_what_is_flushed_while_the_recording_goes_on() {
    let folder = Folder::new();
    let path = folder.file("running.mcap");
    let mut recorder = Recorder::create(&path, &header()).unwrap();
    recorder.stream(&stream(1, &[0, 1])).unwrap();
    let mut blocks = Vec::new();
    for n in 0..5 {
        blocks.push(block(1, 2, 100 * n, 100));
        recorder.block(blocks.last().unwrap()).unwrap();
        recorder.flush().unwrap();
        let reading = Recording::open(&path).unwrap();
        assert_eq!(readable(&reading), blocks);
        assert!(matches!(
            reading.completeness(),
            Completeness::Unfinished { lost_bytes: 0 }
        ));
    }
    let _ = recorder.finish().unwrap();
    assert_eq!(readable(&Recording::open(&path).unwrap()), blocks);
}

#[test]
fn a_second_program_cannot_record_into_the_same_file() {
    let folder = Folder::new();
    let path = folder.file("one.mcap");
    let mut recorder = Recorder::create(&path, &header()).unwrap();
    let second = Recorder::create(&path, &header()).err().unwrap();
    assert!(matches!(second, RecordError::Exists(_)), "{second}");
    recorder.stream(&stream(1, &[0])).unwrap();
    recorder.block(&block(1, 1, 0, 100)).unwrap();
    let _ = recorder.finish().unwrap();
    assert_eq!(
        readable(&Recording::open(&path).unwrap()),
        [block(1, 1, 0, 100)]
    );
}

/// Clocks that stand where the test puts them.
#[derive(Clone)]
struct Set(Arc<Mutex<Moment>>);

impl Clock for Set {
    fn now(&self) -> Moment {
        *self.0.lock().unwrap()
    }
}

#[test]
fn sleep_and_a_set_clock_are_noted_and_bend_no_time() {
    let folder = Folder::new();
    let path = folder.file("sleep.mcap");
    let start = Moment {
        awake: Duration::from_secs(100),
        elapsed: Duration::from_secs(100),
        shown: Duration::from_nanos(header().started_ns),
    };
    let clock = Set(Arc::new(Mutex::new(start)));
    let pass = |awake: u64, elapsed: u64, shown: i64| {
        let mut now = clock.0.lock().unwrap();
        now.awake += Duration::from_secs(awake);
        now.elapsed += Duration::from_secs(elapsed);
        let by = Duration::from_secs(shown.unsigned_abs());
        now.shown = if shown < 0 {
            now.shown - by
        } else {
            now.shown + by
        };
    };
    let file = File::create(&path).unwrap();
    let mut recorder = Recorder::with_clock(file, &header(), Box::new(clock.clone())).unwrap();
    recorder.stream(&stream(1, &[0])).unwrap();
    // One second of samples.
    recorder.block(&block(1, 1, 0, 10_000)).unwrap();
    let tick = |recorder: &mut Recorder| {
        std::thread::sleep(crate::recording::writer::FLUSH_EVERY);
        recorder.tick().unwrap();
    };
    // The clock is set back by a day while samples go on.
    pass(1, 1, -86_399);
    tick(&mut recorder);
    recorder.block(&block(1, 1, 10_000, 10_000)).unwrap();
    pass(1, 1, 1);
    // An hour of sleep; the scope comes back as another stream a second later.
    pass(0, 3_600, 3_600);
    tick(&mut recorder);
    pass(1, 1, 1);
    recorder.stream(&stream(2, &[0])).unwrap();
    recorder.block(&block(2, 1, 0, 10_000)).unwrap();
    let _ = recorder.finish().unwrap();

    let recording = Recording::open(&path).unwrap();
    let entries: Vec<_> = recording.entries().unwrap().map(Result::unwrap).collect();
    let at = |n: usize| entries[n].at.as_secs_f64();
    let said = |n: usize| match &entries[n].item {
        Item::Note(note) => note.text.clone(),
        other => panic!("{other:?}"),
    };
    assert_eq!(entries.len(), 5);
    assert!(said(1).contains("set back by 86400 s"), "{}", said(1));
    assert!((at(2) - 1.0).abs() < 1e-9, "{}", at(2));
    assert!(said(3).contains("slept for 3600 s"), "{}", said(3));
    // 3,603 s have passed; the block of one second that arrives then began a second before.
    assert!((at(4) - 3_602.0).abs() < 1e-6, "{}", at(4));
}
