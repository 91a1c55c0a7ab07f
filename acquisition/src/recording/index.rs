//! What a recording holds and where: from its summary, or by walking over its records if it has none.

use super::error::ReadError;
use super::header::{
    ENGINE_SHEET, FORMAT, IMPORT_PLAN, LEAD_PLAN, RecordingHeader, SESSION, STREAM,
};
use crate::block::StreamInfo;
use mcap::records::{Metadata, Record, op};
use mcap::sans_io::summary_reader::{SummaryReadEvent, SummaryReader, SummaryReaderOptions};
use mcap::{MAGIC, Summary};
use std::fs::File;
use std::io::{self, BufReader, Read, Seek, SeekFrom};
use std::path::Path;

/// A header or stream record is a few kilobytes; a length beyond this is damage, not content.
const RECORD_LIMIT: u64 = 16 << 20;
const RECORD_HEAD: u64 = 9;

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
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Completeness {
    /// It was finished.
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
    pub size: u64,
}

/// Offsets of the records that are read at once.
#[derive(Default)]
struct Places {
    metadata: Vec<u64>,
    attachments: Vec<u64>,
    /// Chunks, each with the channels whose messages it states to hold, if it states them.
    chunks: Vec<(ChunkEntry, Vec<u16>)>,
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
    let (places, completeness) = match summary(&mut file, size) {
        Some(summary) => (from_summary(&summary, size), Completeness::Complete),
        None => walk(&mut file, size).map_err(|e| ReadError::io(path, e))?,
    };
    assemble(path, &mut file, size, places, completeness)
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

/// Walks over the records, reading only their heads.
fn walk(file: &mut BufReader<File>, size: u64) -> io::Result<(Places, Completeness)> {
    let mut places = Places::default();
    let mut at = MAGIC.len() as u64;
    loop {
        let unfinished = Completeness::Unfinished {
            lost_bytes: size - at,
        };
        let Some((opcode, length)) = head(file, at, size)? else {
            return Ok((places, unfinished));
        };
        match opcode {
            op::DATA_END => return Ok((places, Completeness::EndedByFault)),
            op::METADATA => places.metadata.push(at),
            op::ATTACHMENT => places.attachments.push(at),
            op::CHUNK if length >= 16 => {
                let mut times = [0; 16];
                file.read_exact(&mut times)?;
                let (start, end) = times.split_at(8);
                let entry = ChunkEntry {
                    offset: at,
                    length: RECORD_HEAD + length,
                    start_ns: little_endian(start),
                    end_ns: little_endian(end),
                    words: false,
                };
                places.chunks.push((entry, Vec::new()));
            }
            op::MESSAGE_INDEX if length >= 2 => {
                let mut id = [0; 2];
                file.read_exact(&mut id)?;
                if let Some((_, channels)) = places.chunks.last_mut() {
                    channels.push(u16::from_le_bytes(id));
                }
            }
            // The opcodes of MCAP 0 end at 0x0f, private ones begin at 0x80. Anything else, zeros
            // for example, is what a power cut left behind.
            1..=0x0f | 0x80..=0xff => {}
            _ => return Ok((places, unfinished)),
        }
        at += RECORD_HEAD + length;
    }
}

/// Opcode and length of the record at `at` if it is complete.
fn head(file: &mut BufReader<File>, at: u64, size: u64) -> io::Result<Option<(u8, u64)>> {
    if size.saturating_sub(at) < RECORD_HEAD {
        return Ok(None);
    }
    let here = file.stream_position()?;
    match at.checked_signed_diff(here) {
        Some(forward) => file.seek_relative(forward)?,
        None => file.seek(SeekFrom::Start(at)).map(|_| ())?,
    }
    let mut head = [0; 9];
    file.read_exact(&mut head)?;
    let (opcode, length) = (head[0], little_endian(&head[1..]));
    let fits = length <= size - at - RECORD_HEAD;
    Ok(fits.then_some((opcode, length)))
}

fn little_endian(bytes: &[u8]) -> u64 {
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
    places: Places,
    completeness: Completeness,
) -> Result<Index, ReadError> {
    let io = |e| ReadError::io(path, e);
    let damaged = |what| ReadError::Header {
        path: path.to_owned(),
        what,
    };
    let mut session = None;
    let mut streams = Vec::new();
    for at in places.metadata {
        match record(file, at, size).map_err(io)? {
            Some(Record::Metadata(m)) if m.name == SESSION => session = Some(m),
            Some(Record::Metadata(m)) if m.name == STREAM => {
                streams.push(stream(&m).ok_or_else(|| damaged("a stream's description"))?);
            }
            _ => {}
        }
    }
    let Some(session) = session else {
        return Err(match completeness {
            Completeness::Unfinished { .. } => ReadError::CutInHeader(path.to_owned(), size),
            _ => ReadError::Foreign(path.to_owned()),
        });
    };
    let text = |key: &str| session.metadata.get(key).cloned().unwrap_or_default();
    if text("format") != FORMAT.to_string() {
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
            let text = || {
                String::from_utf8(data.into_owned()).map_err(|_| damaged("an attachment's text"))
            };
            match a.name.as_str() {
                ENGINE_SHEET => header.engine_sheet = text()?,
                LEAD_PLAN => header.lead_plan = text()?,
                IMPORT_PLAN => header.import_plan = text()?,
                _ => {}
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
