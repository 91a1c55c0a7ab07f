//! One chunk, decompressed: its blocks, notes and lead events in the order in which they were written.

use super::header::{LeadEvent, Note};
use super::index::Index;
use super::samples;
use crate::block::SampleBlock;
use mcap::records::{Record, op};
use mcap::sans_io::{LinearReadEvent, LinearReader, LinearReaderOptions};
use std::collections::VecDeque;
use std::io::Read;
use std::time::Duration;

/// What a recording holds, in order.
#[derive(Debug, Clone, PartialEq)]
pub enum Item {
    /// Samples, exactly as they were received.
    Block(SampleBlock),
    /// Words of the technician.
    Note(Note),
    /// A lead changed.
    LeadEvent(LeadEvent),
}

/// An item and when it begins, since the start of the recording.
#[derive(Debug, Clone, PartialEq)]
pub struct Entry {
    /// When.
    pub at: Duration,
    /// What.
    pub item: Item,
}

/// Our chunks hold about 1 MiB, and with the largest frames a few more; what claims to hold more is
/// damaged, and must not fill the memory.
const UNPACKED_LIMIT: u64 = 1 << 28;

/// Unpacks a chunk record's body. `None` if any of it is unsound: its checksum stands over all of it.
pub(crate) fn unpack(index: &Index, body: &[u8]) -> Option<VecDeque<Entry>> {
    let Ok(Record::Chunk { header, .. }) = mcap::parse_record(op::CHUNK, body) else {
        return None;
    };
    if header.uncompressed_size > UNPACKED_LIMIT {
        return None;
    }
    // The checksum is tested before any record is looked at, and lengths are bounded: in a damaged
    // chunk a length may be any number, and the memory must not be asked for it.
    let options = LinearReaderOptions::default()
        .with_skip_start_magic(true)
        .with_skip_end_magic(true)
        .with_prevalidate_chunk_crcs(true)
        .with_record_length_limit(usize::try_from(UNPACKED_LIMIT).ok()?);
    let mut reader = LinearReader::new_with_options(options);
    let length = (body.len() as u64).to_le_bytes();
    let mut bytes = (&[op::CHUNK][..]).chain(&length[..]).chain(body);
    let mut entries = VecDeque::new();
    let mut open: Option<(Duration, usize, SampleBlock)> = None;
    while let Some(event) = reader.next_event() {
        let record = match event.ok()? {
            LinearReadEvent::ReadRequest(wanted) => {
                let got = bytes.read(reader.insert(wanted)).ok()?;
                reader.notify_read(got);
                continue;
            }
            LinearReadEvent::Record { data, opcode } => mcap::parse_record(opcode, data).ok()?,
        };
        let Record::Message { header, data } = record else {
            continue;
        };
        let at = Duration::from_nanos(header.log_time.saturating_sub(index.header.started_ns));
        let id = header.channel_id;
        if id == index.words[0] {
            let note = Item::Note(serde_json::from_slice(&data).ok()?);
            entries.push_back(Entry { at, item: note });
        } else if id == index.words[1] {
            let event = Item::LeadEvent(serde_json::from_slice(&data).ok()?);
            entries.push_back(Entry { at, item: event });
        } else {
            let (stream, place) = index.streams.iter().find_map(|s| {
                let place = s.channels.iter().position(|&c| c == id)?;
                Some((s, place))
            })?;
            let (first_index, channel) = samples::decode(&data)?;
            if place == 0 {
                let block = SampleBlock {
                    generation: stream.info.generation,
                    first_index,
                    channels: Vec::with_capacity(stream.channels.len()),
                };
                if open.replace((at, stream.channels.len(), block)).is_some() {
                    return None;
                }
            }
            let (at, total, mut block) = open.take()?;
            let fits = block.channels.len() == place
                && block.first_index == first_index
                && block.generation == stream.info.generation
                && (place == 0 || block.len() == channel.len());
            if !fits {
                return None;
            }
            block.channels.push(channel);
            if block.channels.len() == total {
                entries.push_back(Entry {
                    at,
                    item: Item::Block(block),
                });
            } else {
                open = Some((at, total, block));
            }
        }
    }
    open.is_none().then_some(entries)
}
