//! A page of an overview: what some whole chunks of a recording hold, as least and greatest values.

use super::fields::Fields;
use keyway_protocol::checksum::crc32c;
use std::ops::Range;

/// Samples that one bin of each level stands for, coarsest first. Each is a multiple of the next.
pub(crate) const LEVELS: [u64; 3] = [65_536, 4_096, 256];
/// The finest of them.
pub(crate) const FINEST: u64 = 256;

/// First bytes of a page.
pub(crate) const MAGIC: [u8; 4] = *b"KWOP";
/// Bytes of a head before its items.
pub(crate) const HEAD_BEGIN: usize = 48;
/// A head is some hundred bytes; a length beyond this is damage, not content.
const HEAD_LIMIT: usize = 64 << 20;

/// Least and greatest count in a bin.
pub(crate) type Extremes = [i16; 2];
/// Of no sample at all: no sample lies between them.
pub(crate) const EMPTY: Extremes = [i16::MAX, i16::MIN];

/// Samples that follow each other.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Run {
    /// Index of the first.
    pub first: u64,
    /// Index after the last.
    pub end: u64,
    /// Samples that are missing between the two, where losses stood too close to be kept apart.
    pub lost: u64,
}

/// Samples of one stream, their times evenly spaced.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Part {
    /// Generation of the stream.
    pub generation: u64,
    /// Time of the first sample, since the start of the recording.
    pub at_ns: u64,
    /// Channels of a block.
    pub channels: usize,
    /// Never empty, in order.
    pub runs: Vec<Run>,
}

impl Part {
    pub fn first(&self) -> u64 {
        self.runs.first().map_or(0, |r| r.first)
    }

    pub fn end(&self) -> u64 {
        self.runs.last().map_or(0, |r| r.end)
    }

    /// Numbers of its bins of a size, counted from the begin of the stream.
    pub fn bins(&self, size: u64) -> Range<u64> {
        let (first, end) = (self.first(), self.end());
        first / size..end.div_ceil(size).max(first / size)
    }

    /// The same for all channels together.
    pub fn bins_in_all(&self, size: u64) -> usize {
        let bins = self.bins(size);
        usize::try_from(bins.end - bins.start)
            .unwrap_or(usize::MAX)
            .saturating_mul(self.channels)
    }
}

/// What a page tells of, in the order of the recording.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Stretch {
    /// Samples.
    Part(Part),
    /// A chunk that could not be read when the overview was made.
    Damage { from_ns: u64, to_ns: u64 },
}

/// A page without its bins.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Page {
    /// The bytes of the recording whose chunks it tells of.
    pub covers: Range<u64>,
    pub stretches: Vec<Stretch>,
}

impl Page {
    /// Bins of one level.
    pub fn bins(&self, level: usize) -> usize {
        self.parts().fold(0, |sum, part| {
            sum.saturating_add(part.bins_in_all(LEVELS[level]))
        })
    }

    /// Its samples.
    pub fn parts(&self) -> impl Iterator<Item = &Part> {
        self.stretches.iter().filter_map(|s| match s {
            Stretch::Part(part) => Some(part),
            Stretch::Damage { .. } => None,
        })
    }
}

/// The bins of a page, per level: per part, per channel, one after another.
pub(crate) type Bins = [Vec<Extremes>; 3];

/// Where the sections of a page are, and what must come out when they are read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Sections {
    /// Bytes of the head.
    pub head: usize,
    /// Bytes of the page.
    pub page: u64,
    /// Checksum of the first block of the recording.
    pub origin: u32,
    pub checksums: [u32; 3],
}

