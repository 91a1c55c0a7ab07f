//! A folder of jobs as one table: a row per recording, stream and cam.
//!
//! Plates, vehicle identification numbers and the names of folders stay out of it unless they are
//! asked for: such a table is made to be passed on, and in many countries a plate is personal data.

mod columns;
mod earlier;
mod found;
mod row;

use super::samples::SOFTWARE;
use super::table::{Cell, Table};
use crate::fault::Fault;
use crate::session::analyser::Analyser;
use crate::session::orders::Script;
use crate::session::playback;
use crate::survey::{self, Survey};
use crate::work::Progress;
use earlier::Earlier;
use keyway_acquisition::export::Form;
use sha2::{Digest, Sha256};
use std::collections::BTreeMap;
use std::fs::File;
use std::io::Read;
use std::path::{Path, PathBuf};

/// What is asked for.
#[derive(Debug, Clone, PartialEq)]
pub struct Order {
    /// Where recordings and jobs are looked for, also in the folders below.
    pub folder: PathBuf,
    /// Form of the table.
    pub form: Form,
    /// Whether plates, vehicle identification numbers and names of folders are in it.
    pub with_plates: bool,
    /// An earlier table: recordings that are in it are not measured again.
    pub keep: Option<PathBuf>,
    /// Whether a file of that name is replaced.
    pub replace: bool,
}

/// What was written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Written {
    /// Rows.
    pub rows: u64,
    /// Recordings found.
    pub recordings: usize,
    /// Of these, taken from the earlier table.
    pub reused: usize,
    /// Of these, not to be read or measured: their row says why.
    pub unreadable: usize,
    /// Bytes of the table.
    pub bytes: u64,
    /// What has to be known besides.
    pub remarks: Vec<String>,
}

/// Collects. Nothing is left of the table when it fails or is stopped.
pub fn collect(order: &Order, out: &Path, progress: &Progress) -> Result<Written, Fault> {
    let mut earlier = match &order.keep {
        Some(path) => Earlier::read(path)?,
        None => Earlier::default(),
    };
    let mut remarks = Vec::new();
    let found = found::below(&order.folder, &mut remarks, progress)?;
    let about = [("keyway", columns::about())];
    let columns = columns::all(order.with_plates);
    let mut table = Table::begin(out, order.form, order.replace, columns, &about)?;
    let whole: u64 = found.iter().map(|f| f.bytes.max(1)).sum();
    let mut done = 0;
    let mut jobs: BTreeMap<PathBuf, String> = BTreeMap::new();
    let mut written = Written {
        rows: 0,
        recordings: found.len(),
        reused: 0,
        unreadable: 0,
        bytes: 0,
        remarks: Vec::new(),
    };
    for found in &found {
        progress.check()?;
        let share = |part: f64| {
            let bytes = done as f64 + part * found.bytes as f64;
            progress.set(bytes / whole as f64);
        };
        let digest = digest(&found.path, progress)?;
        let id = digest.as_ref().ok().map(|d| d[..16].to_owned());
        let job = found.job.as_ref().map(|job| {
            // What cannot be told from the plate: the digits of the job's first recording.
            let key = job.folder.path().to_owned();
            let first = jobs
                .entry(key)
                .or_insert_with(|| id.clone().unwrap_or_default());
            first.chars().take(12).collect::<String>()
        });
        let card = row::card(
            found,
            id.as_deref(),
            job.filter(|j| !j.is_empty()),
            order.with_plates,
        );
        let measured = match (digest, id.as_deref().and_then(|id| earlier.take(id))) {
            (Err(why), _) => {
                written.unreadable += 1;
                vec![row::unreadable(&why, found)]
            }
            (Ok(_), Some(rows)) => {
                written.reused += 1;
                rows
            }
            (Ok(_), None) => match measure(&found.path, progress, share) {
                Ok(rows) => rows,
                Err(Fault::Cancelled) => return Err(Fault::Cancelled),
                Err(fault) => {
                    written.unreadable += 1;
                    vec![row::unreadable(&fault.to_string(), found)]
                }
            },
        };
        for cells in measured {
            table.push(card.iter().cloned().chain(cells).collect())?;
        }
        done += found.bytes.max(1);
        progress.set(done as f64 / whole.max(1) as f64);
    }
    written.rows = table.rows();
    written.bytes = table.finish()?;
    written.remarks = remarks;
    Ok(written)
}

/// The rows of one recording, without what its card and its file say.
fn measure(path: &Path, progress: &Progress, share: impl Fn(f64)) -> Result<Vec<Vec<Cell>>, Fault> {
    let (recording, setup) = playback::open(path)?;
    let length = recording.duration().as_secs_f64().max(1e-3);
    let analyser = Analyser::new(setup.clone());
    let script = Script::of(&recording);
    let mut before = 0.0;
    let mut of_stream = (0, 0.0, 0);
    let surveys: Vec<Survey> =
        survey::watched(&recording, analyser, script, "", false, |block, _| {
            progress.check()?;
            let rate = recording
                .stream(block.generation)
                .map_or(1.0, |s| s.rate_hz);
            if of_stream.0 != block.generation {
                before += of_stream.1;
                of_stream = (block.generation, 0.0, block.first_index);
            }
            of_stream.1 = (block.end_index() - of_stream.2) as f64 / rate;
            share(((before + of_stream.1) / length).min(1.0));
            Ok(())
        })?;
    if surveys.is_empty() {
        return Ok(vec![row::empty(&recording, &setup)]);
    }
    let rows = surveys
        .iter()
        .enumerate()
        .flat_map(|(i, survey)| row::of(&recording, i + 1, survey))
        .collect();
    Ok(rows)
}

/// SHA-256 of a file, or why it cannot be read.
fn digest(path: &Path, progress: &Progress) -> Result<Result<String, String>, Fault> {
    let mut file = match File::open(path) {
        Ok(file) => file,
        Err(e) => return Ok(Err(Fault::unreadable(path, &e).to_string())),
    };
    let mut hasher = Sha256::new();
    let mut piece = vec![0; 1 << 18];
    loop {
        progress.check()?;
        match file.read(&mut piece) {
            Ok(0) => break,
            Ok(n) => hasher.update(&piece[..n]),
            Err(e) => return Ok(Err(Fault::unreadable(path, &e).to_string())),
        }
    }
    Ok(Ok(hasher
        .finalize()
        .iter()
        .map(|byte| format!("{byte:02x}"))
        .collect()))
}

#[cfg(test)]
mod tests;
