//! The pages of an overview that is there.

use super::builder::origin;
use super::page::{self, Extremes, HEAD_BEGIN, MAGIC, Page, Sections};
use super::{HEAD, head};
use crate::recording::cursor::Item;
use crate::recording::reader::Recording;
use memchr::memmem;
use std::fs::File;
use std::io::{self, BufReader, Read, Seek, SeekFrom};
use std::path::Path;

/// A head and its coarsest bins are read in one go; more would only be passed over.
const BUFFER: usize = 1 << 10;
/// Bytes that are searched at once for the next page after a damaged one.
const SEARCH: usize = 1 << 16;

/// A page on the disk, its coarsest bins in memory.
#[derive(Debug)]
pub(crate) struct Stored {
    pub page: Page,
    pub coarsest: Vec<Extremes>,
    offset: u64,
    sections: Sections,
}

/// An open overview.
#[derive(Debug)]
pub(crate) struct Pages {
    file: File,
}

impl Pages {
    /// The overview in this file and its sound pages, if it is one of this recording and version.
    pub fn open(path: &Path, recording: &Recording) -> Option<(Self, Vec<Stored>)> {
        let file = File::open(path).ok()?;
        let size = file.metadata().ok()?.len();
        let mut reader = BufReader::with_capacity(BUFFER, file);
        let mut begin = [0; HEAD];
        reader.read_exact(&mut begin).ok()?;
        if begin != head(recording.header()) {
            tracing::info!("{} is not of this recording or version", path.display());
            return None;
        }
        let mut found = scan(&mut reader, size).ok()?;
        let origin = first(recording);
        found.retain(|s| origin.is_none_or(|origin| origin == s.sections.origin));
        let file = reader.into_inner();
        Some((Self { file }, found))
    }

    /// The bins of one level, or `None` if they are damaged or gone.
    pub fn bins(&mut self, stored: &Stored, level: usize) -> Option<Vec<Extremes>> {
        let before: usize = (0..level).map(|l| stored.page.bins(l) * 4).sum();
        let offset = stored.offset + (stored.sections.head + before) as u64;
        let mut bytes = vec![0; stored.page.bins(level) * 4];
        let _ = self.file.seek(SeekFrom::Start(offset)).ok()?;
        self.file.read_exact(&mut bytes).ok()?;
        page::from_section(&bytes, stored.sections.checksums[level])
    }
}

/// Checksum of the recording's first block, if it can be read.
fn first(recording: &Recording) -> Option<u32> {
    let mut entries = recording.entries().ok()?;
    for position in 0..recording.chunks().len() {
        // With the first chunk damaged there is nothing to compare with.
        for entry in entries.chunk(position).ok()? {
            if let Item::Block(block) = entry.item {
                return Some(origin(&block));
            }
        }
    }
    None
}

fn scan(file: &mut BufReader<File>, size: u64) -> io::Result<Vec<Stored>> {
    let mut found = Vec::new();
    let mut at = HEAD as u64;
    while at + (HEAD_BEGIN as u64) < size {
        match stored(file, at, size)? {
            Some(page) => {
                at += page.sections.page;
                found.push(page);
            }
            // One damaged page costs that page.
            None => match search(file, at + 1)? {
                Some(next) => at = next,
                None => break,
            },
        }
    }
    Ok(found)
}

/// The page at this byte if its head and its coarsest bins are sound, and it is there to its end.
fn stored(file: &mut BufReader<File>, at: u64, size: u64) -> io::Result<Option<Stored>> {
    let here = file.stream_position()?;
    match at.checked_signed_diff(here) {
        Some(forward) => file.seek_relative(forward)?,
        None => file.seek(SeekFrom::Start(at)).map(|_| ())?,
    }
    let mut begin = [0; 8];
    file.read_exact(&mut begin)?;
    let fits = page::head_length(&begin).filter(|&n| n as u64 <= size - at);
    let Some(length) = fits else {
        return Ok(None);
    };
    let mut head = vec![0; length];
    head[..8].copy_from_slice(&begin);
    file.read_exact(&mut head[8..])?;
    let Some((page, sections)) = page::from_head(&head) else {
        return Ok(None);
    };
    if sections.page > size - at {
        return Ok(None);
    }
    let mut bytes = vec![0; page.bins(0) * 4];
    file.read_exact(&mut bytes)?;
    let coarsest = page::from_section(&bytes, sections.checksums[0]);
    Ok(coarsest.map(|coarsest| Stored {
        page,
        coarsest,
        offset: at,
        sections,
    }))
}

/// Where the next page may begin.
fn search(file: &mut BufReader<File>, from: u64) -> io::Result<Option<u64>> {
    let mut at = from;
    let mut bytes = Vec::with_capacity(SEARCH);
    loop {
        let _ = file.seek(SeekFrom::Start(at))?;
        bytes.clear();
        let read = file.by_ref().take(SEARCH as u64).read_to_end(&mut bytes)?;
        if let Some(place) = memmem::find(&bytes, &MAGIC) {
            return Ok(Some(at + place as u64));
        }
        if read < SEARCH {
            return Ok(None);
        }
        at += (read - MAGIC.len()) as u64;
    }
}
