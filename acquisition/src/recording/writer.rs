//! The recorder. Synchronous: it runs on a thread of its own, fed by a lossless lane.

use super::clock::{self, Clock, Moment, SystemClock};
use super::error::RecordError;
use super::header::{
    ENGINE_SHEET, FORMAT, IMPORT_PLAN, LEAD_EVENTS, LEAD_PLAN, LeadEvent, NOTES, Note, PROFILE,
    RecordingHeader, SAMPLE_ENCODING, SESSION, STREAM,
};
use super::overview::Companion;
use super::samples;
use super::seal::sealed;
use super::store::{Shared, Store};
use crate::block::{SampleBlock, StreamInfo};
use mcap::records::{MessageHeader, Metadata, op};
use mcap::write::NoSeek;
use mcap::{Attachment, Compression, McapError, WriteOptions};
use serde::Serialize;
use std::borrow::Cow;
use std::collections::BTreeMap;
use std::fs::File;
use std::io::{self, BufWriter, Write};
use std::path::Path;
use std::sync::Arc;
use std::time::{Duration, Instant};

/// After this time what was written is pushed out and synced, so that a power cut loses no more.
pub const FLUSH_EVERY: Duration = Duration::from_millis(200);
/// After the first second, and then after this time again and again, the header is written once
/// more: some 10 kB, far less than the samples.
const DESCRIBE_EVERY: Duration = Duration::from_secs(60);
const DESCRIBE_FIRST: Duration = Duration::from_secs(1);
/// A chunk is closed at this many raw bytes even before that: the reader holds one chunk in memory.
const CHUNK_BYTES: usize = 1 << 20;
/// Gathers small writes; a chunk is written in one go.
const BUFFER_BYTES: usize = 1 << 18;

type Writer<S> = mcap::Writer<NoSeek<BufWriter<Shared<S>>>>;

/// Writes one recording. Dropping it finishes the file as well, but only [`Self::finish`] tells of faults.
pub struct Recorder<S: Store = File> {
    /// `None` once finished or stopped by a fault.
    writer: Option<Writer<S>>,
    store: Shared<S>,
    started_ns: u64,
    clock: Box<dyn Clock>,
    opened: Moment,
    /// The clocks when they were looked at last.
    looked: Moment,
    streams: Vec<Stream>,
    header: RecordingHeader,
    /// When the header is to be written once more.
    describe_at: Instant,
    words: [u16; 2],
    /// End of the last sample, in log time.
    end_ns: u64,
    /// The file is whole up to here, and holds the samples up to there.
    safe_bytes: u64,
    safe_ns: u64,
    chunk_bytes: usize,
    flushed: Instant,
    sequence: u32,
    scratch: Vec<u8>,
    /// The overview that grows beside the file, while it can.
    overview: Option<Companion>,
}

struct Stream {
    info: StreamInfo,
    channels: Vec<u16>,
    /// Log time of one sample, and its index; known from the first block on.
    anchor: Option<(u64, u64)>,
}

impl Recorder<File> {
    /// Makes the file, which must not exist yet, and writes the header through to the disk. Its
    /// overview grows beside it.
    pub fn create(path: &Path, header: &RecordingHeader) -> Result<Self, RecordError> {
        let file = File::options()
            .write(true)
            .create_new(true)
            .open(path)
            .map_err(|e| match e.kind() {
                io::ErrorKind::AlreadyExists => RecordError::Exists(path.to_owned()),
                _ => RecordError::Create(path.to_owned(), Arc::new(e)),
            })?;
        let mut recorder = Self::with_store(file, header)
            .inspect(|_| keep_name(path))
            .inspect_err(|_| {
                // Nothing was recorded yet; a stump would only be in the way of the next attempt.
                if let Err(e) = std::fs::remove_file(path) {
                    tracing::warn!("cannot remove {}: {e}", path.display());
                }
            })?;
        recorder.overview = Companion::beside(path, header);
        Ok(recorder)
    }
}

impl<S: Store> Recorder<S> {
    /// Begins a recording in any store.
    pub fn with_store(store: S, header: &RecordingHeader) -> Result<Self, RecordError> {
        Self::with_clock(store, header, Box::new(SystemClock))
    }

