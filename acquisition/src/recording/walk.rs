//! Finds the records of a recording without its summary, by walking from head to head, and finds the
//! way again behind damage.

use super::index::{ChunkEntry, Completeness, Places, RECORD_HEAD, RECORD_LIMIT, little_endian};
use mcap::MAGIC;
use mcap::records::op;
use memchr::memmem;
use std::fs::File;
use std::io::{self, BufReader, Read, Seek, SeekFrom};

/// In the body of a chunk, after its times, size and checksum: the name of the compression, with its length.
const COMPRESSION: &[u8] = b"\x04\0\0\0zstd";
/// Where that stands in the body.
const COMPRESSION_AT: usize = 28;
/// Body of a chunk up to its compressed records: the above and the length of the records.
const CHUNK_FRONT: usize = COMPRESSION_AT + COMPRESSION.len() + 8;
/// Bytes that are searched at a time for the next chunk.
const SEARCH: usize = 1 << 20;

/// What was found.
#[derive(Default)]
pub(crate) struct Walked {
    pub places: Places,
    pub completeness: Completeness,
    /// Bytes between sound records that belong to none.
    pub skipped: u64,
}

/// Walks over the records, reading only their heads. What makes no sense is passed over up to the
/// next chunk, which its head tells beyond doubt; what follows the last sound record is the end that
/// a power cut left.
pub(crate) fn walk(file: &mut BufReader<File>, size: u64) -> io::Result<Walked> {
    let mut walked = Walked::default();
    let mut at = MAGIC.len() as u64;
    loop {
        match step(file, at, size, &mut walked.places)? {
            Step::Next(length) => at += length,
            Step::End(completeness) => {
                walked.completeness = completeness;
                return Ok(walked);
            }
            Step::Lost => match next_chunk(file, at + 1, size)? {
                Some(found) => {
                    walked.skipped += found - at;
                    at = found;
                }
                None => {
                    walked.completeness = Completeness::Unfinished {
                        lost_bytes: size - at,
                    };
                    return Ok(walked);
                }
            },
        }
    }
}

/// What stands at a place.
enum Step {
    /// A record of this length.
    Next(u64),
    /// The end of the samples.
    End(Completeness),
    /// Nothing that makes sense, or a record that is not complete.
    Lost,
}

fn step(file: &mut BufReader<File>, at: u64, size: u64, places: &mut Places) -> io::Result<Step> {
    let Some((opcode, length)) = head(file, at, size)? else {
        return Ok(Step::Lost);
    };
    match opcode {
        op::CHUNK => match chunk(file, at, length)? {
            Some(entry) => places.chunks.push((entry, Vec::new())),
            None => return Ok(Step::Lost),
        },
        // Nothing else that a recorder writes is longer; a greater length is damage.
        _ if length > RECORD_LIMIT => return Ok(Step::Lost),
        op::DATA_END => return Ok(Step::End(end(file, at + RECORD_HEAD + length, size)?)),
        op::METADATA => places.metadata.push(at),
        op::ATTACHMENT => places.attachments.push(at),
        op::MESSAGE_INDEX if length >= 2 => {
            let mut id = [0; 2];
            file.read_exact(&mut id)?;
            if let Some((_, channels)) = places.chunks.last_mut() {
                channels.push(u16::from_le_bytes(id));
            }
        }
        op::HEADER | op::SCHEMA | op::CHANNEL => {}
        _ => return Ok(Step::Lost),
    }
    Ok(Step::Next(RECORD_HEAD + length))
}

/// The chunk whose record has this head, if the rest of its front agrees with it.
fn chunk(file: &mut BufReader<File>, at: u64, length: u64) -> io::Result<Option<ChunkEntry>> {
    let Some(records_length) = length.checked_sub(CHUNK_FRONT as u64) else {
        return Ok(None);
    };
    let mut front = [0; CHUNK_FRONT];
    file.read_exact(&mut front)?;
    let (times, rest) = front.split_at(COMPRESSION_AT);
    let (compression, records) = rest.split_at(COMPRESSION.len());
    let is_sound = compression == COMPRESSION
        && little_endian(records) == records_length
        && little_endian(&times[..8]) <= little_endian(&times[8..16]);
    Ok(is_sound.then(|| ChunkEntry {
        offset: at,
        length: RECORD_HEAD + length,
        start_ns: little_endian(&times[..8]),
        end_ns: little_endian(&times[8..16]),
        words: false,
    }))
}

/// Where the next chunk begins that its head tells, from `from` on.
fn next_chunk(file: &mut BufReader<File>, from: u64, size: u64) -> io::Result<Option<u64>> {
    let finder = memmem::Finder::new(COMPRESSION);
    let front = RECORD_HEAD + COMPRESSION_AT as u64;
    let mut buffer = vec![0; SEARCH];
    let mut at = from;
    while at < size {
        let _ = file.seek(SeekFrom::Start(at))?;
        let wanted = usize::try_from(size - at).unwrap_or(SEARCH).min(SEARCH);
        file.read_exact(&mut buffer[..wanted])?;
        for place in finder.find_iter(&buffer[..wanted]) {
            let Some(begin) = (at + place as u64).checked_sub(front) else {
                continue;
            };
            if begin < from {
                continue;
            }
            if let Some((op::CHUNK, length)) = head(file, begin, size)?
                && chunk(file, begin, length)?.is_some()
            {
                return Ok(Some(begin));
            }
        }
        // What stands across the border is found from the next place.
        let last = wanted < SEARCH;
        at += (wanted - if last { 0 } else { COMPRESSION.len() - 1 }) as u64;
    }
    Ok(None)
}

/// Whether the file was finished, or ended by a fault: a footer without a summary says so.
fn end(file: &mut BufReader<File>, at: u64, size: u64) -> io::Result<Completeness> {
    let mut at = at;
    while let Some((opcode, length)) = head(file, at, size)? {
        if opcode == op::FOOTER && length >= 8 {
            let mut summary = [0; 8];
            file.read_exact(&mut summary)?;
            return Ok(if little_endian(&summary) == 0 {
                Completeness::EndedByFault
            } else {
                Completeness::Complete
            });
        }
        at += RECORD_HEAD + length;
    }
    // The samples are all there; only the way to them had to be walked.
    Ok(Completeness::Complete)
}

/// Opcode and length of the record at `at` if it is complete.
pub(crate) fn head(
    file: &mut BufReader<File>,
    at: u64,
    size: u64,
) -> io::Result<Option<(u8, u64)>> {
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
