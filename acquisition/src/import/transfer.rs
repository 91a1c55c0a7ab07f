//! The second pass: from rows to samples of a recording.

use super::error::ImportError;
use super::feed::Feed;
use super::layout::Layout;
use super::number::Cell;
use super::plan::{Holes, Kind, TimeUnit};
use super::pulse::{self, Pulses};
use super::range::Scaling;
use super::survey::{self, Survey};
use crate::block::{ChannelInfo, DeviceInfo, SampleBlock, StreamInfo};
use crate::recording::error::RecordError;
use crate::recording::writer::Recorder;
use std::path::{Path, PathBuf};

/// Samples in a block: 40 ms at 200 kS/s. More makes seeking coarser, less costs room.
const BLOCK: usize = 8192;
/// Samples before the first row of edges and after the last, so that its ramps are whole.
const MARGIN: u64 = 4;
/// Volts that stand for a high level, which has none: what a Hall sensor is fed with.
const SENSOR_LEVEL: f64 = 5.0;
/// The same for a command, which switches the supply: half-way through the range of a 12 V system.
const COMMAND_LEVEL: f64 = 12.0;

/// What was written.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Written {
    pub samples: u64,
    /// Samples that the times say are missing, and at how many places.
    pub missing: u64,
    pub gaps: u64,
    /// Rows left out because a column had no number there.
    pub left_out: u64,
    /// Index after the last sample.
    pub end: u64,
}

/// How the values of each column become counts.
pub(crate) fn scalings(layout: &Layout, survey: &Survey) -> Vec<Scaling> {
    layout
        .columns
        .iter()
        .zip(&survey.ranges)
        .map(|(column, range)| match (layout.kind, column.unit) {
            (Kind::Samples, Some(_)) => range.scaling(),
            // Levels from 0 to 1, the middle one at count zero.
            _ => Scaling {
                scale: pulse::scale(1.0),
                offset: 0.5,
                low: 0.5 - pulse::REACH * pulse::scale(1.0),
                high: 0.5 + pulse::REACH * pulse::scale(1.0),
                is_exact: true,
            },
        })
        .collect()
}

/// The columns as the inputs of a device, and the stream that it would send.
pub(crate) fn stream(
    layout: &Layout,
    survey: &Survey,
    scalings: &[Scaling],
    file: &str,
) -> StreamInfo {
    let channels: Vec<ChannelInfo> = layout
        .columns
        .iter()
        .zip(scalings)
        .map(|(column, s)| {
            let (unit, size) = match column.unit {
                Some(unit) => (unit.recorded(), unit.size()),
                None => ("V", level_volts(&column.role)),
            };
            ChannelInfo {
                name: column.name.clone(),
                unit: unit.to_owned(),
                scale: s.scale * size,
                offset: s.offset * size,
                bits: 16,
                low: s.low * size,
                high: s.high * size,
            }
        })
        .collect();
    StreamInfo {
        generation: 1,
        rate_hz: survey.rate,
        enabled: (0..channels.len()).collect(),
        device: DeviceInfo {
            maker: "imported file".to_owned(),
            model: file.to_owned(),
            serial: format!("sha256:{}", survey.digest),
            firmware: String::new(),
            channels,
            max_rate_hz: survey.rate,
        },
    }
}

/// Volts between the two levels of a column of levels.
pub(crate) fn level_volts(role: &str) -> f64 {
    if role.starts_with("command") {
        COMMAND_LEVEL
    } else {
        SENSOR_LEVEL
    }
}

/// Blocks on their way into a recording.
struct Sink<'a> {
    recorder: &'a mut Recorder,
    out: PathBuf,
    block: SampleBlock,
    written: Written,
}

impl<'a> Sink<'a> {
    fn new(recorder: &'a mut Recorder, out: &Path, channels: usize) -> Self {
        Self {
            recorder,
            out: out.to_owned(),
            block: SampleBlock {
                generation: 1,
                first_index: 0,
                channels: vec![Vec::with_capacity(BLOCK); channels],
            },
            written: Written::default(),
        }
    }

    /// Index after the last sample that waits.
    fn end(&self) -> u64 {
        self.block.end_index()
    }

    /// The next sample has this index.
    fn seek(&mut self, index: u64) -> Result<(), ImportError> {
        if index != self.end() || self.block.len() >= BLOCK {
            self.flush()?;
            self.block.first_index = index;
        }
        Ok(())
    }

    fn flush(&mut self) -> Result<(), ImportError> {
        self.recorder
            .block(&self.block)
            .map_err(|e| unwritten(e, &self.out))?;
        self.written.samples += self.block.len() as u64;
        self.written.end = self.end();
        self.block.first_index = self.end();
        self.block.channels.iter_mut().for_each(Vec::clear);
        Ok(())
    }
}