    pub(crate) fn with_clock(
        store: S,
        header: &RecordingHeader,
        clock: Box<dyn Clock>,
    ) -> Result<Self, RecordError> {
        let store = Shared::new(store);
        let (writer, words) = begin(store.handle(), header).map_err(|e| fault(e, 0.0))?;
        let now = Instant::now();
        let opened = clock.now();
        let mut recorder = Self {
            writer: Some(writer),
            store,
            started_ns: header.started_ns,
            clock,
            opened,
            looked: opened,
            streams: Vec::new(),
            header: header.clone(),
            describe_at: now + DESCRIBE_FIRST,
            words,
            end_ns: header.started_ns,
            safe_bytes: 0,
            safe_ns: header.started_ns,
            chunk_bytes: 0,
            flushed: now,
            sequence: 0,
            scratch: Vec::new(),
            overview: None,
        };
        recorder.flush()?;
        Ok(recorder)
    }

    /// Announces a stream; its blocks follow. A reconnection is another stream.
    pub fn stream(&mut self, info: &StreamInfo) -> Result<(), RecordError> {
        if self
            .streams
            .iter()
            .any(|s| s.info.generation == info.generation)
        {
            return Ok(());
        }
        let result = match &mut self.writer {
            Some(w) => announce(w, info),
            None => return Err(RecordError::Stopped),
        };
        let channels = self.keep(result)?;
        self.streams.push(Stream {
            info: info.clone(),
            channels,
            anchor: None,
        });
        self.flush()
    }

    /// Records one block exactly as it came, its index included.
    pub fn block(&mut self, block: &SampleBlock) -> Result<(), RecordError> {
        let Some(position) = self
            .streams
            .iter()
            .rposition(|s| s.info.generation == block.generation)
        else {
            return Err(RecordError::UnknownStream {
                generation: block.generation,
            });
        };
        let expected = self.streams[position].channels.len();
        let found = block
            .channels
            .iter()
            .filter(|c| c.len() == block.len())
            .count();
        if found != expected || block.channels.len() != expected {
            return Err(RecordError::Shape { found, expected });
        }
        if block.is_empty() {
            return Ok(());
        }
        let log_time = self.log_time(position, block);
        let mut scratch = std::mem::take(&mut self.scratch);
        let sequence = self.sequence;
        let result = match &mut self.writer {
            None => return Err(RecordError::Stopped),
            Some(w) => {
                let ids = &self.streams[position].channels;
                ids.iter()
                    .zip(&block.channels)
                    .try_for_each(|(&channel_id, channel)| {
                        samples::encode(block.first_index, channel, &mut scratch);
                        self.chunk_bytes += scratch.len();
                        w.write_to_known_channel(
                            &MessageHeader {
                                channel_id,
                                sequence,
                                log_time,
                                publish_time: log_time,
                            },
                            &scratch,
                        )
                    })
            }
        };
        self.scratch = scratch;
        self.sequence = self.sequence.wrapping_add(1);
        self.keep(result)?;
        let rate_hz = self.streams[position].info.rate_hz;
        if let Some(overview) = &mut self.overview {
            overview.block(log_time.saturating_sub(self.started_ns), rate_hz, block);
        }
        let length = block.len() as f64 / rate_hz;
        self.end_ns = self.end_ns.max(log_time + nanoseconds(length));
        if self.chunk_bytes >= CHUNK_BYTES {
            self.close_chunk()?;
        }
        self.tick()
    }

    /// Writes a note at the present end of the samples.
    pub fn note(&mut self, note: &Note) -> Result<(), RecordError> {
        self.word(0, note)
    }

    /// Writes a lead event at the present end of the samples.
    pub fn lead_event(&mut self, event: &LeadEvent) -> Result<(), RecordError> {
        self.word(1, event)
    }

    /// Flushes and syncs when it is time to. Call it too when no samples arrive.
    pub fn tick(&mut self) -> Result<(), RecordError> {
        if self.flushed.elapsed() < FLUSH_EVERY {
            return Ok(());
        }
        let before = std::mem::replace(&mut self.looked, self.clock.now());
        if let Some(text) = clock::upset(before, self.looked) {
            tracing::warn!("{text}");
            self.write_word(0, &Note { text, order: None })?;
        }
        if Instant::now() >= self.describe_at {
            self.describe_again()?;
        }
        self.flush()
    }

