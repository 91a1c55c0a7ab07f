//! Captures as text, and what becomes of them.

mod dialects;
mod edges;
mod gaps;
mod refusals;

use super::error::ImportError;
use super::plan::Plan;
use super::summary::Summary;
use super::{Card, run_quietly};
use crate::block::{SampleBlock, StreamInfo};
use crate::recording::reader::{Completeness, Recording};
use std::path::PathBuf;
use std::sync::atomic::{AtomicU32, Ordering};

/// A folder that is gone after the test.
struct Folder(PathBuf);

impl Folder {
    fn new() -> Self {
        static COUNT: AtomicU32 = AtomicU32::new(0);
        let n = COUNT.fetch_add(1, Ordering::Relaxed);
        let path = std::env::temp_dir().join(format!("keyway-imp-{}-{n}", std::process::id()));
        std::fs::create_dir_all(&path).unwrap();
        Self(path)
    }

    fn capture(&self, bytes: &[u8]) -> PathBuf {
        let path = self.0.join("capture.csv");
        std::fs::write(&path, bytes).unwrap();
        path
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

/// An imported capture.
struct Imported {
    summary: Summary,
    stream: StreamInfo,
    blocks: Vec<SampleBlock>,
    recording: Recording,
}

fn plan(toml: &str) -> Plan {
    Plan::from_toml(toml).unwrap()
}

fn import(bytes: &[u8], plan_text: &str) -> Result<Imported, ImportError> {
    let folder = Folder::new();
    let path = folder.capture(bytes);
    let out = folder.0.join("out.mcap");
    let card = Card {
        engine_sheet: "name = \"Van\"\n".to_owned(),
        note: "from the shelf".to_owned(),
        software: "test 1".to_owned(),
    };
    let result = run_quietly(&path, &plan(plan_text), &out, &card);
    if result.is_err() {
        assert!(!out.exists(), "half a recording was left");
    }
    let summary = result?;
    let recording = Recording::open(&out).unwrap();
    assert_eq!(recording.completeness(), Completeness::Complete);
    let stream = recording.streams().next().unwrap().clone();
    Ok(Imported {
        summary,
        stream,
        blocks: recording.blocks().unwrap().map(Result::unwrap).collect(),
        recording,
    })
}

impl Imported {
    /// Index and value of each sample of an input.
    fn values(&self, input: usize) -> Vec<(u64, f64)> {
        let channel = &self.stream.device.channels[input];
        let value = |raw: i16| f64::from(raw) * channel.scale + channel.offset;
        self.blocks
            .iter()
            .flat_map(|b| (b.first_index..).zip(b.channels[input].iter().map(|&raw| value(raw))))
            .collect()
    }

    /// The roles in its lead plan, in order.
    fn roles(&self) -> Vec<String> {
        let plan: toml::Table = self.recording.header().lead_plan.parse().unwrap();
        let leads = plan["leads"].as_array().unwrap();
        let role = |lead: &toml::Value| lead["role"].as_str().unwrap().to_owned();
        leads.iter().map(role).collect()
    }
}
