//! A medium without room: recording stops, what was written stays, the file ends properly.

use super::*;
use crate::recording::error::RecordError;
use crate::recording::reader::Completeness;
use crate::recording::store::Store;
use std::fs::File;
use std::io::{self, Write};

/// A file on a medium that holds `room` bytes.
struct Small {
    file: File,
    room: u64,
    used: u64,
}

impl Write for Small {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let free = usize::try_from(self.room - self.used).unwrap();
        if free == 0 {
            return Err(io::ErrorKind::StorageFull.into());
        }
        let n = self.file.write(&bytes[..bytes.len().min(free)])?;
        self.used += n as u64;
        Ok(n)
    }
    fn flush(&mut self) -> io::Result<()> {
        self.file.flush()
    }
}

impl Store for Small {
    fn sync(&mut self) -> io::Result<()> {
        self.file.sync()
    }
    fn cut(&mut self, length: u64) -> io::Result<()> {
        self.used = length;
        self.file.cut(length)
    }
}

#[test]
fn a_full_disk_keeps_all_complete_chunks_and_ends_the_file() {
    // From just after the header on to somewhere in the middle, in steps that meet every part of a chunk.
    let mut ended = 0;
    for room in (5_000..12_000).step_by(333) {
        let folder = Folder::new();
        let path = folder.file("full.mcap");
        let file = File::create(&path).unwrap();
        let small = Small {
            file,
            room,
            used: 0,
        };
        let mut recorder = Recorder::with_store(small, &header()).unwrap();
        recorder.stream(&stream(1, &[0, 1])).unwrap();
        let mut safe = Vec::new();
        let error = loop {
            let b = block(1, 2, 200 * safe.len() as u64, 200);
            let written = recorder.block(&b).and_then(|()| recorder.flush());
            match written {
                Ok(()) => safe.push(b),
                Err(e) => break e,
            }
        };
        let seconds = 0.02 * safe.len() as f64;
        assert!(
            matches!(error, RecordError::DiskFull { seconds: s } if (s - seconds).abs() < 1e-9),
            "{error}"
        );
        assert!(
            error
                .to_string()
                .starts_with("the disk is full: recording stopped at")
        );
        assert!(matches!(
            recorder.block(&block(1, 2, 0, 1)),
            Err(RecordError::Stopped)
        ));
        assert!(matches!(recorder.finish(), Err(RecordError::Stopped)));

        let recording = Recording::open(&path).unwrap();
        // The end takes 50 bytes; where not even those are free, the file is as after a power cut.
        match recording.completeness() {
            Completeness::EndedByFault => ended += 1,
            Completeness::Unfinished { lost_bytes } => {
                assert_eq!(lost_bytes, 0);
                assert!(room - recording.size() < 50);
            }
            Completeness::Complete => panic!("no room for the summary"),
        }
        assert!(recording.shortfall().is_some());
        assert_eq!(readable(&recording), safe);
    }
    assert!(ended > 15, "{ended} of 22");
}

#[test]
fn no_room_for_the_summary_loses_no_sample() {
    let folder = Folder::new();
    let path = folder.file("full.mcap");
    let blocks = twelve(&path);
    let whole = std::fs::read(&path).unwrap();
    let summary = mcap::Summary::read(&whole).unwrap().unwrap();
    let last = summary
        .chunk_indexes
        .iter()
        .map(|c| c.chunk_start_offset + c.chunk_length + c.message_index_length);
    let room = last.max().unwrap() + 100;
    let file = File::create(&path).unwrap();
    let mut recorder = Recorder::with_store(
        Small {
            file,
            room,
            used: 0,
        },
        &header(),
    )
    .unwrap();
    recorder.stream(&stream(3, &[0, 4])).unwrap();
    for b in &blocks {
        recorder.block(b).unwrap();
        recorder.flush().unwrap();
    }
    assert!(matches!(
        recorder.finish(),
        Err(RecordError::DiskFull { .. })
    ));
    let recording = Recording::open(&path).unwrap();
    assert_eq!(recording.completeness(), Completeness::EndedByFault);
    assert_eq!(readable(&recording), blocks);
}

#[cfg(target_os = "linux")]
#[test]
fn the_system_s_own_full_device_is_named() {
    let full = File::options().write(true).open("/dev/full").unwrap();
    let error = Recorder::with_store(full, &header()).err().unwrap();
    assert!(matches!(error, RecordError::DiskFull { .. }), "{error}");
}