    /// Header and streams once more.
    fn describe_again(&mut self) -> Result<(), RecordError> {
        self.close_chunk()?;
        let result = match &mut self.writer {
            None => return Err(RecordError::Stopped),
            Some(w) => describe(w, &self.header, self.words).and_then(|()| {
                (self.streams.iter()).try_for_each(|s| outline(w, &s.info, &s.channels))
            }),
        };
        self.describe_at = Instant::now() + DESCRIBE_EVERY;
        self.keep(result)
    }

    /// Pushes everything out and returns when it is on the medium.
    pub fn flush(&mut self) -> Result<(), RecordError> {
        self.close_chunk()?;
        let synced = self.store.sync().map_err(McapError::from);
        self.keep(synced)?;
        // After the sync: a page never tells of samples that a power cut can still take.
        self.overview = self.overview.take().and_then(Companion::synced);
        self.flushed = Instant::now();
        Ok(())
    }

    /// Bytes written so far.
    pub fn bytes(&self) -> u64 {
        self.store.written()
    }

    /// Seconds recorded so far, pauses between streams included.
    pub fn seconds(&self) -> f64 {
        seconds_between(self.started_ns, self.end_ns)
    }

    /// Writes the summary and the end, and syncs.
    pub fn finish(mut self) -> Result<u64, RecordError> {
        self.end()?;
        Ok(self.store.written())
    }

    fn end(&mut self) -> Result<(), RecordError> {
        self.describe_again()?;
        let result = match &mut self.writer {
            None => return Err(RecordError::Stopped),
            // The summary takes its own closing flush: finish() does not flush the buffer below.
            Some(w) => w.finish().map(|_| ()),
        };
        self.keep(result)?;
        let flushed = match self.writer.take() {
            Some(w) => w.into_inner().into_inner().flush(),
            None => Ok(()),
        };
        let result = flushed
            .and_then(|()| self.store.sync())
            .map_err(McapError::from);
        self.keep(result)?;
        if let Some(overview) = self.overview.take() {
            overview.finish(self.safe_bytes);
        }
        Ok(())
    }

    fn word<T: Serialize>(&mut self, which: usize, word: &T) -> Result<(), RecordError> {
        self.write_word(which, word)?;
        self.tick()
    }

    fn write_word<T: Serialize>(&mut self, which: usize, word: &T) -> Result<(), RecordError> {
        let result = match &mut self.writer {
            None => return Err(RecordError::Stopped),
            Some(w) => json(word).and_then(|bytes| {
                w.write_to_known_channel(
                    &MessageHeader {
                        channel_id: self.words[which],
                        sequence: self.sequence,
                        log_time: self.end_ns,
                        publish_time: self.end_ns,
                    },
                    &bytes,
                )
            }),
        };
        self.keep(result)
    }

    fn close_chunk(&mut self) -> Result<(), RecordError> {
        let result = match &mut self.writer {
            None => return Err(RecordError::Stopped),
            Some(w) => w.flush(),
        };
        self.keep(result)?;
        self.chunk_bytes = 0;
        self.safe_bytes = self.store.written();
        self.safe_ns = self.end_ns;
        if let Some(overview) = &mut self.overview {
            overview.chunk(self.safe_bytes);
        }
        Ok(())
    }

    /// The first stream begins with the recording; a later one where the clock of this computer
    /// puts it, never before the end of the one before. Within a stream only the index counts.
    fn log_time(&mut self, position: usize, block: &SampleBlock) -> u64 {
        let length = block.len() as f64 / self.streams[position].info.rate_hz;
        let (time, index) = *self.streams[position].anchor.get_or_insert_with(|| {
            let passed = self.clock.now().elapsed.saturating_sub(self.opened.elapsed);
            let arrived = self.started_ns + nanoseconds(passed.as_secs_f64());
            let begin = if position == 0 {
                self.started_ns
            } else {
                self.end_ns.max(arrived.saturating_sub(nanoseconds(length)))
            };
            (begin, block.first_index)
        });
        let since = block.first_index.saturating_sub(index);
        time.saturating_add(nanoseconds(
            since as f64 / self.streams[position].info.rate_hz,
        ))
    }

