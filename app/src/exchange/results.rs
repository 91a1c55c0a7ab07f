//! The results of a recording, one row per engine cycle.

pub(crate) mod columns;
mod gatherer;
mod row;

use super::samples::SOFTWARE;
use super::table::Table;
use crate::fault::Fault;
use crate::session::analyser::Analyser;
use crate::session::orders::Script;
use crate::setup::Setup;
use crate::work::Progress;
use gatherer::Gatherer;
use keyway_acquisition::export::Form;
use keyway_acquisition::recording::reader::Recording;
use std::ops::Range;
use std::path::Path;
use std::sync::Arc;

/// Parts into which a cycle is cut to know its begin and end: the steps between must be shorter than
/// what the crank's teeth are kept for.
const PARTS: u16 = 36;

/// What is asked for.
#[derive(Debug, Clone, PartialEq)]
pub struct Order {
    /// Form of the file.
    pub form: Form,
    /// Seconds since the start of the recording: cycles that begin and end in it.
    pub span: Range<f64>,
    /// One stream alone, from 1.
    pub stream: Option<usize>,
    /// Whether a file of that name is replaced.
    pub replace: bool,
}

/// What was written.
#[derive(Debug, Clone, PartialEq)]
pub struct Written {
    /// Engine cycles.
    pub rows: u64,
    /// Names of the columns.
    pub columns: Vec<String>,
    /// Streams that were measured.
    pub streams: usize,
    /// Bytes of the file.
    pub bytes: u64,
    /// What could not be read.
    pub remarks: Vec<String>,
}

/// Measures the recording from its begin, so that the figures are those of a live session, and writes
/// a row for each engine cycle of the span. Nothing is left of the file when it fails or is stopped.
pub fn export(
    recording: &Recording,
    setup: &Setup,
    order: &Order,
    out: &Path,
    progress: &Progress,
) -> Result<Written, Fault> {
    let have = recording.streams().count();
    if let Some(wanted) = order.stream
        && !(1..=have).contains(&wanted)
    {
        return Err(Fault::Export(Arc::from(format!(
            "there is no stream {wanted}: the recording has {have}, counted from 1"
        ))));
    }
    let about = [("keyway", columns::about(recording, setup))];
    let columns = columns::of(&setup.sheet);
    let mut table = Table::begin(out, order.form, order.replace, columns, &about)?;
    let mut remarks = Vec::new();
    let streams = measure(recording, setup, order, progress, &mut table, &mut remarks)?;
    if table.rows() == 0 {
        return Err(Fault::Export(Arc::from(
            "no complete engine cycle was found in the span: without a crank whose teeth fit the engine sheet there are no results per cycle; `keyway analyse` tells what is in the way",
        )));
    }
    Ok(Written {
        rows: table.rows(),
        columns: table.columns().iter().map(|c| c.name.clone()).collect(),
        streams,
        bytes: table.finish()?,
        remarks,
    })
}

fn measure(
    recording: &Recording,
    setup: &Setup,
    order: &Order,
    progress: &Progress,
    table: &mut Table,
    remarks: &mut Vec<String>,
) -> Result<usize, Fault> {
    let read = |e: keyway_acquisition::recording::error::ReadError| {
        Fault::Recording(Arc::from(e.to_string()))
    };
    let length = recording.duration().as_secs_f64().min(order.span.end);
    let mut analyser = Analyser::new(setup.clone());
    let mut script = Script::of(recording);
    let mut gatherer: Option<Gatherer> = None;
    let mut streams = 0;
    let mut blocks = recording.blocks().map_err(read)?;
    while let Some(block) = blocks.next() {
        progress.check()?;
        let block = match block {
            Ok(block) => block,
            Err(e) => {
                remarks.push(e.to_string());
                continue;
            }
        };
        let position = blocks.position().as_secs_f64();
        progress.set(position / length.max(1e-3));
        let place = recording
            .streams()
            .position(|s| s.generation == block.generation);
        let stream = recording.stream(block.generation);
        let (Some(place), Some(stream)) = (place, stream) else {
            continue;
        };
        if gatherer.as_ref().map(Gatherer::stream) != Some(place + 1) {
            if let Some(open) = gatherer.take() {
                open.finish(&mut analyser, table)?;
            }
            if order.stream.is_some_and(|wanted| wanted != place + 1) {
                continue;
            }
            streams += 1;
            analyser.begin(stream)?;
            analyser.collect_series();
            analyser.collect_cycles(PARTS);
            script.begin(&mut analyser, block.generation, block.first_index);
            let begin = position - block.len() as f64 / stream.rate_hz;
            gatherer = Some(Gatherer::begin(
                place + 1,
                begin,
                &block,
                stream.rate_hz,
                &setup.sheet,
                order.span.clone(),
            ));
        }
        script.feed(&mut analyser, &block);
        if let Some(open) = &mut gatherer {
            open.take(&mut analyser, block.end_index(), table)?;
            if open.is_done() {
                break;
            }
        }
    }
    if let Some(open) = gatherer {
        open.finish(&mut analyser, table)?;
    }
    Ok(streams)
}

/// What holds for the whole table.
fn described(recording: &Recording) -> (String, u64, &'static str) {
    let name = recording.path().file_name().unwrap_or_default();
    (
        name.to_string_lossy().into_owned(),
        recording.header().started_ns,
        SOFTWARE,
    )
}
