//! What a recording holds and where: from its summary, or by walking over its records if it has none.

use super::error::ReadError;
use super::header::{
    ENGINE_SHEET, FORMAT, IMPORT_PLAN, LEAD_PLAN, RecordingHeader, SESSION, STREAM,
};
use super::seal::is_whole;
use super::walk::{Walked, head, walk};
use crate::block::StreamInfo;
use mcap::records::{Metadata, Record};
use mcap::sans_io::summary_reader::{SummaryReadEvent, SummaryReader, SummaryReaderOptions};
use mcap::{MAGIC, Summary};
use std::fs::File;
use std::io::{self, BufReader, Read, Seek};
use std::path::Path;

/// A header or stream record is a few kilobytes; a length beyond this is damage, not content.
pub(crate) const RECORD_LIMIT: u64 = 16 << 20;
/// Opcode and length.
pub(crate) const RECORD_HEAD: u64 = 9;

/// One chunk: where it is and what it spans.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct ChunkEntry {
    /// Offset of the record, its opcode included.
    pub offset: u64,
    /// Length of the record, opcode and length field included.
    pub length: u64,
    /// Log time of the first and of the last message.
    pub start_ns: u64,
    pub end_ns: u64,
    /// Whether it may hold notes or lead events.
    pub words: bool,
}

/// How the file ends.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum Completeness {
    /// It was finished.
    #[default]
    Complete,
    /// A fault (a full disk) ended it, properly: all that was recorded is there.
    EndedByFault,
    /// It was never finished (power cut, kill): all complete chunks are there.
    Unfinished {
        /// Bytes at the end that belong to no complete chunk.
        lost_bytes: u64,
    },
}

/// One stream of the recording, with the MCAP channels that carry it, in the order of its blocks.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct StreamEntry {
    pub info: StreamInfo,
    pub channels: Vec<u16>,
}

#[derive(Debug, Clone)]
pub(crate) struct Index {
    pub header: RecordingHeader,
    pub streams: Vec<StreamEntry>,
    /// In file order.
    pub chunks: Vec<ChunkEntry>,
    /// Channels of notes and of lead events.
    pub words: [u16; 2],
    pub completeness: Completeness,
    /// Bytes between sound records that belong to none.
    pub skipped: u64,
    pub size: u64,
}

/// Offsets of the records that are read at once.
#[derive(Default)]
pub(crate) struct Places {
    pub metadata: Vec<u64>,
    pub attachments: Vec<u64>,
    /// Chunks, each with the channels whose messages it states to hold, if it states them.
    pub chunks: Vec<(ChunkEntry, Vec<u16>)>,
}

pub(crate) fn read(path: &Path) -> Result<Index, ReadError> {
    let file = File::open(path).map_err(|e| ReadError::io(path, e))?;
    let size = file.metadata().map_err(|e| ReadError::io(path, e))?.len();
    let mut file = BufReader::new(file);
    let mut magic = [0; MAGIC.len()];
    match file.read_exact(&mut magic) {
        Ok(()) if magic == *MAGIC => {}
        Ok(()) => return Err(ReadError::NotMcap(path.to_owned())),
        Err(e) if e.kind() == io::ErrorKind::UnexpectedEof => {
            // The begin of the magic is the begin of a recording; anything else is something else.
            let n = usize::try_from(size).unwrap_or(0).min(MAGIC.len());
            return Err(if n > 0 && magic[..n] == MAGIC[..n] {
                ReadError::CutInHeader(path.to_owned(), size)
            } else {
                ReadError::NotMcap(path.to_owned())
            });
        }
        Err(e) => return Err(ReadError::io(path, e)),
    }
    let walked = match summary(&mut file, size) {
        Some(summary) => Walked {
            places: from_summary(&summary, size),
            ..Walked::default()
        },
        None => walk(&mut file, size).map_err(|e| ReadError::io(path, e))?,
    };
    assemble(path, &mut file, size, walked)
}

/// The summary, if the file was finished and the summary is sound.
fn summary(file: &mut BufReader<File>, size: u64) -> Option<Summary> {
    let mut reader =
        SummaryReader::new_with_options(SummaryReaderOptions::default().with_file_size(size));
    while let Some(event) = reader.next_event() {
        match event.ok()? {
            SummaryReadEvent::ReadRequest(n) => {
                let n = file.read(reader.insert(n)).ok()?;
                reader.notify_read(n);
            }
            SummaryReadEvent::SeekRequest(to) => reader.notify_seeked(file.seek(to).ok()?),
        }
    }
    let summary = reader.finish()?;
    // One that leaves chunks out is no help; the recorder always writes statistics.
    let chunks = usize::try_from(summary.stats.as_ref()?.chunk_count).ok()?;
    (chunks == summary.chunk_indexes.len()).then_some(summary)
}