    /// On a fault: keeps the file up to its last complete chunk and ends it properly.
    fn keep<T>(&mut self, result: Result<T, McapError>) -> Result<T, RecordError> {
        result.map_err(|e| {
            // It holds samples that are not kept; what is written of it stays good.
            self.overview = None;
            if let Some(writer) = self.writer.take() {
                // Whatever the buffers still push out while they are dropped is cut off again.
                drop(writer.into_inner());
            }
            let mended = self.store.cut(self.safe_bytes).and_then(|()| {
                let mut store = self.store.handle();
                store
                    .write_all(&end_without_summary())
                    .and_then(|()| store.flush())
                    // Not even room for the end: the file is then as after a power cut, and reads as well.
                    .or_else(|_| self.store.cut(self.safe_bytes))?;
                self.store.sync()
            });
            if let Err(e) = mended {
                tracing::warn!("the recording has no end, but reads up to its last chunk: {e}");
            }
            fault(e, seconds_between(self.started_ns, self.safe_ns))
        })
    }
}

impl<S: Store> Drop for Recorder<S> {
    fn drop(&mut self) {
        if self.writer.is_some()
            && let Err(e) = self.end()
        {
            tracing::warn!("{e}");
        }
    }
}

/// Makes the file's name as durable as its bytes: after a power cut a folder may have forgotten a new
/// file. Where a system cannot do it, it does so by itself soon enough.
fn keep_name(path: &Path) {
    let folder = path
        .parent()
        .filter(|folder| !folder.as_os_str().is_empty())
        .unwrap_or(Path::new("."));
    if let Err(e) = File::open(folder).and_then(|folder| folder.sync_all()) {
        tracing::debug!("{} is not synced: {e}", folder.display());
    }
}

fn begin<S: Store>(
    store: Shared<S>,
    header: &RecordingHeader,
) -> Result<(Writer<S>, [u16; 2]), McapError> {
    let options = WriteOptions::new()
        .profile(PROFILE)
        .compression(Some(Compression::Zstd))
        .compression_level(1)
        // Compression on the recorder thread: at the highest rate it takes a few percent of a core.
        .compression_threads(0)
        // Chunks are closed by this file alone, so that a block never straddles two.
        .chunk_size(None)
        .disable_seeking(true);
    let mut w = options.create(NoSeek::new(BufWriter::with_capacity(BUFFER_BYTES, store)))?;
    let schema = |w: &mut Writer<S>, name: &str, fields: &str| {
        w.add_schema(name, "jsonschema", fields.as_bytes())
    };
    let notes = schema(
        &mut w,
        "keyway.Note",
        r#"{"type":"object","properties":{"text":{"type":"string"},"order":{"type":"object"}}}"#,
    )?;
    let leads = schema(
        &mut w,
        "keyway.LeadEvent",
        r#"{"type":"object","properties":{"input":{"type":"integer"},"role":{"type":"string"},"life":{"type":"string"},"text":{"type":"string"}}}"#,
    )?;
    let none = BTreeMap::new();
    let words = [
        w.add_channel(notes, NOTES, "json", &none)?,
        w.add_channel(leads, LEAD_EVENTS, "json", &none)?,
    ];
    describe(&mut w, header, words)?;
    Ok((w, words))
}

