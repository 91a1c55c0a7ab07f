//! Files that were cut, damaged, or never recordings.

use super::*;
use crate::recording::error::ReadError;
use crate::recording::header::SESSION;
use crate::recording::reader::Completeness;
use mcap::records::Metadata;
use proptest::prelude::*;
use std::collections::BTreeMap;
use std::sync::OnceLock;

/// The finished file of [`twelve`], its blocks, and where each chunk of samples ends.
fn sample() -> &'static (Vec<u8>, Vec<SampleBlock>, Vec<u64>) {
    static SAMPLE: OnceLock<(Vec<u8>, Vec<SampleBlock>, Vec<u64>)> = OnceLock::new();
    SAMPLE.get_or_init(|| {
        let folder = Folder::new();
        let path = folder.file("t.mcap");
        let blocks = twelve(&path);
        let bytes = std::fs::read(&path).unwrap();
        let summary = mcap::Summary::read(&bytes).unwrap().unwrap();
        let ends = summary
            .chunk_indexes
            .iter()
            .filter(|c| c.message_end_time > 0)
            .map(|c| c.chunk_start_offset + c.chunk_length)
            .collect();
        (bytes, blocks, ends)
    })
}

fn open(bytes: &[u8]) -> (Folder, Result<Recording, ReadError>) {
    let folder = Folder::new();
    let path = folder.file("x.mcap");
    std::fs::write(&path, bytes).unwrap();
    let recording = Recording::open(&path);
    (folder, recording)
}

proptest! {
    // Each case writes a file.
    #![proptest_config(ProptestConfig::with_cases(150))]

    /// As after kill -9 or a power cut: whatever the length, all complete chunks are read.
    #[test]
    fn a_cut_file_gives_every_complete_chunk(at in 0usize..sample().0.len()) {
        let (bytes, blocks, ends) = sample();
        let (_folder, recording) = open(&bytes[..at]);
        let complete = ends.iter().filter(|&&end| end <= at as u64).count();
        match recording {
            Ok(recording) => {
                prop_assert_eq!(readable(&recording), &blocks[..complete]);
                prop_assert_eq!(recording.header(), &header());
                prop_assert_eq!(recording.duration().as_millis(), 5 * complete as u128);
                let end = *ends.last().unwrap();
                if (at as u64) < end {
                    let unfinished = matches!(recording.completeness(), Completeness::Unfinished { .. });
                    prop_assert!(unfinished);
                    prop_assert!(recording.shortfall().unwrap().contains("never finished"));
                }
            }
            Err(e) => {
                prop_assert_eq!(complete, 0);
                prop_assert!(matches!(e, ReadError::CutInHeader(..) | ReadError::NotMcap(_)), "{}", e);
            }
        }
    }

    /// Zeros at the end, as some file systems leave after a power cut.
    #[test]
    fn zeros_after_the_cut_change_nothing(chunk in 0usize..12, zeros in 1usize..5000) {
        let (bytes, blocks, ends) = sample();
        let at = usize::try_from(ends[chunk]).unwrap();
        let mut cut = bytes[..at].to_vec();
        cut.resize(at + zeros, 0);
        let (_folder, recording) = open(&cut);
        prop_assert_eq!(readable(&recording.unwrap()), &blocks[..=chunk]);
    }

    /// A flipped byte behind the magic costs at most the chunk it stands in, wherever it stands, and
    /// never invents a sample; with and without the summary.
    #[test]
    fn a_flipped_byte_costs_one_chunk(
        at in mcap::MAGIC.len()..sample().0.len(),
        flip in 1u8..,
        is_cut in any::<bool>(),
    ) {
        let (bytes, blocks, ends) = sample();
        let mut damaged = bytes.clone();
        damaged[at] ^= flip;
        let mut copies = true;
        if is_cut {
            // The copy of the header at the end goes with the cut, and there was no other yet.
            let end = usize::try_from(*ends.last().unwrap()).unwrap();
            damaged.truncate(end);
            let first = usize::try_from(ends[0]).unwrap();
            copies = at > first;
        }
        let (_folder, recording) = open(&damaged);
        match recording {
            Ok(recording) => {
                let read = readable(&recording);
                for block in &read {
                    prop_assert!(blocks.contains(block));
                }
                if copies {
                    prop_assert!(read.len() + 1 >= blocks.len(), "{} of {}", read.len(), blocks.len());
                    prop_assert_eq!(recording.header(), &header());
                }
            }
            Err(e) => prop_assert!(!copies, "{}", e),
        }
    }

    #[test]
    fn any_bytes_after_the_magic_are_refused_or_read(rest: Vec<u8>) {
        let (_folder, recording) = open(&[mcap::MAGIC, &rest].concat());
        if let Ok(recording) = recording {
            let _ = readable(&recording);
        }
    }
}

#[test]
fn a_damaged_chunk_is_reported_and_the_next_ones_read() {
    let (bytes, blocks, ends) = sample();
    let mut damaged = bytes.clone();
    // In the compressed samples of the fourth chunk.
    damaged[usize::try_from(ends[3]).unwrap() - 20] ^= 0x55;
    let (_folder, recording) = open(&damaged);
    let read: Vec<_> = recording.unwrap().blocks().unwrap().collect();
    let good: Vec<_> = read.iter().filter_map(|b| b.as_ref().ok()).collect();
    assert_eq!(good.len(), 11);
    assert_eq!(good[3], &blocks[4]);
    let error = read.iter().find_map(|b| b.as_ref().err()).unwrap();
    assert!(error.to_string().contains("0.0 s"), "{error}");
    assert!(matches!(error, ReadError::Damaged { .. }));
}

#[test]
fn what_is_no_recording_is_refused_with_one_sentence() {
    let foreign = |metadata: Option<Metadata>| {
        let mut bytes = std::io::Cursor::new(Vec::new());
        let mut writer = mcap::Writer::new(&mut bytes).unwrap();
        if let Some(m) = metadata {
            writer.write_metadata(&m).unwrap();
        }
        let _ = writer.finish().unwrap();
        drop(writer);
        bytes.into_inner()
    };
    let later = Metadata {
        name: SESSION.into(),
        metadata: BTreeMap::from([("format".into(), "9".into())]),
    };
    for (bytes, sentence) in [
        (b"".to_vec(), "is not a recording"),
        (b"RIFF....WAVE".to_vec(), "is not a recording"),
        (mcap::MAGIC.to_vec(), "ends after 8 bytes"),
        (foreign(None), "not one that Keyway recorded"),
        (
            foreign(Some(later)),
            "has recording format 9; this program reads format 1",
        ),
    ] {
        let (_folder, recording) = open(&bytes);
        let error = recording.err().unwrap().to_string();
        assert!(error.contains(sentence), "{error}");
        assert_eq!(error.lines().count(), 1);
    }
    let absent = Recording::open(Path::new("/nonexistent/a.mcap"))
        .err()
        .unwrap();
    assert!(absent.to_string().contains("No such file"), "{absent}");
}