fn from_summary(summary: &Summary, size: u64) -> Places {
    let mut chunks: Vec<_> = summary
        .chunk_indexes
        .iter()
        .filter(|c| {
            c.chunk_start_offset
                .checked_add(c.chunk_length)
                .is_some_and(|end| end <= size)
        })
        .map(|c| {
            let entry = ChunkEntry {
                offset: c.chunk_start_offset,
                length: c.chunk_length,
                start_ns: c.message_start_time,
                end_ns: c.message_end_time,
                words: false,
            };
            (entry, c.message_index_offsets.keys().copied().collect())
        })
        .collect();
    chunks.sort_by_key(|(c, _)| c.offset);
    Places {
        metadata: summary.metadata_indexes.iter().map(|m| m.offset).collect(),
        attachments: summary
            .attachment_indexes
            .iter()
            .map(|a| a.offset)
            .collect(),
        chunks,
    }
}

pub(crate) fn little_endian(bytes: &[u8]) -> u64 {
    bytes
        .iter()
        .rev()
        .fold(0, |sum, &b| (sum << 8) | u64::from(b))
}

/// Reads one small record; `None` if it is not sound.
fn record(file: &mut BufReader<File>, at: u64, size: u64) -> io::Result<Option<Record<'static>>> {
    match head(file, at, size)? {
        Some((opcode, length)) if length <= RECORD_LIMIT => {
            let mut body = vec![0; usize::try_from(length).unwrap_or(0)];
            file.read_exact(&mut body)?;
            Ok(mcap::parse_record(opcode, &body)
                .ok()
                .map(Record::into_owned))
        }
        _ => Ok(None),
    }
}

fn assemble(
    path: &Path,
    file: &mut BufReader<File>,
    size: u64,
    walked: Walked,
) -> Result<Index, ReadError> {
    let Walked {
        places,
        completeness,
        skipped,
    } = walked;
    let io = |e| ReadError::io(path, e);
    let damaged = |what| ReadError::Header {
        path: path.to_owned(),
        what,
    };
    // Both stand in the file more than once: what is whole goes before what is not.
    let mut session = None;
    let mut streams: Vec<StreamEntry> = Vec::new();
    for at in places.metadata {
        let Some(Record::Metadata(m)) = record(file, at, size).map_err(io)? else {
            continue;
        };
        if !is_whole(&m) {
            continue;
        }
        if m.name == SESSION && session.is_none() {
            session = Some(m);
        } else if m.name == STREAM
            && let Some(found) = stream(&m)
            && streams
                .iter()
                .all(|s| s.info.generation != found.info.generation)
        {
            streams.push(found);
        }
    }
    let Some(session) = session else {
        return Err(match completeness {
            _ if skipped > 0 => damaged("what it says of itself"),
            Completeness::Unfinished { .. } => ReadError::CutInHeader(path.to_owned(), size),
            Completeness::Complete | Completeness::EndedByFault => {
                ReadError::Foreign(path.to_owned())
            }
        });
    };
    if streams.is_empty() && places.chunks.iter().any(|(c, _)| c.end_ns > 0) {
        return Err(damaged("the description of its streams"));
    }
    let text = |key: &str| session.metadata.get(key).cloned().unwrap_or_default();
    let format = text("format").parse();
    if !format.is_ok_and(|format| (1..=FORMAT).contains(&format)) {
        return Err(ReadError::Version {
            path: path.to_owned(),
            found: text("format"),
        });
    }
    let mut header = RecordingHeader {
        started_ns: text("started_ns")
            .parse()
            .map_err(|_| damaged("the time of the start"))?,
        operator: text("operator"),
        note: text("note"),
        software: text("software"),
        ..RecordingHeader::default()
    };
    let words = ids(&text("channels"))
        .and_then(|ids| <[u16; 2]>::try_from(ids).ok())
        .ok_or_else(|| damaged("the channels of the notes"))?;
    for at in places.attachments {
        if let Some(Record::Attachment {
            header: a, data, ..
        }) = record(file, at, size).map_err(io)?
        {
            // A text that is damaged stands once more further on.
            let Ok(text) = String::from_utf8(data.into_owned()) else {
                continue;
            };
            let place = match a.name.as_str() {
                ENGINE_SHEET => &mut header.engine_sheet,
                LEAD_PLAN => &mut header.lead_plan,
                IMPORT_PLAN => &mut header.import_plan,
                _ => continue,
            };
            if place.is_empty() {
                *place = text;
            }
        }
    }
    let chunks = places
        .chunks
        .into_iter()
        .map(|(mut entry, channels)| {
            entry.words = channels.is_empty() || channels.iter().any(|id| words.contains(id));
            entry
        })
        // The chunk that only announces channels spans no time.
        .filter(|entry| entry.end_ns > 0 || entry.start_ns > 0 || header.started_ns == 0)
        .collect();
    Ok(Index {
        header,
        streams,
        chunks,
        words,
        completeness,
        skipped,
        size,
    })
}

fn stream(m: &Metadata) -> Option<StreamEntry> {
    let info: StreamInfo = serde_json::from_str(m.metadata.get("stream")?).ok()?;
    let channels = ids(m.metadata.get("channels")?)?;
    let sound = info.rate_hz.is_finite() && info.rate_hz > 0.0;
    (sound && channels.len() == info.enabled.len()).then_some(StreamEntry { info, channels })
}

fn ids(list: &str) -> Option<Vec<u16>> {
    if list.is_empty() {
        return Some(Vec::new());
    }
    list.split(',').map(|id| id.parse().ok()).collect()
}