/// Writes what is known before the first sample: at the start, and again from time to time, so that
/// damage to one place does not cost the recording.
fn describe<S: Store>(
    w: &mut Writer<S>,
    header: &RecordingHeader,
    words: [u16; 2],
) -> Result<(), McapError> {
    for (name, text) in [
        (ENGINE_SHEET, &header.engine_sheet),
        (LEAD_PLAN, &header.lead_plan),
        (IMPORT_PLAN, &header.import_plan),
    ] {
        if name == IMPORT_PLAN && text.is_empty() {
            continue;
        }
        // An attachment cannot begin inside a chunk.
        w.flush()?;
        w.attach(&Attachment {
            log_time: header.started_ns,
            create_time: header.started_ns,
            name: name.into(),
            media_type: "application/toml".into(),
            data: Cow::Borrowed(text.as_bytes()),
        })?;
    }
    // Last, so that a file which has it has the whole header.
    w.write_metadata(&sealed(Metadata {
        name: SESSION.into(),
        metadata: BTreeMap::from([
            ("format".into(), FORMAT.to_string()),
            ("started_ns".into(), header.started_ns.to_string()),
            ("operator".into(), header.operator.clone()),
            ("note".into(), header.note.clone()),
            ("software".into(), header.software.clone()),
            ("channels".into(), format!("{},{}", words[0], words[1])),
        ]),
    }))?;
    Ok(())
}

fn announce<S: Store>(w: &mut Writer<S>, info: &StreamInfo) -> Result<Vec<u16>, McapError> {
    let mut ids = Vec::with_capacity(info.enabled.len());
    for &number in &info.enabled {
        let input = number + 1;
        let mut metadata = BTreeMap::from([
            ("generation".to_owned(), info.generation.to_string()),
            ("input".to_owned(), input.to_string()),
            ("rate_hz".to_owned(), info.rate_hz.to_string()),
        ]);
        if let Some(c) = info.device.channels.get(number) {
            for (key, value) in [
                ("name", c.name.clone()),
                ("unit", c.unit.clone()),
                ("scale", c.scale.to_string()),
                ("offset", c.offset.to_string()),
            ] {
                let _ = metadata.insert(key.to_owned(), value);
            }
        }
        ids.push(w.add_channel(0, &format!("/samples/{input}"), SAMPLE_ENCODING, &metadata)?);
    }
    outline(w, info, &ids)?;
    Ok(ids)
}

/// Writes what is known of a stream.
fn outline<S: Store>(w: &mut Writer<S>, info: &StreamInfo, ids: &[u16]) -> Result<(), McapError> {
    let list = ids.iter().map(u16::to_string).collect::<Vec<_>>().join(",");
    w.write_metadata(&sealed(Metadata {
        name: STREAM.into(),
        metadata: BTreeMap::from([
            ("generation".into(), info.generation.to_string()),
            ("channels".into(), list),
            (
                "stream".into(),
                String::from_utf8_lossy(&json(info)?).into_owned(),
            ),
        ]),
    }))?;
    Ok(())
}

fn json<T: Serialize>(value: &T) -> Result<Vec<u8>, McapError> {
    serde_json::to_vec(value).map_err(|e| McapError::Io(e.into()))
}

/// Data end, a footer that states there is no summary, and the closing magic: a complete MCAP file.
fn end_without_summary() -> Vec<u8> {
    let mut bytes = Vec::new();
    for (opcode, length) in [(op::DATA_END, 4u8), (op::FOOTER, 20)] {
        bytes.push(opcode);
        bytes.extend_from_slice(&u64::from(length).to_le_bytes());
        bytes.resize(bytes.len() + usize::from(length), 0);
    }
    bytes.extend_from_slice(mcap::MAGIC);
    bytes
}

fn fault(error: McapError, seconds: f64) -> RecordError {
    match error {
        McapError::Io(e) => match e.kind() {
            io::ErrorKind::StorageFull
            | io::ErrorKind::QuotaExceeded
            | io::ErrorKind::WriteZero => RecordError::DiskFull { seconds },
            _ => RecordError::Write {
                seconds,
                source: Arc::new(e),
            },
        },
        McapError::TooManyChannels | McapError::TooManySchemas => {
            RecordError::TooManyStreams { seconds }
        }
        other => RecordError::Write {
            seconds,
            source: Arc::new(io::Error::other(other)),
        },
    }
}

fn seconds_between(from_ns: u64, to_ns: u64) -> f64 {
    Duration::from_nanos(to_ns.saturating_sub(from_ns)).as_secs_f64()
}

fn nanoseconds(seconds: f64) -> u64 {
    Duration::try_from_secs_f64(seconds)
        .ok()
        .and_then(|d| u64::try_from(d.as_nanos()).ok())
        .unwrap_or(u64::MAX)
}
