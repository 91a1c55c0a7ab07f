//! Recordings written, cut, damaged and read again.

mod damage;
mod disk_full;
mod golden;
mod interruption;
mod overview;
mod round_trip;
mod sight;

use super::header::RecordingHeader;
use super::reader::Recording;
use super::writer::Recorder;
use crate::block::{ChannelInfo, DeviceInfo, SampleBlock, StreamInfo};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU32, Ordering};

/// A folder that is gone after the test.
struct Folder(PathBuf);

impl Folder {
    fn new() -> Self {
        static COUNT: AtomicU32 = AtomicU32::new(0);
        let n = COUNT.fetch_add(1, Ordering::Relaxed);
        let path = std::env::temp_dir().join(format!("keyway-rec-{}-{n}", std::process::id()));
        std::fs::create_dir_all(&path).unwrap();
        Self(path)
    }
    fn file(&self, name: &str) -> PathBuf {
        self.0.join(name)
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

fn header() -> RecordingHeader {
    RecordingHeader {
        started_ns: 1_790_000_000_000_000_000,
        operator: "R. Okafor".into(),
        note: "hesitates when hot".into(),
        software: "test 1".into(),
        engine_sheet: "name = \"Van\"\n# comments are kept\n".into(),
        lead_plan: "name = \"Plan\"\n".into(),
        import_plan: "# from capture.csv\n".into(),
    }
}

fn stream(generation: u64, enabled: &[usize]) -> StreamInfo {
    let channels = (1..=8)
        .map(|n| ChannelInfo {
            name: format!("IN {n}"),
            unit: "V".into(),
            scale: 0.001,
            offset: -0.5,
            bits: 12,
            low: -20.0,
            high: 20.0,
        })
        .collect();
    StreamInfo {
        device: DeviceInfo {
            maker: "Invented".into(),
            model: "Eight".into(),
            serial: "7".into(),
            firmware: "1.0".into(),
            channels,
            max_rate_hz: 1e6,
        },
        generation,
        rate_hz: 10_000.0,
        enabled: enabled.to_vec(),
    }
}

/// Samples that differ per channel and index, extremes included.
fn block(generation: u64, channels: usize, first_index: u64, length: u64) -> SampleBlock {
    let sample = |c: u64, i: u64| {
        let mixed = (i + 1).wrapping_mul(0x9E37_79B9_7F4A_7C15 ^ (c << 17)) >> 40;
        i16::from_le_bytes([mixed.to_le_bytes()[0], mixed.to_le_bytes()[1]])
    };
    SampleBlock {
        generation,
        first_index,
        channels: (0..channels as u64)
            .map(|c| {
                (first_index..first_index + length)
                    .map(|i| sample(c, i))
                    .collect()
            })
            .collect(),
    }
}

/// Twelve blocks in twelve chunks.
fn twelve(path: &Path) -> Vec<SampleBlock> {
    let mut recorder = Recorder::create(path, &header()).unwrap();
    recorder.stream(&stream(3, &[0, 4])).unwrap();
    let blocks: Vec<_> = (0..12).map(|n| block(3, 2, n * 50, 50)).collect();
    for b in &blocks {
        recorder.block(b).unwrap();
        recorder.flush().unwrap();
    }
    let _ = recorder.finish().unwrap();
    blocks
}

fn readable(recording: &Recording) -> Vec<SampleBlock> {
    recording.blocks().unwrap().filter_map(Result::ok).collect()
}