/// What a fault of the recording means when nothing of it is kept.
pub(crate) fn unwritten(error: RecordError, out: &Path) -> ImportError {
    match error {
        RecordError::DiskFull { .. } => ImportError::DiskFull(out.to_owned()),
        RecordError::Write { source, .. } => ImportError::Unwritable(out.to_owned(), source),
        other => ImportError::Write(other),
    }
}

/// Writes all samples.
pub(crate) fn run(
    path: &Path,
    out: &Path,
    layout: &Layout,
    survey: &Survey,
    scalings: &[Scaling],
    feed: &mut Feed<'_>,
    recorder: &mut Recorder,
) -> Result<Written, ImportError> {
    let mut sink = Sink::new(recorder, out, layout.columns.len());
    match layout.kind {
        Kind::Samples => samples(path, layout, survey, scalings, feed, &mut sink)?,
        Kind::Edges => edges(layout, survey, feed, &mut sink)?,
    }
    sink.flush()?;
    if feed.count != survey.rows {
        return Err(ImportError::Changed(path.to_owned()));
    }
    Ok(sink.written)
}

fn samples(
    path: &Path,
    layout: &Layout,
    survey: &Survey,
    scalings: &[Scaling],
    feed: &mut Feed<'_>,
    sink: &mut Sink<'_>,
) -> Result<(), ImportError> {
    let step = match layout.time.unit {
        TimeUnit::Sample => 1.0,
        unit => 1.0 / (survey.rate * unit.seconds().unwrap_or(1.0)),
    };
    let mut clock = survey.clock.as_ref().map(|clock| clock.again(step));
    let mut held: Vec<Option<i16>> = vec![None; layout.columns.len()];
    let mut row = vec![0i16; layout.columns.len()];
    let (mut index, mut before) = (0u64, 0.0);
    while feed.advance()? {
        if let Some(clock) = &mut clock {
            let missing = survey::place(clock, feed, before)?;
            index += missing;
            sink.written.missing += missing;
            sink.written.gaps += u64::from(missing > 0);
        }
        before = feed.time;
        let mut is_whole = true;
        for (i, column) in layout.columns.iter().enumerate() {
            let s = &scalings[i];
            let value = match feed.cells[i] {
                Cell::Number(x) => Some(x),
                Cell::Above => Some(survey.ranges[i].high),
                Cell::Below => Some(survey.ranges[i].low),
                Cell::Hole => None,
            };
            let count = match value {
                Some(x) => {
                    let count = s.count(x);
                    Some(count.ok_or_else(|| ImportError::Changed(path.to_owned()))?)
                }
                None if column.holes == Holes::Hold => held[i],
                None => None,
            };
            match count {
                Some(count) => {
                    held[i] = Some(count);
                    row[i] = count;
                }
                None => is_whole = false,
            }
        }
        if is_whole {
            sink.seek(index)?;
            for (channel, &count) in sink.block.channels.iter_mut().zip(&row) {
                channel.push(count);
            }
        } else {
            sink.written.left_out += 1;
        }
        index += 1;
    }
    Ok(())
}

fn edges(
    layout: &Layout,
    survey: &Survey,
    feed: &mut Feed<'_>,
    sink: &mut Sink<'_>,
) -> Result<(), ImportError> {
    let per_unit = survey::edge_unit(layout) * survey.rate;
    let mut columns: Vec<(bool, Pulses)> = survey
        .levels
        .iter()
        .map(|levels| {
            // Before its first row a column is at the level it has there.
            let level = levels.first.unwrap_or(false);
            (level, Pulses::new(level))
        })
        .collect();
    let mut at = 0.0;
    while feed.advance()? {
        at = (feed.time - survey.first) * per_unit + MARGIN as f64;
        for (i, (level, pulses)) in columns.iter_mut().enumerate() {
            if let Some(now) = survey::level(feed, layout, i)?
                && now != *level
            {
                pulses.edge(at);
                *level = now;
            }
        }
        // Later edges reach back one sample.
        fill(&mut columns, before(at), sink)?;
    }
    fill(&mut columns, before(at) + 1 + MARGIN, sink)
}

/// Samples up to this index, not including it.
fn fill(columns: &mut [(bool, Pulses)], to: u64, sink: &mut Sink<'_>) -> Result<(), ImportError> {
    while sink.end() < to {
        let from = sink.end();
        sink.seek(from)?;
        let room = (BLOCK - sink.block.len()) as u64;
        let until = to.min(from + room);
        for ((_, pulses), channel) in columns.iter_mut().zip(&mut sink.block.channels) {
            pulses.samples(from, until, channel);
        }
    }
    Ok(())
}

/// The last index that an edge at `at` or later does not reach.
#[allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "an index, at least the margin"
)]
fn before(at: f64) -> u64 {
    (at - 1.0).floor().max(0.0) as u64
}
