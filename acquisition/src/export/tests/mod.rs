//! Exports, read again by the libraries of their forms and by our own import.

mod columns;
mod refusals;
mod sound;
mod text;

use super::{Form, Lead, Summary, Watch, Wish, run};
use crate::block::{ChannelInfo, DeviceInfo, SampleBlock, StreamInfo};
use crate::export::error::ExportError;
use crate::recording::header::RecordingHeader;
use crate::recording::reader::Recording;
use crate::recording::writer::Recorder;
use std::ops::Range;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, AtomicU32, Ordering};

/// Samples a second.
const RATE: f64 = 10_000.0;

/// A folder that is gone after the test.
struct Folder(PathBuf);

impl Folder {
    fn new() -> Self {
        static COUNT: AtomicU32 = AtomicU32::new(0);
        let n = COUNT.fetch_add(1, Ordering::Relaxed);
        let path = std::env::temp_dir().join(format!("keyway-export-{}-{n}", std::process::id()));
        std::fs::create_dir_all(&path).unwrap();
        Self(path)
    }
    fn file(&self, name: &str) -> PathBuf {
        self.0.join(name)
    }
    fn names(&self) -> Vec<String> {
        let files = std::fs::read_dir(&self.0).unwrap();
        let mut names: Vec<String> = files
            .map(|f| f.unwrap().file_name().into_string().unwrap())
            .collect();
        names.sort();
        names
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

fn stream(generation: u64, rate_hz: f64, enabled: &[usize]) -> StreamInfo {
    let channel = |name: &str, scale, offset| ChannelInfo {
        name: name.to_owned(),
        unit: "V".to_owned(),
        scale,
        offset,
        bits: 16,
        low: -40.0,
        high: 40.0,
    };
    StreamInfo {
        generation,
        rate_hz,
        enabled: enabled.to_vec(),
        device: DeviceInfo {
            maker: "test".to_owned(),
            model: "test".to_owned(),
            serial: String::new(),
            firmware: String::new(),
            channels: vec![
                channel("IN 1", 0.001, -0.5),
                channel("IN 2", 0.0005, 0.0),
                // No number of decimals writes its counts exactly.
                channel("IN 3", 20.0 / 65_535.0, 0.1),
            ],
            max_rate_hz: rate_hz,
        },
    }
}

/// Count of an input at an index: every value of 16 bits in time, and no two inputs alike.
fn count(input: usize, index: u64) -> i16 {
    let [a, b, ..] = (index * 7919 * (input as u64 + 1)).to_le_bytes();
    i16::from_le_bytes([a, b])
}

fn block(stream: &StreamInfo, indices: Range<u64>) -> SampleBlock {
    SampleBlock {
        generation: stream.generation,
        first_index: indices.start,
        channels: stream
            .enabled
            .iter()
            .map(|&input| indices.clone().map(|i| count(input, i)).collect())
            .collect(),
    }
}

/// Makes a recording of streams, each with the stretches of indices (begin, end) that were received.
fn record(path: &Path, streams: &[(StreamInfo, &[(u64, u64)])]) -> Recording {
    let header = RecordingHeader {
        started_ns: 1_790_000_000_000_000_000,
        ..RecordingHeader::default()
    };
    let mut recorder = Recorder::create(path, &header).unwrap();
    for (stream, stretches) in streams {
        recorder.stream(stream).unwrap();
        for &(from, to) in *stretches {
            let mut at = from;
            while at < to {
                let end = (at + 700).min(to);
                recorder.block(&block(stream, at..end)).unwrap();
                at = end;
            }
        }
    }
    let _bytes = recorder.finish().unwrap();
    Recording::open(path).unwrap()
}

fn lead(input: usize, role: &str, factor: f64) -> Lead {
    Lead {
        input,
        role: role.to_owned(),
        factor,
        unit: None,
    }
}

fn wish(form: Form) -> Wish {
    Wish {
        form,
        leads: vec![lead(1, "crank", 1.0), lead(3, "cam intake", 10.0)],
        span: 0.0..f64::INFINITY,
        stream: None,
        counts: false,
        replace: false,
        software: "test 1".to_owned(),
    }
}

fn export(recording: &Recording, wish: &Wish, out: &Path) -> Result<Summary, ExportError> {
    let watch = Watch {
        progress: &|share| assert!((-1e-9..=1.0 + 1e-9).contains(&share), "{share}"),
        stop: &AtomicBool::new(false),
    };
    run(recording, wish, out, watch)
}