/// The bytes of a page; `origin` is the checksum of the recording's first block.
pub(crate) fn to_bytes(page: &Page, bins: &Bins, origin: u32) -> Vec<u8> {
    let mut items = Vec::new();
    for stretch in &page.stretches {
        match stretch {
            Stretch::Damage { from_ns, to_ns } => {
                items.push(1);
                items.extend(from_ns.to_le_bytes());
                items.extend(to_ns.to_le_bytes());
            }
            Stretch::Part(part) => {
                items.push(0);
                items.extend(part.generation.to_le_bytes());
                items.extend(part.at_ns.to_le_bytes());
                items.extend(part.first().to_le_bytes());
                items.extend(count(part.channels));
                items.extend(count(part.runs.len()));
                for run in &part.runs {
                    for number in [run.first - part.first(), run.end - run.first, run.lost] {
                        // A part spans far fewer samples.
                        items.extend(u32::try_from(number).unwrap_or(u32::MAX).to_le_bytes());
                    }
                }
            }
        }
    }
    let sections = bins.each_ref().map(|level| {
        let bytes = |&[low, high]: &Extremes| {
            let ([a, b], [c, d]) = (low.to_le_bytes(), high.to_le_bytes());
            [a, b, c, d]
        };
        level.iter().flat_map(bytes).collect::<Vec<u8>>()
    });
    let head = HEAD_BEGIN + items.len() + 4;
    let whole = head + sections.iter().map(Vec::len).sum::<usize>();
    let mut bytes = Vec::with_capacity(whole);
    bytes.extend(MAGIC);
    bytes.extend(count(head));
    bytes.extend(count(whole));
    bytes.extend(origin.to_le_bytes());
    bytes.extend(page.covers.start.to_le_bytes());
    bytes.extend(page.covers.end.to_le_bytes());
    for section in &sections {
        bytes.extend(crc32c(section).to_le_bytes());
    }
    bytes.extend(count(page.stretches.len()));
    bytes.extend(items);
    bytes.extend(crc32c(&bytes).to_le_bytes());
    for section in sections {
        bytes.extend(section);
    }
    bytes
}

fn count(n: usize) -> [u8; 4] {
    u32::try_from(n).unwrap_or(u32::MAX).to_le_bytes()
}

/// Bytes of the head that begins with these, if they are the begin of one.
pub(crate) fn head_length(begin: &[u8; 8]) -> Option<usize> {
    let (magic, length) = begin.split_first_chunk::<4>()?;
    let length = u32::from_le_bytes(length.try_into().ok()?);
    let length = usize::try_from(length).ok()?;
    (*magic == MAGIC && (HEAD_BEGIN + 4..=HEAD_LIMIT).contains(&length)).then_some(length)
}

/// A head, or `None` if any of it is unsound.
pub(crate) fn from_head(head: &[u8]) -> Option<(Page, Sections)> {
    let (body, checksum) = head.split_last_chunk::<4>()?;
    if crc32c(body) != u32::from_le_bytes(*checksum) {
        return None;
    }
    let mut fields = Fields::new(body);
    let _magic_and_length = fields.take::<8>()?;
    let whole = u64::from(fields.u32()?);
    let origin = fields.u32()?;
    let covers = fields.u64()?..fields.u64()?;
    let checksums = [fields.u32()?, fields.u32()?, fields.u32()?];
    let count = fields.u32()?;
    let mut stretches = Vec::new();
    for _ in 0..count {
        stretches.push(match fields.take::<1>()? {
            [0] => Stretch::Part(part(&mut fields)?),
            [1] => Stretch::Damage {
                from_ns: fields.u64()?,
                to_ns: fields.u64()?,
            },
            _ => return None,
        });
    }
    let page = Page { covers, stretches };
    let sections = Sections {
        head: head.len(),
        page: whole,
        origin,
        checksums,
    };
    let bins = (0..3).fold(0usize, |sum, level| sum.saturating_add(page.bins(level)));
    let stated = (bins as u64).saturating_mul(4) + head.len() as u64;
    (fields.is_empty() && stated == whole).then_some((page, sections))
}

fn part(fields: &mut Fields<'_>) -> Option<Part> {
    let (generation, at_ns, first) = (fields.u64()?, fields.u64()?, fields.u64()?);
    let channels = usize::try_from(fields.u32()?).ok()?;
    let mut runs = Vec::new();
    for _ in 0..fields.u32()? {
        let begin = first.checked_add(fields.u32()?.into())?;
        runs.push(Run {
            first: begin,
            end: begin.checked_add(fields.u32()?.into())?,
            lost: fields.u32()?.into(),
        });
    }
    let sound = runs
        .iter()
        .all(|r| r.first < r.end && r.lost < r.end - r.first)
        && runs.windows(2).all(|pair| pair[0].end < pair[1].first);
    (sound && runs.first()?.first == first).then_some(Part {
        generation,
        at_ns,
        channels,
        runs,
    })
}

/// The bins of a section, or `None` if they are not those that were written.
pub(crate) fn from_section(bytes: &[u8], checksum: u32) -> Option<Vec<Extremes>> {
    (crc32c(bytes) == checksum).then(|| {
        let (bins, _) = bytes.as_chunks::<4>();
        bins.iter()
            .map(|&[a, b, c, d]| [i16::from_le_bytes([a, b]), i16::from_le_bytes([c, d])])
            .collect()
    })
}
